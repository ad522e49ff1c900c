"""A straightened band of the image about a guide line, and how much each place in it looks like the line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.curve import normals, resample

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Band:
    """Image sampled along and across a guide line.

    Parameters
    ----------
    guide_px : ndarray, shape (N, 2)
        Evenly spaced points of the guide, (row, col).
    normals_px : ndarray, shape (N, 2)
        Unit normals at the guide points.
    offsets_px : ndarray, shape (M,)
        Distances from the guide along the normals; symmetric about 0, evenly spaced.
    values : ndarray of float32, shape (N, M)
        Grey values.
    """

    guide_px: FloatArray
    normals_px: FloatArray
    offsets_px: FloatArray
    values: Image

    @property
    def along_step_px(self) -> float:
        """Spacing of the guide points, pixels."""
        return float(np.hypot(*(self.guide_px[1] - self.guide_px[0])))

    @property
    def across_step_px(self) -> float:
        """Spacing of the lateral samples, pixels."""
        return float(self.offsets_px[1] - self.offsets_px[0])

    def to_image(self, offsets_px: FloatArray) -> FloatArray:
        """Image points, shape (N, 2), at one lateral offset per guide point."""
        return np.asarray(self.guide_px + offsets_px[:, None] * self.normals_px)


def sample(image: Image, points_px: FloatArray) -> Image:
    """Grey values at sub-pixel points, shape (..., 2) as (row, col), border values repeated outside."""
    import cv2

    flat = points_px.astype(np.float32)
    return np.asarray(
        cv2.remap(
            image,
            np.ascontiguousarray(flat[..., 1]),
            np.ascontiguousarray(flat[..., 0]),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        dtype=np.float32,
    )


def straighten(
    image: Image, guide_px: FloatArray, *, half_width_px: float, along_px: float, across_px: float
) -> Band:
    """Sample a band of the image about a guide line.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    guide_px : ndarray, shape (N, 2)
        Any ordered line; it is resampled to `along_px`.
    half_width_px, along_px, across_px : float
        Reach to either side, and sample spacing along and across, pixels.
    """
    guide = resample(guide_px, along_px)
    normal = normals(guide)
    count = int(np.ceil(half_width_px / across_px))
    offsets = np.arange(-count, count + 1, dtype=np.float64) * across_px
    points = guide[:, None, :] + offsets[None, :, None] * normal[:, None, :]
    return Band(guide, normal, offsets, sample(image, points))


def line_contrast(
    band: Band, widths_px: FloatArray, *, widest_px: FloatArray, bright: bool, smooth_along_px: float
) -> npt.NDArray[np.float32]:
    """How far each place stands out from both of its sides, the best of several widths.

    The mean over a window of the width is compared with the windows on either side, and the weaker of the
    two differences counts, so that a mere edge (enamel, a neighbouring root) gives nothing while a line
    does. Differences are weighted with the square root of the width: the noise of a window mean falls so.

    Parameters
    ----------
    band : Band
    widths_px : ndarray, shape (K,)
        Expected widths of the line, pixels.
    widest_px : ndarray, shape (N,)
        Greatest width to look for at each place along; the narrowest of `widths_px` is always looked for.
    bright : bool
        True for a radiopaque line, False for a radiolucent one.
    smooth_along_px : float
        Standard deviation of the smoothing along the band, pixels.

    Returns
    -------
    ndarray of float32, shape (N, M)
        Not below 0.
    """
    import cv2

    values = band.values if bright else -band.values
    smooth = cv2.GaussianBlur(
        values, (1, 0), sigmaX=0.01, sigmaY=max(smooth_along_px / band.along_step_px, 0.3)
    )
    best = np.zeros_like(smooth)
    for width_px in widths_px:
        allowed = (width_px <= widest_px) | (width_px == widths_px.min())
        if not allowed.any():
            continue
        size = max(1, round(width_px / band.across_step_px) | 1)
        mean = cv2.blur(smooth, (size, 1), borderType=cv2.BORDER_REPLICATE)
        shift = max(2, size)
        left = np.full_like(mean, np.inf)
        right = np.full_like(mean, np.inf)
        left[:, shift:] = mean[:, :-shift]
        right[:, :-shift] = mean[:, shift:]
        margin = mean - np.maximum(left, right)
        margin[~np.isfinite(margin)] = 0.0
        margin[~allowed] = 0.0
        np.maximum(best, margin * np.float32(np.sqrt(size * band.across_step_px)), out=best)
    return np.asarray(best)
