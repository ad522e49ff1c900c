"""What the commands of ``periapical`` share: exit codes, options for facts and settings, care of inputs."""

from __future__ import annotations

import inspect
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph
    from radio.measure.case import CaseResult, Clicks
    from radio.measure.settings import CurvatureSettings
    from radio.record.tables import CaseTable, Skip
    from radio.study.one_image import ImageOutcome

NOTHING_MEASURED = 1
WRONG_INPUT = 2
INTERRUPTED = 130

STANDARD_OUTPUT = Path("-")
EXIT_CODES = (
    "Exit codes: 0 done (also when some canals were skipped), 1 nothing could be measured, "
    "2 wrong usage or input, 130 stopped by Ctrl-C."
)

_Options = Sequence[tuple[str, str, str]]
_Decorator = Callable[[Callable[..., None]], Callable[..., None]]

_READING_PANEL = "The electronic reading; what is left out counts as not stated"
# name, help and placeholder of each fact that may be stated on the command line
_FACTS: _Options = (
    ("tooth", "Tooth, ISO 3950.", "TOOTH"),
    ("scale_from", "file, ball, dicom, given or none.", "SOURCE"),
    ("file_length_mm", "Known length from file start to tip.", "MM"),
    ("file_start_at", "What file_start marks: stop or handle.", "WHERE"),
    ("file_size", "Size of the file, ISO 3630-1.", "SIZE"),
    ("ball_diameter_mm", "Diameter of the calibrating ball.", "MM"),
    ("mm_per_px", "Given pixel size.", "MM"),
    ("mm_per_px_sd", "Its standard uncertainty.", "MM"),
    ("detector_pitch_mm", "Width of a pixel on the receptor; checks the scale.", "MM"),
    ("dpi", "Resolution a film was scanned with; checks the scale.", "N"),
)
# the same of facts that only lengths have a use for
_OF_LENGTHS: _Options = (
    (
        "length_rule",
        "Taken off the length: 0.5, 1, 1.5, 2, resorption, or your own 'MM: REASON'.",
        "RULE",
    ),
    ("resorption", "About the apex: none, bone or bone+root.", "STATE"),
)
# and of an electronic reading; names and words as in the table of readings, behind "electronic_"
_OF_READING: _Options = (
    ("electronic_mm", "File length at the reading.", "MM"),
    ("electronic_mark", "Mark it stood at: zero or half.", "MARK"),
    ("electronic_tolerance_mm", "Difference that is accepted: 0.5, or 1.0.", "MM"),
    ("electronic_repeats_mm", "Further readings, such as '21 21.5'.", "MM ..."),
    ("electronic_file_size", "Size of the file it was taken with, ISO 3630-1.", "SIZE"),
    ("electronic_canal_state", "dry, moist or flooded.", "STATE"),
    ("electronic_resorption", "Within the root: none, internal or external.", "STATE"),
    ("electronic_bleeding", "Bleeding or exudate: yes or no.", "YES/NO"),
    ("electronic_metal_contact", "Contact with metal, or caries that lets saliva in.", "YES/NO"),
    ("electronic_previous_filling", "Remains of a previous root filling.", "YES/NO"),
    ("electronic_open_apex", "Open or immature apex.", "YES/NO"),
    ("electronic_suspected_perforation", "Suspected perforation.", "YES/NO"),
    ("electronic_patency", "A small file passes freely to the end.", "YES/NO"),
    ("electronic_time", "When, as 2026-03-14T09:30.", "TIME"),
)
# the same of each parameter of the curvature methods; the defaults are told here because the module that has
# them is loaded only when a command runs
_SETTINGS: _Options = (
    ("departure_tolerance_mm", "Off its axis by more, a canal has left it; 0.1 unless given.", "MM"),
    ("departure_tolerance_px", "The same where there is no scale; 5 unless given.", "PX"),
    ("apical_portion_mm", "Apical portion whose line is taken; 2 unless given.", "MM"),
    ("long_axis_portion", "Share of the canal either long axis is of; a third unless given.", "SHARE"),
    ("smoothing_mm", "Wave of the trace that smoothing halves; 4 unless given.", "MM"),
)


def option(help: str, metavar: str, **more: Any) -> Any:
    """Make an option whose absence means None, and is not shown as a default."""
    return typer.Option(help=help, metavar=metavar, show_default=False, **more)


ImageArgument = Annotated[
    Path, typer.Argument(help="Radiograph: DICOM, PNG, TIFF or JPEG.", show_default=False)
]
ClicksOption = Annotated[Path, typer.Option(metavar="CLICKS.csv", help="Clicks table.", show_default=False)]
ImagesOption = Annotated[Path | None, option("Images table; the rows of this image count.", "IMAGES.csv")]
AnswersOption = Annotated[
    Path | None, option("Your answers to pre-flight checks; see periapical checks.", "ANSWERS.csv")
]
JsonOption = Annotated[Path | None, option("Write all of it as JSON; - for standard output.", "OUT")]


def takes_facts(*, lengths: bool = True) -> _Decorator:
    """Give a command an option for each stated fact; it receives those that were given as `given`.

    Parameters
    ----------
    lengths : bool
        Whether the command has a use for an electronic reading and a rule for the length.
    """
    known = "What is known of the case"
    panels = {known: (*_FACTS, *_OF_LENGTHS), _READING_PANEL: _OF_READING} if lengths else {known: _FACTS}
    return _takes(panels, "given", lambda texts: texts)


