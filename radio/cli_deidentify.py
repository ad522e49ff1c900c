"""The command ``periapical casebook de-identify``, and the same on the way into a casebook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from radio.cli_casebook_shared import KeyOption, casebook_app, example
from radio.cli_shared import NOTHING_MEASURED, keep_inputs, option, warn

if TYPE_CHECKING:
    from radio.record.deidentify import Rules


@casebook_app.command(
    "de-identify",
    epilog=example("de-identify --images IMAGES.csv --clicks CLICKS.csv --out plain --key safe/key.json"),
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
    de_identified(tuple(pictures or ()), given, out, key, rules)


def de_identified(
    pictures: Sequence[Path], given: Mapping[str, Path | None], out: Path, key: Path | None, rules: Rules
) -> dict[str, Path]:
    """De-identify images and tables and tell what was done without a name; gives the new tables by kind."""
    from radio.errors import PeriapicalError
    from radio.record.deidentify import NOT_PROVEN, Deidentification
    from radio.record.deidentify_tables import NOT_READ, plain_tables
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
    warn(
        f"{given[kind]}: {told[NOT_READ]} {NOT_READ} and were left out; add them without --de-identify to a "
        "casebook of your own to see what is wrong"
        for kind, told in done.items()
        if told[NOT_READ]
    )
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
