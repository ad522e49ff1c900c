"""What a terminal shows of the methods and class schemes there are."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.errors import PeriapicalError
from radio.measure.classes import SCHEMES, Scheme
from radio.measure.methods import METHODS, CurvatureMethod
from radio.record.wording import UNIT_SIGNS

_LABEL = 12


def listed(name: str | None) -> tuple[tuple[CurvatureMethod, ...], tuple[Scheme, ...]]:
    """Methods and class schemes of a name; all of them without one.

    A method brings along the schemes that class its numbers.

    Raises
    ------
    PeriapicalError
        Neither a method nor a scheme has the name.
    """
    if name is None:
        return METHODS, SCHEMES
    wanted = name.strip().casefold()
    methods = tuple(method for method in METHODS if method.name == wanted)
    columns = {quantity.column for method in methods for quantity in method.quantities}
    schemes = tuple(one for one in SCHEMES if one.name == wanted or one.quantity in columns)
    if not methods and not schemes:
        raise PeriapicalError(
            f"There is no curvature method or class scheme {name!r}; the methods are: "
            f"{', '.join(method.name for method in METHODS)}; the schemes are: "
            f"{', '.join(scheme.name for scheme in SCHEMES)}."
        )
    return methods, schemes


def methods_block(methods: Sequence[CurvatureMethod], schemes: Sequence[Scheme]) -> RenderableType:
    """Lay out methods and class schemes with definition, source, and what is only from memory."""
    parts: list[RenderableType] = []
    if methods:
        parts += [_heading("Curvature methods", "periapical curvature --method NAME"), *map(_method, methods)]
    if schemes:
        parts += [_heading("Class schemes", "shown with the quantity they are for"), *map(_scheme, schemes)]
    return Group(*parts)


def _heading(title: str, use: str) -> Text:
    return Text.assemble((title, "bold underline"), f"  ({use})\n")


def _method(method: CurvatureMethod) -> RenderableType:
    columns = [
        f"{quantity.column} ({_unit(quantity.unit)}): {quantity.title}" for quantity in method.quantities
    ]
    scale = "in millimetres: needs a scale" if method.needs_mm else ""
    rows = [
        ("Columns", "\n".join(columns)),
        ("Definition", method.definition),
        ("Source", method.source),
        ("Standing", method.standing),
        ("Missing when", "; ".join(part for part in (method.absent, scale) if part)),
    ]
    return _entry(method.name, method.title, rows)


def _scheme(scheme: Scheme) -> RenderableType:
    rows = [
        ("For", scheme.quantity),
        ("Bands", scheme.told),
        ("Source", scheme.source),
        ("Standing", _STANDINGS[scheme.standing]),
        *((("Note", scheme.note),) if scheme.note else ()),
    ]
    return _entry(scheme.name, scheme.title, rows)


_STANDINGS = {
    "verified": "read in the source",
    "secondary": "read in a page about the source, not in the source",
    "from memory": "from memory, not read",
    "own": "the user's own",
}


def _unit(unit: str) -> str:
    return {"ratio": "ratio"}.get(unit) or UNIT_SIGNS.get(unit, unit)


def _entry(name: str, title: str, rows: Sequence[tuple[str, str]]) -> RenderableType:
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(min_width=_LABEL, no_wrap=True, style="dim")
    table.add_column(ratio=1)
    for label, text in rows:
        table.add_row(f"  {label}", escape(text))
    return Group(Text.assemble((name, "bold"), f"  {title}"), table, Text(""))
