"""Walls of a canal beside its line: half-widths to either side, from the dark band they bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.curve import arc_length, cumulative_length, point_at, project, resample
from radio.trace.line import BoolArray
from radio.trace.path import penalised, penalised_sd
from radio.trace.ridge import straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

_ALONG_MM = 0.1
_ROW_MM = 0.2
# What is averaged along the canal before a row is looked at, and how far rows share what they say.
_SMOOTH_MM = 0.3
_SHARED_MM = 0.6
# Half-widths that are tried on either side.
_HALVES_MM = np.geomspace(0.04, 1.0, 20)
# Usual width of a canal at its end and how much more per millimetre away from it, its spread (logarithm), and
# how unlike the two sides are (share of the width). Common practice, no source: wide enough for all canals.
_WIDTH_MM, _WIDENING = 0.25, 0.045
_WIDTH_LOG_SD = 0.55
_ASIDE_SD = 0.3
# How far to either side is looked at the canal's end, more per millimetre away from it, and at most: beyond
# the root nothing is looked for.
_REACH_MM, _REACH_MORE, _REACH_MOST_MM = 0.55, 0.08, 1.4
# Texture goes together over about this.
_GRAIN_MM = 0.12
# What sharpening and scatter do beside metal fades over about this. Common practice, no source.
_HALO_MM = 0.15
# Half-widths change evenly along a canal: standard deviation of the change of slope over one millimetre.
_SLOPE_DRIFT = 0.03
# Canals are not elliptic, nor are roots even.
_MODEL_SD_MM = 0.025
# A band counts as seen where it makes the grey values so much likelier (natural logarithm).
_SEEN_GAIN = 3.0
# A wall hidden by a file lies outside it by this at least.
_CLEARANCE_MM = 0.01


@dataclass(frozen=True, eq=False)
class FileShadow:
    """A file that lies in the canal: its own edges are not the canal's walls.

    Parameters
    ----------
    axis_px : ndarray, shape (K, 2)
        Its axis, tip last.
    tip_diameter_mm, taper : float
        Diameter at the tip and its growth per millimetre.
    """

    axis_px: FloatArray
    tip_diameter_mm: float
    taper: float = 0.02


@dataclass(frozen=True, eq=False)
class Walls:
    """Half-widths at the points of a canal line, each across it.

    Parameters
    ----------
    left_px, right_px : ndarray, shape (N,)
        Distance of the wall on the side of :func:`radio.trace.curve.normals`, and of the other, pixels.
    left_sd_px, right_sd_px : ndarray, shape (N,)
        Standard uncertainty, pixels.
    left_seen, right_seen : ndarray of bool, shape (N,)
        False where the image does not show the wall; the width is then bridged between places where it does,
        drawn toward usual widths, and outside of a file that hides it.
    """

    left_px: FloatArray
    right_px: FloatArray
    left_sd_px: FloatArray
    right_sd_px: FloatArray
    left_seen: BoolArray
    right_seen: BoolArray


def trace_walls(
    image: Image, line_px: FloatArray, *, mm_per_px: float, file: FileShadow | None = None
) -> Walls:
    """Find the walls of a canal about its line.

    Across the canal, grey values are fitted by a dome (the root) less the chord of an elliptic canal whose
    outline lies so far to the left and so far to the right, blurred: a chord rises steepest at the outline,
    where half of the greatest depth is too narrow. How much each pair of half-widths improves the fit against
    the texture is shared among neighbouring rows and weighed with usual widths; the half-widths of all rows
    are then weighed by their uncertainty against how evenly canals taper.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    line_px : ndarray, shape (N, 2)
        Canal line from orifice to end.
    mm_per_px : float
        Scale; millimetres serve for what is usual.
    file : FileShadow or None
        A file in this canal; its shadow is left out, and the walls lie outside it.

    Returns
    -------
    Walls
    """
    rows = _Rows(image, line_px, mm_per_px, file)
    log_p, gain = rows.evidence()
    from_start = rows.s_mm
    at = cumulative_length(line_px) * mm_per_px
    found = []
    for axis, least_mm in ((1, rows.least_mm[0]), (2, rows.least_mm[1])):
        half, sd, seen = _one_side(log_p, axis, gain, least_mm, rows.hidden)
        half = np.maximum(np.interp(at, from_start, half), np.interp(at, from_start, least_mm))
        found.append(
            (
                half / mm_per_px,
                np.interp(at, from_start, sd) / mm_per_px,
                np.interp(at, from_start, seen.astype(float)) > 0.5,
            )
        )
    (left, left_sd, left_seen), (right, right_sd, right_seen) = found
    return Walls(left, right, left_sd, right_sd, left_seen, right_seen)


class _Rows:
    """Rows across the canal, a few to the millimetre."""

    def __init__(self, image: Image, line_px: FloatArray, mm: float, file: FileShadow | None) -> None:
        from scipy.ndimage import gaussian_filter1d

        self.mm = mm
        guide = resample(line_px, _ALONG_MM / mm)
        band = straighten(
            image,
            guide,
            half_width_px=_REACH_MOST_MM / mm,
            along_px=_ALONG_MM / mm,
            across_px=max(0.03 / mm, 0.5),
        )
        smooth = gaussian_filter1d(
            band.values.astype(np.float64), _SMOOTH_MM / _ALONG_MM, axis=0, mode="nearest"
        )
        every = max(1, round(_ROW_MM / _ALONG_MM))
        chosen = np.arange(0, len(smooth), every)
        self.values = smooth[chosen]
        self.x_mm = band.offsets_px * mm
        self.s_mm = chosen * band.along_step_px * mm
        self.from_end_mm = arc_length(line_px) * mm - self.s_mm
        points, normal = band.guide_px[chosen], band.normals_px[chosen]
        self.shadow_mm = _shadow(points, normal, file, mm)
        middle, half = self.shadow_mm
        # where there is no file both are NaN
        with np.errstate(invalid="ignore"):
            self.least_mm = np.nan_to_num(
                np.stack([middle + half, half - middle]) + _CLEARANCE_MM, nan=_HALVES_MM[0]
            )
        self.least_mm = np.maximum(self.least_mm, _HALVES_MM[0])
        self.hidden = np.isfinite(half)

    def evidence(self) -> tuple[FloatArray, FloatArray]:
        """Log posterior, shape (rows, right, left), and how much likelier a band makes a row."""
        from scipy.ndimage import gaussian_filter1d
        from scipy.special import logsumexp

        score = gaussian_filter1d(self._scores(), _SHARED_MM / _ROW_MM, axis=0, mode="nearest")
        prior = self._prior()
        log_p = score + prior
        return log_p, logsumexp(log_p, axis=(1, 2)) - logsumexp(prior, axis=(1, 2))

    def _prior(self) -> FloatArray:
        """Log prior, shape (rows, right, left)."""
        right, left = _HALVES_MM[:, None], _HALVES_MM[None, :]
        usual = _WIDTH_MM + _WIDENING * self.from_end_mm[:, None, None]
        wide = np.log((left + right) / usual) / _WIDTH_LOG_SD
        aside = (left - right) / (left + right) / _ASIDE_SD
        prior = -0.5 * (wide**2 + aside**2)
        for least, halves in ((self.least_mm[0], left), (self.least_mm[1], right)):
            # soft, because neither the file's axis nor its size is exact
            inside = np.maximum(least[:, None, None] - halves, 0.0) / 0.02
            prior = prior - 0.5 * inside**2
        return np.asarray(prior)

    def _scores(self) -> FloatArray:
        """Log likelihood ratio of a band of every pair of half-widths, shape (rows, right, left)."""
        x = self.x_mm
        shapes = _chords(x, max(1.0 * self.mm, 0.05))
        reach = np.minimum(_REACH_MM + _REACH_MORE * self.from_end_mm, _REACH_MOST_MM)
        weight = (np.abs(x) <= reach[:, None]).astype(np.float64)
        middle, half = self.shadow_mm
        with np.errstate(invalid="ignore"):
            weight[np.abs(x - middle[:, None]) < half[:, None] + 1.8 * self.mm + 0.03] = 0.0
        base = self._base()
        gram = np.einsum("rx,rix,rjx->rij", weight, base, base, optimize=True) + 1e-6 * np.eye(base.shape[1])
        inverse = np.linalg.inv(gram)
        plain = np.einsum("rij,rj->ri", inverse, np.einsum("rx,rix,rx->ri", weight, base, self.values))
        residual = (self.values - np.einsum("ri,rix->rx", plain, base)) * weight
        cross = np.einsum("rix,sx->rsi", weight[:, None] * base, shapes, optimize=True)
        # the part of each shape that the dome cannot make
        power = weight @ (shapes**2).T - np.einsum("rsi,rij,rsj->rs", cross, inverse, cross, optimize=True)
        overlap = np.maximum(-residual @ shapes.T, 0.0)
        gain = overlap**2 / np.maximum(power, 1e-3 * len(x))
        total = (residual**2).sum(axis=1, keepdims=True) + 1e-12
        count = weight.sum(axis=1, keepdims=True) * (x[1] - x[0]) / max(_GRAIN_MM, 2 * self.mm)
        ratio = -0.5 * count * np.log(np.maximum(1.0 - gain / total, 0.02))
        return np.asarray(ratio.reshape(len(self.values), len(_HALVES_MM), len(_HALVES_MM)))

    def _base(self) -> FloatArray:
        """What a row without a canal is made of, shape (rows, parts, X): a dome, and what metal does to it.

        Processing that sharpens edges darkens what lies beside metal, and scatter lightens it: both fade away
        from it, and neither is a canal.
        """
        u = self.x_mm / _REACH_MOST_MM
        dome = np.broadcast_to(np.stack([np.ones_like(u), u, u**2, u**3]), (len(self.values), 4, len(u)))
        middle, half = self.shadow_mm
        beside = np.abs(self.x_mm - middle[:, None]) - half[:, None]
        halo = np.nan_to_num(np.exp(-np.maximum(beside, 0.0) / _HALO_MM))
        return np.concatenate([dome, halo[:, None]], axis=1)


def _shadow(points: FloatArray, normal: FloatArray, file: FileShadow | None, mm: float) -> FloatArray:
    """Middle and half-width of a file's shadow across each row, mm, shape (2, rows); NaN without."""
    out = np.full((2, len(points)), np.nan)
    if file is None:
        return out
    total = arc_length(file.axis_px)
    for row, (point, across) in enumerate(zip(points, normal, strict=True)):
        s, _ = project(file.axis_px, point)
        if 0.0 <= s <= total:
            middle = float((point_at(file.axis_px, np.array([s]))[0] - point) @ across) * mm
            out[:, row] = middle, 0.5 * (file.tip_diameter_mm + file.taper * (total - s) * mm)
    return out


