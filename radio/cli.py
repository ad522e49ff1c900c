"""The command ``periapical``.

Only the standard library, typer and rich are loaded before a command runs, so that help comes at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from radio.cli_casebook import add_casebook_commands
from radio.cli_checks import add_checks_commands
from radio.cli_course import add_course_commands
from radio.cli_curvature import add_curvature_commands
from radio.cli_length import add_length_commands
from radio.cli_readings import add_readings_commands
from radio.cli_scale import add_scale_commands
from radio.cli_shared import (
    EXIT_CODES,
    INTERRUPTED,
    NOTHING_MEASURED,
    STANDARD_OUTPUT,
    WRONG_INPUT,
    AnswersOption,
    ClicksOption,
    ImageArgument,
    ImagesOption,
    JsonOption,
    keep_inputs,
    measure_image,
    option,
    takes_facts,
    takes_settings,
    warn,
    write_json,
)
from radio.cli_straightening import add_straightening_commands

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph
    from radio.measure.case import CaseResult, Clicks
    from radio.measure.settings import CurvatureSettings
    from radio.record.tables import Skip

_ABOUT = (
    "Measure root canals on periapical radiographs: scale from the file, gap, working length, canal length "
    "and curvature, each with its uncertainty, method and basis.\n\n"
    "Educational and research use, not a medical device; measurements are checked by the treating clinician "
    "under local codes."
)

app = typer.Typer(
    name="periapical",
    help=_ABOUT,
    epilog=f"Example: periapical demo   |   {EXIT_CODES}",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from radio import __version__

        typer.echo(f"napari-periapical {__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    del version  # the callback has done it


@app.command(epilog=f"Example: periapical demo --out ./periapical_demo   |   {EXIT_CODES}")
def demo(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for tables and pictures.")] = Path(
        "periapical_demo"
    ),
    view: Annotated[bool, typer.Option("--view", help="Then open napari on the first sample image.")] = False,
) -> None:
    """Measure the sample images and write tables, pictures and a page that lists them."""
    from radio.record.terminal import caution_text, make_console, skips_block, summary_table
    from radio.study.demo import run_demo

    with _progress("Measuring the sample images") as progress:
        outcome = run_demo(out, progress)
    console = make_console()
    if outcome.results:
        console.print(summary_table(outcome.results))
    console.print(skips_block(outcome.skips))
    console.print("Values are ± standard uncertainty.")
    typer.echo(f"Tables, pictures and measurements: {out.resolve()}")
    typer.echo(f"Page with all pictures and numbers: {outcome.sheet.resolve()}")
    console.print(caution_text())
    if view:
        _open_viewer(outcome.first_image, None)
    if not outcome.results:
        raise typer.Exit(NOTHING_MEASURED)


@app.command(epilog=f"Example: periapical view tooth36.dcm   |   {EXIT_CODES}")
def view(
    image: Annotated[Path | None, typer.Argument(help="Radiograph to open.", show_default=False)] = None,
    casebook: Annotated[Path | None, option("Casebook to open.", "BOOK")] = None,
) -> None:
    """Open napari with the measuring panel."""
    _open_viewer(image, casebook)


@app.command(
    epilog="Example: periapical measure tooth36.png --clicks CLICKS.csv --file-length-mm 21 "
    f"--picture tooth36_measured.png   |   {EXIT_CODES}"
)
@takes_facts()
@takes_settings()
def measure(
    image: ImageArgument,
    clicks: ClicksOption,
    images: ImagesOption = None,
    answers: AnswersOption = None,
    json: JsonOption = None,
    picture: Annotated[Path | None, option("Draw where every number came from.", "OUT.png")] = None,
    *,
    given: Mapping[str, str],
    settings: CurvatureSettings,
) -> None:
    """Measure the canals of one image from rough clicks.

    Facts come from the images table; an option given here goes before the table and counts for every canal of
    the image. The JSON holds, for each canal, "measurements" by results-table column (value, unit, sd,
    interval95, method, basis), "not_measured" with reasons, landmarks, lines, checks and remarks.
    """
    keep_inputs((image, clicks, images, answers), (json, picture))
    measured = measure_image(image, clicks, images, given, answers=answers, settings=settings)
    if json != STANDARD_OUTPUT:
        _show(image, measured.pairs, measured.warnings, measured.skips)
    _write(measured.radiograph, measured.pairs, measured.skips, json, picture)
    if not measured.pairs:
        raise typer.Exit(NOTHING_MEASURED)


def _write(
    radiograph: Radiograph,
    pairs: Sequence[tuple[CaseResult, Clicks]],
    skips: Sequence[Skip],
    json: Path | None,
    picture: Path | None,
) -> None:
    from radio.record.measured import measured_json
    from radio.record.picture import draw_picture

    if json is not None:
        write_json(measured_json(radiograph, pairs, skips), json)
    if picture is not None and pairs:
        draw_picture(radiograph, [result for result, _ in pairs], picture)


def _show(
    image: Path, pairs: Sequence[tuple[CaseResult, Clicks]], warnings: Sequence[str], skips: Sequence[Skip]
) -> None:
    from radio.record.terminal import canal_block, caution_text, make_console, skips_block

    console = make_console()
    for result, clicks in pairs:
        console.print(canal_block(image.name, result, set(clicks), console.width))
    console.print(skips_block(skips))
    console.print(caution_text())
    warn(warnings)


@app.command(epilog=f"Example: periapical batch IMAGES.csv CLICKS.csv --out results   |   {EXIT_CODES}")
@takes_settings()
def batch(
    images: Annotated[Path, typer.Argument(metavar="IMAGES.csv", help="Images table.", show_default=False)],
    clicks: Annotated[Path, typer.Argument(metavar="CLICKS.csv", help="Clicks table.", show_default=False)],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the results.", show_default=False)],
    workers: Annotated[int, typer.Option(min=1, metavar="N", help="Processes to share the work.")] = 1,
    answers: AnswersOption = None,
    cluster: Annotated[str | None, option("Not available yet in this version.", "ADDRESS")] = None,
    *,
    settings: CurvatureSettings,
) -> None:
    """Measure every canal of an images table; a run that was stopped goes on where it stood.

    Writes results.csv, skipped.csv and run.json to DIR; what is done is kept in journal.jsonl there. Measured
    with other options for curvature, every canal is measured anew.
    """
    from radio.errors import PeriapicalError
    from radio.record.terminal import caution_text, make_console
    from radio.study.batch import WRITTEN, run_batch

    if cluster is not None:
        raise PeriapicalError("--cluster is not available yet in this version; use --workers instead.")
    keep_inputs((images, clicks, answers), [out / name for name in WRITTEN])
    try:
        with _progress("Measuring") as progress:
            summary = run_batch(
                images, clicks, out, answers=answers, workers=workers, settings=settings, progress=progress
            )
    except KeyboardInterrupt:
        typer.echo("periapical: stopped; the same command goes on where it stood", err=True)
        raise typer.Exit(INTERRUPTED) from None
    warn(summary.warnings)
    reused = f" ({summary.reused} of them in an earlier run)" if summary.reused else ""
    counts = f"{summary.measured} measured, {summary.skipped} skipped{reused}"
    typer.echo(f"Canals: {counts}; images: {summary.images}.\nTables: {out.resolve()}")
    if summary.skipped:
        typer.echo(f"Why canals were skipped: {(out / 'skipped.csv').resolve()}")
    make_console().print(caution_text())
    if not summary.measured:
        raise typer.Exit(NOTHING_MEASURED)


add_casebook_commands(app)
add_checks_commands(app)
add_curvature_commands(app)
add_readings_commands(app)
add_course_commands(app)
add_length_commands(app)
add_scale_commands(app)
add_straightening_commands(app)


@contextmanager
def _progress(title: str) -> Iterator[Callable[[int, int, str], None]]:
    """Show a bar on standard error while the block runs; nothing when that is not a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(title, total=None)

        def advance(done: int, total: int, name: str) -> None:
            bar.update(task, completed=done, total=total, description=name or title)

        yield advance


