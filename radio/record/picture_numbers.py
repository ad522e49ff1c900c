"""The text half of the picture: every number with its uncertainty, unit, method and basis."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import radio
from radio.measure.case import CaseResult
from radio.record.wording import (
    CAUTION,
    UNIT_SIGNS,
    how_text,
    main_measurements,
    name_of,
    title_of,
    value_text,
)

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

NUMBERS_WIDTH_IN = 5.2
_BODY_PT = 9.0
_SMALL_PT = 7.0
_LINE_SPACING = 1.32
# characters that surely fit the width, at about half an em each
_SMALL_CHARACTERS = int(NUMBERS_WIDTH_IN * 72 / (_SMALL_PT * 0.56))
_REMARK_MARKS = {"stop": "STOP", "warn": "Warning", "note": "Note"}
_KEY = (
    "Lines: orange the file; blue the canal, dashed where the image does not support it; vermilion, thick, "
    "the gap; yellow, dash-dotted, the coronal axis; pink, long dashes, the chord, with the angle. "
    "Filled mark: where the point lies; cross: where it was clicked."
)


@dataclass(frozen=True)
class _Text:
    words: str
    points: float
    bold: bool = False
    colour: str = "black"
    value: str = ""
    space_before: float = 0.0

    @property
    def height_in(self) -> float:
        return (self.points * _LINE_SPACING + self.space_before) / 72


@dataclass(frozen=True)
class Numbers:
    """Lines of text ready to be written, and the height they need, inches."""

    lines: tuple[_Text, ...]
    height_in: float


def lay_out_numbers(radiograph: Radiograph, results: Sequence[CaseResult]) -> Numbers:
    """Break all text into lines.

    Parameters
    ----------
    radiograph : Radiograph
        The image, for its name by hash.
    results : sequence of CaseResult
        The canals of the image.
    """
    lines: list[_Text] = []
    for one in results:
        lines.append(_Text(title_of(one.facts), 11, bold=True, space_before=8 if lines else 0))
        for measurement in main_measurements(one).values():
            unit = UNIT_SIGNS.get(measurement.unit, f" {measurement.unit}")
            value = f"{value_text(measurement)}{unit}"
            lines.append(_Text(name_of(measurement), _BODY_PT, value=value, space_before=4))
            lines += _small(how_text(measurement))
        for remark in one.remarks:
            lines += _small(f"{_REMARK_MARKS[remark.level]}: {remark.text}", colour="#8A3B00", space_before=4)
    lines += _small("Values are given ± standard uncertainty. " + _KEY, space_before=10)
    lines += _small(CAUTION, colour="black", bold=True, space_before=6)
    made_by = f"napari-periapical {radio.__version__}, image SHA-256 {radiograph.sha256[:16]}…"
    lines += _small(made_by, space_before=6)
    return Numbers(tuple(lines), sum(line.height_in for line in lines) + 0.1)


def _small(
    text: str, *, colour: str = "#444444", bold: bool = False, space_before: float = 0.0
) -> list[_Text]:
    broken = textwrap.wrap(text, int(_SMALL_CHARACTERS * (0.9 if bold else 1)))
    return [
        _Text(words, _SMALL_PT, bold, colour, space_before=0 if index else space_before)
        for index, words in enumerate(broken)
    ]


def write_numbers(axes: Any, numbers: Numbers, height_in: float) -> None:
    """Write laid-out numbers from the top of matplotlib axes of that height, inches."""
    axes.set(xlim=(0, 1), ylim=(height_in, 0))
    axes.axis("off")
    down = 0.0
    for line in numbers.lines:
        down += line.height_in
        style = {
            "fontsize": line.points,
            "fontweight": "bold" if line.bold else "normal",
            "color": line.colour,
            "va": "bottom",
            "parse_math": False,
        }
        axes.text(0, down, line.words, ha="left", **style)
        if line.value:
            axes.text(1, down, line.value, ha="right", **(style | {"fontweight": "bold"}))
