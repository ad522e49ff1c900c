"""A bright line in a canal that no click names: a file left unmarked, or a filling."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.trace.centre import prominence
from radio.trace.curve import project
from radio.trace.line import Line
from radio.trace.look import ALONG_MM, FILE
from radio.trace.ridge import straighten
from radio.trace.tip import file_tip
from radio.trace.tracer import trace_line

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# Standard deviations that the line must stand out by, over what length, across what breaks, and how far from
# the orifice that may begin. Of some ninety synthetic canals without metal none does; nearly all files do.
_PLAIN = 4.0
_LEAST_MM = 2.6
_BREAK_MM = 1.0
_FROM_ORIFICE_MM = 3.0
# Averaged over some length, it fades to this share a little beyond the place where it stops.
_FADED = 0.25
# By how much it must be brighter than both of its sides, of the whole range of grey: on a clean image the
# dome of a root, which is no line, stands out by many standard deviations of next to nothing.
_LEAST_RISE = 0.03
_SIDE_MM = (0.35, 0.55)
# It must pass the clicks on the canal within what clicks scatter: a file in the next canal does not.
_ASIDE_MM = 0.75


def unmarked_file(image: Image, clicks_px: FloatArray, *, mm_per_px: float) -> Line | None:
    """The bright line that lies in a canal from its orifice on, or None where there is none.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    clicks_px : ndarray, shape (K, 2)
        Clicks on the canal: orifice, places between, end.
    mm_per_px : float
        Approximate scale.

    Returns
    -------
    Line or None
        Of kind "file", from before the orifice to where the bright line stops.
    """
    line = trace_line(image, clicks_px, "file", mm_per_px=mm_per_px, extend_mm=(0.5, 0.8))
    ratio = prominence(image, line.points_px, FILE, mm_per_px=mm_per_px, over_mm=1.5)
    run = _longest_run(ratio > _PLAIN, (0.5 + _FROM_ORIFICE_MM) / ALONG_MM)
    if (run[1] - run[0]) * ALONG_MM < _LEAST_MM:
        return None
    if _rise(image, line.points_px[run[0] : run[1]], mm_per_px) < _LEAST_RISE:
        return None
    # rather a little beyond its tip than short of it, where the dark canal would be looked for in the metal
    strong = float(np.median(ratio[run[0] : run[1]]))
    last = run[0] + int(np.flatnonzero(ratio[run[0] : run[1]] >= _FADED * strong)[-1])
    end_px = line.points_px[last]
    end_s, _ = project(line.points_px, end_px)
    beside = [project(line.points_px, click) for click in clicks_px[:-1]]
    if any(abs(aside) * mm_per_px > _ASIDE_MM for s, aside in beside if s < end_s):
        return None
    extended, tip = file_tip(image, line.points_px, end_px, mm_per_px=mm_per_px, file_size=None)
    return line.part(0.0, tip.s_px, along_px=extended)


def _rise(image: Image, points_px: FloatArray, mm_per_px: float) -> float:
    """Median brightness along a line over that of its brighter side."""
    across_px = max(0.03 / mm_per_px, 0.5)
    along_px = ALONG_MM / mm_per_px
    band = straighten(image, points_px, half_width_px=1.0 / mm_per_px, along_px=along_px, across_px=across_px)
    profile = np.median(band.values, axis=0)
    offset_mm = band.offsets_px * mm_per_px
    middle = np.abs(offset_mm) < max(0.08, 0.6 * across_px * mm_per_px)
    sides = [
        profile[(side * offset_mm > _SIDE_MM[0]) & (side * offset_mm < _SIDE_MM[1])].mean()
        for side in (-1, 1)
    ]
    return float(profile[middle].mean() - max(sides))


def _longest_run(above: npt.NDArray[np.bool_], before: float) -> tuple[int, int]:
    """First row and the one after the last of the longest run that begins before a row."""
    from scipy.ndimage import binary_closing

    gap = round(_BREAK_MM / ALONG_MM)
    closed = binary_closing(np.pad(above, gap), np.ones(gap + 1))[gap:-gap]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], closed.astype(int), [0]])))
    runs = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if a <= before]
    return max(runs, key=lambda run: run[1] - run[0], default=(0, 0))