def takes_settings() -> _Decorator:
    """Give a command an option for each parameter of the curvature methods.

    It receives them all as `settings`, a CurvatureSettings.
    """

    def read(texts: Mapping[str, str]) -> CurvatureSettings:
        from radio.record.cells import settings_from_texts

        return settings_from_texts(texts)

    return _takes({"How curvature is measured": _SETTINGS}, "settings", read)


def _takes(
    panels: Mapping[str, _Options], argument: str, read: Callable[[Mapping[str, str]], object]
) -> _Decorator:
    """Give a command options by help panel; what is made of those given is one argument of it."""

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        # the type of settings is not loaded for help
        signature = inspect.signature(command, eval_str=True, locals={"CurvatureSettings": object})
        own = [one for name, one in signature.parameters.items() if name != argument]
        added = [
            inspect.Parameter(
                name,
                inspect.Parameter.KEYWORD_ONLY,
                default=None,
                annotation=Annotated[str | None, option(text, metavar, rich_help_panel=panel)],
            )
            for panel, options in panels.items()
            for name, text, metavar in options
        ]

        @wraps(command)
        def run(**values: Any) -> None:
            stated = {one.name: values.pop(one.name) for one in added}
            texts = {name: text.strip() for name, text in stated.items() if text is not None}
            command(**values, **{argument: read(texts)})

        # typer reads both
        run.__signature__ = signature.replace(parameters=[*own, *added])  # type: ignore[attr-defined]
        run.__annotations__ = {one.name: one.annotation for one in (*own, *added)}
        return run

    return decorate


def measure_given(
    radiograph: Radiograph, table: CaseTable, clicks: str, settings: CurvatureSettings
) -> ImageOutcome:
    """Measure what the tables give; an error when not one canal is given as it should be."""
    from radio.errors import TableError
    from radio.study.one_image import measure_canals

    measured = measure_canals(radiograph, table.cases, settings)
    if all(one.wrong_clicks for one in measured.outcomes):
        reasons = [one.reason for one in table.skips]
        reasons += [f"{clicks}, canal {one.canal}: {one.reason}" for one in measured.skips]
        raise TableError("; ".join(reasons))
    return measured


def read_tables(
    image: Path, *, clicks: Path, images: Path | None, given: Mapping[str, str] | None, answers: Path | None
) -> CaseTable:
    """Read the rows of an image, with the answers to checks."""
    from radio.record.answers_table import with_answers
    from radio.record.tables import read_cases_of_image

    return with_answers(read_cases_of_image(image, clicks, images, given), answers, whole=False)


@dataclass(frozen=True, eq=False)
class MeasuredGiven:
    """One image and its canals, measured as the tables give them."""

    radiograph: Radiograph
    pairs: Sequence[tuple[CaseResult, Clicks]]
    skips: Sequence[Skip]
    warnings: Sequence[str]


def measure_image(
    image: Path,
    clicks: Path,
    images: Path | None,
    given: Mapping[str, str] | None = None,
    *,
    answers: Path | None = None,
    settings: CurvatureSettings | None = None,
) -> MeasuredGiven:
    """Read an image and its rows, and measure its canals.

    The image is read first: a misspelt one is not in the tables either, but they are not what is wrong.
    """
    from radio.image.radiograph import read_radiograph
    from radio.measure.settings import DEFAULT_SETTINGS

    radiograph = read_radiograph(image)
    table = read_tables(image, clicks=clicks, images=images, given=given, answers=answers)
    measured = measure_given(radiograph, table, clicks.name, settings or DEFAULT_SETTINGS)
    return MeasuredGiven(radiograph, measured.pairs, [*table.skips, *measured.skips], table.warnings)


@contextmanager
def naming(name: str) -> Iterator[None]:
    """Say which option it is whose text is read in the block, where that text is wrong."""
    from radio.errors import TableError

    try:
        yield
    except TableError as problem:
        raise TableError(f"{name}: {problem}") from problem


def stated_number(name: str, text: str, low: float, high: float, unit: str, hint: str = "") -> float:
    """Read the number of an option; what is wrong with it names the option."""
    from radio.record.cells import number

    with naming(name):
        return number(text.strip(), low, high, unit=unit, hint=hint)


def check_picture(picture: Path | None) -> None:
    """Refuse the format of a picture before anything is measured."""
    if picture is not None:
        from radio.record.page import checked_format

        checked_format(picture.suffix.lower().removeprefix("."), picture.name)


def write_json(text: str, out: Path) -> None:
    """Write JSON to its place, or to standard output."""
    from radio.record.atomic import write_text

    if out == STANDARD_OUTPUT:
        typer.echo(text, nl=False)
    else:
        write_text(out, text)


def warn(warnings: Iterable[str]) -> None:
    """Say on standard error what was passed over in the tables."""
    for warning in warnings:
        typer.echo(f"periapical: {warning}", err=True)


def keep_inputs(inputs: Sequence[Path | None], outputs: Sequence[Path | None]) -> None:
    """Refuse to write over what is read, over saved tracings, or twice to one place."""
    from radio.errors import PeriapicalError
    from radio.record.tracing import is_tracing_document

    places = [os.path.realpath(out) for out in outputs if out is not None]
    if len(set(places)) < len(places):
        raise PeriapicalError(f"{outputs[0]} is to hold both JSON and picture; give each its own place.")
    for out in outputs:
        if out is None or not out.exists():
            continue
        if any(one is not None and one.exists() and out.samefile(one) for one in inputs):
            raise PeriapicalError(f"{out} is one of the inputs; give another place to write to.")
        if is_tracing_document(out):
            raise PeriapicalError(f"{out} holds saved tracings, which stay as they are; give another place.")
