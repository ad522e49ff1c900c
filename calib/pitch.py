"""Scale from the size of a pixel in the plane of the receptor and a magnification."""

from __future__ import annotations

from collections.abc import Iterable
from math import sqrt

from calib.budget import Input, budget
from calib.errors import CalibrationError
from calib.projection import INTRA_ORAL_MAGNIFICATION
from calib.scale import Scale, ScaleSource
from calib.uncertainty import rectangular

Pair = tuple[float, float]

SMALLEST_MM, LARGEST_MM = 0.005, 0.5
"""Pixel sizes a dental radiograph can have."""
TILT_NOTE = "tilt of the tooth against the receptor is not allowed for (10° shorten by 1.5 %, 20° by 6 %)"
ASSUMED_NOTE = "the magnification is assumed, not measured: a scale from the file or a ball is better"
NOT_MAGNIFIED = Input("magnification", 1.0, 0.0, how="the pixel size is meant for the plane of the tooth")
SCAN_RELATIVE_HALF_WIDTH = 0.01
"""How far the true resolution of a scanner may be from the stated one. Common practice, no source."""
MM_PER_INCH = 25.4


def scale_from_pitch(
    pitch_mm: float,
    *,
    pixel_aspect: float = 1.0,
    magnification: Pair = INTRA_ORAL_MAGNIFICATION,
) -> Scale:
    """Scale from a stated detector pitch, divided by an assumed magnification.

    Parameters
    ----------
    pitch_mm : float
        Width of a column on the receptor, mm.
    pixel_aspect : float
        Row spacing over column spacing.
    magnification : tuple of float
        Middle and half-width of the range it lies in (rectangular, JCGM 100:2008, 4.3.7).

    Raises
    ------
    CalibrationError
        The pitch is none a dental radiograph can have, or the magnification reaches below 1.
    """
    if not SMALLEST_MM <= pitch_mm <= LARGEST_MM:
        raise CalibrationError(
            f"The detector pitch is {pitch_mm:g} mm; allowed is {SMALLEST_MM} to {LARGEST_MM} mm. Pitches "
            "are often stated in micrometres: 20 µm is 0.02 mm."
        )
    pair = (pitch_mm * pixel_aspect, pitch_mm)
    stated = exact_pitch(pair, "stated by the user")
    return _assumed(pair, stated, magnification, "pitch", f"detector pitch {pitch_mm:g} mm")


def scale_from_scan(
    dpi: float,
    *,
    pixel_aspect: float = 1.0,
    magnification: Pair = INTRA_ORAL_MAGNIFICATION,
) -> Scale:
    """Scale of a scanned film from the resolution of the scan, divided by an assumed magnification.

    The film was the receptor, so a pixel of the scan is 25.4 mm over the resolution in its plane.

    Parameters
    ----------
    dpi : float
        Dots per inch along the columns' direction.
    pixel_aspect : float
        Row spacing over column spacing.
    magnification : tuple of float
        Middle and half-width of the range it lies in (rectangular, JCGM 100:2008, 4.3.7).

    Raises
    ------
    CalibrationError
        The resolution is none a film is scanned with, or the magnification reaches below 1.
    """
    least, most = MM_PER_INCH / LARGEST_MM, MM_PER_INCH / SMALLEST_MM
    if not least <= dpi <= most:
        raise CalibrationError(
            f"The resolution of the scan is {dpi:g} dpi; allowed is {least:.0f} to {most:.0f} dots per inch. "
            "Films are scanned with 300 to 1200; a photograph of a film has no resolution of this kind."
        )
    col = MM_PER_INCH / dpi
    size = Input(
        "pixel of the scan",
        col * sqrt(pixel_aspect),
        rectangular(SCAN_RELATIVE_HALF_WIDTH) * col * sqrt(pixel_aspect),
        how=f"25.4 mm over {dpi:g} dpi, rectangular ± {SCAN_RELATIVE_HALF_WIDTH:.0%}: common practice, no "
        "source",
    )
    pair = (col * pixel_aspect, col)
    return _assumed(pair, size, magnification, "scan", f"film scanned with {dpi:g} dpi")


def _assumed(size_mm: Pair, size: Input, magnification: Pair, source: ScaleSource, what: str) -> Scale:
    factor, half_width = magnification
    basis = f"{what}, divided by an assumed magnification of {factor:g} ± {half_width:g}"
    assumed = assumed_magnification(factor, half_width, "intra-oral")
    return divided_pitch(size_mm, size, assumed, source, basis, (ASSUMED_NOTE, TILT_NOTE))


def assumed_magnification(factor: float, half_width: float, kind: str) -> Input:
    """Magnification within ± `half_width` of `factor`, rectangular.

    Raises
    ------
    CalibrationError
        The range reaches below 1, or its half-width is below 0.
    """
    if not (half_width >= 0 and factor - half_width >= 1 - 1e-9):
        raise CalibrationError(
            f"The magnification is {factor:g} ± {half_width:g}; source-receptor over source-object distance "
            "is never below 1, and the half-width not below 0."
        )
    how = f"assumed ({kind}), rectangular ± {half_width:g}"
    return Input("magnification", factor, rectangular(half_width), how=how)


def exact_pitch(pitch_mm: Pair, where: str) -> Input:
    """Stated pitch as an input without uncertainty."""
    return Input("pitch", mean_of(pitch_mm), 0.0, how=f"{where}, taken as exact")


def mean_of(size_mm: Pair) -> float:
    """Geometric mean of the size of a pixel down the rows and along the columns, mm."""
    return sqrt(size_mm[0] * size_mm[1])


def divided_pitch(
    size_mm: Pair,
    size: Input,
    magnification: Input,
    source: ScaleSource,
    basis: str,
    notes: Iterable[str],
) -> Scale:
    """Scale that is a pixel size over a magnification, with the budget of both.

    Parameters
    ----------
    size_mm : tuple of float
        Size of a pixel down the rows and along the columns, mm.
    size, magnification : Input
        Geometric mean of that size, and the magnification, with their uncertainties.
    source : ScaleSource
    basis : str
    notes : iterable of str
    """
    made = budget(lambda mm, factor: mm / factor, (size, magnification))
    factor = magnification.value
    return Scale(size_mm[0] / factor, size_mm[1] / factor, made.sd, source, basis, tuple(notes), made)
