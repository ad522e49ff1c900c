"""The radiograph in the picture: which part is shown, its contrast and its scale bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from radio.measure.case import CaseResult

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

FloatArray = npt.NDArray[np.float64]

_BAR_LENGTHS_MM = (10.0, 5.0, 2.0, 1.0)


@dataclass(frozen=True)
class Crop:
    """The part of the image shown, in pixel edges (half-integers)."""

    top: float
    bottom: float
    left: float
    right: float

    @property
    def height_px(self) -> float:
        """Rows shown."""
        return self.bottom - self.top

    @property
    def width_px(self) -> float:
        """Columns shown."""
        return self.right - self.left


def crop_to_tooth(radiograph: Radiograph, results: Sequence[CaseResult]) -> Crop:
    """Find the part of the image that holds everything measured, with a margin.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    results : sequence of CaseResult
        What was measured on it.

    Returns
    -------
    Crop
        The whole image where nothing was placed.
    """
    rows, cols = radiograph.grey.shape
    points = [line.points_px for one in results for line in (one.file_line, one.canal_line) if line]
    points += [fix.point_px[None] for one in results for fix in one.landmarks.values()]
    for one in results:
        ball = ball_of(one)
        if ball is not None:
            centre, radius = ball
            points += [centre[None] - radius, centre[None] + radius]
    if not points:
        return Crop(-0.5, rows - 0.5, -0.5, cols - 0.5)
    gathered = np.vstack(points)
    low, high = gathered.min(axis=0), gathered.max(axis=0)
    tall = float((high - low).max())
    margin = np.array([0.10 * tall + 5, 0.22 * tall + 10])
    low, high = np.maximum(low - margin, -0.5), np.minimum(high + margin, [rows - 0.5, cols - 0.5])
    return Crop(float(low[0]), float(high[0]), float(low[1]), float(high[1]))


def ball_of(result: CaseResult) -> tuple[FloatArray, float] | None:
    """Centre and radius (in columns) of the ball a scale was made from; the scale states the radius."""
    fix, scale, diameter = (
        result.landmarks.get("ball_centre"),
        result.scale,
        result.facts.ball_diameter_mm,
    )
    if fix is None or scale is None or scale.source != "ball" or diameter is None:
        return None
    return fix.point_px, diameter / 2 / scale.col_mm_per_px


def halo(width: float) -> list[Any]:
    """Make the dark rim, `width` points wide in all, that keeps a bright line readable on bright ground."""
    from matplotlib import patheffects

    return [patheffects.Stroke(linewidth=width, foreground="black", alpha=0.75), patheffects.Normal()]


def show_radiograph(axes: Any, radiograph: Radiograph, crop: Crop) -> None:
    """Show part of a radiograph, contrast taken from the exposed image alone.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Empty axes.
    radiograph : Radiograph
        The image.
    crop : Crop
        The part to show.
    """
    grey = radiograph.grey
    seen = grey[radiograph.film]
    low, high = np.percentile(seen if seen.size else grey, [0.5, 99.7])
    axes.imshow(
        grey,
        cmap="gray",
        vmin=low,
        vmax=max(high, low + 1e-6),
        aspect=radiograph.pixel_aspect,
        interpolation="bilinear",
    )
    axes.set(xlim=(crop.left, crop.right), ylim=(crop.bottom, crop.top), xticks=[], yticks=[])


def draw_scale_bar(axes: Any, crop: Crop, results: Sequence[CaseResult]) -> None:
    """Draw a bar of whole millimetres at the lower left, or say that there is no scale."""
    row = crop.bottom - 0.02 * crop.height_px
    left = crop.left + 0.03 * crop.width_px
    scale = next((one.scale for one in results if one.scale is not None), None)
    word = "no scale: pixels only"
    if scale is not None:
        fits = [one for one in _BAR_LENGTHS_MM if one / scale.col_mm_per_px < 0.4 * crop.width_px]
        length_mm = fits[0] if fits else _BAR_LENGTHS_MM[-1]
        word, right = f"{length_mm:g} mm", left + length_mm / scale.col_mm_per_px
        axes.plot([left, right], [row, row], color="white", linewidth=3, path_effects=halo(5))
    axes.annotate(
        word,
        (left, row),
        (0, 5),
        textcoords="offset points",
        fontsize=8,
        color="white",
        path_effects=halo(2.5),
    )
