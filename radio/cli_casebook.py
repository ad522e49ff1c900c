"""The commands ``periapical casebook ...``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from radio.cli_shared import (
    EXIT_CODES,
    NOTHING_MEASURED,
    STANDARD_OUTPUT,
    JsonOption,
    keep_inputs,
    option,
    warn,
    write_json,
)

if TYPE_CHECKING:
    from radio.record.book_entries import Revision
    from radio.record.casebook import Casebook
    from radio.record.deidentify import Rules
    from radio.record.kept import KeptCanal

casebook_app = typer.Typer(
    name="casebook",
    help="Keep tracings, electronic readings and courses for years in one file that is only added to.",
    no_args_is_help=True,
    rich_markup_mode="markdown",
    context_settings={"help_option_names": ["-h", "--help"]},
)

BookArgument = Annotated[Path, typer.Argument(metavar="BOOK", help="The casebook.", show_default=False)]
NameArgument = Annotated[
    str, typer.Argument(metavar="NAME", help="The first digits of a revision's name.", show_default=False)
]
UniversalOption = Annotated[
    bool, typer.Option("--universal", help="Universal tooth numbers beside ISO 3950.")
]
KeyOption = Annotated[
    Path | None,
    option("The key that makes the pseudonyms and says who is who; made if new. Keep it apart.", "KEY.json"),
]
ByOption = Annotated[str, typer.Option(metavar="WHO", help="Who does it: initials or a number.")]


def add_casebook_commands(app: typer.Typer) -> None:
    """Register the group."""
    app.add_typer(casebook_app)


def _example(text: str) -> str:
    return f"Example: periapical casebook {text}   |   {EXIT_CODES}"


@casebook_app.command(epilog=_example("make practice.casebook"))
def make(book: BookArgument) -> None:
    """Make an empty casebook; what is there is never written over."""
    from radio.record.casebook import Casebook

    Casebook.make(book).close()
    typer.echo(f"Made the casebook {book.resolve()}")


@casebook_app.command(
    epilog=_example("add practice.casebook --images IMAGES.csv --clicks CLICKS.csv --by R1")
)
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
        made = _de_identified((), given, de_identify, key, Rules())
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


@casebook_app.command("list", epilog=_example("list practice.casebook --tooth 36 --universal"))
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


@casebook_app.command(epilog=_example("show practice.casebook 3f2a91c0"))
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


@casebook_app.command(epilog=_example("history practice.casebook 3f2a91c0"))
def history(
    book: BookArgument, name: NameArgument, universal: UniversalOption = False, json: JsonOption = None
) -> None:
    """List every revision of the same thing, the oldest first; all of them can be restored."""
    from radio.record.casebook import Casebook

    with Casebook.open(book, write=False) as opened:
        _show(opened, opened.history(name), json, with_universal=universal)


@casebook_app.command(epilog=_example("restore practice.casebook 3f2a91c0 --by R1"))
def restore(book: BookArgument, name: NameArgument, by: ByOption = "") -> None:
    """Let an earlier revision stand again, as a new one; what stood stays in the history."""
    from radio.record.casebook import Casebook

    with Casebook.open(book) as opened:
        made = opened.restore(name, by)
    typer.echo(f"Restored as revision {made.uuid}.")


@casebook_app.command(epilog=_example("merge practice.casebook laptop.casebook"))
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


@casebook_app.command("back-up", epilog=_example("back-up practice.casebook /media/disk/practice.casebook"))
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


@casebook_app.command("check", epilog=_example("check practice.casebook"))
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


@casebook_app.command(epilog=_example("find practice.casebook ~/radiographs"))
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


@casebook_app.command(epilog=_example("export practice.casebook --out study --as csv --as xlsx"))
def export(
    book: BookArgument,
    out: Annotated[Path | None, option("Folder for the tables, with --as.", "DIR")] = None,
    forms: Annotated[
        list[str] | None,
        typer.Option(
            "--as", metavar="FORM", help="Of --out: csv, xlsx, parquet, json or dicom; several times."
        ),
    ] = None,
    decimal_comma: Annotated[
        bool, typer.Option("--decimal-comma", help="CSV with 1,5 for 1.5 and semicolons between cells.")
    ] = False,
    subject: Annotated[str | None, option("Only of this pseudonym.", "SUBJECT")] = None,
    tooth: Annotated[str | None, option("Only of this tooth, ISO 3950.", "TOOTH")] = None,
    wrap: Annotated[
        bool,
        typer.Option("--wrap", help="Of dicom: keep images of other forms beside, as secondary captures."),
    ] = False,
    tracings: Annotated[
        Path | None, option("Every revision of every tracing, for the panel and other books.", "OUT.json")
    ] = None,
    everything: Annotated[Path | None, option("All revisions of all kinds.", "OUT.json")] = None,
) -> None:
    """Write what a casebook holds: tables of what stands now, or exactly, as JSON.

    The tables are **long** (one row a number, with unit, uncertainty, method and basis), **wide** (one row a
    canal) and a data **dictionary**. The JSON comes with its schema. As DICOM it is a structured report and a
    presentation state for each image and reader, to go with the image: they name the patient it names.
    """
    from radio.errors import PeriapicalError
    from radio.record.book_terminal import revisions_json
    from radio.record.casebook import Casebook
    from radio.record.tracing import Tracing, save_tracings

    chosen = _chosen_forms(forms or ["csv"]) if out is not None else ()
    if out is None and (forms or decimal_comma or wrap):
        raise PeriapicalError("--as, --decimal-comma and --wrap go with a folder; say which with --out DIR.")
    if wrap and "dicom" not in chosen:
        raise PeriapicalError("--wrap is of DICOM; give --as dicom with it.")
    if out is None and tracings is None and everything is None:
        raise PeriapicalError("Say what is to be written; give --out, --tracings or --everything.")
    keep_inputs((book,), (everything,))
    with Casebook.open(book, write=False) as opened:
        if out is not None:
            kept = opened.kept(subject=subject, tooth=tooth)
            warn(_untraced(opened, kept) if subject is None and tooth is None else ())
            if not kept:
                warn(["no tracing stands that fits; the tables have no rows"])
            _write_tables(kept, out, chosen, decimal_comma)
            nothing = not kept or not _write_dicom(kept, out, chosen, wrap)
            if nothing:
                raise typer.Exit(NOTHING_MEASURED)
        revisions = opened.revisions() if tracings or everything else ()
        if tracings is not None:
            traced = [one.content for one in revisions if isinstance(one.content, Tracing)]
            save_tracings(tracings, traced)
            typer.echo(f"{len(traced)} revisions of tracings: {tracings.resolve()}")
        if everything is not None:
            write_json(revisions_json(revisions, opened.standing()), everything)


@casebook_app.command(epilog=_example("sheet practice.casebook --out sheets --tooth 36"))
def sheet(
    book: BookArgument,
    out: Annotated[Path | None, option("Folder for the sheets.", "DIR")] = None,
    subject: Annotated[str | None, option("Only of this pseudonym.", "SUBJECT")] = None,
    tooth: Annotated[str | None, option("Only of this tooth, ISO 3950.", "TOOTH")] = None,
    paper: Annotated[str, option("A4 or Letter.", "PAPER")] = "A4",
    wording: Annotated[Path | None, option("Words of your own, TOML.", "WORDS.toml")] = None,
    write_wording: Annotated[
        Path | None, option("Write the usual words, to be changed.", "WORDS.toml")
    ] = None,
    universal: UniversalOption = False,
) -> None:
    """Write a record of each tooth, HTML that prints to one page: picture, numbers, course, checks, cautions.

    It holds the pixels about the tooth: names burnt into an image there are on the sheet, too.
    """
    from radio.errors import PeriapicalError
    from radio.record.atomic import write_text
    from radio.record.casebook import Casebook
    from radio.record.tooth_sheet import checked_paper, default_wording, tooth_sheets, write_tooth_sheets

    if out is None and write_wording is None:
        raise PeriapicalError("Say where the sheets go with --out DIR (or --write-wording WORDS.toml).")
    keep_inputs((book, wording), (write_wording,))
    if write_wording is not None:
        write_text(write_wording, default_wording())
        typer.echo(f"wrote {write_wording}")
    if out is None:
        return
    with Casebook.open(book, write=False) as opened:
        kept = opened.kept(subject=subject, tooth=tooth)
    if not kept:
        warn(["no tracing stands that fits"])
        raise typer.Exit(NOTHING_MEASURED)
    made = tooth_sheets(kept, paper=checked_paper(paper), wording=wording, with_universal=universal)
    for path in write_tooth_sheets(out, made):
        typer.echo(f"wrote {path}")


@casebook_app.command(
    "de-identify",
    epilog=_example("de-identify --images IMAGES.csv --clicks CLICKS.csv --out plain --key safe/key.json"),
)
def de_identify_images(
    pictures: Annotated[
        list[Path] | None, typer.Argument(metavar="[IMAGE]...", help="Images.", show_default=False)
    ] = None,
    images: Annotated[Path | None, option("Images table; its images are taken, too.", "IMAGES.csv")] = None,
    clicks: Annotated[Path | None, option("Clicks table.", "CLICKS.csv")] = None,
    readings: Annotated[Path | None, option("Electronic readings.", "READINGS.csv")] = None,
    courses: Annotated[Path | None, option("Courses of treatment.", "COURSE.csv")] = None,
    out: Annotated[Path | None, option("Folder for what may be handed on.", "DIR")] = None,
    key: KeyOption = None,
    dates: Annotated[str, option("remove, or shift: moved into the past.", "HOW")] = "remove",
    lettering: Annotated[
        str, option("Where letters are suspected in the pixels: withhold, blank or keep.", "WHAT")
    ] = "withhold",
    blank: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Blank the letters of this one; several times.")
    ] = None,
    keep: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Keep this one as it is; several times.")
    ] = None,
) -> None:
    """Take out of images and tables what says whose they are, before they go into a casebook or to others.

    Names become pseudonyms that follow from the key. DICOM follows the Basic profile of PS3.15; of other
    images the pixels alone stay. An image that seems to have letters burnt in is **withheld** until you have
    looked at it (pictures lie beside the key) and said --blank or --keep. A report tells what was done.
    """
    from typing import cast, get_args

    from radio.errors import PeriapicalError
    from radio.record.deidentify import DECISIONS, Rules, checked_decisions
    from radio.record.deidentify_dicom import Dates

    given = {"images": images, "clicks": clicks, "readings": readings, "courses": courses}
    if out is None or (not pictures and all(one is None for one in given.values())):
        raise PeriapicalError("Say which images or tables, and where they go with --out DIR.")
    for name, value, allowed in (("--dates", dates, get_args(Dates)), ("--lettering", lettering, DECISIONS)):
        if value not in allowed:
            raise PeriapicalError(f"{name} is given as {value!r}; allowed is {', '.join(allowed)}.")
    decided = checked_decisions(blank or (), keep or ())
    rules = Rules(cast("Dates", dates), cast("Any", lettering), decided)
    _de_identified(tuple(pictures or ()), given, out, key, rules)


def _de_identified(
    pictures: Sequence[Path], given: Mapping[str, Path | None], out: Path, key: Path | None, rules: Rules
) -> dict[str, Path]:
    """De-identify images and tables and tell what was done without a name; gives the new tables by kind."""
    from radio.errors import PeriapicalError
    from radio.record.deidentify import NOT_PROVEN, Deidentification
    from radio.record.deidentify_tables import plain_tables
    from radio.record.pseudonyms import Pseudonyms

    if key is None:
        raise PeriapicalError("Give the key with --key KEY.json; it is made if it is new. Keep it apart.")
    tables = {kind: path for kind, path in given.items() if path is not None}
    places = {kind: out / f"{kind.upper()}.csv" for kind in tables}
    keep_inputs((*pictures, *tables.values()), tuple(places.values()))
    run = Deidentification(out, Pseudonyms(key), rules)
    for one in pictures:
        run.image(one)
    done = plain_tables(run, tables, places)
    unknown = sorted(set(rules.decided) - {outcome.name for outcome in run.outcomes.values()})
    report = run.finish(done)
    for outcome in run.outcomes.values():
        told = f"lettering {outcome.decision}" if outcome.written else f"not written: {outcome.reason}"
        typer.echo(f"{outcome.name or 'an image'}: {told}")
    warn([f"--blank or --keep names no image of this run: {name}" for name in unknown])
    if any(outcome.lettering for outcome in run.outcomes.values()):
        typer.echo(f"Places that look like letters are shown in {run.review}")
    typer.echo(f"wrote {report}; the key is {run.key.path}. {NOT_PROVEN}")
    if run.outcomes and not any(outcome.written for outcome in run.outcomes.values()):
        raise typer.Exit(NOTHING_MEASURED)
    return places


def _untraced(book: Casebook, kept: Sequence[KeptCanal]) -> list[str]:
    """Readings and courses that no row of a table can hold."""
    traced = {(one.subject, one.tooth, one.canal) for one in kept}
    left = [one for one in book.standing() if (one.subject, one.tooth, one.canal) not in traced]
    told = "readings or courses of canals without a tracing stand in no table (--everything writes them)"
    return [f"{told}: {len(left)}"] if left else []


def _chosen_forms(given: Sequence[str]) -> tuple[str, ...]:
    from radio.errors import PeriapicalError
    from radio.record.table_formats import FORMATS

    allowed = (*FORMATS, "json", "dicom")
    forms = tuple(one.strip().casefold() for one in given)
    for one in forms:
        if one not in allowed:
            raise PeriapicalError(f"--as is given as {one!r}; allowed is {', '.join(allowed)}.")
    return forms


def _write_tables(kept: Sequence[KeptCanal], out: Path, forms: Sequence[str], decimal_comma: bool) -> None:
    from radio.record.atomic import write_text
    from radio.record.book_tables import tables_of
    from radio.record.table_formats import FORMATS, write_tables
    from radio.record.tracing import tracings_text
    from radio.record.tracing_schema import SCHEMA_NAME, published_schema

    tables = [one for one in forms if one in FORMATS]
    written = write_tables(out, tables_of(kept), tables, decimal_comma=decimal_comma) if tables else ()
    if "json" in forms:
        write_text(out / "tracings.json", tracings_text([one.tracing for one in kept]))
        write_text(out / SCHEMA_NAME, published_schema())
        written = (*written, out / "tracings.json", out / SCHEMA_NAME)
    for path in written:
        typer.echo(f"wrote {path}")


def _write_dicom(kept: Sequence[KeptCanal], out: Path, forms: Sequence[str], wrap: bool) -> bool:
    """Write reports where they are asked for; tells whether anything of what was asked for is there."""
    if "dicom" not in forms:
        return True
    from radio.record.dicom_export import write_dicom

    written, refused = write_dicom(kept, out, wrap=wrap)
    for path in written:
        typer.echo(f"wrote {path}")
    warn(refused)
    return bool(written) or len(forms) > 1


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
