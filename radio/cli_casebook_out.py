"""The commands ``periapical casebook export`` and ``sheet``: what leaves a casebook."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from radio.cli_casebook_shared import BookArgument, UniversalOption, casebook_app, example
from radio.cli_shared import NOTHING_MEASURED, keep_inputs, option, warn, write_json

if TYPE_CHECKING:
    from radio.record.casebook import Casebook
    from radio.record.kept import KeptCanal


@casebook_app.command(epilog=example("export practice.casebook --out study --as csv --as xlsx"))
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


@casebook_app.command(epilog=example("sheet practice.casebook --out sheets --tooth 36"))
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
