"""Scale from an object of known size in the image."""

from __future__ import annotations

from calib.scale import CalibrationError, Scale
from calib.uncertainty import combine, triangular

# A stop is set on a ruler with half-millimetre marks: within ± 0.25 mm, most often close to the mark.
# Common practice, no source.
STOP_SETTING_HALF_WIDTH_MM = 0.25
# ISO 3630-1 tolerance on the length of an instrument, from memory; used for lengths taken at the handle.
NOMINAL_LENGTH_HALF_WIDTH_MM = 0.5


def file_length_sd_mm(start_at: str) -> float:
    """Standard uncertainty of a stated file length, mm.

    Parameters
    ----------
    start_at : {"stop", "handle"}
        A length set with a stop carries the setting error of the ruler; a nominal length from the handle
        carries the maker's tolerance. Both as triangular distributions (JCGM 100:2008, 4.3.9).
    """
    half = STOP_SETTING_HALF_WIDTH_MM if start_at == "stop" else NOMINAL_LENGTH_HALF_WIDTH_MM
    return triangular(half)


def scale_from_file(
    length_px: float,
    sd_px: float,
    length_mm: float,
    sd_mm: float,
    *,
    pixel_aspect: float = 1.0,
    start_at: str = "stop",
) -> Scale:
    """Scale from the known length of the file over its traced arc length.

    Parameters
    ----------
    length_px, sd_px : float
        Arc length of the traced file from start to tip and its standard uncertainty, in column widths.
    length_mm, sd_mm : float
        Known length and its standard uncertainty, mm.
    pixel_aspect : float
        Row spacing over column spacing.
    start_at : {"stop", "handle"}
        Where the known length begins.

    Raises
    ------
    CalibrationError
        A length is not positive.
    """
    _positive("file length in the image", length_px, "px")
    _positive("known file length", length_mm, "mm")
    col = length_mm / length_px
    relative = combine({"image": sd_px / length_px, "known length": sd_mm / length_mm})
    mean = col * pixel_aspect**0.5
    return Scale(
        col * pixel_aspect,
        col,
        relative * mean,
        "file",
        f"known file length {length_mm:g} mm over {length_px:.1f} px of traced file, from the {start_at} to"
        " the tip; holds in the plane of the file",
    )


def scale_from_ball(
    diameter_px: float, sd_px: float, diameter_mm: float, *, sd_mm: float = 0.01, pixel_aspect: float = 1.0
) -> Scale:
    """Scale from a ball of known diameter.

    Parameters
    ----------
    diameter_px, sd_px : float
        Fitted diameter and its standard uncertainty, in column widths.
    diameter_mm, sd_mm : float
        Known diameter and its standard uncertainty, mm.
    pixel_aspect : float
        Row spacing over column spacing.

    Raises
    ------
    CalibrationError
        A diameter is not positive.
    """
    _positive("ball diameter in the image", diameter_px, "px")
    _positive("known ball diameter", diameter_mm, "mm")
    col = diameter_mm / diameter_px
    relative = combine({"image": sd_px / diameter_px, "known diameter": sd_mm / diameter_mm})
    return Scale(
        col * pixel_aspect,
        col,
        relative * col * pixel_aspect**0.5,
        "ball",
        f"ball of {diameter_mm:g} mm over {diameter_px:.1f} px; holds at the depth of the ball",
    )


def scale_given(mm_per_px: float, *, pixel_aspect: float = 1.0) -> Scale:
    """Scale stated by the user, taken as it is (no uncertainty is known for it).

    Raises
    ------
    CalibrationError
        The value is not a plausible pixel size (0.002 to 1 mm).
    """
    _positive("given pixel size", mm_per_px, "mm/px")
    if not 0.002 <= mm_per_px <= 1.0:
        raise CalibrationError(
            f"The given pixel size is {mm_per_px:g} mm/px; allowed is 0.002 to 1. "
            "Detectors for teeth have pixels of about 0.015 to 0.06 mm: check the unit."
        )
    return Scale(
        mm_per_px * pixel_aspect, mm_per_px, 0.0, "given", "pixel size stated by the user, taken as exact"
    )


def _positive(what: str, value: float, unit: str) -> None:
    if not value > 0:
        raise CalibrationError(f"The {what} is {value:g} {unit}; it must be above 0. Check the landmarks.")
