"""What the magnifier shows: grey values about a point as they are displayed, enlarged; no Qt, no viewer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from napari_periapical.sheet import Point

FloatArray = npt.NDArray[np.float64]
ByteImage = npt.NDArray[np.uint8]

SIZE_PX = 160
TIMES = 4.0
_BESIDE_THE_IMAGE = 32
_TONES = 256


@dataclass(frozen=True)
class Lens:
    """A square that shows the surroundings of a point.

    Parameters
    ----------
    centre : tuple of float
        (row, col) of the image in the middle of the square.
    row_px, col_px : float
        Size of an image pixel in the square, screen pixels.
    size_px : int
        Side of the square, screen pixels.
    """

    centre: Point
    row_px: float
    col_px: float
    size_px: int = SIZE_PX

    def places(self, points_px: npt.ArrayLike) -> FloatArray:
        """Where image points, shape (N, 2) as (row, col), lie in the square, as (x, y)."""
        points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
        across = (points[:, 1] - self.centre[1]) * self.col_px
        down = (points[:, 0] - self.centre[0]) * self.row_px
        return np.stack([across, down], axis=1) + self.size_px / 2

    def pixels(self, shape: tuple[int, ...]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
        """Image rows and columns nearest to the middles of the rows and columns of the square.

        -1 beside an image of that shape.
        """
        middles = np.arange(self.size_px) + 0.5 - self.size_px / 2
        return (
            _within(self.centre[0] + middles / self.row_px, shape[0]),
            _within(self.centre[1] + middles / self.col_px, shape[1]),
        )


def _within(places: FloatArray, count: int) -> npt.NDArray[np.intp]:
    nearest = np.floor(places + 0.5).astype(np.intp)
    return np.where((nearest >= 0) & (nearest < count), nearest, -1)


def magnified(
    data: npt.NDArray[Any], lens: Lens, *, limits: tuple[float, float], gamma: float, colours: ByteImage
) -> ByteImage:
    """Enlarge the surroundings of a point, each pixel as it is displayed and none blended with its neighbour.

    Parameters
    ----------
    data : ndarray, shape (H, W)
        Grey values.
    lens : Lens
    limits : tuple of float
        Values shown darkest and brightest.
    gamma : float
    colours : ndarray of uint8, shape (256, 3)
        Colours from darkest to brightest.

    Returns
    -------
    ndarray of uint8, shape (S, S, 3)
    """
    rows, cols = lens.pixels(data.shape)
    values = np.asarray(data[np.ix_(np.maximum(rows, 0), np.maximum(cols, 0))], dtype=np.float32)
    low, high = limits
    share = np.clip((values - low) / max(high - low, 1e-12), 0.0, 1.0)
    if gamma != 1.0:
        share **= gamma
    shown = colours[(share * (_TONES - 1) + 0.5).astype(np.uint8)]
    shown[rows < 0] = _BESIDE_THE_IMAGE
    shown[:, cols < 0] = _BESIDE_THE_IMAGE
    return shown


def colours_of(colormap: Any) -> ByteImage:
    """Colours of a colour map of napari from darkest to brightest, shape (256, 3)."""
    rgba = np.asarray(colormap.map(np.linspace(0.0, 1.0, _TONES)))
    return np.asarray(np.round(255 * rgba[:, :3]), dtype=np.uint8)
