"""Scales from the file in the image: by its length, with what each end contributes, and by its diameters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import sqrt
from typing import TYPE_CHECKING

from calib.instruments import HandFile
from calib.known_length import file_length_sd_mm, scale_from_file
from calib.scale import Scale
from radio.errors import CalibrationError, PeriapicalError
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.result import Measurement
from radio.trace.line import LandmarkFix

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph
    from radio.measure.girth_scale import GirthScale


def scale_of_file(
    length_px: Measurement, landmarks: Mapping[str, LandmarkFix], facts: CaseFacts, aspect: float
) -> Scale:
    """Scale from the stated length of a traced file, with the two ends apart in its budget.

    Parameters
    ----------
    length_px : Measurement
        ``file_length_px``.
    landmarks : mapping of str to LandmarkFix
        With ``file_start`` and ``file_tip``.
    facts : CaseFacts
        With `file_length_mm`.
    aspect : float
        Row spacing over column spacing.

    Raises
    ------
    CalibrationError
        The length is not stated, or not above 0.
    """
    if facts.file_length_mm is None:
        raise CalibrationError("The scale from the file needs file_length_mm.")
    start_at = facts.file_start_at
    ends = {f"place of the {start_at}": "file_start", "place of the tip": "file_tip"}
    return scale_from_file(
        length_px.value,
        {words: landmarks[name].sd_along_px for words, name in ends.items()},
        facts.file_length_mm,
        file_length_sd_mm(start_at),
        pixel_aspect=aspect,
        start_at=start_at,
    )


def girth_of(radiograph: Radiograph, result: CaseResult) -> GirthScale | None:
    """Scale from the diameters of the file of a measured canal; None where no file was traced.

    Parameters
    ----------
    radiograph : Radiograph
    result : CaseResult

    Raises
    ------
    PeriapicalError
        The size of the file is not stated, nothing tells the scale even roughly, or the diameters cannot be
        measured.
    """
    from radio.measure.girth_scale import girth_scale

    facts, length_px = result.facts, result.measurements.get("file_length_px")
    if result.file_line is None:
        return None
    if facts.file_size is None:
        raise PeriapicalError("file_size is not given")
    if length_px is not None and facts.file_length_mm is not None:
        width = facts.file_length_mm / length_px.value
    elif result.scale is not None:
        width = result.scale.col_mm_per_px
    else:
        raise PeriapicalError("it is begun with a rough scale, and there is none")
    tip_sd_px = result.landmarks["file_tip"].sd_along_px
    return girth_scale(
        radiograph, result.file_line, HandFile(facts.file_size), mm_per_px=width, tip_sd_px=tip_sd_px
    )


def scale_of_girth(found: GirthScale, aspect: float) -> Scale:
    """Scale of the whole pixel that diameters of a file gave as the width of a column.

    Parameters
    ----------
    found : GirthScale
    aspect : float
        Row spacing over column spacing.
    """
    squeeze, made = sqrt(aspect), found.budget
    rows = tuple(
        replace(
            row,
            sensitivity=None if row.sensitivity is None else row.sensitivity * squeeze,
            contribution=row.contribution * squeeze,
        )
        for row in made.rows
    )
    whole = replace(made, value=made.value * squeeze, sd=made.sd * squeeze, rows=rows)
    width = found.mm_per_px
    return Scale(width * aspect, width, whole.sd, "diameter", found.basis, found.notes, whole)
