"""From rough clicks to a sub-pixel line, for the bright file and the dark canal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from radio.trace.along import CLICK_SD_MM
from radio.trace.centre import settle
from radio.trace.curve import arc_length, project, resample, section, without_repeats
from radio.trace.line import Line, LineKind
from radio.trace.look import ALONG_MM, CANAL, FILE, TAIL, LineLook
from radio.trace.path import cheapest_path, curve_near, smooth_offsets
from radio.trace.ridge import Band, line_contrast, straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

_LOOKS: dict[LineKind, LineLook] = {"file": FILE, "canal": CANAL}

# The band is sampled this much wider than the line may lie, so that its border does not look like a line.
_BORDER_MM = 1.0
# Bending allowed to a guide through clicks, per mm over one millimetre: close clicks, each a little off, must
# not make a kink, and distant ones are followed.
_GUIDE_BENDING = 2.0
# Detail shorter than this is smoothed out of a path before it guides the next pass.
_GUIDE_DETAIL_MM = 2.0
_KNOWN_SD_MM = 0.02


def trace_line(
    image: Image,
    clicks_px: npt.ArrayLike,
    kind: LineKind,
    *,
    mm_per_px: float,
    extend_mm: tuple[float, float] = (0.0, 0.0),
    tip_diameter_mm: float | None = None,
) -> Line:
    """Find the line that rough clicks mean.

    A band about a curve through the clicks is straightened, every place in it is rated by how far it stands
    out from both its sides, and the cheapest path through the ratings is found by dynamic programming,
    held near the clicks by their known scatter; then again, closer, about the path found. Centres are
    refined to a fraction of a pixel by :func:`radio.trace.centre.settle`.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    clicks_px : array_like, shape (K, 2)
        Coronal to apical (row, col), K at least 2.
    kind : {"file", "canal"}
    mm_per_px : float
        Approximate scale; a factor of 1.5 off still works.
    extend_mm : tuple of float
        How far to continue before the first and beyond the last click.
    tip_diameter_mm : float, optional
        Diameter at the apical end of a file of known size; keeps the search to widths it can have.

    Returns
    -------
    Line
        Sampled about every 0.1 mm.

    Raises
    ------
    TraceError
        Fewer than two distinct clicks.
    """
    look = _LOOKS[kind]
    if tip_diameter_mm is not None:
        look = replace(look, widest_mm=(1.4 * tip_diameter_mm + 0.08, look.widest_mm[1]))
    clicks = without_repeats(clicks_px, closer_than=0.5)
    guide = _curve(clicks, np.full(len(clicks), CLICK_SD_MM), mm_per_px)
    before, after = (e / mm_per_px for e in extend_mm)
    guide = section(guide, -before, arc_length(guide) + after, ALONG_MM / mm_per_px)
    for reach_mm, across_mm in ((look.reach_mm, 0.05), (0.35, 0.03)):
        path, band = _best_path(image, guide, clicks, look, mm_per_px, reach_mm, across_mm)
        guide = _smoothed(band, path)
    return settle(image, guide, look, mm_per_px=mm_per_px, clicks_px=clicks)


def join_lines(
    image: Image, head: Line, tail_clicks_px: FloatArray, *, mm_per_px: float, extend_mm: float
) -> Line:
    """Canal line whose coronal part is known from a file in it, continued through the dark canal beyond.

    The guide runs on from the file with its own direction and curve, so the search beyond the tip is held
    much closer than one from clicks alone, and the joint has no kink.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    head : Line
        Coronal part, ending at the file tip.
    tail_clicks_px : ndarray, shape (K, 2)
        Clicks beyond the tip, in order.
    mm_per_px : float
        Approximate scale.
    extend_mm : float
        How far to continue beyond the last click.

    Returns
    -------
    Line
        Sampled about every 0.1 mm.
    """
    step = ALONG_MM / mm_per_px
    total = arc_length(head.points_px)
    base = min(total, 5.0 / mm_per_px)
    kept = section(head.points_px, total - base, total, 1.25 / mm_per_px)
    joined = without_repeats(np.vstack([kept, tail_clicks_px]))
    sds = np.where(np.arange(len(joined)) < len(kept), _KNOWN_SD_MM, CLICK_SD_MM)
    guide = _curve(joined, sds, mm_per_px)
    tip_s, _ = project(guide, head.points_px[-1])
    guide = section(guide, tip_s, arc_length(guide) + extend_mm / mm_per_px, step)
    pinned = np.vstack([guide[:1], tail_clicks_px])
    path, band = _best_path(image, guide, pinned, TAIL, mm_per_px, TAIL.reach_mm, 0.03)
    tail = _smoothed(band, path)
    ramp = np.exp(-np.arange(len(tail)) * ALONG_MM / 0.4)[:, None]
    tail = tail + ramp * (head.points_px[-1] - tail[0])
    guide = resample(np.vstack([head.points_px[:-1], tail]), step)
    count = int(total / step)
    known = section(head.points_px, 0.0, count * step, step)
    sd = np.full(len(known), _KNOWN_SD_MM / mm_per_px)
    return settle(image, guide, TAIL, mm_per_px=mm_per_px, clicks_px=tail_clicks_px, known=(known, sd))


def bend_toward(
    image: Image,
    line: Line,
    place_px: FloatArray,
    sd_px: float,
    *,
    mm_per_px: float,
    clicks_px: FloatArray,
    known_px: float,
) -> Line:
    """Weigh one more place that the end of a canal line is near, and settle the line again.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    line : Line
        Canal line.
    place_px : ndarray, shape (2,)
    sd_px : float
        How near, standard deviation, pixels.
    mm_per_px : float
        Approximate scale.
    clicks_px : ndarray, shape (K, 2)
        Clicks the line rests on already.
    known_px : float
        Arc length up to which the line is known from a file and stays; 0 where there is none.
    """
    look = TAIL if known_px > 0 else CANAL
    guide = resample(line.points_px, ALONG_MM / mm_per_px)
    step = arc_length(guide) / (len(guide) - 1)
    count = int(known_px / step)
    known = (guide[:count], np.full(count, _KNOWN_SD_MM / mm_per_px)) if count else None
    return settle(
        image,
        guide,
        look,
        mm_per_px=mm_per_px,
        clicks_px=clicks_px,
        known=known,
        toward=(place_px, sd_px),
    )


def recentre(
    image: Image, guide_px: FloatArray, kind: LineKind, *, mm_per_px: float, clicks_px: FloatArray
) -> Line:
    """Sub-pixel centre line about a guide, shape (N, 2), that lies within a width of the line already."""
    return settle(image, guide_px, _LOOKS[kind], mm_per_px=mm_per_px, clicks_px=clicks_px)


def _curve(points: FloatArray, sds_mm: FloatArray, mm_per_px: float) -> FloatArray:
    """Guide through clicks that scatter, in pixels."""
    step = ALONG_MM / mm_per_px
    smooth = curve_near(points, sds_mm / mm_per_px, step=step, curvature_sd=_GUIDE_BENDING * mm_per_px**1.5)
    return resample(smooth, step)


def _best_path(
    image: Image,
    guide: FloatArray,
    clicks: FloatArray,
    look: LineLook,
    mm_per_px: float,
    reach_mm: float,
    across_mm: float,
) -> tuple[FloatArray, Band]:
    """Lateral offsets, pixels, of the best path within `reach_mm` of the guide, and the band they are of."""
    across_px = max(across_mm / mm_per_px, 0.5)
    band = straighten(
        image,
        guide,
        half_width_px=(reach_mm + _BORDER_MM) / mm_per_px,
        along_px=ALONG_MM / mm_per_px,
        across_px=across_px,
    )
    widest_mm = look.widest_mm[0] + look.widest_mm[1] * ALONG_MM * np.arange(len(band.guide_px))[::-1]
    contrast = line_contrast(
        band,
        np.maximum(np.array(look.widths_mm) / mm_per_px, 2.0),
        widest_px=np.maximum(widest_mm / mm_per_px, 2.0),
        bright=look.bright,
        smooth_along_px=look.smooth_along_mm / mm_per_px,
    )
    inner = np.abs(band.offsets_px) * mm_per_px <= reach_mm
    reward = _reward(contrast, band.offsets_px * mm_per_px, look)[:, inner]
    offsets_px = band.offsets_px[inner]
    cost = _click_cost(band, clicks, offsets_px * mm_per_px, look, mm_per_px) - reward
    step_ratio = across_px / band.along_step_px
    columns = cheapest_path(
        cost.astype(np.float32),
        slope_weight=ALONG_MM * look.slope_cost * step_ratio**2,
        max_shift=min(max(1, int(np.ceil(0.9 / step_ratio))), 12),
    )
    return offsets_px[columns], band


def _reward(
    contrast: npt.NDArray[np.float32], offsets_mm: FloatArray, look: LineLook
) -> npt.NDArray[np.float32]:
    """How much each place speaks for the line, 0..1.

    The scale is set by the best contrast near the guide over some length of the band: a much stronger line
    further away, such as the periodontal space beside a faint canal, gains little over it. For the file,
    texture to either side sets the scale where the file itself is weaker than that; a second file there is
    too narrow to be taken for texture.
    """
    from scipy.ndimage import gaussian_filter1d

    near = np.abs(offsets_mm) <= 0.45
    best_near = gaussian_filter1d(contrast[:, near].max(axis=1), 1.5 / ALONG_MM, mode="nearest")
    level = 0.4 * best_near
    if look.bright:
        chance = np.percentile(contrast[:, ~near], 75, axis=1)
        level = np.maximum(level, 1.5 * gaussian_filter1d(chance, 1.5 / ALONG_MM, mode="nearest"))
    level = np.maximum(level, 0.05 * np.percentile(contrast.max(axis=1), 60)) + np.float32(1e-9)
    square = contrast**2
    return np.asarray(square / (square + level[:, None] ** 2), dtype=np.float32)


def _click_cost(
    band: Band, clicks: FloatArray, offsets_mm: FloatArray, look: LineLook, mm_per_px: float
) -> FloatArray:
    """Cost, shape (N, M), that holds the path near the clicks and, loosely, near the guide between them."""
    n = len(band.guide_px)
    cost = np.tile(ALONG_MM * (offsets_mm / look.between_sd_mm) ** 2, (n, 1))
    along_mm = np.arange(n) * band.along_step_px * mm_per_px
    spread_mm = 0.2
    for click in clicks:
        s_px, offset_px = project(band.guide_px, click)
        near = np.exp(-0.5 * ((along_mm - s_px * mm_per_px) / spread_mm) ** 2)
        near /= max(near.sum(), 1e-9)
        cost += near[:, None] * ((offsets_mm - offset_px * mm_per_px) / look.click_sd_mm) ** 2
    return cost


def _smoothed(band: Band, offsets_px: FloatArray) -> FloatArray:
    smooth = smooth_offsets(offsets_px, np.ones_like(offsets_px), span=_GUIDE_DETAIL_MM / ALONG_MM)
    return band.to_image(smooth)
