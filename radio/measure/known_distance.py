"""Scale from two points a known distance apart: a wire, or a number of intervals of a grid."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from calib.known_length import STOP_SETTING_HALF_WIDTH_MM, scale_from_grid, scale_from_wire
from calib.scale import Scale
from calib.uncertainty import triangular
from radio.errors import CalibrationError, PeriapicalError
from radio.image.radiograph import Radiograph
from radio.trace.along import CLICK_SD_MM

Point = tuple[float, float]
GRID_RELATIVE_SD = 0.01
"""Standard uncertainty of an interval of a grid where none is stated; own assumption."""
_ENDS = ("click on one end", "click on the other")


@dataclass(frozen=True)
class KnownDistance:
    """Two points of an image that lie a known distance apart: the ends of a wire, or lines of a grid.

    Parameters
    ----------
    between_px : tuple of two (row, col)
        The points, pixels.
    known_mm : float
        Length of the wire, or of one interval of the grid, mm.
    intervals : int or None
        How many intervals of a grid lie between the points; None for a wire.
    sd_mm : float or None
        Standard uncertainty of `known_mm`. None takes a wire as measured at a ruler of half millimetres
        (within ± 0.25 mm, common practice, no source), a grid as good to 1 % (own assumption).
    """

    between_px: tuple[Point, Point]
    known_mm: float
    intervals: int | None = None
    sd_mm: float | None = None


def scale_of_known_distance(known: KnownDistance, radiograph: Radiograph) -> Scale:
    """Scale from two points as they were clicked; nothing is looked for in the image.

    Parameters
    ----------
    known : KnownDistance
    radiograph : Radiograph

    Raises
    ------
    CalibrationError
        The known length or the number of intervals is not above 0.
    PeriapicalError
        A point lies outside the image, or both are the same.
    """
    aspect = radiograph.pixel_aspect
    rows, cols = radiograph.grey.shape
    for row, col in known.between_px:
        if not (-0.5 <= row <= rows - 0.5 and -0.5 <= col <= cols - 0.5):
            raise PeriapicalError(
                f"The point at row {row:g}, col {col:g} lies outside the image, which has {rows} rows and "
                f"{cols} columns. Points are given as row, col: are they swapped?"
            )
    (row0, col0), (row1, col1) = known.between_px
    length_px = hypot((row1 - row0) * aspect, col1 - col0)
    if not length_px > 0:
        raise PeriapicalError("The two points of the known distance are the same; give its two ends.")
    if not known.known_mm > 0:
        raise CalibrationError(f"The known distance is {known.known_mm:g} mm; it must be above 0.")
    whole_mm = known.known_mm * (known.intervals or 1)
    ends = dict.fromkeys(_ENDS, CLICK_SD_MM / whole_mm * length_px)
    if known.intervals is None:
        sd = triangular(STOP_SETTING_HALF_WIDTH_MM) if known.sd_mm is None else known.sd_mm
        return scale_from_wire(length_px, ends, known.known_mm, sd, pixel_aspect=aspect)
    sd = GRID_RELATIVE_SD * known.known_mm if known.sd_mm is None else known.sd_mm
    return scale_from_grid(length_px, ends, known.intervals, known.known_mm, sd, pixel_aspect=aspect)
