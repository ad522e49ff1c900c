"""Is metal bright or dark here? Asked of clicks on metal: a picture without a header may be inverted."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from radio.trace.curve import spline_through, without_repeats
from radio.trace.ridge import line_contrast, sample, straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# One sign must stand out this many times more than the other.
_PLAIN = 1.7


def metal_is_bright(image: Image, clicks: Mapping[str, FloatArray], *, mm_per_px: float) -> bool | None:
    """Whether the clicked file, or else the clicked ball, is brighter than what surrounds it.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    clicks : mapping of str to ndarray, shape (N, 2)
        By landmark; looks at `file_start`, `file_via`, `file_tip` and `ball_centre`.
    mm_per_px : float
        Approximate scale.

    Returns
    -------
    bool or None
        None where it is not plain.
    """
    names = [n for n in ("file_start", "file_via", "file_tip") if n in clicks]
    if len(names) >= 2:
        return _file_is_bright(image, np.vstack([clicks[n] for n in names]), mm_per_px)
    if "ball_centre" in clicks:
        return _ball_is_bright(image, clicks["ball_centre"][0], mm_per_px)
    return None


def _file_is_bright(image: Image, points: FloatArray, mm_per_px: float) -> bool | None:
    guide = spline_through(without_repeats(points, closer_than=0.5), 0.2 / mm_per_px)
    band = straighten(
        image,
        guide,
        half_width_px=1.6 / mm_per_px,
        along_px=0.2 / mm_per_px,
        across_px=max(0.05 / mm_per_px, 0.5),
    )
    near = np.abs(band.offsets_px) * mm_per_px < 0.6
    widths = np.maximum(np.array([0.25, 0.5]) / mm_per_px, 2.0)
    strength = {}
    for bright in (True, False):
        contrast = line_contrast(
            band,
            widths,
            widest_px=np.full(len(band.guide_px), np.inf),
            bright=bright,
            smooth_along_px=0.3 / mm_per_px,
        )
        strength[bright] = float(np.percentile(contrast[:, near].max(axis=1), 60)) + 1e-6
    ratio = strength[True] / strength[False]
    return None if 1 / _PLAIN < ratio < _PLAIN else ratio > 1


def _ball_is_bright(image: Image, centre: FloatArray, mm_per_px: float) -> bool | None:
    angle = np.linspace(0.0, 2 * np.pi, 72, endpoint=False)
    ring = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    inside = sample(image, centre + 0.7 / mm_per_px * ring)
    outside = sample(image, centre + 4.5 / mm_per_px * ring)
    difference = float(np.median(inside) - np.median(outside))
    return None if abs(difference) < 0.25 else difference > 0
