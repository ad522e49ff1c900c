"""Rows of grey values across a file, and what is left of them when the ground beside it is taken away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.errors import TraceError
from radio.trace.curve import cumulative_length, section
from radio.trace.line import Line
from radio.trace.ridge import straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

STEP_MM = 0.07
_ACROSS_PX = 0.75
# Samples along that are averaged to one row.
_AVERAGED = 3
# Beside the shadow, the ground is looked at this far beyond the reach of the blur.
_GROUND_MM = 0.12
_BLURS = 2.5
# Room beside the shadow for a strong blur and a line somewhat aside.
_BLUR_REACH_MM = 0.25
# Grey this close to the brightest of the image may have been cut off there.
_CUT_OFF = 0.985
_FEWEST_ROWS = 40
_GROUND_TERMS = 3


@dataclass(frozen=True, eq=False)
class Rows:
    """Grey values across a file.

    Parameters
    ----------
    from_tip_px : ndarray, shape (N,)
        Distances from the tip along the file, falling.
    offsets_px : ndarray, shape (M,)
        Distances from the file's line.
    values : ndarray, shape (N, M)
        Grey, radiopaque bright.
    trust : ndarray, shape (N, M)
        0 where a value cannot be used, else up to 1.
    step_mm : float
        Distance between rows by the approximate scale.
    """

    from_tip_px: FloatArray
    offsets_px: FloatArray
    values: FloatArray
    trust: FloatArray
    step_mm: float

    @property
    def middle_px(self) -> float:
        """Mean distance of the rows from the tip, pixels."""
        return float(self.from_tip_px.mean())


def rows_across(
    image: Image,
    line: Line,
    *,
    mm_per_px: float,
    from_tip_mm: tuple[float, float],
    widest_mm: float,
    others: Sequence[FloatArray] = (),
) -> Rows:
    """Sample rows across a traced file.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright, 1 = brightest.
    line : Line
        The file from its start to its tip.
    mm_per_px : float
        Approximate scale.
    from_tip_mm : tuple of float
        Nearest and farthest distance from the tip that is wanted.
    widest_mm : float
        Greatest diameter expected.
    others : sequence of ndarray, shape (N, 2)
        Lines of other files; where the middle of one comes that near, or little farther, nothing is trusted.

    Raises
    ------
    TraceError
        The file is too short, or too little of it can be used.
    """
    known = cumulative_length(line.points_px)
    near, far = (distance / mm_per_px for distance in from_tip_mm)
    begin, end = max(float(known[-1]) - far, 0.0), float(known[-1]) - near
    count = int((end - begin) * mm_per_px / STEP_MM)
    if count < _FEWEST_ROWS:
        raise TraceError(
            f"The diameter is looked for along {max(end - begin, 0.0) * mm_per_px:.1f} mm of the file; at "
            f"least {_FEWEST_ROWS * STEP_MM:.1f} mm beyond the first {from_tip_mm[0]:g} mm from the tip are "
            "needed. Trace more of the file."
        )
    fine_px = STEP_MM / mm_per_px / _AVERAGED
    guide = section(line.points_px, begin, begin + count * STEP_MM / mm_per_px, fine_px)
    half_px = (0.65 * widest_mm + _GROUND_MM + _BLUR_REACH_MM) / mm_per_px
    band = straighten(image, guide, half_width_px=half_px, along_px=fine_px, across_px=_ACROSS_PX)
    count = len(band.values) // _AVERAGED
    grouped = band.values[: count * _AVERAGED].reshape(count, _AVERAGED, -1).astype(np.float64)
    s_px = begin + (np.arange(count) * _AVERAGED + (_AVERAGED - 1) / 2) * band.along_step_px
    seen = np.interp(s_px, known, line.confident.astype(np.float64)) > 0.5
    places = np.column_stack([np.interp(s_px, known, column) for column in line.points_px.T])
    seen &= _apart(places, others, (widest_mm + _GROUND_MM) / mm_per_px)
    trust = (grouped.max(axis=1) < _CUT_OFF * float(image.max())) * seen[:, None]
    rows = Rows(
        np.asarray(float(known[-1]) - s_px, dtype=np.float64),
        band.offsets_px,
        grouped.mean(axis=1),
        trust.astype(np.float64),
        STEP_MM,
    )
    if (trust.mean(axis=1) > 0.5).sum() < _FEWEST_ROWS:
        raise TraceError(
            "Too little of the file can be seen for its diameter: most of it was bridged by the trace, lies "
            "beside or behind another file, or is as bright as the image can show. Use an image with a wider "
            "range, or do without."
        )
    return rows


def _apart(places_px: FloatArray, others: Sequence[FloatArray], near_px: float) -> npt.NDArray[np.bool_]:
    """Whether every other line stays farther than that from each place."""
    from scipy.spatial import cKDTree

    apart = np.ones(len(places_px), dtype=bool)
    for points in others:
        known = cumulative_length(points)
        dense = np.arange(0.0, known[-1], 1.0)
        line = np.column_stack([np.interp(dense, known, column) for column in points.T])
        apart &= cKDTree(line).query(places_px)[0] > near_px
    return apart


def recentred(rows: Rows, aside_px: FloatArray) -> Rows:
    """The rows, each moved so that what lay at an offset, shape (N,), lies in its middle."""
    values, trust = np.empty_like(rows.values), np.empty_like(rows.trust)
    for number, aside in enumerate(aside_px):
        at = rows.offsets_px + aside
        values[number] = np.interp(at, rows.offsets_px, rows.values[number])
        trust[number] = np.interp(at, rows.offsets_px, rows.trust[number], left=0.0, right=0.0)
    return replace(rows, values=values, trust=np.where(trust > 0.99, trust, 0.0))


def window(rows: Rows, diameters_px: FloatArray, blur_px: float, mm_per_px: float) -> FloatArray:
    """Weight of every sample, shape (N, M): the shadow with its blur and a strip of ground beside it."""
    reach = diameters_px / 2 + _BLURS * blur_px + _GROUND_MM / mm_per_px
    return np.asarray((np.abs(rows.offsets_px)[None] <= reach[:, None]) * rows.trust)


class Ground:
    """Takes a parabola across every row away: what lies before and behind the file.

    Parameters
    ----------
    offsets_px : ndarray, shape (M,)
    weights : ndarray, shape (N, M)
    """

    def __init__(self, offsets_px: FloatArray, weights: FloatArray) -> None:
        self._root = np.sqrt(weights)
        across = offsets_px / np.abs(offsets_px).max()
        shapes = across[None] ** np.arange(_GROUND_TERMS)[:, None]
        weighed = self._root[:, None, :] * shapes[None]
        # rows without enough samples have nothing left
        self._root = self._root * ((weights > 0).sum(axis=1) > 2 * _GROUND_TERMS)[:, None]
        weighed = weighed + 1e-9 * shapes[None]
        self._basis = np.linalg.qr(weighed.transpose(0, 2, 1))[0]

    def without(self, values: FloatArray) -> FloatArray:
        """Weighed rows without their ground, shape (N, M)."""
        weighed = (values * self._root)[:, :, None]
        shares = self._basis.transpose(0, 2, 1) @ weighed
        return np.asarray((weighed - self._basis @ shares)[:, :, 0])
