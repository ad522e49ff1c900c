"""Rows of a comma- or semicolon-separated table, however a spreadsheet wrote it."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from radio.errors import TableError

_DELIMITERS = (",", ";", "\t")
_LARGEST_TABLE_BYTES = 200_000_000


@dataclass(frozen=True)
class Row:
    """One row that is not blank.

    Parameters
    ----------
    line : int
        Line number in the table, the header being 1.
    cells : dict of str to str
        Cells by column name, stripped; a missing cell is empty.
    problem : str
        What is wrong with the row as a whole, or empty.
    """

    line: int
    cells: dict[str, str]
    problem: str = ""


def read_rows(path: Path, known: Collection[str], required: Collection[str]) -> tuple[list[Row], list[str]]:
    """Read a table with a header row.

    UTF-8 with or without byte order mark (UTF-16 with one), any line ends; the delimiter is the one of
    comma, semicolon and tab that gives the header the most known columns.

    Parameters
    ----------
    path : pathlib.Path
        The table.
    known, required : collection of str
        Column names that mean something; those that must be there.

    Returns
    -------
    list of Row
        Rows in order, blank ones left out.
    list of str
        Warnings (columns that are not known and were passed over).

    Raises
    ------
    TableError
        The table cannot be read at all; the text says why.
    """
    lines = csv.reader(
        io.StringIO(text := _read_text(path), newline=""), delimiter=_delimiter(text, known), strict=True
    )
    header: list[str] | None = None
    rows: list[Row] = []
    warnings: list[str] = []
    try:
        for cells in lines:
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            if header is None:
                header = [_column_name(cell) for cell in stripped]
                warnings = _check_header(path, header, known, required)
            else:
                rows.append(_row(lines.line_num, header, stripped))
    except csv.Error as problem:
        raise TableError(
            f"{path.name} line {lines.line_num}: {problem}. Look for a quotation mark that is not closed."
        ) from problem
    if header is None:
        raise TableError(f"{path.name} is empty; the first row must name the columns {', '.join(known)}.")
    return rows, warnings


def _read_text(path: Path) -> str:
    try:
        if path.stat().st_size > _LARGEST_TABLE_BYTES:
            raise TableError(f"{path.name} is larger than {_LARGEST_TABLE_BYTES // 10**6} MB; is it a table?")
        data = path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise TableError(f"The table {path} cannot be read ({reason}); check the place.") from problem
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            return data.decode("utf-16")
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        workbook = data.startswith((b"PK", b"\xd0\xcf\x11\xe0"))
        what = "looks like a spreadsheet workbook" if workbook else f"is not UTF-8 text ({problem.reason})"
        raise TableError(f"{path.name} {what}; export it as CSV with UTF-8 text.") from problem
    if "\x00" in text:
        raise TableError(f"{path.name} is not text (it holds zero bytes); export the table as CSV (UTF-8).")
    return text


def _column_name(cell: str) -> str:
    return "_".join(cell.casefold().split())


def _delimiter(text: str, known: Collection[str]) -> str:
    header = next((line for line in text.splitlines() if line.strip()), "")
    return max(
        _DELIMITERS,
        key=lambda mark: sum(_column_name(cell.strip('" ')) in known for cell in header.split(mark)),
    )


def _check_header(
    path: Path, header: list[str], known: Collection[str], required: Collection[str]
) -> list[str]:
    missing = [name for name in required if name not in header]
    if missing:
        raise TableError(
            f"{path.name} has no column {', '.join(missing)}; its first row names {', '.join(header)}. "
            f"The columns are {', '.join(known)}, separated by commas, semicolons or tabs."
        )
    twice = sorted({name for name in header if name and header.count(name) > 1})
    if twice:
        raise TableError(f"{path.name} has the column {', '.join(twice)} more than once; keep one.")
    unknown = [name for name in header if name and name not in known]
    if not unknown:
        return []
    return [
        f"{path.name}: column {', '.join(unknown)} is not known and was passed over; "
        f"known are {', '.join(known)}"
    ]


def _row(line: int, header: list[str], cells: list[str]) -> Row:
    named = {name: cell for name, cell in zip(header, cells, strict=False) if name}
    problem = ""
    if any(cells[len(header) :]):
        problem = (
            f"the row has {len(cells)} cells, the header {len(header)}; a number with a decimal comma "
            "must stand in quotation marks, or separate the cells with semicolons"
        )
    return Row(line, {name: named.get(name, "") for name in header if name}, problem)
