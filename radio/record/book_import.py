"""From tables and documents into a casebook; each gives how much was new, and what was left out and why."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path

from radio.measure.case import CaseResult
from radio.measure.settings import DEFAULT_SETTINGS
from radio.record.casebook import Casebook
from radio.record.course_table import read_courses
from radio.record.readings_table import read_readings
from radio.record.tables import CaseInput, read_cases
from radio.record.tracing import Tracing, load_tracings

Outcome = tuple[int, list[str]]


def add_cases(book: Casebook, images: Path, clicks: Path, reader: str = "") -> Outcome:
    """Measure the canals of two tables and keep them; what differs from what stood is a new revision.

    Parameters
    ----------
    book : Casebook
    images, clicks : pathlib.Path
        The tables.
    reader : str
        Who placed the points.

    Raises
    ------
    PeriapicalError
        A table cannot be read at all, or the book cannot be written.
    """
    from radio.study.one_image import measure_image

    table = read_cases(images, clicks)
    told = [*table.warnings, *(f"{one.image}, canal {one.canal}: {one.reason}" for one in table.skips)]
    new = 0
    for path, cases in groupby(sorted(table.cases, key=lambda one: str(one.path)), lambda one: one.path):
        measured = measure_image(path, tuple(cases))
        told += [f"{one.image}, canal {one.canal}: {one.reason}" for one in measured.skips]
        if measured.radiograph is None:
            continue
        tracings = []
        for one in measured.outcomes:
            if one.result is not None:
                before = _before(book, measured.radiograph.sha256, one.case, reader)
                if before is None or not _same(before, one.case, one.result):
                    tracings.append(
                        Tracing.from_case(
                            measured.radiograph,
                            one.case.clicks,
                            one.result,
                            supersedes=before,
                            reader=reader,
                            settings=DEFAULT_SETTINGS,
                        )
                    )
        new += book.add_tracings(tracings, paths={measured.radiograph.sha256: path}).new
    return new, told


def _before(book: Casebook, sha256: str, case: CaseInput, reader: str) -> Tracing | None:
    """Find what stands of this canal by this reader."""
    for one in reversed(book.standing("tracing")):
        if (one.image_sha256, one.canal) != (sha256, case.facts.canal):
            continue
        content = one.content  # who restored a tracing is not who placed its points
        assert isinstance(content, Tracing)
        if content.reader == reader:
            return content
    return None


def _same(before: Tracing, case: CaseInput, result: CaseResult) -> bool:
    """Whether a measured case says what was kept already."""
    placed = {name: tuple(map(tuple, points.tolist())) for name, points in case.clicks.items() if len(points)}
    return before.facts == result.facts and dict(before.clicks) == placed


def add_tracings(book: Casebook, document: Path) -> Outcome:
    """Keep every revision of a document of tracings; its images are looked for beside it.

    Raises
    ------
    PeriapicalError
        The document is damaged, or the book cannot be written.
    """
    tracings = load_tracings(document)
    added = book.add_tracings(tracings)
    book.find_images(document.parent, deep=False)
    return added.new, []


def add_report(book: Casebook, report: Path) -> Outcome:
    """Keep the tracings of a DICOM report of :mod:`radio.record.report_sr`; images are looked for beside it.

    Raises
    ------
    PeriapicalError
        It is no such report or was changed, or the book cannot be written.
    """
    from radio.record.report_sr import read_report

    added = book.add_tracings(read_report(report))
    book.find_images(report.parent, deep=False)
    return added.new, []


def add_readings(book: Casebook, table: Path, author: str = "") -> Outcome:
    """Keep the electronic readings of a table.

    Raises
    ------
    PeriapicalError
        The table cannot be read, or the book cannot be written.
    """
    read = read_readings(table)
    new = sum(book.add_reading(one, author).new for one in read.listed)
    return new, [*read.warnings, *(one.reason for one in read.lost)]


def add_courses(book: Casebook, table: Path, author: str = "") -> Outcome:
    """Keep the courses of a table.

    Raises
    ------
    PeriapicalError
        The table cannot be read, or the book cannot be written.
    """
    read = read_courses(table)
    new = sum(book.add_course(one, author).new for one in read.courses)
    return new, [*read.warnings, *(one.reason for one in read.skipped)]
