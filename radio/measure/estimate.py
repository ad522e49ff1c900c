"""Length of a canal on an image without a file: from the coronal reference along the curve to the apex."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from calib.uncertainty import rectangular
from radio.measure.bend import square
from radio.measure.length import estimated_length_mm
from radio.measure.result import Measurement
from radio.measure.trace_case import TracedCase
from radio.trace.curve import arc_length, end_directions, project

FloatArray = npt.NDArray[np.float64]

# A file that stands in the canal continues the coronal part of it; its direction is taken over this length.
_CORONAL_MM = 3.0
_ORIFICE = (
    "Counted from the orifice: no stop is set by it. Mark the coronal reference for a length that a file has."
)


def estimated_length(traced: TracedCase, scale: Scale) -> Measurement | None:
    """Estimate the length of a canal before a file is in it.

    From the foot of the reference on the coronal canal, continued straight through the chamber as a file
    would lie, along the canal line to the foot of the radiographic apex. Without a reference the length
    begins at the orifice, and says so.

    Parameters
    ----------
    traced : TracedCase
    scale : Scale

    Returns
    -------
    Measurement or None
        ``estimated_length_mm``; None where a file lies in the image, the scale is from one, or canal or apex
        are not marked.
    """
    landmarks = traced.landmarks
    if traced.file_line is not None or scale.source == "file" or traced.canal_line is None:
        return None
    if "apex" not in landmarks:
        return None
    canal = square(traced.canal_line.points_px, traced.aspect)
    length, _ = project(canal, square(landmarks["apex"].point_px, traced.aspect))
    parts = {"apex": landmarks["apex"].sd_along_px}
    ahead, spare = 0.0, 0.0
    if "reference" in landmarks:
        reference = square(landmarks["reference"].point_px, traced.aspect)
        ahead, spare = _coronal_px(canal, reference, _CORONAL_MM / scale.col_mm_per_px)
    if ahead <= 0:
        parts["orifice"] = landmarks["orifice"].sd_along_px
        beside = " (the reference does not lie coronal of it)" if "reference" in landmarks else ""
        return _from_orifice(estimated_length_mm(length, parts, scale, f"orifice{beside}"))
    # how a file will lie in the chamber is not seen: straight from the reference the way is longer by `spare`
    parts |= {"reference": landmarks["reference"].sd_along_px, "way to orifice": rectangular(spare)}
    return estimated_length_mm(length + ahead, parts, scale, "coronal reference")


def _from_orifice(length: Measurement) -> Measurement:
    return replace(length, notes=(_ORIFICE, *length.notes))


def _coronal_px(canal: FloatArray, reference: FloatArray, over_px: float) -> tuple[float, float]:
    """Way from the reference to the orifice along the continued canal, and how much more the straight one is.

    Parameters
    ----------
    canal : ndarray, shape (N, 2)
        Square pixels, coronal to apical.
    reference : ndarray, shape (2,)
    over_px : float
        Length of canal that gives the direction.
    """
    direction, _ = end_directions(canal, over=min(over_px, arc_length(canal) / 3))
    offset = canal[0] - reference
    ahead, straight = float(offset @ direction), float(np.hypot(*offset))
    return ahead, straight - abs(ahead)
