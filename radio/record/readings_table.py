"""The table of electronic readings that a user writes: from rows to readings ready to be compared."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from radio.errors import PeriapicalError, TableError
from radio.measure.case import CaseFacts
from radio.measure.reading import (
    BASES,
    LONGEST_MM,
    SHORTEST_MM,
    YES_NO_FLAGS,
    Choice,
    Reading,
    ReadingFacts,
)
from radio.measure.readings_list import ListedReading
from radio.measure.result import Measurement
from radio.record import cells
from radio.record.fact_cells import READING_READERS, facts_from_cells
from radio.record.rows import Row, read_rows
from radio.record.working_lengths import WorkingLengths, read_working_lengths

_LABELS = ("image", "subject", "canal", "tooth")
_FACTS = ("canal", "tooth", "electronic_mm", "electronic_mark", "subject")
_RADIOGRAPHIC = ("radiographic_mm", "radiographic_sd_mm")
_CHOICE = ("chosen_mm", "chosen_basis", "chosen_reason", "chosen_by")
READING_COLUMNS = (
    *_LABELS,
    "electronic_mm",
    "electronic_mark",
    "repeats_mm",
    *_RADIOGRAPHIC,
    "file_size",
    "canal_state",
    "resorption",
    *YES_NO_FLAGS,
    "time",
    *_CHOICE,
)

# Two radiographic lengths of one canal that differ by more than their last digit.
_SAME_MM = 0.005


@dataclass(frozen=True)
class LostReading:
    """A row that is not compared: which, and why."""

    line: int
    image: str
    subject: str
    canal: str
    reason: str


@dataclass(frozen=True)
class ReadingsTable:
    """What a table of readings holds.

    Parameters
    ----------
    listed : tuple of ListedReading
        Rows that can be compared, in order.
    lost : tuple of LostReading
        Rows that cannot.
    warnings : tuple of str
        What was passed over.
    """

    listed: tuple[ListedReading, ...]
    lost: tuple[LostReading, ...]
    warnings: tuple[str, ...]


def read_readings(path: Path, results: Path | None = None) -> ReadingsTable:
    """Read a table of electronic readings, and take radiographic lengths from a table of results.

    A wrong cell costs its own row only. A radiographic length of the row itself goes before the one of the
    results.

    Parameters
    ----------
    path : pathlib.Path
        The readings; see :data:`READING_COLUMNS`. ``electronic_mm`` and one of ``image`` and ``subject`` are
        needed.
    results : pathlib.Path or None
        A results table as ``periapical batch`` writes it; joined by image and canal.

    Raises
    ------
    TableError
        A table cannot be read at all, lacks a needed column or has no rows.
    """
    rows, warnings = read_rows(path, READING_COLUMNS, required=("electronic_mm",))
    if not rows:
        raise TableError(f"{path.name} has a header but no rows; give one row for each reading.")
    if not {"image", "subject"} & set(rows[0].cells):
        raise TableError(f"{path.name} has neither a column image nor a column subject; give one of them.")
    lengths = None if results is None else read_working_lengths(results)
    listed: dict[tuple[Any, ...], ListedReading] = {}
    lost = []
    for row in rows:
        one, problems = _listed(row, lengths)
        if one is not None:
            first = listed.setdefault(_key(one), one)
            if first is not one:
                problems = [
                    f"the same canal, mark, file and time as in line {first.line}; put further readings into "
                    "repeats_mm, or give the time of each"
                ]
        if problems:
            lost.append(_lost(row, path.name, problems))
    told = () if lengths is None else lengths.warnings
    return ReadingsTable(tuple(listed.values()), tuple(lost), (*warnings, *told))


def _key(one: ListedReading) -> tuple[Any, ...]:
    reading = one.reading
    return (*one.whose, reading.tooth, reading.canal, reading.mark, reading.file_size, reading.time)


def _lost(row: Row, table: str, problems: list[str]) -> LostReading:
    told = "; ".join(problems)
    image, subject, canal = (row.cells.get(name, "") for name in ("image", "subject", "canal"))
    return LostReading(row.line, image, subject, canal, f"{table} line {row.line}, {told}")


# -- one row -------------------------------------------------------------------------------------------------


def problems_of_reading(row: Row) -> list[str]:
    """Say what is wrong with the cells of one row; nothing when all is well."""
    return [row.problem] if row.problem else _facts_and_values(row)[2]


def _facts_and_values(row: Row) -> tuple[CaseFacts, dict[str, Any], list[str]]:
    """Cells of a row read each by itself, and what is wrong with them."""
    facts, wrong = facts_from_cells({name: row.cells.get(name, "") for name in _FACTS})
    values, problems = _read_cells(row.cells)
    return facts, values, [*problems, *wrong]


def _listed(row: Row, lengths: WorkingLengths | None) -> tuple[ListedReading | None, list[str]]:
    """The reading of one row, or what is wrong with it."""
    if row.problem:
        return None, [row.problem]
    facts, values, problems = _facts_and_values(row)
    image = row.cells.get("image", "")
    if not image and not facts.subject:
        problems.append("columns image and subject: both empty; give one of them")
    if not row.cells["electronic_mm"]:
        problems.append("column electronic_mm: empty; give the file length at which the reading stood")
    if problems:
        return None, problems
    try:
        radiographic, notes = _radiographic(values, image, facts.canal, lengths)
        reading, choice = _reading(facts, values), _choice(values)
    except PeriapicalError as problem:
        return None, [str(problem)]
    if reading.scattered:
        return None, [reading.scattered]
    return ListedReading(row.line, image, facts.subject, reading, radiographic, choice, tuple(notes)), []


def _reading(facts: CaseFacts, values: Mapping[str, Any]) -> Reading:
    assert facts.electronic_mm is not None
    stated = ReadingFacts(**{name: values[name] for name in READING_READERS if name in values})
    return Reading.of(
        facts.electronic_mm, facts.electronic_mark, stated, tooth=facts.tooth, canal=facts.canal
    )


def _choice(values: Mapping[str, Any]) -> Choice | None:
    mm, basis = values.get("chosen_mm"), values.get("chosen_basis")
    reason, by = values.get("chosen_reason", ""), values.get("chosen_by", "")
    if mm is None and basis is None and not reason:
        return None
    if mm is None or basis is None:
        raise TableError(
            "columns chosen_mm and chosen_basis: one is empty; a choice needs length, basis and reason"
        )
    return Choice(mm, basis, reason, by)


def _read_cells(row: Mapping[str, str]) -> tuple[dict[str, Any], list[str]]:
    """Cells that only this table has; an empty one is left out."""
    values: dict[str, Any] = {}
    problems = []
    for column, read in _READERS.items():
        text = row.get(column, "")
        try:
            if text:
                values[column] = read(text)
        except TableError as problem:
            problems.append(f"column {column}: {problem}")
    return values, problems


def _length(text: str) -> float:
    return cells.number(text, SHORTEST_MM, LONGEST_MM, unit="mm", hint="a length from stop to end")


_READERS: Mapping[str, Callable[[str], Any]] = {
    **READING_READERS,
    "radiographic_mm": _length,
    "radiographic_sd_mm": lambda text: cells.number(text, 0, 5, unit="mm", hint="a standard uncertainty"),
    "chosen_mm": _length,
    "chosen_basis": lambda text: cells.choice(text, BASES),
    "chosen_reason": cells.label,
    "chosen_by": cells.label,
}


# -- the radiographic length ---------------------------------------------------------------------------------


def _radiographic(
    values: Mapping[str, Any], image: str, canal: str, lengths: WorkingLengths | None
) -> tuple[Measurement, list[str]]:
    """The length of the row itself, else that of the results, and what must be said of it."""
    found = None if lengths is None else lengths.find(image, canal)
    own, sd = (values.get(name) for name in _RADIOGRAPHIC)
    if own is None:
        if found is None:
            raise TableError(
                "column radiographic_mm: empty; give the length to the radiographic apex, or a table of "
                "results that has it (--results)"
            )
        if found.measured is None:
            raise TableError(f"column radiographic_mm: empty, and {found.told}")
        return found.measured, [found.told] if found.told else []
    notes = []
    if found is not None and found.measured is not None and abs(found.measured.value - own) > _SAME_MM:
        notes.append(
            f"The row gives {own:g} mm to the radiographic apex, {found.measured.basis} gives "
            f"{found.measured.value:.2f} mm; that of the row was taken."
        )
    return (
        Measurement("radiographic_mm", own, "mm", sd, "length to radiographic apex", "stated in the table"),
        notes,
    )
