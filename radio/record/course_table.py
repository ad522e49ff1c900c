"""The tables of a course and of repeated readings: from rows to courses and back."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from radio.errors import PeriapicalError, TableError, echoed
from radio.record import cells
from radio.record.course import LENGTH_LIMITS_MM, Course, CourseEntry, FileUsed, Stage, checked_time
from radio.record.rows import Row, read_rows

COURSE_COLUMNS = (
    "subject",
    "tooth",
    "canal",
    "stage",
    "length_mm",
    "length_sd_mm",
    "basis",
    "file_size",
    "file_material",
    "reference",
    "method",
    "time",
    "note",
)
REPEAT_COLUMNS = ("reader", "subject", "tooth", "canal", "image", "length_mm", "basis", "method", "note")
_WHOSE = ("subject", "tooth", "canal")
# of these at least one must say what was read
_WHAT_WAS_READ = ("subject", "tooth", "canal", "image")


@dataclass(frozen=True)
class SkippedCourse:
    """A course with a wrong row: which, and why."""

    title: str
    reason: str


@dataclass(frozen=True)
class CourseTable:
    """What a table of courses holds; a course with one wrong row is left out whole."""

    courses: tuple[Course, ...]
    skipped: tuple[SkippedCourse, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Repeat:
    """One of several readings of one length.

    Parameters
    ----------
    what : str
        What was read, in words; the same for all its readings.
    length_mm : float
    reader, basis, method : str
        Empty where not stated.
    """

    what: str
    length_mm: float
    reader: str = ""
    basis: str = ""
    method: str = ""


def stage(text: str) -> Stage:
    """Read a stage; hyphens and underscores count as spaces.

    Raises
    ------
    TableError
        Another word; the text lists the stages.
    """
    known = {_spaced(str(one)): one for one in Stage}
    word = _spaced(text)
    if word in known:
        return known[word]
    close = difflib.get_close_matches(word, known, n=1)
    did_you_mean = f"; did you mean {str(known[close[0]])!r}?" if close else ""
    raise TableError(f"given {echoed(text)}; allowed is one of {', '.join(Stage)}{did_you_mean}")


def _spaced(text: str) -> str:
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


def _length(text: str) -> float:
    return cells.number(text, *LENGTH_LIMITS_MM, unit="mm")


def _optional(read: Callable[[str], object]) -> Callable[[str], object]:
    return lambda text: read(text) if text else None


_READERS: Mapping[str, Callable[[str], object]] = {
    "subject": cells.label,
    "tooth": lambda text: cells.tooth(text) if text else "",
    "canal": cells.canal,
    "stage": stage,
    "length_mm": _length,
    "length_sd_mm": _optional(lambda text: cells.number(text, 0, 5, unit="mm")),
    "basis": cells.label,
    "file_size": _optional(cells.file_size),
    "file_material": cells.label,
    "reference": cells.label,
    "method": cells.label,
    "time": checked_time,
    "note": cells.label,
}


def read_courses(path: Path) -> CourseTable:
    """Read a table of courses, one length a row, in the order they were recorded.

    Parameters
    ----------
    path : pathlib.Path
        Its columns are :data:`COURSE_COLUMNS`; stage and length_mm must be there.

    Raises
    ------
    TableError
        The table cannot be read at all, lacks a needed column or has no rows.
    """
    rows, warnings = read_rows(path, COURSE_COLUMNS, required=("stage", "length_mm"))
    if not rows:
        raise TableError(f"{path.name} has a header but no rows; give one row for each length.")
    courses: dict[tuple[str, str, str], Course] = {}
    problems: dict[tuple[str, str, str], list[str]] = {}
    for row in rows:
        values, wrong = _values(row, COURSE_COLUMNS, _READERS)
        named = {name: str(values.get(name, row.cells.get(name, ""))) for name in _WHOSE}
        key = (named["subject"], named["tooth"], named["canal"])
        course = courses.setdefault(key, Course(key[1], key[2], (), key[0]))
        if wrong:
            problems.setdefault(key, []).append(f"{path.name} line {row.line}, {'; '.join(wrong)}")
        else:
            courses[key] = course.adding(_entry(values))
    skipped = tuple(SkippedCourse(courses[key].title, "; ".join(told)) for key, told in problems.items())
    return CourseTable(
        tuple(one for key, one in courses.items() if key not in problems), skipped, tuple(warnings)
    )


def problems_of_course(row: Row) -> list[str]:
    """Say what is wrong with the cells of one row; nothing when all is well."""
    return _values(row, COURSE_COLUMNS, _READERS)[1]


def _values(
    row: Row, columns: Iterable[str], readers: Mapping[str, Callable[[str], object]]
) -> tuple[dict[str, object], list[str]]:
    """Cells of a row by column, and what is wrong with them."""
    values: dict[str, object] = {}
    wrong = []
    for column in columns:
        try:
            values[column] = readers[column](row.cells.get(column, ""))
        except PeriapicalError as problem:
            wrong.append(f"column {column}: {problem}")
    # a row with too many cells has them in the wrong columns
    return values, [row.problem] if row.problem else wrong


def _entry(values: Mapping[str, object]) -> CourseEntry:
    kept = {name: one for name, one in values.items() if name not in _WHOSE}
    file = FileUsed(kept.pop("file_size"), kept.pop("file_material"))  # type: ignore[arg-type]
    return CourseEntry(file=file, **kept)  # type: ignore[arg-type]


def courses_csv(courses: Iterable[Course]) -> str:
    """Write courses as a table that :func:`read_courses` reads back to the same."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COURSE_COLUMNS, lineterminator="\n")
    writer.writeheader()
    for course in courses:
        for one in course.entries:
            writer.writerow(
                {
                    "subject": course.subject,
                    "tooth": course.tooth,
                    "canal": course.canal,
                    "stage": str(one.stage),
                    "length_mm": repr(one.length_mm),
                    "length_sd_mm": "" if one.length_sd_mm is None else repr(one.length_sd_mm),
                    "basis": one.basis,
                    "file_size": "" if one.file.size is None else f"{one.file.size:02d}",
                    "file_material": one.file.material,
                    "reference": one.reference,
                    "method": one.method,
                    "time": one.time,
                    "note": one.note,
                }
            )
    return text.getvalue()


