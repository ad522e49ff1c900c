"""The command ``periapical scale``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from radio.cli_shared import (
    EXIT_CODES,
    NOTHING_MEASURED,
    STANDARD_OUTPUT,
    keep_inputs,
    measure_given,
    option,
    takes_facts,
)

if TYPE_CHECKING:
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
    image: Annotated[Path, typer.Argument(help="Radiograph: DICOM, PNG, TIFF or JPEG.", show_default=False)],
    clicks: Annotated[Path, typer.Option(metavar="CLICKS.csv", help="Clicks table.", show_default=False)],
    images: Annotated[
        Path | None, option("Images table; the rows of this image count.", "IMAGES.csv")
    ] = None,
    answers: Annotated[
        Path | None, option("Your answers to pre-flight checks; see periapical checks.", "ANSWERS.csv")
    ] = None,
    json: Annotated[Path | None, option("Write all of it as JSON; - for standard output.", "OUT")] = None,
    picture: Annotated[
        Path | None, option("Draw scales and budgets; a name ending in .png or .svg.", "OUT")
    ] = None,
    detector_pitch_mm: Annotated[
        str | None, option("Width of a pixel on the receptor.", "MM", rich_help_panel=_PIXELS)
    ] = None,
    dpi: Annotated[
        str | None, option("Resolution a film was scanned with.", "N", rich_help_panel=_PIXELS)
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
    from radio.image.radiograph import read_radiograph
    from radio.measure.scale_checks import scale_report
    from radio.measure.settings import DEFAULT_SETTINGS
    from radio.record.answers_table import with_answers
    from radio.record.page import checked_format
    from radio.record.scale_json import scales_json
    from radio.record.tables import read_cases_of_image

    stated = _stated(detector_pitch_mm, dpi, _known(known_mm, between, intervals, known_sd_mm))
    limits = _limits(tilt_deg, depth_mm, lean_deg)
    keep_inputs((image, clicks, images, answers), (json, picture))
    if picture is not None:
        checked_format(picture.suffix.lower().removeprefix("."), picture.name)
    radiograph = read_radiograph(image)
    table = with_answers(read_cases_of_image(image, clicks, images, given), answers)
    measured = measure_given(radiograph, table, clicks.name, DEFAULT_SETTINGS)
    results = [result for result, _ in measured.pairs]
    report = scale_report(radiograph, results, stated, limits, diameters=diameters)
    skips = [*table.skips, *measured.skips]
    if json != STANDARD_OUTPUT:
        from radio.record.scale_terminal import scale_block
        from radio.record.terminal import caution_text, make_console, skips_block

        console = make_console()
        console.print(scale_block(image.name, report, console.width), skips_block(skips), caution_text())
    if json is not None:
        _write(scales_json(radiograph, report, skips), json)
    if picture is not None and report.found.scales:
        from radio.record.scale_picture import scale_page

        scale_page(image.name, report).save(picture)
    for warning in table.warnings:
        typer.echo(f"periapical: {warning}", err=True)
    if not report.found.scales:
        raise typer.Exit(NOTHING_MEASURED)


def _write(text: str, out: Path) -> None:
    from radio.record.atomic import write_text

    if out == STANDARD_OUTPUT:
        typer.echo(text, nl=False)
    else:
        write_text(out, text)


def _number(name: str, text: str, low: float, high: float, unit: str, hint: str = "") -> float:
    from radio.errors import TableError
    from radio.record.cells import number

    try:
        return number(text.strip(), low, high, unit=unit, hint=hint)
    except TableError as problem:
        raise TableError(f"{name}: {problem}") from problem


def _stated(pitch: str | None, dpi: str | None, known: KnownDistance | None) -> StatedScales:
    from calib.pitch import LARGEST_MM, SMALLEST_MM
    from radio.measure.scales import StatedScales

    usual = "often 0.015 to 0.064; 20 µm are 0.02 mm"
    return StatedScales(
        None
        if pitch is None
        else _number("--detector-pitch-mm", pitch, SMALLEST_MM, LARGEST_MM, "mm", usual),
        None if dpi is None else _number("--dpi", dpi, 51, 5080, "dots per inch", "films: 300 to 1200"),
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
        _number("--known-mm", known_mm, 0.2, 200, "mm"),
        None if intervals is None else _count(intervals),
        None if known_sd_mm is None else _number("--known-sd-mm", known_sd_mm, 0, 10, "mm"),
    )


def _count(text: str) -> int:
    from radio.errors import TableError

    value = _number("--intervals", text, 1, 500, "intervals")
    if not value.is_integer():
        raise TableError(f"--intervals: given {text!r}; allowed is a whole number of spaces from 1 to 500")
    return int(value)


def _points(text: str) -> tuple[tuple[float, float], tuple[float, float]]:
    from radio.errors import TableError

    found = re.fullmatch(f"{_POINT}:{_POINT}", text)
    if found is None:
        raise TableError(
            f"--between: given {text!r}; allowed is ROW,COL:ROW,COL in pixels with decimal points, such as "
            "120,340:560.5,352"
        )
    row0, col0, row1, col1 = map(float, found.groups())
    return (row0, col0), (row1, col1)


def _limits(tilt_deg: str, depth_mm: str, lean_deg: str) -> PoseLimits:
    from radio.measure.scale_bounds import PoseLimits

    return PoseLimits(
        _number("--tilt-deg", tilt_deg, 0, 45, "degrees", "usual is 10"),
        _number("--depth-mm", depth_mm, 0, 15, "mm", "usual is 3"),
        _number("--lean-deg", lean_deg, 0, 45, "degrees", "usual is up to 15"),
    )
