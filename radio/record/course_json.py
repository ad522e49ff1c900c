"""The machine-readable form of judged courses.

A JSON object with ``schema`` ``"napari-periapical courses"`` and ``schema_version`` 1. The classes below are
its schema, field by field; :meth:`CourseDocument.model_json_schema` gives it as JSON Schema. The lengths can
be read back and judged anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, FiniteFloat, ValidationError

from radio.errors import PeriapicalError, TableError
from radio.measure.check_rules.contract import Check
from radio.measure.published_change import (
    CONTRADICTIONS,
    FIXED_FIGURES,
    PUBLISHED_CHANGES,
    FixedFigure,
    Published,
)
from radio.measure.repeatability import LSC_FACTOR, Repeatability
from radio.record.course import Course, CourseEntry
from radio.record.course_changes import Change, Verdict
from radio.record.course_checks import JudgedCourse
from radio.record.course_table import CourseTable, SkippedCourse
from radio.record.document import Document
from radio.record.measured import Number
from radio.record.traced import Record

_LARGEST_BYTES = 200_000_000


class OwnRepeatability(Record):
    """The reader's repeatability, with the least significant change that follows from it, mm."""

    sd_mm: FiniteFloat
    interval_mm: tuple[FiniteFloat, FiniteFloat] | None
    repeats: int | None
    source: Literal["repeats", "stated", "default"]
    basis: str
    warnings: tuple[str, ...]
    least_significant_change_mm: FiniteFloat
    sure_least_significant_change_mm: FiniteFloat

    @classmethod
    def from_repeatability(cls, one: Repeatability) -> OwnRepeatability:
        """Take over a repeatability."""
        return cls(
            sd_mm=one.sd_mm,
            interval_mm=one.interval_mm,
            repeats=one.repeats,
            source=one.source,
            basis=one.basis,
            warnings=one.warnings,
            least_significant_change_mm=one.lsc_mm,
            sure_least_significant_change_mm=one.sure_lsc_mm,
        )


class JudgedChange(Record):
    """Two lengths against each other; `earlier` and `later` are places in the entries, from 0.

    A change is `whole` where it spans stages that are also compared one by one.
    """

    earlier: int
    later: int
    whole: bool
    verdict: Verdict
    told: str
    blocked: tuple[str, ...]
    length_change_mm: Number | None
    beside_fixed: str
    repeatability: OwnRepeatability

    @classmethod
    def from_change(cls, one: Change, entries: Sequence[CourseEntry]) -> JudgedChange:
        """Take over a change between two of the entries."""
        places = {id(entry): place for place, entry in enumerate(entries)}
        number = None if one.length_change is None else Number.from_measurement(one.length_change)
        return cls(
            earlier=places[id(one.earlier)],
            later=places[id(one.later)],
            whole=one.whole,
            verdict=one.verdict,
            told=one.told,
            blocked=one.blocked,
            length_change_mm=number,
            beside_fixed=one.beside_fixed,
            repeatability=OwnRepeatability.from_repeatability(one.repeatability),
        )


class CourseRecord(Record):
    """One canal: the lengths as they were recorded, their changes, and what was found."""

    subject: str
    tooth: str
    canal: str
    entries: tuple[CourseEntry, ...]
    changes: tuple[JudgedChange, ...]
    checks: tuple[Check, ...]


class CourseDocument(Document):
    """All courses of a table, with what is published beside them."""

    schema_name: Annotated[Literal["napari-periapical courses"], Field(alias="schema")]
    least_significant_change_factor: FiniteFloat
    courses: tuple[CourseRecord, ...]
    skipped: tuple[SkippedCourse, ...]
    fixed_figures: tuple[FixedFigure, ...]
    published: tuple[Published, ...]
    contradictions: str


def courses_json(judged: Sequence[JudgedCourse], skipped: Sequence[SkippedCourse] = ()) -> str:
    """Write judged courses as JSON text.

    Parameters
    ----------
    judged : sequence of JudgedCourse
    skipped : sequence of SkippedCourse
        Courses that could not be judged.

    Returns
    -------
    str
        The text of a :class:`CourseDocument`.
    """
    return CourseDocument.text(
        least_significant_change_factor=LSC_FACTOR,
        courses=tuple(_record(one) for one in judged),
        skipped=tuple(skipped),
        fixed_figures=FIXED_FIGURES,
        published=PUBLISHED_CHANGES,
        contradictions=CONTRADICTIONS,
    )


def _record(one: JudgedCourse) -> CourseRecord:
    course = one.course
    return CourseRecord(
        subject=course.subject,
        tooth=course.tooth,
        canal=course.canal,
        entries=course.entries,
        changes=tuple(JudgedChange.from_change(change, course.entries) for change in one.changes),
        checks=one.checks,
    )


def read_courses_json(path: Path) -> CourseTable:
    """Read the lengths back from a document of :func:`courses_json`; they can be added to and judged anew.

    Raises
    ------
    TableError
        It cannot be read, or is not such a document.
    """
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise TableError(f"{path.name} is larger than {_LARGEST_BYTES // 10**6} MB; is it a document?")
        document = CourseDocument.model_validate_json(path.read_bytes())
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise TableError(f"The document {path} cannot be read ({reason}); check the place.") from problem
    except (ValidationError, PeriapicalError) as problem:
        told = _first_problem(problem)
        raise TableError(
            f"{path.name} is not a document of courses as `periapical course` writes it: {told}. "
            "Give such a document, or a table COURSE.csv."
        ) from problem
    courses = tuple(Course(one.tooth, one.canal, one.entries, one.subject) for one in document.courses)
    return CourseTable(courses, document.skipped, ())


def _first_problem(problem: Exception) -> str:
    if not isinstance(problem, ValidationError):
        return str(problem)
    first = problem.errors(include_url=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"{place or 'the whole'}: {first['msg']}"
