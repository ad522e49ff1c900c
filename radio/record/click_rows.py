"""The points of one canal, from rows of the clicks table."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from radio.errors import TableError
from radio.measure.case import REPEATED_LANDMARKS, Clicks
from radio.record import cells
from radio.record.rows import Row

# a stored pixel position; no receptor comes near the upper limit
_LARGEST_POSITION_PX = 100_000.0
_YES_OR_NO = ("yes", "no")


@dataclass(frozen=True, eq=False)
class Points:
    """The points of one canal.

    Parameters
    ----------
    clicks : mapping of str to ndarray, shape (N, 2)
        (row, col) by landmark, pixels; repeated landmarks by their order.
    exact : tuple of (landmark, index)
        Those that stay exactly where they were put, sorted.
    """

    clicks: Clicks
    exact: tuple[tuple[str, int], ...]


def problems_of_click(row: Row) -> list[str]:
    """Say what is wrong with the cells of one row; nothing when all is well."""
    if row.problem:
        return [row.problem]
    problems = []
    try:
        cells.landmark(row.cells["landmark"])
    except TableError as problem:
        problems.append(f"column landmark: {problem}")
    if text := row.cells.get("exact", ""):
        try:
            cells.choice(text, _YES_OR_NO)
        except TableError as problem:
            problems.append(f"column exact: {problem}")
    for column in ("row", "col", "order"):
        text = row.cells.get(column, "")
        if column == "order" and not text:
            continue
        try:
            cells.number(text, -0.5, _LARGEST_POSITION_PX, unit="px" if column != "order" else "")
        except TableError as problem:
            problems.append(f"column {column}: {problem}")
    return problems


def gather_points(rows: Iterable[Row], table: str) -> tuple[Points, list[str]]:
    """Gather the points of one canal.

    Parameters
    ----------
    rows : iterable of Row
        Rows without problems.
    table : str
        Name of the table, for the messages.

    Returns
    -------
    Points
    list of str
        Landmarks that repeat and may not, or whose order is not clear.
    """
    gathered: dict[str, list[Row]] = {}
    for row in rows:
        gathered.setdefault(cells.landmark(row.cells["landmark"]), []).append(row)
    clicks, problems = {}, []
    exact: list[tuple[str, int]] = []
    for landmark, found in gathered.items():
        problem = _sort_repeated(landmark, found)
        if problem:
            lines = ", ".join(str(row.line) for row in found)
            problems.append(f"{table} lines {lines}: {problem}")
        clicks[landmark] = np.array([[_position(row, "row"), _position(row, "col")] for row in found])
        exact += [(landmark, k) for k, row in enumerate(found) if _is_exact(row)]
    return Points(clicks, tuple(sorted(exact))), problems


def _is_exact(row: Row) -> bool:
    text = row.cells.get("exact", "")
    return bool(text) and cells.choice(text, _YES_OR_NO) == "yes"


def _sort_repeated(landmark: str, found: list[Row]) -> str:
    """Sort the rows of one landmark by their order; the text says why that is not possible."""
    if len(found) == 1:
        return ""
    if landmark not in REPEATED_LANDMARKS:
        return (
            f"{landmark} is given {len(found)} times; only {', '.join(REPEATED_LANDMARKS)} take more than one"
        )
    texts = [row.cells.get("order", "") for row in found]
    if not any(texts):
        return ""  # without any order the rows stand as they came
    if not all(texts) or len({_position(row, "order") for row in found}) < len(found):
        return f"column order must differ in each row of {landmark}, given {', '.join(texts)}"
    found.sort(key=lambda row: _position(row, "order"))
    return ""


def _position(row: Row, column: str) -> float:
    return cells.number(row.cells[column], -0.5, _LARGEST_POSITION_PX, unit="px")
