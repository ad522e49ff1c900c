"""What stands below the picture of the end of the length: numbers, what is in doubt, advice, key."""

from __future__ import annotations

from typing import TYPE_CHECKING

from radio.measure.case import CaseResult
from radio.measure.case_lengths import CaseLengths
from radio.measure.result import Measurement
from radio.record.construction_text import foot_lines
from radio.record.text_block import TextLine, broken
from radio.record.wording import REMARK_WORDS, how_text, interval_text, name_of, value_text

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_TEXT_PT, _SMALL_PT = 8.5, 7.0
_GREY, _WARNING_COLOUR = "#444444", "#8A3B00"
_KEY = (
    "Orange: file. Blue, thin: canal. Both are dashed where the image does not support them. Vermilion, "
    "thick: gap; the thin line beside it with two ends: where the tip may lie, 95 % interval of the gap. "
    "Yellow, dashed, across the canal: end of the length by the rule. Grey on the ruler: textbook window for "
    "the tip. Values are ± standard uncertainty."
)


def gap_text(radiograph: Radiograph, lengths: CaseLengths, width_in: float) -> list[TextLine]:
    """Lay out the text of the page.

    Parameters
    ----------
    radiograph : Radiograph
    lengths : CaseLengths
    width_in : float
        Room, inches.
    """
    chosen = [one.target for one in lengths.ruled if one.chosen]
    # a length from the handle does not stand alone, nor does a target that is not taken off it
    beside = [lengths.from_reference] if lengths.result.facts.file_start_at == "handle" else []
    lines: list[TextLine] = []
    for one in (lengths.result.measurements.get("gap_mm"), lengths.length, *beside, *chosen):
        if one is not None:
            value = f"{_name(one, lengths)}: {value_text(one)} mm (95 %: {interval_text(one)})"
            lines += broken(value, _TEXT_PT, width_in, bold=True, space_before=3)
            lines += broken(how_text(one), _SMALL_PT, width_in, colour=_GREY)
    if lengths.no_target:
        told = f"Target length by rule: none. {lengths.no_target}."
        lines += broken(told, _TEXT_PT, width_in, bold=True, space_before=3)
    elif lengths.ruled and not chosen:
        told = "No rule is chosen: the ruler shows what each would give."
        lines += broken(told, _TEXT_PT, width_in, space_before=3)
    lines += _doubts(lengths.result, width_in)
    for text in lengths.advice.lines if lengths.advice else ():
        lines += broken(text, _SMALL_PT + 0.5, width_in, space_before=2)
    lines += broken(_KEY, _SMALL_PT, width_in, space_before=4)
    return [*lines, *foot_lines(radiograph, width_in)]


def _name(one: Measurement, lengths: CaseLengths) -> str:
    """Name of a length with where it is counted from, where that is not as everywhere."""
    name, handle = name_of(one), lengths.result.facts.file_start_at == "handle"
    if one.name == "working_length_mm" and handle:
        return f"{name}, COUNTED FROM THE HANDLE"
    if one.name == "target_length_mm" and lengths.counted_from:
        return f"{name}, {lengths.counted_from}"
    return name


def _doubts(result: CaseResult, width_in: float) -> list[TextLine]:
    """Stops and warnings, the stops first; notes are in the terminal and the JSON."""
    lines: list[TextLine] = []
    for level in ("stop", "warn"):
        for one in result.told:
            if one.level == level:
                told = f"{REMARK_WORDS[level]}: {one.text}"
                look = {"bold": level == "stop", "colour": _WARNING_COLOUR, "space_before": 3.0}
                lines += broken(told, _SMALL_PT + 0.5, width_in, **look)  # type: ignore[arg-type]
    return lines
