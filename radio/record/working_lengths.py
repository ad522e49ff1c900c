"""Working lengths taken from a table of results, to be joined with other tables by image and canal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from radio.errors import TableError
from radio.measure.result import Measurement
from radio.record import cells
from radio.record.results import RESULT_COLUMNS
from radio.record.rows import Row, read_rows


@dataclass(frozen=True)
class WorkingLength:
    """What the results say of one canal.

    Parameters
    ----------
    measured : Measurement or None
        The working length, mm; None where there is none.
    told : str
        Why there is none, or the warnings beside it; may be empty.
    """

    measured: Measurement | None
    told: str


@dataclass(frozen=True)
class WorkingLengths:
    """Working lengths by image and canal.

    Parameters
    ----------
    table : str
        Name of the table they come from.
    warnings : tuple of str
        What was passed over in it.
    """

    table: str
    warnings: tuple[str, ...]
    _rows: tuple[tuple[str, str, WorkingLength], ...]

    def find(self, image: str, canal: str) -> WorkingLength:
        """Look a canal up by its image as it is written, else by the name of the image without folders."""
        mine = [row for row in self._rows if row[1] == canal and image]
        found = [row for row in mine if row[0] == _plain(image)]
        found = found or [row for row in mine if _name(row[0]) == _name(_plain(image))]
        if not found:
            named = f"image {image}, canal {canal}" if image else "a row without an image"
            return WorkingLength(None, f"{self.table} has nothing on {named}")
        if len(found) > 1:
            return WorkingLength(
                None, f"{self.table} has image {image}, canal {canal} more than once; keep one"
            )
        return found[0][2]


def read_working_lengths(path: Path) -> WorkingLengths:
    """Read the working lengths of a table of results, as ``periapical batch`` writes it.

    Parameters
    ----------
    path : pathlib.Path

    Raises
    ------
    TableError
        The table cannot be read at all, or lacks the columns image and working_length_mm.
    """
    rows, warnings = read_rows(path, RESULT_COLUMNS, required=("image", "working_length_mm"))
    return WorkingLengths(path.name, tuple(warnings), tuple(_rows(rows, path.name)))


def _rows(rows: Sequence[Row], table: str) -> list[tuple[str, str, WorkingLength]]:
    found = []
    for row in rows:
        try:
            if row.problem:
                raise TableError(row.problem)
            one = _length(row, table)
        except TableError as problem:
            one = WorkingLength(None, f"{table} line {row.line}: {problem}")
        found.append((_plain(row.cells["image"]), row.cells.get("canal", "") or "1", one))
    return found


def _length(row: Row, table: str) -> WorkingLength:
    text, sd = row.cells["working_length_mm"], row.cells.get("working_length_sd_mm", "")
    warnings = row.cells.get("warnings", "")
    if not text:
        told = f" ({warnings})" if warnings else ""
        return WorkingLength(None, f"{table} line {row.line} has no working length{told}")
    measured = Measurement(
        "working_length_mm",
        cells.number(text, 1, 60, unit="mm", hint="working_length_mm"),
        "mm",
        cells.number(sd, 0, 20, unit="mm", hint="working_length_sd_mm") if sd else None,
        "length to radiographic apex",
        f"working length of {table} line {row.line}",
    )
    return WorkingLength(measured, f"{table} warns of this canal: {warnings}" if warnings else "")


def _plain(image: str) -> str:
    return str(PurePosixPath(image.replace("\\", "/")))


def _name(image: str) -> str:
    return PurePosixPath(image).name
