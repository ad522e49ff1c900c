"""End of the file along its own axis."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from radio.trace.along import CLICK_SD_MM, Along, continued, peak_moments, strip
from radio.trace.curve import cumulative_length, normals, project, resample, section
from radio.trace.tracer import recentre

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# Sideways departures from the continued axis that are tried, millimetres at one millimetre beyond the known
# part, growing with the square of the distance; and how far they are expected to go.
_BENDS_MM = np.linspace(-0.21, 0.21, 7)
_BEND_SD_MM = 0.08
# ISO 3630-1 size taken where none is stated.
TYPICAL_FILE_SIZE = 20
# The tip of a file is a cone about this many diameters long (a tip angle of about 75 degrees; from memory).
_CONE_DIAMETERS = 0.65
# How much the filter for the file is kept from sharpening itself against texture.
_FILTER_RIDGE = 0.2


def file_tip(
    image: Image, line_px: FloatArray, click_px: FloatArray, *, mm_per_px: float, file_size: int | None
) -> tuple[FloatArray, Along]:
    """End of the file along its own axis.

    The file's own cross profile, learnt where the file is sure to be, is looked for along the axis continued
    beyond the click, straight on or bending a little to either side; where it stops is the tip. The step
    fitted to it rises with the square of the diameter along the tip cone (the signal of an absorbing
    cylinder goes with its section) and has the image's blur; misfits are bounded, so that a bright
    trabecula beyond the tip cannot pull it far; the click is weighed in.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    line_px : ndarray, shape (N, 2)
        Traced file, coronal to apical, at least up to the click.
    click_px : ndarray, shape (2,)
    mm_per_px : float
        Approximate scale.
    file_size : int or None
        ISO 3630-1 size, for the length of the tip cone.

    Returns
    -------
    line_px : ndarray, shape (M, 2)
        The line continued beyond the tip.
    tip : Along
        On that line.
    """
    click_s, _ = project(line_px, click_px)
    cone_mm = _CONE_DIAMETERS * (file_size or TYPICAL_FILE_SIZE) / 100.0
    # beyond the tip the trace followed nothing, and its last stretch was pulled along: carry on from before
    ahead_px = 2.2 / mm_per_px
    cut = click_s - 1.0 / mm_per_px
    line = continued(line_px, cut, click_s + ahead_px, over_px=4.0 / mm_per_px)
    tip, line = _tip_step(image, line, cut, (click_s, click_s), cone_mm, 0.9, mm_per_px)
    seen = section(line, 0.0, tip.s_px, 0.1 / mm_per_px)
    shown = recentre(image, seen, "file", mm_per_px=mm_per_px, clicks_px=seen[[0, -1]])
    cut = tip.s_px - 0.4 / mm_per_px
    line = continued(shown.points_px, cut, tip.s_px + ahead_px, over_px=3.0 / mm_per_px)
    click_s, _ = project(line, click_px)
    tip, line = _tip_step(image, line, cut, (tip.s_px, click_s), cone_mm, 0.6, mm_per_px)
    return line, tip


def _tip_step(
    image: Image,
    line_px: FloatArray,
    cut_px: float,
    about_and_click_px: tuple[float, float],
    cone_mm: float,
    reach_mm: float,
    mm_per_px: float,
) -> tuple[Along, FloatArray]:
    """Tip along a line that is known up to `cut_px`, and the line bent as the tip was found."""
    about_mm, click_mm = (v * mm_per_px for v in about_and_click_px)
    cut_mm = cut_px * mm_per_px
    step_mm = max(0.02, 0.5 * mm_per_px)
    s_mm = np.arange(-1.8, 1.2, step_mm) + about_mm
    known = s_mm < about_mm - 0.5
    response, dx_mm, texture = _matched_response(image, line_px, s_mm, known, mm_per_px)
    signals = _along_bends(response, dx_mm, np.maximum(s_mm - cut_mm, 0.0))
    blur_mm = max(1.1 * mm_per_px, 0.03)
    candidates = about_mm + np.arange(-reach_mm, reach_mm, step_mm / 2)
    model = _tip_shape(cone_mm, blur_mm)(candidates[:, None] - s_mm[None, :])
    middle = signals[len(_BENDS_MM) // 2]
    level = _robust_line(s_mm[known], middle[known])(s_mm)
    typical = float(np.median(level[known]))
    if typical <= 0:
        return Along(about_and_click_px[0], CLICK_SD_MM / mm_per_px, False), line_px
    level = np.clip(level, 0.3 * typical, 1.5 * typical)
    misfit = (signals[:, None, :] - (level * model)[None]) / (texture + 0.12 * typical)
    bounded = (misfit**2 / (1.0 + misfit**2 / 9.0)).sum(axis=2)
    independent = step_mm / max(0.12, 2.5 * mm_per_px)
    log_p = -0.5 * independent * bounded - 0.5 * (_BENDS_MM[:, None] / _BEND_SD_MM) ** 2
    bend = float(_BENDS_MM[int(log_p.max(axis=1).argmax())])
    log_t = np.logaddexp.reduce(log_p, axis=0) - 0.5 * ((candidates - click_mm) / CLICK_SD_MM) ** 2
    place, sd = peak_moments(candidates, log_t)
    sd = float(np.linalg.norm([sd, 0.12 * cone_mm, 0.4 * blur_mm]))
    tip = Along(place / mm_per_px, sd / mm_per_px, sd < 0.6 * CLICK_SD_MM)
    return tip, _bent(line_px, cut_px, bend, mm_per_px)


def _matched_response(
    image: Image, line_px: FloatArray, s_mm: FloatArray, known: npt.NDArray[np.bool_], mm_per_px: float
) -> tuple[FloatArray, float, float]:
    """How much of the file's own cross profile is at each place along and beside the line.

    The profile is taken where the file is known to be; the filter for it is the one that tells it best from
    the texture beside the file (Fisher's linear discriminant, 1936).

    Returns
    -------
    response : ndarray, shape (S, C)
        1 where the file is as it is in its known part; the middle column is on the line.
    dx_mm : float
        Spacing of the columns.
    texture : float
        Spread of the response where there is no file.
    """
    dx = max(0.5 * mm_per_px, 0.025)
    half, reach, apart = round(0.5 / dx), round(1.35 / dx), round(0.55 / dx)
    offsets_mm = np.arange(-reach, reach + 1, dtype=np.float64) * dx
    values = strip(image, line_px, s_mm / mm_per_px, offsets_mm / mm_per_px)
    windows = np.lib.stride_tricks.sliding_window_view(values, 2 * half + 1, axis=1)
    middle = reach - half
    beside = np.concatenate([windows[::3, : middle - apart + 1], windows[::3, middle + apart :]], axis=1)
    beside = beside.reshape(-1, 2 * half + 1)
    beside = beside - beside.mean(axis=1, keepdims=True)
    profile = np.median(windows[known, middle], axis=0)
    profile = profile - profile.mean()
    covariance = beside.T @ beside / len(beside)
    # a strong file needs no sharp filter, and a sharp one does not forgive an axis a little aside
    ridge = 0.02 * np.trace(covariance) / len(covariance) + _FILTER_RIDGE * float((profile**2).mean()) + 1e-9
    weight = np.linalg.solve(covariance + ridge * np.eye(len(covariance)), profile)
    weight -= weight.mean()
    weight /= max(float(weight @ profile), 1e-12)
    aside = beside @ weight
    texture = 1.4826 * float(np.median(np.abs(aside - np.median(aside))))
    return windows @ weight, dx, texture


def _along_bends(response: FloatArray, dx_mm: float, beyond_mm: FloatArray) -> FloatArray:
    """Response along each bend, shape (B, S)."""
    middle = response.shape[1] // 2
    columns = middle + _BENDS_MM[:, None] * beyond_mm[None, :] ** 2 / dx_mm
    columns = np.clip(columns, 0, response.shape[1] - 1.001)
    low = columns.astype(int)
    rows = np.arange(response.shape[0])[None, :]
    part = columns - low
    return np.asarray((1 - part) * response[rows, low] + part * response[rows, low + 1])


def _bent(line_px: FloatArray, cut_px: float, bend_mm: float, mm_per_px: float) -> FloatArray:
    if bend_mm == 0.0:
        return line_px
    even = resample(line_px, 0.1 / mm_per_px)
    beyond_mm = np.maximum(cumulative_length(even) - cut_px, 0.0) * mm_per_px
    return np.asarray(even + (bend_mm * beyond_mm**2 / mm_per_px)[:, None] * normals(even))


def _tip_shape(cone_mm: float, blur_mm: float) -> Callable[[FloatArray], FloatArray]:
    """Signal as a function of the distance from the tip into the file: 0 outside, 1 well inside."""
    from scipy.ndimage import gaussian_filter1d

    step = blur_mm / 8.0
    x = np.arange(-6.0 * blur_mm, cone_mm + 6.0 * blur_mm, step)
    y = gaussian_filter1d(np.clip(x / cone_mm, 0.0, 1.0) ** 2, blur_mm / step, mode="nearest")
    return lambda d: np.asarray(np.interp(d, x, y))


def _robust_line(s: FloatArray, y: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Straight line through values, outliers bounded."""
    weight = np.ones_like(y)
    slope, level, middle = 0.0, float(np.median(y)), float(s.mean())
    for _ in range(4):
        slope, level = np.polyfit(s - middle, y, 1, w=weight)
        residual = y - (level + slope * (s - middle))
        spread = 1.4826 * float(np.median(np.abs(residual))) + 1e-9
        weight = 1.0 / (1.0 + (residual / (2 * spread)) ** 2)
    return lambda at: np.asarray(level + slope * (at - middle))
