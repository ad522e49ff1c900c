"""The commands ``periapical length`` and ``periapical plan``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from radio.cli_shared import (
    EXIT_CODES,
    NOTHING_MEASURED,
    STANDARD_OUTPUT,
    AnswersOption,
    ClicksOption,
    ImageArgument,
    ImagesOption,
    JsonOption,
    keep_inputs,
    measure_image,
    naming,
    option,
    stated_number,
    takes_facts,
    warn,
    write_json,
)

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph
    from radio.measure.case_lengths import CaseLengths
    from radio.measure.result import Measurement
    from radio.record.length_json import PlannedCanal
    from radio.record.tables import Skip


def add_length_commands(app: typer.Typer) -> None:
    """Register both commands."""
    app.command(
        epilog="Example: periapical length tooth36.png --clicks CLICKS.csv --file-length-mm 21 "
        f"--length-rule 1 --picture drawn   |   {EXIT_CODES}"
    )(takes_facts()(length))
    app.command(
        epilog="Example: periapical plan --file-size 15 --reaches-freely yes --curvature-deg 25 --tooth 36   "
        f"|   {EXIT_CODES}"
    )(plan)


def length(
    image: ImageArgument,
    clicks: ClicksOption,
    images: ImagesOption = None,
    answers: AnswersOption = None,
    picture: Annotated[
        Path | None, option("Folder for a picture of the end of each length, PNG and SVG.", "DIR")
    ] = None,
    json: JsonOption = None,
    *,
    given: Mapping[str, str],
) -> None:
    """Working length of the canals of one image, and the length to work to by each rule.

    File length plus gap, to the radiographic apex; without a file an estimate along the canal from the
    coronal reference, by a ball, a given pixel size or the header; the proportion of tooth to file with its
    uncertainty budget; and what textbooks advise about the gap. The subtraction from the apex is a convention
    and is made only by a rule that you name: 0.5, 1, 1.5, 2, resorption, or your own as 'MM: REASON'.
    """
    from radio.measure.case_lengths import case_lengths

    keep_inputs((image, clicks, images, answers), (json, picture))
    measured = measure_image(image, clicks, images, given, answers=answers)
    lengths = [case_lengths(result) for result, _ in measured.pairs]
    if json != STANDARD_OUTPUT:
        _show(image, lengths, measured.skips)
    if json is not None:
        from radio.record.length_json import lengths_json

        write_json(lengths_json(measured.radiograph, lengths, measured.skips), json)
    if picture is not None:
        _draw(measured.radiograph, lengths, picture, quiet=json == STANDARD_OUTPUT)
    warn(measured.warnings)
    if not any(one.length for one in lengths):
        raise typer.Exit(NOTHING_MEASURED)


def _show(image: Path, lengths: Sequence[CaseLengths], skips: Sequence[Skip]) -> None:
    from radio.record.length_terminal import lengths_block
    from radio.record.terminal import caution_text, make_console, skips_block

    console = make_console()
    for one in lengths:
        console.print(lengths_block(image.name, one))
    console.print(skips_block(skips))
    console.print(caution_text())


def _draw(radiograph: Radiograph, lengths: Sequence[CaseLengths], folder: Path, *, quiet: bool) -> None:
    """Write the pictures, and say which could not be drawn."""
    from radio.errors import PeriapicalError
    from radio.record.atomic import make_directory
    from radio.record.curvature_pictures import stems
    from radio.record.gap_picture import gap_page
    from radio.record.page import FORMATS

    make_directory(folder)
    count = 0
    names = stems(radiograph, [one.result.facts.canal for one in lengths])
    for one, stem in zip(lengths, names, strict=True):
        try:
            page = gap_page(radiograph, one)
        except PeriapicalError as problem:
            typer.echo(f"Not drawn: {problem}", err=quiet)
            continue
        for kind in FORMATS:
            page.save(folder / f"{stem}_length-end.{kind}")
            count += 1
    typer.echo(f"Pictures: {count} in {folder.resolve()}", err=quiet)


@dataclass(frozen=True)
class _Canal:
    """A canal that an order is asked for."""

    name: str
    tooth: str
    curvature: Measurement | None
    s_shaped: bool = False


def plan(
    image: Annotated[
        Path | None, typer.Argument(help="Radiograph to take the curvature from.", show_default=False)
    ] = None,
    clicks: Annotated[Path | None, option("Clicks table, with an image.", "CLICKS.csv")] = None,
    images: ImagesOption = None,
    answers: AnswersOption = None,
    file_size: Annotated[
        str | None, option("Size of the first hand file tried to the estimate, ISO 3630-1.", "SIZE")
    ] = None,
    reaches_freely: Annotated[
        str | None, option("Whether it reached the estimate at once without force: yes or no.", "yes|no")
    ] = None,
    taper: Annotated[str, typer.Option(metavar="TAPER", help="Taper of that file, mm per mm.")] = "0.02",
    curvature_deg: Annotated[str | None, option("Curvature, where no image is given.", "DEG")] = None,
    tooth: Annotated[str | None, option("Tooth, ISO 3950.", "TOOTH")] = None,
    json: Annotated[Path | None, option("Write it as JSON; - for standard output.", "OUT")] = None,
) -> None:
    """Which order: length first, or coronal flaring first and the length late, with the reasons.

    A canal that a size 15 hand file of taper 0.02 passes freely to the estimate is a large one, whose length
    is taken first; a small or curved canal is flared first. Common practice; what is taught against it
    stands beside it, and either order may be recorded. With an image, the Schneider angle of each canal
    counts as its curvature; without any curvature the order is told with its condition.
    """
    from radio.measure.plan import plan as make_plan
    from radio.record.length_json import planned_canal, plans_json
    from radio.record.length_terminal import plan_block
    from radio.record.terminal import caution_text, make_console

    size, freely, widens, at_tooth = _stated(file_size, reaches_freely, taper, tooth)
    keep_inputs((image, clicks, images, answers), (json,))
    canals = _canals(image, (clicks, images, answers), curvature_deg, at_tooth)
    console = make_console()
    kept: list[PlannedCanal] = []
    for one in canals:
        made = make_plan(size, widens, freely, one.curvature, one.tooth, s_shaped=one.s_shaped)
        if json != STANDARD_OUTPUT:
            console.print(plan_block(_title(image, one), made))
        kept.append(
            planned_canal(
                made,
                canal=one.name,
                first_file_size=size,
                taper=widens,
                reaches_freely=freely,
                tooth=one.tooth,
                curvature=one.curvature,
                s_shaped=one.s_shaped,
            )
        )
    if json != STANDARD_OUTPUT:
        console.print(caution_text())
    if json is not None:
        write_json(plans_json("" if image is None else image.name, kept), json)


def _title(image: Path | None, one: _Canal) -> str:
    from radio.measure.case import CaseFacts
    from radio.record.wording import title_of

    if image is None:
        return f"Tooth {one.tooth}" if one.tooth else "Tooth not stated"
    return f"{image.name}: {title_of(CaseFacts(one.name, one.tooth))}"


def _stated(
    file_size: str | None, reaches_freely: str | None, taper: str, tooth: str | None
) -> tuple[int, bool, float, str]:
    """File size, whether it reached freely, taper and tooth, as values."""
    from radio.errors import PeriapicalError
    from radio.record import cells

    if file_size is None or reaches_freely is None:
        raise PeriapicalError(
            "The order needs --file-size and --reaches-freely: which hand file was tried, and whether it "
            "reached the estimated length without force."
        )
    with naming("--file-size"):
        size = cells.file_size(file_size.strip())
    with naming("--reaches-freely"):
        freely = cells.choice(reaches_freely.strip(), ("yes", "no")) == "yes"
    widens = stated_number("--taper", taper, 0.01, 0.2, "mm per mm", "usual is 0.02")
    with naming("--tooth"):
        return size, freely, widens, "" if tooth is None else cells.tooth(tooth.strip())


def _canals(
    image: Path | None, tables: Sequence[Path | None], curvature_deg: str | None, tooth: str
) -> list[_Canal]:
    """What an order is asked for: the canals of an image, or what is stated."""
    from radio.errors import PeriapicalError

    clicks, images, answers = tables
    if image is None:
        if any(one is not None for one in tables):
            raise PeriapicalError("--clicks, --images and --answers belong to an image; give it, too.")
        return [_Canal("1", tooth, _stated_curvature(curvature_deg))]
    if clicks is None:
        raise PeriapicalError("Curvature from an image needs the clicks on it; give them with --clicks.")
    if curvature_deg is not None:
        raise PeriapicalError("The curvature is stated and an image is given; give one of them.")
    measured = measure_image(image, clicks, images, answers=answers)
    warn(f"canal {skip.canal or '?'} left out: {skip.reason}" for skip in measured.skips)
    warn(measured.warnings)
    found = []
    for result, _ in measured.pairs:
        shaped = result.findings.get("s_shaped")
        angle = result.measurements.get("schneider_deg")
        name, stated = result.facts.canal, tooth or result.facts.tooth
        found.append(_Canal(name, stated, angle, shaped is not None and shaped.word == "yes"))
    if not found:
        raise typer.Exit(NOTHING_MEASURED)
    return found


def _stated_curvature(text: str | None) -> Measurement | None:
    from radio.measure.result import Measurement

    if text is None:
        return None
    value = stated_number("--curvature-deg", text, 0.0, 180.0, "degrees")
    return Measurement("curvature_deg", value, "deg", None, "stated, method not told", "stated by the user")
