"""The plain pipeline ours is compared with: what a capable user writes in an afternoon with scikit-image.

Ridge filter over the whole image, least-cost path through the clicks on the inverted response, Gaussian
smoothing, arc length, scale from the known file length, Schneider angle by the same departure rule. It takes
the clicks for the ends of its lines and gives no uncertainties.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from radio.measure.case import CaseFacts
from radio.measure.curvature import schneider_deg
from radio.measure.settings import DEFAULT_SETTINGS

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# Chosen among several on images of their own (seeds 4000 to 4023).
_SIGMAS_MM = (0.08, 0.16, 0.3)
_SMOOTH_MM = 0.6
_FLOOR = 0.3


@dataclass(frozen=True, eq=False)
class PlainResult:
    """What the plain pipeline gives; None where there is nothing to make it from.

    Parameters
    ----------
    scale_mm_per_px : float
        From the file, or the detector pitch without one.
    file_line_px, canal_line_px : ndarray, shape (N, 2), or None
    canal_length_mm, schneider_deg : float or None
    seconds : float
    """

    scale_mm_per_px: float
    file_line_px: FloatArray | None
    canal_line_px: FloatArray | None
    canal_length_mm: float | None
    schneider_deg: float | None
    seconds: float


def measure_plainly(
    grey: Image, clicks: Mapping[str, FloatArray], facts: CaseFacts, pitch_mm: float
) -> PlainResult:
    """Trace and measure one canal the plain way.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
        Radiopaque bright.
    clicks : mapping of str to ndarray, shape (K, 2)
        By landmark.
    facts : CaseFacts
    pitch_mm : float
        Detector pitch; chooses the widths of the filter, and is the scale where there is no file.
    """
    started = time.perf_counter()
    sigmas = [sigma / pitch_mm for sigma in _SIGMAS_MM]
    scale, file, canal = pitch_mm, None, None
    if "file_start" in clicks and "file_tip" in clicks:
        stops = [clicks[name] for name in ("file_start", "file_via", "file_tip") if name in clicks]
        file = _traced(_ridges(grey, sigmas, dark=False), np.vstack(stops), pitch_mm)
        if facts.file_length_mm is not None:
            scale = facts.file_length_mm / _length(file)
    end = clicks.get("canal_end", clicks.get("apex"))
    if "orifice" in clicks and end is not None:
        dark = _ridges(grey, sigmas, dark=True)
        via = clicks.get("canal_via", np.zeros((0, 2)))
        if file is None:
            canal = _traced(dark, np.vstack([clicks["orifice"], via, end]), pitch_mm)
        else:
            canal = _canal_with_file(dark, file, clicks["orifice"][0], via, end[0], pitch_mm)
    return PlainResult(
        scale_mm_per_px=scale,
        file_line_px=file,
        canal_line_px=canal,
        canal_length_mm=None if canal is None else _length(canal) * scale,
        schneider_deg=None
        if canal is None
        else schneider_deg(canal * scale, DEFAULT_SETTINGS.departure_tolerance_mm)[0],
        seconds=time.perf_counter() - started,
    )


def _ridges(grey: Image, sigmas: list[float], *, dark: bool) -> Image:
    from skimage.filters import sato

    response = sato(grey, sigmas=sigmas, black_ridges=dark)
    return np.asarray(response / max(float(np.percentile(response, 99)), 1e-9), dtype=np.float32)


def _traced(response: Image, points: FloatArray, pitch_mm: float) -> FloatArray:
    """Smoothed least-cost path through the points, in order."""
    from scipy.ndimage import gaussian_filter1d
    from skimage.graph import route_through_array

    cost = 1.0 / (_FLOOR + response)
    stops = np.clip(np.round(points).astype(int), 0, np.array(response.shape) - 1)
    path: list[tuple[int, int]] = [tuple(stops[0])]
    for start, stop in pairwise(stops):
        if (start != stop).any():
            path += route_through_array(cost, tuple(start), tuple(stop))[0][1:]
    line = gaussian_filter1d(np.array(path, float), _SMOOTH_MM / pitch_mm, axis=0, mode="nearest")
    line[0], line[-1] = stops[0], stops[-1]
    return np.asarray(line)


def _canal_with_file(
    dark: Image, file: FloatArray, orifice: FloatArray, via: FloatArray, end: FloatArray, pitch_mm: float
) -> FloatArray:
    """Along the file from beside the orifice, and by the dark response from the tip to the canal end."""
    first = _nearest(file, orifice)
    last = _nearest(file, end)
    if last < len(file) - 1:
        return file[first : last + 1]
    beyond = [point for point in via if _nearest(file, point) == len(file) - 1]
    tail = _traced(dark, np.vstack([file[-1:], *[point[None] for point in beyond], end[None]]), pitch_mm)
    return np.vstack([file[first:], tail[1:]])


def _nearest(line: FloatArray, point: FloatArray) -> int:
    return int(np.argmin(np.hypot(*(line - point).T)))


def _length(line: FloatArray) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())