def read_repeats(path: Path) -> tuple[tuple[Repeat, ...], tuple[str, ...]]:
    """Read a table of repeated readings, one reading a row.

    Rows with the same subject, tooth, canal and image are readings of one length.

    Parameters
    ----------
    path : pathlib.Path
        Its columns are :data:`REPEAT_COLUMNS`; length_mm must be there, and one that says what was read.

    Returns
    -------
    tuple of Repeat
    tuple of str
        Warnings.

    Raises
    ------
    TableError
        The table cannot be read, lacks a needed column, has no rows or has a wrong cell.
    """
    rows, warnings = read_rows(path, REPEAT_COLUMNS, required=("length_mm",))
    if not rows:
        raise TableError(f"{path.name} has a header but no rows; give one row for each reading.")
    readers = {name: _length if name == "length_mm" else cells.label for name in REPEAT_COLUMNS}
    repeats, wrong = [], []
    for row in rows:
        values, problems = _values(row, REPEAT_COLUMNS, readers)
        named = [f"{name} {row.cells[name]}" for name in _WHAT_WAS_READ if row.cells.get(name)]
        if not named and not problems:
            problems = [f"nothing says what was read; fill one of {', '.join(_WHAT_WAS_READ)}"]
        if problems:
            wrong.append(f"{path.name} line {row.line}, {'; '.join(problems)}")
        else:
            texts = (str(values[name]) for name in ("reader", "basis", "method"))
            repeats.append(Repeat(", ".join(named), _length(row.cells["length_mm"]), *texts))
    if wrong:
        raise TableError("; ".join(wrong))
    return tuple(repeats), tuple(warnings)
