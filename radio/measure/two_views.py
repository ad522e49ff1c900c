"""One canal from two views at a known angle: its centreline in space.

In the frame of the tooth a point is (height, across, depth): height along the tooth's long axis from the
orifice towards the canal end, across in the plane of the first view, depth at right angles to that plane.
Across is to the right once an image is turned so that the canal end points down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.errors import TraceError
from radio.measure.resultant import PARALLEL, checked_turn
from radio.measure.space import evenly, length_mm
from radio.trace.curve import cumulative_length, resample, without_repeats

FloatArray = npt.NDArray[np.float64]

# Two ways of exposing the same teeth magnified by 3.40 % and 9.47 % (Lazzerini 1996, Radiol Med 91:364), 6 %
# apart; the rest is for ends placed differently. Common practice, no source for the sum.
LARGEST_HEIGHT_DIFFERENCE = 0.10
_STEP_MM = 0.1
_SMALLEST_HEIGHT_MM = 1.0
# A step back along the tooth that is taken as error of the trace.
_STEP_BACK_MM = 0.2
_STEEP_DEG = 70.0


@dataclass(frozen=True, eq=False)
class CanalInSpace:
    """Centreline of a canal in space, from two views.

    Parameters
    ----------
    points_mm : ndarray, shape (N, 3)
        (height, across, depth), evenly spaced, orifice (the origin) to canal end.
    sd_mm : ndarray, shape (N, 2), or None
        Standard uncertainty of across and depth.
    mismatch_mm : float
        Height of the first trace minus height of the second.
    same_canal : bool
        False when the heights differ by more than is allowed for one canal.
    scale_factors : tuple of float
        What each view was multiplied by to bring both to one height.
    views : tuple of ndarray, shape (M, 3)
        Height, across and its standard uncertainty of each trace in the tooth's frame, before scaling, mm.
    drawn : tuple of tuple of ndarray, shape (M, 3), or None
        The same of each trace as it might have come out, without the uncertainty.
    between_views_deg : float
    height_sd_mm : tuple of float or None
        Standard uncertainty of the two heights.
    remarks, assumptions : tuple of str
    relative_sd : tuple of float
        Relative standard uncertainty of the scale of each view.
    lean_sd_deg : tuple of float
        Standard uncertainty of the direction of the long axis in each view.
    between_views_sd_deg : float
        Standard uncertainty of the turn between the views.
    """

    points_mm: FloatArray
    sd_mm: FloatArray | None
    mismatch_mm: float
    same_canal: bool
    scale_factors: tuple[float, float]
    views: tuple[FloatArray, FloatArray]
    between_views_deg: float
    height_sd_mm: tuple[float, float] | None
    remarks: tuple[str, ...]
    assumptions: tuple[str, ...]
    relative_sd: tuple[float, float] = (0.0, 0.0)
    lean_sd_deg: tuple[float, float] = (0.0, 0.0)
    between_views_sd_deg: float = 0.0
    drawn: tuple[tuple[FloatArray, ...], tuple[FloatArray, ...]] | None = None


def reconstruct(
    first_mm: npt.ArrayLike,
    second_mm: npt.ArrayLike,
    *,
    axis_first: npt.ArrayLike | None = None,
    axis_second: npt.ArrayLike | None = None,
    between_views_deg: float = 90.0,
    sd_first_mm: npt.ArrayLike | None = None,
    sd_second_mm: npt.ArrayLike | None = None,
    height_sd_mm: tuple[float, float] | None = None,
    relative_sd: tuple[float, float] = (0.0, 0.0),
    lean_sd_deg: tuple[float, float] = (0.0, 0.0),
    between_views_sd_deg: float = 0.0,
    drawn_mm: tuple[FloatArray, FloatArray] | None = None,
) -> CanalInSpace:
    """Centreline in space by matching two traces of one canal at equal heights along the tooth.

    Parameters
    ----------
    first_mm, second_mm : array_like, shape (N, 2)
        (row, col) in millimetres, orifice to canal end; their lengths may differ.
    axis_first, axis_second : array_like, shape (2,), optional
        Direction (row, col) of the tooth's long axis in each view, either way round; the image rows if None.
    between_views_deg : float
        Turn of the beam about the long axis from the first view to the second.
    sd_first_mm, sd_second_mm : float or array_like, shape (N,), optional
        Sideways standard uncertainty of each trace.
    height_sd_mm : tuple of float, optional
        Standard uncertainty of each trace's height from its two ends.
    relative_sd, lean_sd_deg : tuple of float, optional
        Relative standard uncertainty of each scale, and that of each axis's direction.
    between_views_sd_deg : float, optional
        Standard uncertainty of the turn.
    drawn_mm : tuple of ndarray, shape (K, N, 2), optional
        Each trace as it might have come out, its ends moved too: what the uncertainty of every measure of the
        canal is taken from.

    Raises
    ------
    TraceError
        A trace runs back along the tooth, is too short, lies across its axis, or its sd does not fit it.
    PeriapicalError
        The views are less than 10 degrees from one line.

    Notes
    -----
    Heights may be matched along the one direction both image planes share: that the beam was turned about.
    With an upright receptor it is the image rows, hence the default. Neither the chord nor the trace's own
    principal direction can stand for it: they lean with the bend, by another angle in each view, and would
    make the heights of one canal differ. Where a receptor was rotated, give the axis seen in that view.

    Different heights are laid to different scales: both traces go to the geometric mean of the two heights.
    """
    turn = checked_turn(between_views_deg)
    views = (
        _in_tooth_frame(first_mm, axis_first, sd_first_mm, "first"),
        _in_tooth_frame(second_mm, axis_second, sd_second_mm, "second"),
    )
    points, sd, factors = match(*views, turn)
    heights = views[0][-1, 0], views[1][-1, 0]
    mismatch = float(heights[0] - heights[1])
    sds = None
    if height_sd_mm is not None:
        sds = tuple(np.hypot(height_sd_mm, np.array(relative_sd) * heights).tolist())
    remarks = _remarks(views, mismatch, sds, turn)
    rows = "the image rows, for want of one"
    given = [rows if axis is None else "as given" for axis in (axis_first, axis_second)]
    assumptions = (
        PARALLEL,
        "Both views in true millimetres.",
        f"The long axis lies in both image planes: {given[0]} (first view), {given[1]} (second view).",
        "Both traces start at the orifice, which is the origin, and end at the canal end.",
        f"The second view is the first turned by {between_views_deg:g} degrees about the long axis, not "
        "mirrored; turned the other way the canal is the mirror image, of the same lengths and angles.",
        f"Both views scaled to one height, by {factors[0]:.3f} and {factors[1]:.3f}.",
        "Equal heights do not prove one canal: another of the same height fits as well.",
    )
    return CanalInSpace(
        points,
        None if sd_first_mm is None or sd_second_mm is None else sd,
        mismatch,
        abs(mismatch) <= LARGEST_HEIGHT_DIFFERENCE * sum(heights) / 2,
        factors,
        views,
        between_views_deg,
        height_sd_mm,
        remarks,
        assumptions,
        relative_sd,
        lean_sd_deg,
        between_views_sd_deg,
        None if drawn_mm is None else (_frames(drawn_mm[0], axis_first), _frames(drawn_mm[1], axis_second)),
    )


def _frames(drawn_mm: FloatArray, axis: npt.ArrayLike | None) -> tuple[FloatArray, ...]:
    """Drawn traces in the frame of the tooth; one that wavers back along the tooth stays at its height."""
    found = []
    for trace in drawn_mm:
        height, across = _along_and_across(resample(without_repeats(trace), _STEP_MM), axis)
        highest = np.maximum.accumulate(height)
        rises = np.diff(highest, prepend=-1.0) > 1e-9
        found.append(np.stack([highest, across, np.zeros(len(height))], axis=1)[rises])
    return tuple(found)


def _along_and_across(trace_mm: FloatArray, axis: npt.ArrayLike | None) -> tuple[FloatArray, FloatArray]:
    """Height above the first point along the axis, toward the last one, and across."""
    direction = np.array([1.0, 0.0]) if axis is None else np.asarray(axis, dtype=np.float64)
    rel = trace_mm - trace_mm[0]
    direction = direction / np.linalg.norm(direction) * (1 if rel[-1] @ direction >= 0 else -1)
    return rel @ direction, rel @ np.array([-direction[1], direction[0]])


def _in_tooth_frame(
    trace_mm: npt.ArrayLike, axis: npt.ArrayLike | None, sd_mm: npt.ArrayLike | None, which: str
) -> FloatArray:
    """Height (never falling), across, and sd of across, shape (N, 3)."""
    given = np.asarray(trace_mm, dtype=np.float64)
    if given.ndim != 2 or given.shape[1] != 2:
        raise TraceError(f"The {which} trace has the shape {given.shape}; give (N, 2): row and col in mm.")
    even = resample(without_repeats(given), _STEP_MM)
    given_axis = np.array([1.0, 0.0]) if axis is None else np.asarray(axis, dtype=np.float64)
    if given_axis.shape != (2,) or not 0 < float(np.linalg.norm(given_axis)) < np.inf:
        raise TraceError(
            f"The long axis of the {which} view is {axis!r}; give two finite numbers (row, col), not both 0."
        )
    height, across = _along_and_across(even, axis)
    if height[-1] < _SMALLEST_HEIGHT_MM or (axis is None and abs(across[-1]) > height[-1]):
        raise TraceError(
            f"The {which} trace ends {height[-1]:.1f} mm along and {abs(across[-1]):.1f} mm across the long "
            f"axis; it must run {_SMALLEST_HEIGHT_MM:g} mm along or more and, where the image rows stand for "
            "that axis, further along than across. Turn the image so that the tooth stands upright."
        )
    highest = np.maximum.accumulate(height)
    back = highest - height
    if back.max() > _STEP_BACK_MM:
        raise TraceError(
            f"The {which} trace runs back along the tooth by {back.max():.1f} mm, "
            f"{highest[back.argmax()]:.1f} mm from the orifice; up to {_STEP_BACK_MM:g} mm is allowed, since "
            "a height then has more than one point. Check the long axis, or end both traces before the turn."
        )
    sd = _sd_across(given, even, height, sd_mm, which)
    frame = np.stack([highest, across, sd], axis=1)[np.diff(highest, prepend=-1.0) > 1e-9]
    frame[-1, 1] = across[-1]
    return frame


def _sd_across(
    given: FloatArray, even: FloatArray, height: FloatArray, sd_mm: npt.ArrayLike | None, which: str
) -> FloatArray:
    """Sideways uncertainty turned into one of across at a given height, at the even points."""
    sd = np.asarray(0.0 if sd_mm is None else sd_mm, dtype=np.float64)
    if sd.shape not in ((), (len(given),)) or not (np.isfinite(sd) & (sd >= 0)).all():
        raise TraceError(
            f"The uncertainty of the {which} trace has the shape {sd.shape}, or a value not finite or below "
            f"0; give one number, or one for each of its {len(given)} points, 0 mm or more."
        )
    at = cumulative_length(even)
    steep = np.abs(np.gradient(height, at))
    sideways = np.interp(at, cumulative_length(given), np.broadcast_to(sd, len(given)))
    return np.asarray(sideways / np.maximum(steep, np.cos(np.radians(_STEEP_DEG))))


def match(
    first: FloatArray, second: FloatArray, turn: float
) -> tuple[FloatArray, FloatArray, tuple[float, float]]:
    """Points in space at equal heights, sd of across and depth, and the factor put on each view."""
    mean = float(np.sqrt(first[-1, 0] * second[-1, 0]))
    factors = mean / float(first[-1, 0]), mean / float(second[-1, 0])
    one, two = first * factors[0], second * factors[1]
    height = np.unique(np.concatenate([one[:, 0], two[:, 0]]).round(9))
    x, sd_x = (np.interp(height, one[:, 0], one[:, i]) for i in (1, 2))
    seen, sd_seen = (np.interp(height, two[:, 0], two[:, i]) for i in (1, 2))
    depth = (seen - x * np.cos(turn)) / np.sin(turn)
    sd_depth = np.hypot(sd_seen, sd_x * np.cos(turn)) / np.sin(turn)
    points = np.stack([height, x, depth], axis=1)
    count = max(2, round(length_mm(points) / _STEP_MM) + 1)
    rows = evenly(points, count, np.column_stack([points, sd_x, sd_depth]))
    return rows[:, :3], rows[:, 3:], factors


def _remarks(
    views: tuple[FloatArray, FloatArray], mismatch: float, sd: tuple[float, ...] | None, turn: float
) -> tuple[str, ...]:
    mean = float(views[0][-1, 0] + views[1][-1, 0]) / 2
    part = abs(mismatch) / mean
    told = f"the heights along the tooth differ by {abs(mismatch):.2f} mm ({part:.1%})"
    out = []
    if part > LARGEST_HEIGHT_DIFFERENCE:
        limit = f"more than the {LARGEST_HEIGHT_DIFFERENCE:.0%} allowed for a difference of scale"
        out.append(f"These two views do not seem to show the same canal: {told}, {limit}.")
    elif part > 0.01:
        out.append(f"{told[0].upper()}{told[1:]}; shared out as a difference of scale.")
    if sd is not None and abs(mismatch) > 3 * np.linalg.norm(sd):
        out.append(f"{told[0].upper()}{told[1:]}, more than three times their standard uncertainty.")
    for name, view in zip(("first", "second"), views, strict=True):
        along, aside = np.abs(np.diff(view[:, :2], axis=0)).T
        steep = aside > np.tan(np.radians(_STEEP_DEG)) * along
        # a single waver of the trace is not a run
        if aside[steep].sum() > 3 * _STEP_MM:
            out.append(
                f"The {name} trace runs over {_STEEP_DEG:g} degrees off the axis: depth is loose there."
            )
    if np.sin(turn) < 0.5:
        out.append(
            f"Views this close to one line make errors {1 / np.sin(turn):.1f} times as large in depth."
        )
    return tuple(out)
