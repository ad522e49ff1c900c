"""Scale from an object of known size in the image."""

from __future__ import annotations

from collections.abc import Mapping
from math import isclose, sqrt

from calib.budget import Input, budget
from calib.errors import CalibrationError
from calib.scale import Scale, ScaleSource
from calib.uncertainty import triangular

# A stop is set on a ruler with half-millimetre marks: within ± 0.25 mm, most often close to the mark.
# Common practice, no source.
STOP_SETTING_HALF_WIDTH_MM = 0.25
# ISO 3630-1 tolerance on the length of an instrument, from memory; used for lengths taken at the handle.
NOMINAL_LENGTH_HALF_WIDTH_MM = 0.5
_HOW_FAR = {
    "stop": (STOP_SETTING_HALF_WIDTH_MM, "stop set on a ruler: common practice, no source"),
    "handle": (NOMINAL_LENGTH_HALF_WIDTH_MM, "maker's tolerance by ISO 3630-1: from memory"),
}
ImageSd = float | Mapping[str, float]
_TILT = "a piece that leans against the receptor looks short and makes the scale too large (10° by 1.5 %)"


def file_length_sd_mm(start_at: str) -> float:
    """Standard uncertainty of a stated file length, mm.

    Parameters
    ----------
    start_at : {"stop", "handle"}
        A length set with a stop carries the setting error of the ruler; a nominal length from the handle
        carries the maker's tolerance. Both as triangular distributions (JCGM 100:2008, 4.3.9).

    Raises
    ------
    CalibrationError
        `start_at` is another word.
    """
    return triangular(_half_width(start_at)[0])


def _half_width(start_at: str) -> tuple[float, str]:
    """Half-width of the limits of a stated file length, mm, and why."""
    if start_at not in _HOW_FAR:
        raise CalibrationError(
            f"The file length is counted from {start_at!r}; allowed are {' and '.join(map(repr, _HOW_FAR))}."
        )
    return _HOW_FAR[start_at]


