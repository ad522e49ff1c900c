"""What a terminal shows of a canal that was seen in two views."""

from __future__ import annotations

from dataclasses import replace

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.case import Remark
from radio.measure.methods import METHODS
from radio.measure.own_plane import InOwnPlane
from radio.measure.result import Finding, Measurement
from radio.measure.space_measures import DRAWS
from radio.measure.view_pair import ViewPair
from radio.record.curvature_terminal import (
    MethodRow,
    basis_line,
    method_tables,
    missing_lines,
    told_line,
    unit_sign,
    value_cells,
)
from radio.record.terminal import WIDE, remark_lines
from radio.record.wording import PAIR_NAMES, how_text

_ABSENT = {"resultant_bend_deg": PAIR_NAMES["resultant_bend_deg"], "space": "Canal in space"}
_UNCERTAINTY = (
    f"u: standard uncertainty; of what the centreline gives, over {DRAWS} pairs of possible traces."
)


def pair_block(pair: ViewPair, images: tuple[str, str], width: int) -> RenderableType:
    """Lay out what two views of one canal give together.

    Parameters
    ----------
    pair : ViewPair
    images : tuple of str
        Names of the two images.
    width : int
    """
    turn = f"{pair.between_views_deg:g}° ± {pair.between_views_sd_deg:g}° apart"
    parts: list[RenderableType] = [
        Text(f"Canal {pair.name} in space, from {images[0]} and {images[1]}, {turn}", style="bold")
    ]
    if pair.in_space is not None:
        apart = f"{abs(pair.in_space.mismatch_mm):.2f} mm"
        parts.append(told_line("Heights of the two views differ by", apart))
    parts += remark_lines([Remark("note" if pair.same_canal else "warn", one) for one in pair.remarks])
    if pair.measurements:
        parts += _space_table(pair, width)
    if pair.own_plane is not None:
        parts += _own_plane(pair.own_plane, width)
    parts += [told_line(f"Not there: {_ABSENT[what]}", why) for what, why in pair.absent.items()]
    if pair.assumptions:
        parts.append(Text("Assumed:", style="bold"))
        parts += [Text(f"- {text}") for text in pair.assumptions]
    return Group(*parts, Text(""))


def _space_table(pair: ViewPair, width: int) -> list[RenderableType]:
    wide = width >= WIDE
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("In space", min_width=16)
    table.add_column("Value ± u", justify="right", no_wrap=True)
    table.add_column("95 % interval", justify="right", no_wrap=True)
    table.add_column("Unit", no_wrap=True)
    if wide:
        table.add_column("Method; basis", ratio=1)
    below: list[RenderableType] = []
    for name, one in pair.measurements.items():
        title = PAIR_NAMES.get(name, name)
        # what is said of the pair as a whole stands above
        how = how_text(replace(one, notes=tuple(n for n in one.notes if n not in pair.remarks)))
        table.add_row(title, *value_cells(one), unit_sign(one.unit), *([escape(how)] * wide))
        if not wide:
            below.append(told_line(title, how))
    return [table, Text(_UNCERTAINTY, style="dim"), *below]


def _own_plane(found: InOwnPlane, width: int) -> list[RenderableType]:
    """Every method in the plane the canal bends in."""
    told: dict[str, Measurement | Finding] = {**found.measurements, **found.findings}
    rows: list[MethodRow] = [
        (method, quantity, told[quantity.column])
        for method in METHODS
        for quantity in method.quantities
        if quantity.column in told
    ]
    heading = Text("By each method, in the plane the canal bends in", style="bold")
    tables = method_tables(rows, width) if rows else []
    return [heading, *tables, *([basis_line(rows)] if rows else []), *missing_lines(found.absent)]
