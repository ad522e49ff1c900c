"""A user's own class scheme, from the rows of a table."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from radio.errors import TableError, echoed
from radio.measure.classes import NO_CLASS, SCHEMES, Band, Scheme

SCHEME_COLUMNS = ("scheme", "quantity", "label", "from", "to")

_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+")
_LARGEST_EDGE = 1000.0


def scheme_from_rows(rows: Sequence[tuple[int, Mapping[str, str]]], quantities: Collection[str]) -> Scheme:
    """A user's own scheme from the rows of a table, one band a row.

    Both edges belong to a band; an edge that two bands share belongs to the higher one. An empty "from" is 0,
    an empty "to" no limit.

    Parameters
    ----------
    rows : sequence of (int, mapping of str to str)
        Line number, and cells as stripped text by the names in :data:`SCHEME_COLUMNS`.
    quantities : collection of str
        Columns that are measured; the scheme is for one of them.

    Raises
    ------
    TableError
        The text names the row, what was given and what is allowed.
    """
    if not rows:
        raise TableError(f"The table of classes has no rows; its columns are {', '.join(SCHEME_COLUMNS)}.")
    line, first = rows[0]
    placed = sorted(
        ((_band(number, cells, first, quantities), number) for number, cells in rows),
        key=lambda pair: pair[0].low,
    )
    if first["scheme"].casefold() in {scheme.name for scheme in SCHEMES}:
        raise _refused(line, "scheme", first["scheme"], "a name that no built-in scheme has")
    bands: list[Band] = []
    for (band, number), (above, other) in pairwise([*placed, (Band("", math.inf, math.inf), 0)]):
        if band.high > above.low:
            allowed = f"bands that share an edge or leave a gap, but row {other} begins at {above.low:g}"
            given = "no limit" if math.isinf(band.high) else f"{band.high:g}"
            raise _refused(number, "to", given, allowed)
        if band.label in {one.label for one in bands}:
            raise _refused(number, "label", band.label, "each label once")
        bands.append(replace(band, high_closed=band.high != above.low or math.isinf(band.high)))
    return Scheme(first["scheme"], first["scheme"], "own table", "own", first["quantity"], tuple(bands))


def _band(line: int, cells: Mapping[str, str], first: Mapping[str, str], quantities: Collection[str]) -> Band:
    missing = [column for column in SCHEME_COLUMNS if column not in cells]
    if missing:
        needed = ", ".join(SCHEME_COLUMNS)
        raise TableError(f"row {line} has no column {', '.join(missing)}; needed are {needed}.")
    for column in ("scheme", "quantity"):
        if not cells[column] or cells[column] != first[column]:
            raise _refused(line, column, cells[column], f"one {column}, the same in every row")
    if cells["quantity"] not in quantities:
        raise _refused(line, "quantity", cells["quantity"], f"one of {', '.join(quantities)}")
    if cells["label"].casefold() in ("", NO_CLASS):
        raise _refused(line, "label", cells["label"], f"any word but {NO_CLASS!r}")
    low, high = _edge(line, cells, "from", 0.0), _edge(line, cells, "to", math.inf)
    if low >= high:
        raise _refused(line, "to", cells["to"], f"a number above its 'from', {low:g}")
    return Band(cells["label"], low, high)


def _edge(line: int, cells: Mapping[str, str], column: str, when_empty: float) -> float:
    text = cells[column]
    if not text:
        return when_empty
    value = float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else math.nan
    if not value <= _LARGEST_EDGE:
        allowed = f"a number from 0 to {_LARGEST_EDGE:g} without unit, or nothing for no limit"
        raise _refused(line, column, text, allowed)
    return value


def _refused(line: int, column: str, given: str, allowed: str) -> TableError:
    return TableError(f"row {line}, {column}: given {echoed(given)}; allowed is {allowed}.")
