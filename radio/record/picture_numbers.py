"""The text half of the picture: every number with its uncertainty, unit, method and basis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from radio.measure.case import CaseResult
from radio.record.text_block import TextLine, broken, height_in
from radio.record.wording import (
    CAUTION,
    MADE_BY,
    UNIT_SIGNS,
    how_text,
    main_measurements,
    name_of,
    remark_texts,
    title_of,
    value_text,
)

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

NUMBERS_WIDTH_IN = 5.2
_BODY_PT = 9.0
_SMALL_PT = 7.0
_KEY = (
    "Lines: orange the file; blue the canal, dashed where the image does not support it; vermilion, thick, "
    "the gap; yellow, dash-dotted, the coronal axis; pink, long dashes, the chord, with the angle. "
    "Filled mark: where the point lies; cross: where it was clicked."
)


@dataclass(frozen=True)
class Numbers:
    """Lines of text ready to be written, and the height they need, inches."""

    lines: tuple[TextLine, ...]
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
    lines: list[TextLine] = []
    for one in results:
        lines.append(TextLine(title_of(one.facts), 11, bold=True, space_before=8 if lines else 0))
        for measurement in main_measurements(one).values():
            unit = UNIT_SIGNS.get(measurement.unit, f" {measurement.unit}")
            value = value_text(measurement, unit=unit)
            lines.append(TextLine(name_of(measurement), _BODY_PT, value=value, space_before=4))
            lines += _small(how_text(measurement))
        for told in remark_texts(one):
            lines += _small(told, colour="#8A3B00", space_before=4)
    lines += _small("Values are given ± standard uncertainty. " + _KEY, space_before=10)
    lines += _small(CAUTION, colour="black", bold=True, space_before=6)
    made_by = f"{MADE_BY}, image SHA-256 {radiograph.sha256[:16]}…"
    lines += _small(made_by, space_before=6)
    return Numbers(tuple(lines), height_in(lines) + 0.1)


def _small(
    text: str, *, colour: str = "#444444", bold: bool = False, space_before: float = 0.0
) -> list[TextLine]:
    return broken(text, _SMALL_PT, NUMBERS_WIDTH_IN, bold=bold, colour=colour, space_before=space_before)
