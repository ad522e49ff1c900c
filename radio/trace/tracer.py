"""From rough clicks to a sub-pixel line, for the bright file and the dark canal."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.trace.curve import (
    arc_length,
    cumulative_length,
    project,
    resample,
    section,
    spline_through,
    without_repeats,
)
from radio.trace.line import BoolArray, Line, LineKind
from radio.trace.path import cheapest_path, smooth_offsets
from radio.trace.ridge import Band, line_contrast, straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


@dataclass(frozen=True)
class LineLook:
    """What a kind of line looks like, in millimetres: the knowledge the tracer starts from.

    Parameters
    ----------
    bright : bool
        Radiopaque (file) or radiolucent (canal).
    widths_mm : tuple of float
        Widths to look for.
    reach_mm : float
        How far from a curve through the clicks the line may lie.
    click_sd_mm : float
        Scatter of a click across the line.
    detail_mm : float
        Length along the line below which sideways detail is noise.
    widest_mm : tuple of float
        Greatest width at the apical end, and how much more per millimetre away from it.
    between_sd_mm : float
        How far from the guide the line is expected per millimetre between clicks.
    """

    bright: bool
    widths_mm: tuple[float, ...]
    reach_mm: float
    click_sd_mm: float
    detail_mm: float
    widest_mm: tuple[float, float]
    between_sd_mm: float = 3.0


LOOKS: dict[LineKind, LineLook] = {
    "file": LineLook(True, (0.12, 0.25, 0.5, 0.9), 1.2, 0.3, 1.6, (0.55, 0.03)),
    "canal": LineLook(False, (0.15, 0.3, 0.55, 1.0), 1.2, 0.3, 2.4, (0.4, 0.06), between_sd_mm=0.45),
}

# beyond a file tip: a short stretch whose beginning and direction are known
_TAIL = LineLook(False, (0.12, 0.2, 0.35), 0.5, 0.25, 1.6, (0.4, 0.0), between_sd_mm=0.2)

CLICK_W = 2.0
K_CH = 1.5
K_ST = 0.4
_ALONG_MM = 0.10
_BORDER_MM = 1.0
# a path leaving the guide at 45 degrees for one millimetre costs as much as losing this many millimetres
# of full-contrast line
_SLOPE_COST_MM = 1.2


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
    refined to a fraction of a pixel from the profiles across the path, all at once, and smoothed with a
    penalty that leaves arcs unchanged.

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
    look = LOOKS[kind]
    if tip_diameter_mm is not None:
        look = replace(look, widest_mm=(1.4 * tip_diameter_mm + 0.08, look.widest_mm[1]))
    clicks = without_repeats(clicks_px, closer_than=0.5)
    guide = _extended(spline_through(clicks, _ALONG_MM / mm_per_px), extend_mm, mm_per_px)
    path, band = _best_path(image, guide, clicks, look, mm_per_px, look.reach_mm, 0.05)
    guide = _smoothed(band, path, look.detail_mm)
    path, band = _best_path(image, guide, clicks, look, mm_per_px, 0.35, 0.03)
    guide = _smoothed(band, path, look.detail_mm)
    return _refine_centres(image, guide, look, kind, mm_per_px)


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
    step = _ALONG_MM / mm_per_px
    total = arc_length(head.points_px)
    base = min(total, 5.0 / mm_per_px)
    kept = section(head.points_px, total - base, total, 1.25 / mm_per_px)
    guide = spline_through(np.vstack([kept, tail_clicks_px]), step)
    guide = section(guide, base, arc_length(guide) + extend_mm / mm_per_px, step)
    look = _TAIL
    pinned = np.vstack([guide[:1], tail_clicks_px])
    path, band = _best_path(image, guide, pinned, look, mm_per_px, look.reach_mm, 0.03)
    path[0] = 0.0
    tail = _refine_centres(image, _smoothed(band, path, look.detail_mm), look, "canal", mm_per_px)
    points = np.vstack([head.points_px[:-1], tail.points_px])
    sd = np.concatenate([head.sd_px[:-1], tail.sd_px])
    confident = np.concatenate([head.confident[:-1], tail.confident])
    # near the joint the tail gives way to the head
    reach = cumulative_length(points) - total
    sd = np.where((reach > 0) & (reach < 0.4 / mm_per_px), 3.0 * sd, sd)
    even = resample(points, step)
    known = cumulative_length(points)
    s = np.linspace(0.0, known[-1], len(even))
    sd = np.interp(s, known, sd)
    return Line(
        "canal",
        _smooth_points(even, 1.0 / np.maximum(sd, 0.05) ** 2, look.detail_mm / _ALONG_MM),
        sd,
        np.interp(s, known, confident.astype(float)) > 0.5,
    )


def _smooth_points(points: FloatArray, weights: FloatArray, span: float) -> FloatArray:
    return np.stack([smooth_offsets(points[:, axis], weights, span=span) for axis in (0, 1)], axis=1)


def _extended(guide: FloatArray, extend_mm: tuple[float, float], mm_per_px: float) -> FloatArray:
    before, after = (e / mm_per_px for e in extend_mm)
    return section(guide, -before, arc_length(guide) + after, _ALONG_MM / mm_per_px)


def _best_path(
    image: Image,
    guide: FloatArray,
    clicks: FloatArray,
    look: LineLook,
    mm_per_px: float,
    reach_mm: float,
    across_mm: float,
) -> tuple[FloatArray, Band]:
    """Lateral offsets, pixels, of the best path within `reach_mm` of the guide, and the band they refer to."""
    across_px = max(across_mm / mm_per_px, 0.5)
    band = straighten(
        image,
        guide,
        half_width_px=(reach_mm + _BORDER_MM) / mm_per_px,
        along_px=_ALONG_MM / mm_per_px,
        across_px=across_px,
    )
    widths_px = np.maximum(np.array(look.widths_mm) / mm_per_px, 2.0)
    widest_mm = look.widest_mm[0] + look.widest_mm[1] * _ALONG_MM * np.arange(len(band.guide_px))[::-1]
    contrast = line_contrast(
        band,
        widths_px,
        widest_px=np.maximum(widest_mm / mm_per_px, 2.0),
        bright=look.bright,
        smooth_along_px=0.2 / mm_per_px,
    )
    inner = np.abs(band.offsets_px) * mm_per_px <= reach_mm
    reward = _reward(contrast, band.offsets_px * mm_per_px, look)[:, inner]
    offsets_px = band.offsets_px[inner]
    offsets_mm = offsets_px * mm_per_px
    cost = -reward + CLICK_W * _click_cost(band, clicks, offsets_mm, look, mm_per_px)
    step_ratio = across_px / band.along_step_px
    slope_weight = _SLOPE_COST_MM * step_ratio**2
    max_shift = max(1, int(np.ceil(0.9 / step_ratio)))
    columns = cheapest_path(cost.astype(np.float32), slope_weight=slope_weight, max_shift=min(max_shift, 12))
    return offsets_px[columns], band


def _reward(contrast: npt.NDArray[np.float32], offsets_mm: FloatArray, look: LineLook) -> npt.NDArray[np.float32]:
    """How much each place speaks for the line, 0..1.

    The scale is set by the best contrast near the guide over some length of the band: a much stronger line
    further away, such as the periodontal space beside a faint canal, gains little over it. Bone texture to
    either side sets the scale where the line itself is weaker than that.
    """
    from scipy.ndimage import gaussian_filter1d

    near = np.abs(offsets_mm) <= 0.45
    best_near = gaussian_filter1d(contrast[:, near].max(axis=1), 1.5 / _ALONG_MM, mode="nearest")
    level = K_ST * best_near
    if look.bright:
        chance = np.percentile(contrast[:, ~near], 90, axis=1)
        level = np.maximum(level, K_CH * gaussian_filter1d(chance, 1.5 / _ALONG_MM, mode="nearest"))
    level = np.maximum(level, 0.05 * np.percentile(contrast.max(axis=1), 60)) + np.float32(1e-9)
    square = contrast**2
    return np.asarray(square / (square + level[:, None] ** 2), dtype=np.float32)


def _click_cost(
    band: Band, clicks: FloatArray, offsets_mm: FloatArray, look: LineLook, mm_per_px: float
) -> FloatArray:
    """Cost, shape (N, M), that holds the path near the clicks and, loosely, near the guide between them."""
    n = len(band.guide_px)
    cost = np.tile(_ALONG_MM * 0.5 * (offsets_mm / look.between_sd_mm) ** 2, (n, 1))
    along_mm = np.arange(n) * band.along_step_px * mm_per_px
    spread_mm = 0.2
    for click in clicks:
        s_px, offset_px = project(band.guide_px, click)
        near = np.exp(-0.5 * ((along_mm - s_px * mm_per_px) / spread_mm) ** 2)
        near /= max(near.sum(), 1e-9)
        cost += near[:, None] * 0.5 * ((offsets_mm - offset_px * mm_per_px) / look.click_sd_mm) ** 2
    return cost


def _smoothed(band: Band, offsets_px: FloatArray, detail_mm: float) -> FloatArray:
    smooth = smooth_offsets(offsets_px, np.ones_like(offsets_px), span=detail_mm / _ALONG_MM)
    return band.to_image(smooth)


def recentre(image: Image, guide_px: FloatArray, kind: LineKind, *, mm_per_px: float) -> Line:
    """Sub-pixel centre line about a guide, shape (N, 2), that lies within a width of the line already."""
    return _refine_centres(image, guide_px, LOOKS[kind], kind, mm_per_px)


def _refine_centres(image: Image, guide: FloatArray, look: LineLook, kind: LineKind, mm_per_px: float) -> Line:
    """Sub-pixel centres about a guide that is already within a width of the line."""
    band = straighten(
        image,
        guide,
        half_width_px=1.2 / mm_per_px,
        along_px=_ALONG_MM / mm_per_px,
        across_px=max(0.02 / mm_per_px, 0.33),
    )
    response = _matched_response(band, look, mm_per_px)
    centre_px, height, valid = _peaks(response, band, reach_px=max(0.12 / mm_per_px, 1.5))
    noise = 1.4826 * float(np.median(np.abs(response - np.median(response, axis=1, keepdims=True)))) + 1e-12
    confident = _supported(height / noise)
    weights = np.where(valid, np.clip(height / noise, 0.0, 8.0) ** 2, 0.0)
    weights = np.where(confident, weights, 0.05 * weights)
    if not (weights > 0).any():
        weights = np.ones_like(weights)
    span = look.detail_mm / _ALONG_MM
    smooth = smooth_offsets(centre_px, weights, span=span)
    for _ in range(3):
        residual = centre_px - smooth
        spread = 1.4826 * float(np.median(np.abs(residual[valid]))) + 0.02 if valid.any() else 1.0
        robust = weights / (1.0 + (residual / (2.0 * spread)) ** 2) ** 2
        smooth = smooth_offsets(centre_px, robust, span=span)
    sd_px = np.where(confident, spread / np.sqrt(max(span / 2.0, 1.0)), 3.0 * spread)
    return Line(kind, band.to_image(smooth), sd_px, confident)


def _matched_response(band: Band, look: LineLook, mm_per_px: float) -> FloatArray:
    """Second-derivative response across the band at the width that fits each stretch, shape (N, M)."""
    from scipy.ndimage import gaussian_filter1d

    values = (1.0 if look.bright else -1.0) * band.values.astype(np.float64)
    values = gaussian_filter1d(values, 0.15 / _ALONG_MM, axis=0, mode="nearest")
    middle = np.abs(band.offsets_px) * mm_per_px <= 0.1
    stack, strength = [], []
    for width_mm in look.widths_mm:
        sigma_px = max(0.4 * width_mm / mm_per_px, 0.8)
        sigma = sigma_px / band.across_step_px
        response = -gaussian_filter1d(values, sigma, axis=1, order=2, mode="nearest") * sigma**1.5
        stack.append(response)
        strength.append(gaussian_filter1d(response[:, middle].max(axis=1), 1.0 / _ALONG_MM, mode="nearest"))
    best = np.argmax(np.array(strength), axis=0)
    return np.asarray(np.array(stack)[best, np.arange(len(values))])


def _peaks(response: FloatArray, band: Band, *, reach_px: float) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Peak of every row near offset 0: place (pixels), height, and whether it is a true maximum there."""
    rows = np.arange(len(response))
    inside = np.flatnonzero(np.abs(band.offsets_px) <= reach_px)
    part = response[:, inside]
    best = part.argmax(axis=1)
    valid = (best > 0) & (best < len(inside) - 1) & (part[rows, best] > 0)
    column = np.clip(inside[best], 1, response.shape[1] - 2)
    left, mid, right = response[rows, column - 1], response[rows, column], response[rows, column + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    centre = band.offsets_px[column] + np.clip(shift, -1.0, 1.0) * band.across_step_px
    return centre, mid, valid


def _supported(signal_to_noise: FloatArray) -> BoolArray:
    """Rows where the line stands out over about a millimetre."""
    from scipy.ndimage import uniform_filter1d

    mean = uniform_filter1d(signal_to_noise, max(3, round(1.0 / _ALONG_MM)), mode="nearest")
    return np.asarray(mean > 1.5)