def scale_from_file(
    length_px: float,
    sd_px: ImageSd,
    length_mm: float,
    sd_mm: float,
    *,
    pixel_aspect: float = 1.0,
    start_at: str = "stop",
) -> Scale:
    """Scale from the known length of the file over its traced arc length.

    Parameters
    ----------
    length_px : float
        Arc length of the traced file from start to tip, in column widths.
    sd_px : float or mapping of str to float
        Its standard uncertainty; or what that is made of, by name, such as start, tip and line.
    length_mm, sd_mm : float
        Known length and its standard uncertainty, mm.
    pixel_aspect : float
        Row spacing over column spacing.
    start_at : {"stop", "handle"}
        Where the known length begins.

    Raises
    ------
    CalibrationError
        A length is not positive, an uncertainty below 0, or `start_at` another word.
    """
    half_width, why = _half_width(start_at)
    usual = isclose(sd_mm, triangular(half_width))
    how = f"triangular ± {half_width:g} mm, {why}" if usual else "uncertainty as stated"
    return _from_length(
        "file",
        _known("known file length", length_mm, sd_mm, how),
        _image_inputs("file length in the image", length_px, sd_px),
        pixel_aspect,
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
        A diameter is not positive, or an uncertainty below 0.
    """
    return _from_length(
        "ball",
        _known("known ball diameter", diameter_mm, sd_mm),
        _image_inputs("ball diameter in the image", diameter_px, sd_px),
        pixel_aspect,
        f"ball of {diameter_mm:g} mm over {diameter_px:.1f} px; holds at the depth of the ball",
    )


def scale_from_wire(
    length_px: float, sd_px: ImageSd, length_mm: float, sd_mm: float, *, pixel_aspect: float = 1.0
) -> Scale:
    """Scale from two marks a known distance apart, as the ends of a wire.

    Parameters
    ----------
    length_px : float
        Distance of the marks in the image, in column widths.
    sd_px : float or mapping of str to float
        Its standard uncertainty; or what that is made of, by name.
    length_mm, sd_mm : float
        Known distance and its standard uncertainty, mm.
    pixel_aspect : float
        Row spacing over column spacing.

    Raises
    ------
    CalibrationError
        A length is not positive, or an uncertainty below 0.
    """
    return _from_length(
        "wire",
        _known("known length of the wire", length_mm, sd_mm),
        _image_inputs("wire length in the image", length_px, sd_px),
        pixel_aspect,
        f"wire of {length_mm:g} mm over {length_px:.1f} px; holds in the plane of the wire",
        (_TILT,),
    )


def scale_from_grid(
    length_px: float,
    sd_px: ImageSd,
    intervals: int,
    interval_mm: float,
    sd_interval_mm: float,
    *,
    pixel_aspect: float = 1.0,
) -> Scale:
    """Scale from a number of equal intervals of a grid.

    An error of the interval goes through all of them; the more intervals are spanned, the less the two ends
    matter.

    Parameters
    ----------
    length_px : float
        From the first to the last line, in column widths.
    sd_px : float or mapping of str to float
        Its standard uncertainty; or what that is made of, by name.
    intervals : int
        How many intervals lie between these lines.
    interval_mm, sd_interval_mm : float
        One interval and its standard uncertainty, mm.
    pixel_aspect : float
        Row spacing over column spacing.

    Raises
    ------
    CalibrationError
        A length or the number of intervals is not positive, that number is not whole, or an uncertainty is
        below 0.
    """
    if not (intervals >= 1 and float(intervals).is_integer()):
        raise CalibrationError(
            f"The number of intervals is {intervals!r}; count the spaces between the two lines, 1 or more."
        )
    _positive("interval of the grid", interval_mm, "mm")
    return _from_length(
        "grid",
        Input(
            f"{intervals} intervals",
            intervals * interval_mm,
            intervals * sd_interval_mm,
            how=f"{intervals} × {interval_mm:g} mm",
        ),
        _image_inputs("grid length in the image", length_px, sd_px),
        pixel_aspect,
        f"{intervals} intervals of a grid of {interval_mm:g} mm over {length_px:.1f} px; holds in the plane "
        "of the grid",
        (_TILT,),
    )


NO_SD = "its uncertainty is not stated and is in no interval"


def scale_given(mm_per_px: float, sd: float | None = None, *, pixel_aspect: float = 1.0) -> Scale:
    """Scale stated by the user, taken as it is.

    Parameters
    ----------
    mm_per_px : float
        Width of a column, mm.
    sd : float or None
        Its standard uncertainty, mm; without one the basis says that none is known.
    pixel_aspect : float
        Row spacing over column spacing.

    Raises
    ------
    CalibrationError
        The value is not a plausible pixel size (0.002 to 1 mm), or its uncertainty not above 0 and below half
        of it.
    """
    _positive("given pixel size", mm_per_px, "mm/px")
    if not 0.002 <= mm_per_px <= 1.0:
        raise CalibrationError(
            f"The given pixel size is {mm_per_px:g} mm/px; allowed is 0.002 to 1. "
            "Detectors for teeth have pixels of about 0.015 to 0.06 mm: check the unit."
        )
    basis = "pixel size stated by the user"
    if sd is None:
        return Scale(mm_per_px * pixel_aspect, mm_per_px, 0.0, "given", f"{basis}; {NO_SD}")
    if not 0 < sd < mm_per_px / 2:
        raise CalibrationError(
            f"The standard uncertainty of the given pixel size is {sd:g} mm; allowed is above 0 and below "
            f"half of the {mm_per_px:g} mm it is of."
        )
    squeeze = sqrt(pixel_aspect)
    stated = Input("pixel size given", mm_per_px, sd, how="uncertainty as stated")
    made = budget(lambda mm: mm * squeeze, (stated,))
    return Scale(mm_per_px * pixel_aspect, mm_per_px, made.sd, "given", basis, (), made)


def _from_length(
    source: ScaleSource,
    known: Input,
    image: tuple[Input, ...],
    pixel_aspect: float,
    basis: str,
    notes: tuple[str, ...] = (),
) -> Scale:
    """Scale that is a known length over the sum of the inputs from the image, in column widths."""
    squeeze = sqrt(pixel_aspect)
    made = budget(lambda mm, *px: mm / sum(px) * squeeze, (known, *image))
    col = known.value / image[0].value
    return Scale(col * pixel_aspect, col, made.sd, source, basis, notes, made)


def _known(what: str, value_mm: float, sd_mm: float, how: str = "") -> Input:
    """A known length, mm."""
    return Input(what, _positive(what, value_mm, "mm"), sd_mm, how=how)


def _image_inputs(what: str, length_px: float, sd_px: ImageSd) -> tuple[Input, ...]:
    """A length in the image, and corrections of 0 px that carry its uncertainty where its parts are known."""
    _positive(what, length_px, "px")
    if not isinstance(sd_px, Mapping):
        return (Input(what, length_px, sd_px, how="measured in the image"),)
    corrections = (Input(name, 0.0, sd, how="measured in the image") for name, sd in sd_px.items())
    return (
        Input(what, length_px, 0.0, how="its uncertainty is that of its parts, which follow"),
        *corrections,
    )


def _positive(what: str, value: float, unit: str) -> float:
    if not value > 0:
        raise CalibrationError(f"The {what} is {value:g} {unit}; it must be above 0. Check the landmarks.")
    return value
