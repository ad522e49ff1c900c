"""The commands ``periapical casebook ...``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from radio.cli_casebook_shared import (
    BookArgument,
    ByOption,
    KeyOption,
    NameArgument,
    UniversalOption,
    casebook_app,
    example,
)
from radio.cli_shared import NOTHING_MEASURED, STANDARD_OUTPUT, JsonOption, option, warn, write_json

if TYPE_CHECKING:
    from radio.record.book_entries import Revision
    from radio.record.casebook import Casebook


def add_casebook_commands(app: typer.Typer) -> None:
    """Register the group."""
    # these register their commands
    from radio import cli_casebook_out, cli_deidentify  # noqa: F401

    app.add_typer(casebook_app)


@casebook_app.command(epilog=example("make practice.casebook"))
def make(book: BookArgument) -> None:
    """Make an empty casebook; what is there is never written over."""
    from radio.record.casebook import Casebook

    Casebook.make(book).close()
    typer.echo(f"Made the casebook {book.resolve()}")


@casebook_app.command(epilog=example("add practice.casebook --images IMAGES.csv --clicks CLICKS.csv --by R1"))
def add(
    book: BookArgument,
    images: Annotated[Path | None, option("Images table, measured and kept.", "IMAGES.csv")] = None,
    clicks: Annotated[Path | None, option("Clicks table, with --images.", "CLICKS.csv")] = None,
    tracings: Annotated[Path | None, option("Tracings saved by the panel.", "TRACINGS.json")] = None,
    readings: Annotated[Path | None, option("Electronic readings.", "READINGS.csv")] = None,
    courses: Annotated[Path | None, option("Courses of treatment.", "COURSE.csv")] = None,
    report: Annotated[
        Path | None, option("Tracings in a DICOM report that export wrote.", "REPORT.dcm")
    ] = None,
    by: ByOption = "",
    de_identify: Annotated[
        Path | None,
        typer.Option("--de-identify", metavar="DIR", help="De-identify images and tables into DIR first."),
    ] = None,
    key: KeyOption = None,
) -> None:
    """Add measured cases, saved tracings, readings or courses; what is there already is not added again.

    A canal that the same reader measured before on the same image becomes a new revision, where anything is
    different. A row that cannot be taken is named and left out.
    """
    from radio.cli_deidentify import de_identified
    from radio.errors import PeriapicalError
    from radio.record.book_import import add_cases, add_courses, add_readings, add_report, add_tracings
    from radio.record.casebook import Casebook
    from radio.record.deidentify import Rules

    if (images is None) != (clicks is None):
        raise PeriapicalError("--images and --clicks belong together; give both.")
    if images is None and all(one is None for one in (tracings, readings, courses, report)):
        raise PeriapicalError(
            "There is nothing to add; give --images with --clicks, --tracings, --readings, --courses or "
            "--report."
        )
    if de_identify is not None and (tracings is not None or report is not None):
        raise PeriapicalError(
            "--de-identify is of images and tables; tracings and reports name images and cannot be "
            "de-identified on the way. Add them by themselves, or measure the images anew."
        )
    new, told = 0, list[str]()
    if de_identify is not None:
        given = {"images": images, "clicks": clicks, "readings": readings, "courses": courses}
        made = de_identified((), given, de_identify, key, Rules())
        images, clicks, readings, courses = (made.get(name) for name in given)
    with Casebook.open(book) as opened:
        if images is not None and clicks is not None:
            new += _noting(told, add_cases(opened, images, clicks, by))
        if tracings is not None:
            new += _noting(told, add_tracings(opened, tracings))
        if report is not None:
            new += _noting(told, add_report(opened, report))
        if readings is not None:
            new += _noting(told, add_readings(opened, readings, by))
        if courses is not None:
            new += _noting(told, add_courses(opened, courses, by))
    warn(told)
    typer.echo(f"Added to {book.name}: {new} {'revision' if new == 1 else 'revisions'}.")
    if not new and told:
        raise typer.Exit(NOTHING_MEASURED)


def _noting(told: list[str], outcome: tuple[int, Sequence[str]]) -> int:
    told += outcome[1]
    return outcome[0]


@casebook_app.command("list", epilog=example("list practice.casebook --tooth 36 --universal"))
def list_revisions(
    book: BookArgument,
    subject: Annotated[str | None, option("Only of this pseudonym.", "SUBJECT")] = None,
    tooth: Annotated[str | None, option("Only of this tooth, ISO 3950.", "TOOTH")] = None,
    universal: UniversalOption = False,
    json: JsonOption = None,
) -> None:
    """List what stands now, one line a revision."""
    from radio.record.casebook import Casebook

    with Casebook.open(book, write=False) as opened:
        found = [
            one for one in opened.standing() if subject in (None, one.subject) and tooth in (None, one.tooth)
        ]
        _show(opened, found, json, with_universal=universal)


@casebook_app.command(epilog=example("show practice.casebook 3f2a91c0"))
def show(
    book: BookArgument, name: NameArgument, universal: UniversalOption = False, json: JsonOption = None
) -> None:
    """Show one revision: of a tracing every number with uncertainty, method and basis, and its checks."""
    from radio.record.book_numbers import revision_block
    from radio.record.casebook import Casebook
    from radio.record.terminal import caution_text, make_console

    with Casebook.open(book, write=False) as opened:
        one = opened.named(name)
        if json is not None:
            _show(opened, [one], json)
        if json != STANDARD_OUTPUT:
            console = make_console()
            console.print(revision_block(one, with_universal=universal))
            console.print(caution_text())


@casebook_app.command(epilog=example("history practice.casebook 3f2a91c0"))
def history(
    book: BookArgument, name: NameArgument, universal: UniversalOption = False, json: JsonOption = None
) -> None:
    """List every revision of the same thing, the oldest first; all of them can be restored."""
    from radio.record.casebook import Casebook

    with Casebook.open(book, write=False) as opened:
        _show(opened, opened.history(name), json, with_universal=universal)


@casebook_app.command(epilog=example("restore practice.casebook 3f2a91c0 --by R1"))
def restore(book: BookArgument, name: NameArgument, by: ByOption = "") -> None:
    """Let an earlier revision stand again, as a new one; what stood stays in the history."""
    from radio.record.casebook import Casebook

    with Casebook.open(book) as opened:
        made = opened.restore(name, by)
    typer.echo(f"Restored as revision {made.uuid}.")


@casebook_app.command(epilog=example("merge practice.casebook laptop.casebook"))
def merge(
    book: BookArgument,
    others: Annotated[
        list[Path], typer.Argument(metavar="OTHER...", help="Casebooks to take in.", show_default=False)
    ],
) -> None:
    """Take everything of other casebooks into this one; the others stay as they are.

    It may be done in any order and again. Where two books went on with the same revision, both stand until
    one of them is restored.
    """
    from radio.record.book_merge import merge as take_in
    from radio.record.casebook import Casebook

    with Casebook.open(book) as opened:
        for other in others:
            merged = take_in(opened, other)
            added = merged.added
            typer.echo(f"{other.name}: {added.new} new, {added.known} there already.")
        warn(f"both stand, restore the one that is right: {told}" for told in merged.conflicts)


@casebook_app.command("back-up", epilog=example("back-up practice.casebook /media/disk/practice.casebook"))
def back_up_book(
    book: BookArgument,
    to: Annotated[Path, typer.Argument(metavar="TO", help="The copy.", show_default=False)],
) -> None:
    """Copy a casebook as it stands, also while others write to it, and check the copy."""
    from radio.record.book_check import back_up
    from radio.record.casebook import Casebook

    with Casebook.open(book, write=False) as opened:
        back_up(opened, to)
    typer.echo(f"Backed up and checked: {to.resolve()}")


@casebook_app.command("check", epilog=example("check practice.casebook"))
def check_book(book: BookArgument) -> None:
    """Check that a casebook is whole: every revision as it was written; and which images are missing."""
    from radio.errors import BookError
    from radio.record.book_check import check
    from radio.record.casebook import Casebook

    with Casebook.open(book, write=False) as opened:
        found = check(opened)
    typer.echo(f"{found.revisions} revisions, {found.standing} of them stand.")
    warn(f"both stand, restore the one that is right: {told}" for told in found.conflicts)
    if found.missing_images:
        typer.echo(
            f"{len(found.missing_images)} images are not where they were last seen; "
            "'periapical casebook find' looks for them."
        )
    if found.damage:
        raise BookError(f"{book} is damaged: {'; '.join(found.damage)}. Go back to the newest backup.")
    typer.echo("The casebook is whole.")


@casebook_app.command(epilog=example("find practice.casebook ~/radiographs"))
def find(
    book: BookArgument,
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where to look, with folders in it.", show_default=False)
    ],
) -> None:
    """Find images that were moved or renamed, by their content, and remember where they are."""
    from radio.record.casebook import Casebook

    with Casebook.open(book) as opened:
        found = opened.find_images(folder)
        missing = [one for one in opened.images() if opened.image_path(one) is None]
    for path in found.values():
        typer.echo(f"found {path}")
    typer.echo(f"{len(found)} images found, {len(missing)} still missing.")


def _show(
    book: Casebook, revisions: Sequence[Revision], json: Path | None, *, with_universal: bool = False
) -> None:
    from radio.record.book_terminal import revisions_json, revisions_table
    from radio.record.terminal import make_console

    if json is not None:
        write_json(revisions_json(revisions, book.standing()), json)
    if json is None:
        make_console().print(revisions_table(revisions, with_universal=with_universal))
        typer.echo(f"{len(revisions)} {'revision' if len(revisions) == 1 else 'revisions'}.")
