"""What stands beside a drawn construction: its steps, its values, and how the picture was made."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from radio.measure.case import CaseResult
from radio.measure.drawn import Step
from radio.measure.methods import QUANTITIES, CurvatureMethod
from radio.measure.methods.contract import Quantity
from radio.measure.stack import TraceStack
from radio.record.text_block import TextLine, broken
from radio.record.wording import CAUTION, MADE_BY, UNDETERMINED_KEY, UNIT_SIGNS, interval_text, value_text

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_STEP_PT = 9.0
_SMALL_PT = 6.8
_GREY = "#444444"


def step_lines(steps: Sequence[Step], width_in: float, *, shown: int, emphasised: bool) -> list[TextLine]:
    """Numbered text of the first steps; room for the others is kept, so that nothing moves.

    Parameters
    ----------
    steps : sequence of Step
    width_in : float
        Room, inches.
    shown : int
        Number of steps.
    emphasised : bool
        Whether the last of them is bold.
    """
    lines: list[TextLine] = []
    for index, step in enumerate(steps):
        stands_out = emphasised and index == shown - 1
        # broken as if bold, so that a step takes the same room in every picture
        for line in broken(f"{index + 1}. {step.text}", _STEP_PT, width_in, bold=True, hanging="    "):
            words = line.words if index < shown else ""
            lines.append(TextLine(words, _STEP_PT, bold=stands_out, space_before=line.space_before))
    return lines


def value_lines(
    result: CaseResult, method: CurvatureMethod, width_in: float, points: float, *, interval: bool
) -> list[TextLine]:
    """All values and words of a method with uncertainty and unit; those that are not there with the reason.

    Parameters
    ----------
    result : CaseResult
    method : CurvatureMethod
    width_in : float
        Room, inches.
    points : float
        Size of the type.
    interval : bool
        Whether 95 % intervals are added.
    """
    lines: list[TextLine] = []
    missing: dict[str, list[str]] = {}
    for quantity in method.quantities:
        text = _value(result, quantity, interval=interval)
        if text is None:
            why = result.absent.get(quantity.column, "not measured")
            missing.setdefault(why, []).append(quantity.title)
        else:
            text = f"{quantity.title}: {text}"
            lines += broken(text, points, width_in, bold=True, space_before=1.5, hanging="    ")
    for why, titles in missing.items():
        text = f"No value, {why}: {'; '.join(titles)}"
        lines += broken(text, points, width_in, colour=_GREY, space_before=1.5, hanging="    ")
    return lines


def _value(result: CaseResult, quantity: Quantity, *, interval: bool) -> str | None:
    measurement = result.measurements.get(quantity.column)
    if measurement is not None:
        unit = UNIT_SIGNS.get(measurement.unit, "" if measurement.unit == "ratio" else f" {measurement.unit}")
        text = value_text(measurement, unit=unit)
        if interval and measurement.interval95:
            text = f"{text} (95 %: {interval_text(measurement)})"
        return text.replace(" ", "\N{NO-BREAK SPACE}")
    finding = result.findings.get(quantity.column)
    return None if finding is None else f"{finding.word} ({finding.share:.0%} of possible traces)"


def how_lines(
    result: CaseResult, method: CurvatureMethod, stack: TraceStack, width_in: float
) -> list[TextLine]:
    """Settings, basis, source and standing of a method."""
    text = f"{method.title}, {method.settings(stack)}. {basis_text(result, method.quantities)}"
    return [
        *_small(f"How: {text} Values are ± standard uncertainty. {UNDETERMINED_KEY}", width_in),
        *_small(f"Source: {method.source.rstrip('.')}. {method.standing}", width_in),
    ]


def basis_text(result: CaseResult, quantities: Iterable[Quantity]) -> str:
    """What curvature rests on, with its notes: of the given quantities, else of any."""
    columns = [*(quantity.column for quantity in quantities), *QUANTITIES]
    made = (result.measurements.get(column) or result.findings.get(column) for column in columns)
    first = next((one for one in made if one is not None), None)
    if first is None:
        return ""
    return " ".join(f"{part.rstrip('.')}." for part in (f"Basis: {first.basis}", *first.notes))


def foot_lines(radiograph: Radiograph, width_in: float, *others: Radiograph) -> list[TextLine]:
    """Caution, and what made the picture, from one image or more."""
    hashes = " and ".join(f"{one.sha256[:16]}…" for one in (radiograph, *others))
    images = "images" if others else "image"
    made_by = f"{MADE_BY}, {images} SHA-256 {hashes}"
    return [
        *broken(CAUTION, _SMALL_PT, width_in, bold=True, space_before=4),
        *_small(made_by, width_in),
    ]


def _small(text: str, width_in: float) -> list[TextLine]:
    return broken(text, _SMALL_PT, width_in, colour=_GREY, space_before=3)
