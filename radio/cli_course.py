"""The command ``periapical course``: the lengths of canals through a treatment."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from radio.cli_shared import EXIT_CODES, NOTHING_MEASURED, keep_inputs, option, stated_number, warn

if TYPE_CHECKING:
    from radio.record.course_changes import RepeatabilityFor
    from radio.record.course_checks import JudgedCourse
    from radio.record.course_table import CourseTable, SkippedCourse

_DOCUMENT = "course.json"


def add_course_commands(app: typer.Typer) -> None:
    """Register the command."""
    app.command(
        epilog="Example: periapical course sample_images/course/COURSE.csv "
        f"--repeats sample_images/course/REPEATS.csv --out course   |   {EXIT_CODES}"
    )(course)


def course(
    table: Annotated[
        Path,
        typer.Argument(
            metavar="COURSE.csv",
            help="One length a row, in the order recorded; or a course.json of an earlier run.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for course.json and the pictures.", show_default=False)
    ],
    repeats: Annotated[
        Path | None, option("Your repeated readings: the spread that changes are judged by.", "REPEATS.csv")
    ] = None,
    reader: Annotated[str | None, option("Whose repeats count, where several read.", "NAME")] = None,
    reader_sd_mm: Annotated[str | None, option("Your own SD, in the place of --repeats.", "MM")] = None,
    across_file_sizes: Annotated[
        bool, typer.Option("--across-file-sizes", help="Compare lengths read with files of different sizes.")
    ] = False,
) -> None:
    """Change of the length of canals from stage to stage of a treatment, judged by your own repeat error.

    Stages: estimate, scouting, after coronal flaring, after mid-root shaping, final. A change counts as one
    where it exceeds both the least significant change, 2.77 times the SD of your own repeated readings, and
    its own 95 % uncertainty; the SD is 0.2 mm by default until there are three repeats. Lengths are compared
    where reference, method, basis and file are the same; else the comparison is blocked and says why. Nothing
    is predicted.

    COURSE.csv has the columns subject, tooth, canal, stage, length_mm, length_sd_mm, basis, file_size,
    file_material, reference, method, time, note; basis, file_material, reference and method are in your own
    words, and any other word is another way of reading. REPEATS.csv has reader, subject, tooth, canal, image,
    length_mm, basis, method, note; rows of the same subject, tooth, canal and image are readings of one
    length.
    """
    from radio.errors import TableError
    from radio.record.course_checks import judge_course

    keep_inputs((table, repeats), (out / _DOCUMENT,))
    judged_by, told = _judge(repeats, reader, reader_sd_mm)
    read = _read(table)
    if not read.courses:
        raise TableError("; ".join(one.reason for one in read.skipped))
    judged = [judge_course(one, judged_by, across_sizes=across_file_sizes) for one in read.courses]
    _write(judged, read.skipped, out)
    _show(judged, read.skipped, out)
    warn((*read.warnings, *told))
    if not any(change.length_change for one in judged for change in one.changes):
        raise typer.Exit(NOTHING_MEASURED)


def _read(table: Path) -> CourseTable:
    if table.suffix.casefold() == ".json":
        from radio.record.course_json import read_courses_json

        return read_courses_json(table)
    from radio.record.course_table import read_courses

    return read_courses(table)


def _judge(
    repeats: Path | None, reader: str | None, reader_sd_mm: str | None
) -> tuple[RepeatabilityFor, Sequence[str]]:
    """What lengths are judged by, and warnings about its table."""
    from radio.errors import PeriapicalError
    from radio.measure.repeatability import SD_LIMITS_MM, stated_repeatability
    from radio.record.course_repeats import by_default, by_repeats
    from radio.record.course_table import read_repeats

    if repeats is not None and reader_sd_mm is not None:
        raise PeriapicalError("--repeats and --reader-sd-mm both state your spread; give one of them.")
    if reader is not None and repeats is None:
        raise PeriapicalError("--reader chooses among repeated readings; give their table with --repeats.")
    if reader_sd_mm is not None:
        own = stated_repeatability(stated_number("--reader-sd-mm", reader_sd_mm, *SD_LIMITS_MM, "mm"))
        return lambda _: own, ()
    if repeats is None:
        return by_default(), ()
    readings, warnings = read_repeats(repeats)
    return by_repeats(readings, reader), warnings


def _write(judged: Sequence[JudgedCourse], skipped: Sequence[SkippedCourse], out: Path) -> None:
    from radio.record.atomic import make_directory, write_text
    from radio.record.course_json import courses_json
    from radio.record.course_picture import course_page
    from radio.record.page import FORMATS

    make_directory(out)
    write_text(out / _DOCUMENT, courses_json(judged, skipped))
    for stem, one in zip(_stems(judged), judged, strict=True):
        page = course_page(one)
        for kind in FORMATS:
            page.save(out / f"{stem}.{kind}")


def _stems(judged: Sequence[JudgedCourse]) -> list[str]:
    """Names for the pictures."""
    from radio.record.page import file_stems

    of_course = (("course", one.course.subject, one.course.tooth, one.course.canal) for one in judged)
    return file_stems("_".join(part for part in parts if part) for parts in of_course)


def _show(judged: Sequence[JudgedCourse], skipped: Sequence[SkippedCourse], out: Path) -> None:
    from radio.record.course_terminal import course_block, published_block, skipped_block
    from radio.record.terminal import caution_text, make_console

    console = make_console()
    for one in judged:
        console.print(course_block(one, console.width))
    console.print(published_block())
    console.print(skipped_block(skipped))
    console.print(caution_text())
    typer.echo(f"Written: {out.resolve()}")
