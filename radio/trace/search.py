"""What tracing and its preview share: rate every place of a band, and find the best way along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.curve import project, resample
from radio.trace.look import ALONG_MM, LineLook
from radio.trace.path import cheapest_path, curve_near, smooth_offsets
from radio.trace.ridge import Band, line_contrast, straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# The band is sampled this much wider than the line may lie, so that its border does not look like a line.
_BORDER_MM = 1.0
# Bending allowed to a guide through clicks, per mm over one millimetre: close clicks, each a little off, must
# not make a kink, and distant ones are followed.
_GUIDE_BENDING = 2.0
# Detail shorter than this is smoothed out of a path before it is drawn or guides the next pass.
_DETAIL_MM = 2.0
# The contrast of the line itself is expected this near the guide, to tell it from stronger lines further off.
_NEAR_MM = 0.45
# Weight of an end that is held, beside 1 for every other place of the path.
_HELD_WEIGHT = 1e4


@dataclass(frozen=True)
class Search:
    """What is looked for about a guide, how far from it and how finely.

    Parameters
    ----------
    look : LineLook
    mm_per_px : float
        Approximate scale.
    reach_mm : float
        How far from the guide the line may lie.
    across_mm : float
        Spacing of the samples across the guide; half a pixel at least.
    along_mm : float
        Spacing of the samples along the guide.
    held : bool
        Whether the path begins and ends on the guide.
    """

    look: LineLook
    mm_per_px: float
    reach_mm: float
    across_mm: float
    along_mm: float = ALONG_MM
    held: bool = False


def curve_near_clicks(points: FloatArray, sds_mm: FloatArray, mm_per_px: float) -> FloatArray:
    """Guide through clicks, shape (K, 2), that scatter by `sds_mm`, shape (K,); pixels, shape (N, 2)."""
    step = ALONG_MM / mm_per_px
    smooth = curve_near(points, sds_mm / mm_per_px, step=step, curvature_sd=_GUIDE_BENDING * mm_per_px**1.5)
    return resample(smooth, step)


def best_path(
    image: Image,
    guide: FloatArray,
    clicks: FloatArray,
    search: Search,
    *,
    click_sds_mm: FloatArray | None = None,
) -> tuple[FloatArray, Band]:
    """Find the best path in reach of a guide.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    guide : ndarray, shape (N, 2)
    clicks : ndarray, shape (K, 2)
        Places the path is held near; may be none.
    search : Search
    click_sds_mm : ndarray, shape (K,), optional
        How near the path is held to each click; by the look unless given.

    Returns
    -------
    offsets_px : ndarray, shape (M,)
        Lateral offsets of the path from the guide of the band.
    band : Band
        The band they are of.
    """
    look, mm_per_px = search.look, search.mm_per_px
    across_px = max(search.across_mm / mm_per_px, 0.5)
    band = straighten(
        image,
        guide,
        half_width_px=(search.reach_mm + _BORDER_MM) / mm_per_px,
        along_px=search.along_mm / mm_per_px,
        across_px=across_px,
    )
    widest_mm = look.widest_mm[0] + look.widest_mm[1] * search.along_mm * np.arange(len(band.guide_px))[::-1]
    contrast = line_contrast(
        band,
        np.maximum(np.array(look.widths_mm) / mm_per_px, 2.0),
        widest_px=np.maximum(widest_mm / mm_per_px, 2.0),
        bright=look.bright,
        smooth_along_px=look.smooth_along_mm / mm_per_px,
    )
    inner = np.abs(band.offsets_px) * mm_per_px <= search.reach_mm
    reward = _reward(contrast, band.offsets_px * mm_per_px, search)[:, inner]
    offsets_px = band.offsets_px[inner]
    sds_mm = np.full(len(clicks), look.click_sd_mm) if click_sds_mm is None else click_sds_mm
    cost = _click_cost(band, clicks, sds_mm, offsets_px * mm_per_px, search)
    cost -= reward * search.along_mm / ALONG_MM
    if search.held:
        cost[[0, -1]] = np.where(offsets_px == 0.0, 0.0, np.inf)
    step_ratio = across_px / band.along_step_px
    columns = cheapest_path(
        cost.astype(np.float32),
        slope_weight=search.along_mm * look.slope_cost * step_ratio**2,
        max_shift=min(max(1, int(np.ceil(0.9 / step_ratio))), 12),
    )
    return offsets_px[columns], band


def smoothed(band: Band, offsets_px: FloatArray, search: Search) -> FloatArray:
    """Path without the detail nobody means, in the image, shape (N, 2)."""
    weights = np.ones_like(offsets_px)
    if search.held:
        weights[[0, -1]] = _HELD_WEIGHT
    return band.to_image(smooth_offsets(offsets_px, weights, span=_DETAIL_MM / search.along_mm))


def _reward(
    contrast: npt.NDArray[np.float32], offsets_mm: FloatArray, search: Search
) -> npt.NDArray[np.float32]:
    """How much each place speaks for the line, 0..1.

    The scale is set by the best contrast near the guide over some length of the band: a much stronger line
    further away, such as the periodontal space beside a faint canal, gains little over it. For the file,
    texture to either side sets the scale where the file itself is weaker than that; a second file there is
    too narrow to be taken for texture.
    """
    from scipy.ndimage import gaussian_filter1d

    near, span = np.abs(offsets_mm) <= _NEAR_MM, 1.5 / search.along_mm
    best_near = gaussian_filter1d(contrast[:, near].max(axis=1), span, mode="nearest")
    level = 0.4 * best_near
    if search.look.bright:
        chance = np.percentile(contrast[:, ~near], 75, axis=1)
        level = np.maximum(level, 1.5 * gaussian_filter1d(chance, span, mode="nearest"))
    level = np.maximum(level, 0.05 * np.percentile(contrast.max(axis=1), 60)) + np.float32(1e-9)
    square = contrast**2
    return np.asarray(square / (square + level[:, None] ** 2), dtype=np.float32)


def _click_cost(
    band: Band, clicks: FloatArray, sds_mm: FloatArray, offsets_mm: FloatArray, search: Search
) -> FloatArray:
    """Cost, shape (N, M), that holds the path near the clicks and, loosely, near the guide between them."""
    n, mm_per_px = len(band.guide_px), search.mm_per_px
    cost = np.tile(search.along_mm * (offsets_mm / search.look.between_sd_mm) ** 2, (n, 1))
    along_mm = np.arange(n) * band.along_step_px * mm_per_px
    spread_mm = 0.2
    for click, sd_mm in zip(clicks, sds_mm, strict=True):
        s_px, offset_px = project(band.guide_px, click)
        near = np.exp(-0.5 * ((along_mm - s_px * mm_per_px) / spread_mm) ** 2)
        near /= max(near.sum(), 1e-9)
        cost += near[:, None] * ((offsets_mm - offset_px * mm_per_px) / sd_mm) ** 2
    return cost
