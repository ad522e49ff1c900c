"""The command ``periapical scale``."""

from __future__ import annotations

import re
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
    option,
    stated_number,
    takes_facts,
    warn,
    write_json,
)

if TYPE_CHECKING:
    from radio.measure.case import CaseResult
    from radio.measure.known_distance import KnownDistance
    from radio.measure.scale_bounds import PoseLimits
    from radio.measure.scales import StatedScales

_PIXELS = "What is known of the pixels"
_POSES = "How file and canal may stand in the exposure"
_POINT = r"\s*(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)\s*"


def add_scale_commands(app: typer.Typer) -> None:
    """Register the command."""
    app.command(
        epilog="Example: periapical scale tooth36.png --clicks CLICKS.csv --file-length-mm 21 "
        f"--detector-pitch-mm 0.02 --picture scale.svg   |   {EXIT_CODES}"
    )(takes_facts(lengths=False)(scale))


def scale(
    image: ImageArgument,
    clicks: ClicksOption,
    images: ImagesOption = None,
    answers: AnswersOption = None,
    json: JsonOption = None,
    picture: Annotated[
        Path | None, option("Draw scales and budgets; a name ending in .png or .svg.", "OUT")
    ] = None,
    known_mm: Annotated[
        str | None,
        option(
            "Known distance of two points: a wire, or one interval of a grid.", "MM", rich_help_panel=_PIXELS
        ),
    ] = None,
    between: Annotated[
        str | None, option("These two points, pixels.", "ROW,COL:ROW,COL", rich_help_panel=_PIXELS)
    ] = None,
    intervals: Annotated[
        str | None, option("How many intervals of a grid lie between them.", "N", rich_help_panel=_PIXELS)
    ] = None,
    known_sd_mm: Annotated[
        str | None, option("Standard uncertainty of the known distance.", "MM", rich_help_panel=_PIXELS)
    ] = None,
    tilt_deg: Annotated[
        str, typer.Option(metavar="DEG", help="Greatest angle of canal to file.", rich_help_panel=_POSES)
    ] = "10",
    depth_mm: Annotated[
        str, typer.Option(metavar="MM", help="Greatest difference in depth.", rich_help_panel=_POSES)
    ] = "3",
    lean_deg: Annotated[
        str,
        typer.Option(
            metavar="DEG", help="Greatest lean of the file to the receptor.", rich_help_panel=_POSES
        ),
    ] = "15",
    diameters: Annotated[
        bool,
        typer.Option(
            help="Measure the diameters of files against ISO 3630-1; takes up to half a minute each."
        ),
    ] = True,
    *,
    given: Mapping[str, str],
) -> None:
    """Show every scale one image can give, what its uncertainty is made of, and whether they agree.

    Of each canal's file by its length and by its diameters, a ball, the header, a given pixel size, a
    detector pitch, the resolution of a scan, a wire or a grid; the budget of the scale that counts for the
    lengths; the magnification it implies; which file length was really meant; and what a tilt or a difference
    in depth could do to the lengths. What is stated here of pitch, scan, wire or grid only checks the scale
    that counts and replaces none. To measure with another scale, give --scale-from.
    """
    from radio.measure.scale_checks import scale_report
    from radio.record.scale_json import scales_json

    known = _known(known_mm, between, intervals, known_sd_mm)
    limits = _limits(tilt_deg, depth_mm, lean_deg)
    keep_inputs((image, clicks, images, answers), (json, picture))
    check_picture(picture)
    measured = measure_image(image, clicks, images, given, answers=answers)
    results = [result for result, _ in measured.pairs]
    stated = _stated(results, known)
    report = scale_report(measured.radiograph, results, stated, limits, diameters=diameters)
    if json != STANDARD_OUTPUT:
        from radio.record.scale_terminal import scale_block
        from radio.record.terminal import caution_text, make_console, skips_block

        console = make_console()
        told = scale_block(image.name, report, console.width)
        console.print(told, skips_block(measured.skips), caution_text())
    if json is not None:
        write_json(scales_json(measured.radiograph, report, measured.skips), json)
    if picture is not None and report.found.scales:
        from radio.record.scale_picture import scale_page

        scale_page(image.name, report).save(picture)
    warn(measured.warnings)
    if not report.found.scales:
        raise typer.Exit(NOTHING_MEASURED)


def _stated(results: Sequence[CaseResult], known: KnownDistance | None) -> StatedScales:
    """What is stated of the pixels of the image, by the first canal that states it."""
    from radio.measure.scales import StatedScales

    pitches = (one.facts.detector_pitch_mm for one in results)
    scans = (one.facts.dpi for one in results)
    return StatedScales(
        next((one for one in pitches if one is not None), None),
        next((one for one in scans if one is not None), None),
        known,
    )


def _known(
    known_mm: str | None, between: str | None, intervals: str | None, known_sd_mm: str | None
) -> KnownDistance | None:
    from radio.errors import PeriapicalError
    from radio.measure.known_distance import KnownDistance

    if known_mm is None or between is None:
        if any(one is not None for one in (known_mm, between, intervals, known_sd_mm)):
            raise PeriapicalError(
                "A wire or a grid needs both --known-mm and --between: a length, and the two points it lies "
                "between. --intervals and --known-sd-mm belong to them."
            )
        return None
    return KnownDistance(
        _points(between),
        stated_number("--known-mm", known_mm, 0.2, 200, "mm"),
        None if intervals is None else _count(intervals),
        None if known_sd_mm is None else stated_number("--known-sd-mm", known_sd_mm, 0, 10, "mm"),
    )


def _count(text: str) -> int:
    from radio.errors import TableError, echoed

    value = stated_number("--intervals", text, 1, 500, "intervals")
    if not value.is_integer():
        allowed = "a whole number of spaces from 1 to 500"
        raise TableError(f"--intervals: given {echoed(text)}; allowed is {allowed}")
    return int(value)


def _points(text: str) -> tuple[tuple[float, float], tuple[float, float]]:
    from radio.errors import TableError, echoed

    found = re.fullmatch(f"{_POINT}:{_POINT}", text)
    if found is None:
        raise TableError(
            f"--between: given {echoed(text)}; allowed is ROW,COL:ROW,COL in pixels with decimal points, "
            "such as 120,340:560.5,352"
        )
    row0, col0, row1, col1 = map(float, found.groups())
    return (row0, col0), (row1, col1)


def _limits(tilt_deg: str, depth_mm: str, lean_deg: str) -> PoseLimits:
    from radio.measure.scale_bounds import PoseLimits

    return PoseLimits(
        stated_number("--tilt-deg", tilt_deg, 0, 45, "degrees", "usual is 10"),
        stated_number("--depth-mm", depth_mm, 0, 15, "mm", "usual is 3"),
        stated_number("--lean-deg", lean_deg, 0, 45, "degrees", "usual is up to 15"),
    )
