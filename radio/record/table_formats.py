"""Tables as CSV, XLSX or Parquet: numbers as numbers, and no text that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from radio.record.atomic import make_directory, write_bytes
from radio.record.book_tables import Cell, Table
from radio.record.wording import CAUTION, MADE_BY

FORMATS = ("csv", "xlsx", "parquet")
# A spreadsheet takes a text that begins so for a formula.
_RUNS = ("=", "+", "-", "@", "\t", "\r")


def write_tables(
    folder: Path, tables: Sequence[Table], formats: Sequence[str], *, decimal_comma: bool = False
) -> tuple[Path, ...]:
    """Write tables into a folder, each in every format; XLSX holds them all as sheets.

    Parameters
    ----------
    folder : pathlib.Path
        Made where it is not there.
    tables : sequence of Table
    formats : sequence of str
        Of :data:`FORMATS`.
    decimal_comma : bool
        CSV with a comma in numbers and a semicolon between cells.

    Returns
    -------
    tuple of pathlib.Path
        What was written.

    Raises
    ------
    PeriapicalError
        The place cannot be written.
    """
    make_directory(folder)
    written: dict[Path, bytes] = {}
    for table in tables:
        if "csv" in formats:
            written[folder / f"{table.name}.csv"] = _csv(table, decimal_comma=decimal_comma)
        if "parquet" in formats:
            written[folder / f"{table.name}.parquet"] = _parquet(table)
    if "xlsx" in formats:
        written[folder / "tables.xlsx"] = _xlsx(tables)
    for path, data in written.items():
        write_bytes(path, data)
    return tuple(written)


def harmless(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula.

    Examples
    --------
    >>> harmless("=1+1"), harmless("MB")
    ("'=1+1", 'MB')
    """
    return f"'{text}" if text.startswith(_RUNS) else text


def _csv(table: Table, *, decimal_comma: bool) -> bytes:
    def written(cell: Cell) -> str:
        if isinstance(cell, str):
            return harmless(cell)
        # repr gives the shortest text that reads back as the very same number
        text = "" if cell is None else repr(cell)
        return text.replace(".", ",") if decimal_comma else text

    text = io.StringIO(newline="")
    # lines end as in RFC 4180; with "\n" alone, a cell holding "\r" would not be quoted before Python 3.13
    writer = csv.writer(text, delimiter=";" if decimal_comma else ",", lineterminator="\r\n")
    writer.writerow(table.columns)
    writer.writerows([written(cell) for cell in row] for row in table.rows)
    # spreadsheets take UTF-8 for something else without the mark at the beginning
    return text.getvalue().encode("utf-8-sig")


def _xlsx(tables: Sequence[Table]) -> bytes:
    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    book = Workbook()
    book.remove(book.worksheets[0])
    for table in tables:
        sheet: Any = book.create_sheet(table.name)
        sheet.append(list(table.columns))
        for title in sheet[1]:
            title.font = Font(bold=True)
        sheet.freeze_panes = "A2"
        for place, row in enumerate(table.rows, start=2):
            for column, cell in enumerate(row, start=1):
                if cell is None:
                    continue
                one = sheet.cell(place, column)
                if isinstance(cell, str):
                    one.value = ILLEGAL_CHARACTERS_RE.sub("", cell)
                    one.data_type = "s"  # never a formula
                elif math.isfinite(cell):
                    one.value = cell
                else:
                    one.value = str(cell)
    about: Any = book.create_sheet("about")
    for line in (MADE_BY, CAUTION):
        about.append([line])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _parquet(table: Table) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    def typed(index: int, column: str) -> Any:
        cells = [row[index] for row in table.rows]
        if column in table.numeric:
            return pa.array([None if one is None else float(one) for one in cells], pa.float64())
        return pa.array([None if one is None else str(one) for one in cells], pa.string())

    arrays = [typed(index, column) for index, column in enumerate(table.columns)]
    head = {"software": MADE_BY, "caution": CAUTION}
    schema = pa.schema(
        [pa.field(name, array.type) for name, array in zip(table.columns, arrays, strict=True)], metadata=head
    )
    stream = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), stream)
    return stream.getvalue()
