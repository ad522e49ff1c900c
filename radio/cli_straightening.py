"""The command ``periapical straightening``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
    check_picture,
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
    from calib.instruments import HandFile
    from radio.image.radiograph import Radiograph
    from radio.measure.case import CaseResult, Clicks
    from radio.measure.straightening_case import CaseStraightening
    from radio.record.tables import Skip


def add_straightening_commands(app: typer.Typer) -> None:
    """Register the command."""
    app.command(
        epilog="Example: periapical straightening tooth36.png --clicks CLICKS.csv --file-length-mm 21 "
        f"--prepared-size 25 --prepared-taper 0.06 --picture tooth36_straightening.png   |   {EXIT_CODES}"
    )(takes_facts(lengths=False)(straightening))


def straightening(
    image: ImageArgument,
    clicks: ClicksOption,
    images: ImagesOption = None,
    answers: AnswersOption = None,
    prepared_size: Annotated[
        str | None, option("Size of the file the canal is to be widened with, ISO 3630-1.", "SIZE")
    ] = None,
    prepared_taper: Annotated[str | None, option("Its taper, mm per mm; 0.02 unless given.", "TAPER")] = None,
    json: JsonOption = None,
    picture: Annotated[
        Path | None, option("Draw walls, centre line and taut paths, .png or .svg.", "OUT.png")
    ] = None,
    *,
    given: Mapping[str, str],
) -> None:
    """How much the length of a canal can shrink while it straightens, at most: geometry, not a prediction.

    The canal's walls are traced, and the shortest way inside them, as a taut string takes it, is compared
    with the centre line; with --prepared-size also after the canal is widened by that file. --file-size is
    the file in the image, on which the length is read. Published changes of length stand beside it.
    """
    from radio.record.tables import Skip

    prepared = _prepared(prepared_size, prepared_taper)
    check_picture(picture)
    keep_inputs((image, clicks, images, answers), (json, picture))
    measured = measure_image(image, clicks, images, given, answers=answers)
    found, reasons = _bounds(measured.radiograph, measured.pairs, prepared)
    skips = [*measured.skips, *(Skip(image.name, canal, reason) for canal, reason in reasons.items())]
    if json != STANDARD_OUTPUT:
        _show(image, found, skips)
    _write(measured.radiograph, found, skips, json, picture)
    warn(measured.warnings)
    if not found:
        raise typer.Exit(NOTHING_MEASURED)


def _prepared(size: str | None, taper: str | None) -> HandFile | None:
    """The file a canal is to be widened with; None where none is named."""
    from calib.instruments import HandFile
    from radio.errors import PeriapicalError
    from radio.record.cells import file_size

    if size is None:
        if taper is not None:
            raise PeriapicalError("--prepared-taper is of the file of --prepared-size; give that too.")
        return None
    with naming("--prepared-size"):
        chosen = file_size(size.strip())
    if taper is None:
        return HandFile(chosen, 0.02)
    return HandFile(chosen, stated_number("--prepared-taper", taper, 0.01, 0.2, "mm per mm (6 % is 0.06)"))


def _bounds(
    radiograph: Radiograph, pairs: Sequence[tuple[CaseResult, Clicks]], prepared: HandFile | None
) -> tuple[list[CaseStraightening], dict[str, str]]:
    """The straightening of each canal, or why there is none."""
    from radio.errors import CalibrationError, PeriapicalError
    from radio.measure.straightening_case import straightening_of_case

    found, reasons = [], {}
    for result, clicked in pairs:
        try:
            found.append(straightening_of_case(radiograph, clicked, result, prepared))
        except (PeriapicalError, CalibrationError) as problem:
            told = "; ".join(remark.text for remark in result.remarks if remark.level != "note")
            reasons[result.facts.canal] = f"{problem}. {told}".strip()
    return found, reasons


def _show(image: Path, found: Sequence[CaseStraightening], skips: Sequence[Skip]) -> None:
    from radio.record.straightening_terminal import published_block, straightening_block
    from radio.record.terminal import caution_text, make_console, skips_block

    console = make_console()
    for one in found:
        console.print(straightening_block(image.name, one, console.width))
    if found:
        console.print(published_block())
    console.print(skips_block(skips))
    console.print(caution_text())


def _write(
    radiograph: Radiograph,
    found: Sequence[CaseStraightening],
    skips: Sequence[Skip],
    json: Path | None,
    picture: Path | None,
) -> None:
    if json is not None:
        from radio.record.straightening_json import straightening_json

        write_json(straightening_json(radiograph, found, skips), json)
    if picture is not None and found:
        from radio.record.straightening_picture import draw_straightening

        draw_straightening(radiograph, found, picture)