def _open_viewer(image: Path | None, casebook: Path | None) -> None:
    """Open napari, or say what is missing for it."""
    from importlib import import_module
    from importlib.util import find_spec

    from radio.errors import PeriapicalError

    if find_spec("napari") is None or find_spec("napari_periapical") is None:
        raise PeriapicalError(
            "The viewer needs napari, which is not installed. Install it with: "
            "python -m pip install '.[gui]' (in the project folder)"
        )
    displays = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    if sys.platform.startswith("linux") and not any(os.environ.get(name) for name in displays):
        raise PeriapicalError(
            "The viewer needs a display and there is none here (DISPLAY and WAYLAND_DISPLAY are empty). "
            "Run it in a desktop session with '.[gui]' (in the project folder) installed."
        )
    # by name only: the core must not depend on the plugin
    import_module("napari_periapical.launch").open_viewer(image, casebook)


def main() -> None:
    """Run the command; what a user can act on becomes one line on standard error and exit code 2."""
    try:
        app()
    except ValueError as problem:
        from radio.errors import CalibrationError, PeriapicalError

        if not isinstance(problem, PeriapicalError | CalibrationError):
            raise
        typer.echo(f"periapical: {' '.join(str(problem).split())}", err=True)
        sys.exit(WRONG_INPUT)


if __name__ == "__main__":
    main()
