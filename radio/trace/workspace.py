"""The part of an image that the clicks span, on square pixels, and the way back to image coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Workspace:
    """A crop with square pixels (a column wide); tracing happens in its coordinates.

    Parameters
    ----------
    image : ndarray of float32, shape (h, w)
    top, left : int
        Image row and column of the crop's first pixel.
    aspect : float
        Row spacing over column spacing of the image.
    """

    image: Image
    top: int
    left: int
    aspect: float

    def from_image(self, points_px: npt.ArrayLike) -> FloatArray:
        """Image (row, col) to workspace coordinates, shape (..., 2)."""
        p = np.asarray(points_px, dtype=np.float64)
        row = (p[..., 0] - self.top + 0.5) * self.aspect - 0.5
        return np.stack([row, p[..., 1] - self.left], axis=-1)

    def to_image(self, points: npt.ArrayLike) -> FloatArray:
        """Workspace coordinates to image (row, col), shape (..., 2)."""
        p = np.asarray(points, dtype=np.float64)
        row = (p[..., 0] + 0.5) / self.aspect - 0.5 + self.top
        return np.stack([row, p[..., 1] + self.left], axis=-1)


def make_workspace(grey: Image, points_px: FloatArray, *, margin_px: float, aspect: float = 1.0) -> Workspace:
    """Crop the region the points span, with a margin, and make its pixels square.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
    points_px : ndarray, shape (K, 2)
    margin_px : float
        Margin on every side, in columns.
    aspect : float
        Row spacing over column spacing.
    """
    height, width = grey.shape
    low, high = points_px.min(axis=0), points_px.max(axis=0)
    margin = np.array([margin_px / aspect, margin_px])
    top, left = np.maximum(np.floor(low - margin), 0).astype(int)
    bottom, right = np.minimum(np.ceil(high + margin) + 1, [height, width]).astype(int)
    crop = np.ascontiguousarray(grey[top:bottom, left:right], dtype=np.float32)
    if abs(aspect - 1.0) > 1e-3:
        import cv2

        rows = max(2, round(crop.shape[0] * aspect))
        aspect = rows / crop.shape[0]
        crop = cv2.resize(crop, (crop.shape[1], rows), interpolation=cv2.INTER_LINEAR)
    else:
        aspect = 1.0
    return Workspace(crop, int(top), int(left), float(aspect))
