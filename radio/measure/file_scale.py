"""Scale from the file in the image, with what each of its ends contributes."""

from __future__ import annotations

from collections.abc import Mapping

from calib.known_length import file_length_sd_mm, scale_from_file
from calib.scale import Scale
from radio.errors import CalibrationError
from radio.measure.case import CaseFacts
from radio.measure.result import Measurement
from radio.trace.line import LandmarkFix


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
