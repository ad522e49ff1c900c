"""The points of one canal, from rows of the clicks table."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from radio.errors import TableError
from radio.measure.case import REPEATED_LANDMARKS, Clicks
from radio.record import cells
from radio.record.rows import Row

# a stored pixel position; no receptor comes near the upper limit
_LARGEST_POSITION_PX = 100_000.0


def problems_of_click(row: Row) -> list[str]:
    """Say what is wrong with the cells of one row; nothing when all is well."""
    if row.problem:
        return [row.problem]
    problems = []
    try:
        cells.landmark(row.cells["landmark"])
    except TableError as problem:
        problems.append(f"column landmark: {problem}")
    for column in ("row", "col", "order"):
        text = row.cells.get(column, "")
        if column == "order" and not text:
            continue
        try:
            cells.number(text, -0.5, _LARGEST_POSITION_PX, unit="px" if column != "order" else "")
        except TableError as problem:
            problems.append(f"column {column}: {problem}")
    return problems


def gather_points(rows: Iterable[Row], table: str) -> tuple[Clicks, list[str]]:
    """Gather the points of one canal.

    Parameters
    ----------
    rows : iterable of Row
        Rows without problems.
    table : str
        Name of the table, for the messages.

    Returns
    -------
    mapping of str to ndarray, shape (N, 2)
        (row, col) by landmark, pixels; repeated landmarks by their order.
    list of str
        Landmarks that repeat and may not, or whose order is not clear.
    """
    gathered: dict[str, list[Row]] = {}
    for row in rows:
        gathered.setdefault(cells.landmark(row.cells["landmark"]), []).append(row)
    points, problems = {}, []
    for landmark, found in gathered.items():
        problem = _sort_repeated(landmark, found)
        if problem:
            lines = ", ".join(str(row.line) for row in found)
            problems.append(f"{table} lines {lines}: {problem}")
        points[landmark] = np.array([[_position(row, "row"), _position(row, "col")] for row in found])
    return points, problems


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
