"""What is stated of a canal, from the cells of a table, from options or from fields of the panel."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from typing import Any

from radio.errors import TableError
from radio.measure.case import CaseFacts
from radio.measure.length_rules import RESORPTIONS
from radio.measure.reading import CANAL_STATES, MARKS, YES_NO_FLAGS, ReadingFacts
from radio.measure.reading import RESORPTIONS as CANAL_RESORPTIONS
from radio.record.cells import (
    accepted_mm,
    canal,
    choice,
    file_size,
    label,
    length_rule,
    number,
    reading_mm,
    time,
    tooth,
)

SCALE_SOURCES = ("file", "ball", "dicom", "given", "none")
START_MARKS = ("stop", "handle")

# The images table names what is stated of the reading as the table of readings does, behind "electronic_".
FACT_COLUMNS = (
    "canal",
    "tooth",
    "view",
    "scale_from",
    "file_length_mm",
    "file_start_at",
    "file_size",
    "ball_diameter_mm",
    "mm_per_px",
    "electronic_mm",
    "electronic_mark",
    "subject",
    "length_rule",
    "resorption",
    "electronic_tolerance_mm",
    *(f"electronic_{one.name}" for one in fields(ReadingFacts)),
    "detector_pitch_mm",
    "dpi",
    "mm_per_px_sd",
)


def _repeats_mm(text: str) -> tuple[float, ...]:
    """Read several lengths in one cell, set apart by spaces, semicolons or bars."""
    parts = [part for part in re.split(r"[;|\s]+|,\s+", text) if part]
    try:
        return tuple(reading_mm(part.rstrip(",")) for part in parts)
    except TableError as problem:
        raise TableError(f"{problem}; set several apart by spaces or semicolons") from problem


def _yes_no(text: str) -> bool:
    return choice(text, ("yes", "no")) == "yes"


READING_READERS: Mapping[str, Callable[[str], Any]] = {
    "repeats_mm": _repeats_mm,
    "file_size": file_size,
    "canal_state": lambda text: choice(text, CANAL_STATES),
    "resorption": lambda text: choice(text, CANAL_RESORPTIONS),
    **dict.fromkeys(YES_NO_FLAGS, _yes_no),
    "time": time,
}

_READERS: Mapping[str, Callable[[str], Any]] = {
    "canal": canal,
    "tooth": tooth,
    "view": label,
    "scale_from": lambda text: choice(text, SCALE_SOURCES),
    "file_length_mm": lambda text: number(
        text, 10, 40, unit="mm", hint="hand files are 21, 25, 28 or 31 mm long, less when a stop is set"
    ),
    "file_start_at": lambda text: choice(text, START_MARKS),
    "file_size": file_size,
    "ball_diameter_mm": lambda text: number(text, 0.5, 20, unit="mm", hint="usual is 5"),
    "mm_per_px": lambda text: number(text, 0.002, 0.5, unit="mm", hint="usual is 0.02 to 0.1"),
    "mm_per_px_sd": lambda text: number(text, 0.00001, 0.1, unit="mm", hint="a standard uncertainty"),
    "detector_pitch_mm": lambda text: number(
        text, 0.01, 0.15, unit="mm", hint="often 0.015 to 0.064; 20 µm are 0.02 mm"
    ),
    "dpi": lambda text: number(text, 75, 4800, unit="dots per inch", hint="films: 300 to 1200"),
    "electronic_mm": reading_mm,
    "electronic_mark": lambda text: choice(text, MARKS),
    "subject": label,
    "length_rule": length_rule,
    "resorption": lambda text: choice("".join(text.split()), RESORPTIONS),
    "electronic_tolerance_mm": accepted_mm,
    **{f"electronic_{name}": read for name, read in READING_READERS.items()},
}


_NOTHING = CaseFacts()
_OWN = frozenset(one.name for one in fields(CaseFacts))


def facts_from_cells(
    cells: Mapping[str, str],
    place: Callable[[str], str] = lambda column: f"column {column}",
    before: CaseFacts = _NOTHING,
) -> tuple[CaseFacts, tuple[str, ...]]:
    """Make the facts of one canal from cells; an empty cell means the default.

    Parameters
    ----------
    cells : mapping of str to str
        By column name; columns that hold no fact are passed over.
    place : callable
        Names a column for the messages.
    before : CaseFacts
        What stays of the facts that have no cell.

    Returns
    -------
    CaseFacts
        As before wherever a cell was wrong.
    tuple of str
        One message for each wrong cell.
    """
    own: dict[str, Any] = {}
    of_reading: dict[str, Any] = {}
    problems = []
    for column in FACT_COLUMNS:
        if column not in cells:
            continue
        name = column.removeprefix("electronic_")
        nested = column not in _OWN
        try:
            default = getattr(_NOTHING.electronic, name) if nested else getattr(_NOTHING, column)
            value = _READERS[column](cells[column]) if cells[column] else default
        except TableError as problem:
            problems.append(f"{place(column)}: {problem}")
        else:
            (of_reading if nested else own)[name if nested else column] = value
    return replace(before, **own, electronic=replace(before.electronic, **of_reading)), tuple(problems)
