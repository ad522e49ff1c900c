"""Casebooks for tests: tracings, readings and courses that differ, and a book that holds some."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from typer.testing import CliRunner

from radio.cli import app
from radio.measure.reading import Reading
from radio.measure.readings_list import ListedReading
from radio.measure.result import Measurement
from radio.record.casebook import Casebook
from radio.record.course import Course, CourseEntry, Stage
from radio.record.tracing import Tracing
from tests.fixtures.made_case import made_case, made_radiograph

RADIOGRAPH = made_radiograph()
_, CLICKS, RESULT = made_case()


def tracing(canal="1", tooth="36", subject="P-01", **options) -> Tracing:
    facts = replace(RESULT.facts, canal=canal, tooth=tooth, subject=subject)
    return Tracing.from_case(RADIOGRAPH, CLICKS, replace(RESULT, facts=facts), **options)


def reading(mm=21.5, subject="P-01", tooth="36", canal="1") -> ListedReading:
    length = Measurement("working_length_mm", 22.0, "mm", 0.2, "m", "b")
    one = Reading(mm, "zero", tooth, canal)
    return ListedReading(7, "made.png", subject, one, length)


def course(*lengths_mm, subject="P-01", tooth="36", canal="1") -> Course:
    entries = tuple(CourseEntry(Stage.ESTIMATE, mm) for mm in lengths_mm)
    return Course(tooth, canal, entries, subject)


def command(*arguments, code=0) -> str:
    """Run ``periapical casebook ...``; gives what it said, its error among it."""
    done = CliRunner().invoke(app, ["casebook", *map(str, arguments)])
    assert done.exit_code == code, done.output + str(done.exception)
    return done.output + str(done.exception or "")


def forge(path, change):
    """Change rows of revisions behind the back of a book, as SQL sets them, its guard taken away."""
    plain = sqlite3.connect(path)
    plain.execute("DROP TRIGGER revision_no_update")
    plain.execute(f"UPDATE revision SET {change}")
    plain.commit()
    plain.close()


def filled(path) -> Casebook:
    """Make a book of two canals, the first with two revisions, a reading and a course."""
    book = Casebook.make(path)
    first = tracing(reader="reader A")
    second = tracing(reader="reader A", supersedes=first)
    book.add_tracings([first, second, tracing(canal="2", reader="reader B")])
    book.add_reading(reading(), "reader A")
    book.add_course(course(21.0), "reader A")
    return book
