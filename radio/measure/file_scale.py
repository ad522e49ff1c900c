"""Scales from a file, by its length with what each end contributes and by its diameters, and from a ball."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import sqrt
from typing import TYPE_CHECKING

from calib.instruments import HandFile
from calib.known_length import file_length_sd_mm, scale_from_ball, scale_from_file
from calib.scale import Scale
from radio.errors import PeriapicalError
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.result import Measurement
from radio.trace.line import LandmarkFix

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph
    from radio.measure.girth_scale import GirthScale
    from radio.trace.circle import Ball


def scale_of_file(
    length_px: Measurement | None, landmarks: Mapping[str, LandmarkFix], facts: CaseFacts, aspect: float
) -> Scale | None:
    """Scale from the stated length of a traced file, with the two ends apart in its budget.

    Parameters
    ----------
    length_px : Measurement or None
        ``file_length_px``, where the file was traced.
    landmarks : mapping of str to LandmarkFix
        With ``file_start`` and ``file_tip``, where it was.
    facts : CaseFacts
    aspect : float
        Row spacing over column spacing.

    Returns
    -------
    Scale or None
        None where the file was not traced, or its length is not stated.

    Raises
    ------
    CalibrationError
        The length is not above 0.
    """
    if length_px is None or facts.file_length_mm is None:
        return None
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


def scale_of_ball(ball: Ball | None, facts: CaseFacts, aspect: float) -> Scale | None:
    """Scale from the stated diameter of a ball; None where it was not found, or that is not stated.

    Parameters
    ----------
    ball : Ball or None
    facts : CaseFacts
    aspect : float
        Row spacing over column spacing.

    Raises
    ------
    CalibrationError
        The diameter is not above 0.
    """
    if ball is None or facts.ball_diameter_mm is None:
        return None
    return scale_from_ball(ball.diameter_px, ball.sd_px, facts.ball_diameter_mm, pixel_aspect=aspect)


def girth_of(
    radiograph: Radiograph, result: CaseResult, others: Sequence[CaseResult] = ()
) -> GirthScale | None:
    """Scale from the diameters of the file of a measured canal; None where no file was traced.

    Parameters
    ----------
    radiograph : Radiograph
    result : CaseResult
    others : sequence of CaseResult
        Canals of the same image, whose files may lie over this one; `result` may be among them.

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
    along = scale_of_file(length_px, result.landmarks, facts, radiograph.pixel_aspect)
    if along is not None:
        width = along.col_mm_per_px
    elif result.scale is not None:
        width = result.scale.col_mm_per_px
    else:
        raise PeriapicalError("it is begun with a rough scale, and there is none")
    tip_sd_px = result.landmarks["file_tip"].sd_along_px
    return girth_scale(
        radiograph,
        result.file_line,
        HandFile(facts.file_size),
        mm_per_px=width,
        tip_sd_px=tip_sd_px,
        along=along,
        others=[one.file_line for one in others if one is not result and one.file_line is not None],
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
