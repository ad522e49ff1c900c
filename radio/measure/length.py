"""Lengths of one canal in millimetres: gap, working length, canal length, each with its uncertainty."""

from __future__ import annotations

from calib.scale import Scale
from calib.uncertainty import combine
from radio.measure.result import Measurement


def gap_mm(gap_px: float, gap_sd_px: float, scale: Scale) -> Measurement:
    """Signed distance along the canal from file tip to radiographic apex; positive = tip short.

    Parameters
    ----------
    gap_px, gap_sd_px : float
        In columns of a square-pixel image.
    scale : Scale
    """
    unit = scale.col_mm_per_px
    value = gap_px * unit
    sd = combine({"tip and apex": gap_sd_px * unit, "scale": value * scale.relative_sd})
    return Measurement(
        "gap_mm",
        value,
        "mm",
        sd,
        "along the canal, file tip to radiographic apex; positive = tip short",
        f"scale from {scale.source}",
        ("The radiographic apex is not the foramen.",),
    )


def working_length_mm(
    gap: Measurement, set_length_mm: float, set_length_sd_mm: float, how: str
) -> Measurement:
    """Working length to the radiographic apex: length of the file from its reference, plus the gap.

    A scale error touches only the gap.

    Parameters
    ----------
    gap : Measurement
        ``gap_mm``.
    set_length_mm, set_length_sd_mm : float
        Length of the file from the coronal reference to its tip and its standard uncertainty, mm.
    how : str
        Where that length comes from.
    """
    sd = combine({"set length": set_length_sd_mm, "gap": gap.sd or 0.0})
    return Measurement(
        "working_length_mm",
        set_length_mm + gap.value,
        "mm",
        sd,
        "file length plus gap, to the radiographic apex; no subtraction made",
        f"{how}; gap {gap.value:+.2f} mm, {gap.basis}",
    )


def canal_length_mm(length_px: float, length_sd_px: float, scale: Scale, ends: str) -> Measurement:
    """Length of the canal along its curve in the image plane.

    Parameters
    ----------
    length_px, length_sd_px : float
        Arc length, in columns of a square-pixel image.
    scale : Scale
    ends : str
        The two ends, in words.
    """
    unit = scale.col_mm_per_px
    value = length_px * unit
    sd = combine({"line and ends": length_sd_px * unit, "scale": value * scale.relative_sd})
    return Measurement(
        "canal_length_mm",
        value,
        "mm",
        sd,
        f"arc length of the traced canal, {ends}",
        f"scale from {scale.source}; projection in this view",
    )