def _chords(x_mm: FloatArray, blur_mm: float) -> FloatArray:
    """Blurred chord through an ellipse of depth 1 for every pair of half-widths, shape (pairs, X)."""
    from scipy.ndimage import gaussian_filter1d

    right, left = (one.ravel()[:, None] for one in np.meshgrid(_HALVES_MM, _HALVES_MM, indexing="ij"))
    fine = np.linspace(x_mm[0], x_mm[-1], 4 * (len(x_mm) - 1) + 1)
    inside = 1.0 - ((fine - 0.5 * (left - right)) / (0.5 * (left + right))) ** 2
    step = float(fine[1] - fine[0])
    blurred = gaussian_filter1d(np.sqrt(np.maximum(inside, 0.0)), blur_mm / step, axis=1, mode="nearest")
    return np.asarray(blurred[:, ::4])


def _one_side(
    log_p: FloatArray, axis: int, gain: FloatArray, least_mm: FloatArray, hidden: BoolArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Half-width of one wall, its standard uncertainty (mm) and whether it is seen, for every row."""
    density = np.exp(log_p - log_p.max(axis=(1, 2), keepdims=True)).sum(axis=axis)
    density /= density.sum(axis=1, keepdims=True)
    mean = density @ _HALVES_MM
    sd = np.sqrt(np.maximum(density @ _HALVES_MM**2 - mean**2, 0.0) + _MODEL_SD_MM**2)
    seen = (gain > _SEEN_GAIN) & (sd < 0.4 * mean + 0.02)
    # a wall at the rim of a shadow is the file's
    seen &= ~hidden | (mean > least_mm + 0.03)
    shared = np.sqrt(2 * np.sqrt(np.pi) * np.hypot(_SMOOTH_MM, _SHARED_MM) / _ROW_MM)
    weights = 1.0 / (np.where(seen, 1.0, 2.0) * sd * shared) ** 2
    lam = 1.0 / (_SLOPE_DRIFT**2 * _ROW_MM**3)
    half = penalised(mean[:, None], weights, lam, 2)[:, 0]
    spread = penalised_sd(weights, lam, 2)
    return np.maximum(half, least_mm), np.hypot(spread, _MODEL_SD_MM), seen
