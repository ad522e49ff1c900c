"""Geometry of ordered points: arc length, resampling, projection. Nothing here knows about images."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.errors import TraceError

FloatArray = npt.NDArray[np.float64]


def cumulative_length(points: FloatArray) -> FloatArray:
    """Arc length from the first point to every point.

    Parameters
    ----------
    points : ndarray, shape (N, 2)

    Returns
    -------
    ndarray, shape (N,)
        In the unit of `points`; starts at 0.
    """
    steps = np.hypot(*np.diff(points, axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps)])


def arc_length(points: FloatArray) -> float:
    """Length of the polyline, in the unit of `points`, shape (N, 2)."""
    return float(cumulative_length(points)[-1])


def without_repeats(points: npt.ArrayLike, *, closer_than: float = 1e-9) -> FloatArray:
    """Drop points that coincide with the one before them.

    Raises
    ------
    TraceError
        Fewer than two distinct points remain, or a coordinate is not finite.
    """
    pts = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if not np.isfinite(pts).all():
        raise TraceError("A point of the line is not a finite number; give row and col in pixels.")
    keep = np.concatenate([[True], np.hypot(*np.diff(pts, axis=0).T) > closer_than])[: len(pts)]
    pts = np.asarray(pts[keep])
    if len(pts) < 2:
        raise TraceError("A line needs at least two different points; all points given coincide.")
    return pts


def point_at(points: FloatArray, s: npt.ArrayLike) -> FloatArray:
    """Points at arc lengths `s`, extended straight beyond both ends.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
    s : array_like, shape (M,)
        Arc lengths; below 0 and beyond the end the end direction is continued.

    Returns
    -------
    ndarray, shape (M, 2)
    """
    s = np.asarray(s, dtype=np.float64)
    cum = cumulative_length(points)
    out = np.stack([np.interp(s, cum, points[:, 0]), np.interp(s, cum, points[:, 1])], axis=-1)
    first, last = end_directions(points)
    before, after = s < 0, s > cum[-1]
    out[before] = points[0] + s[before, None] * first
    out[after] = points[-1] + (s[after, None] - cum[-1]) * last
    return np.asarray(out)


def end_directions(points: FloatArray, *, over: float | None = None) -> tuple[FloatArray, FloatArray]:
    """Unit directions at both ends, pointing from first to last point.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
    over : float, optional
        Length the direction is taken over; a tenth of the line by default.
    """
    cum = cumulative_length(points)
    reach = 0.1 * cum[-1] if over is None else min(over, cum[-1])

    def at(s: float) -> FloatArray:
        return np.array([np.interp(s, cum, points[:, 0]), np.interp(s, cum, points[:, 1])])

    first = at(reach) - points[0]
    last = points[-1] - at(cum[-1] - reach)
    return first / np.hypot(*first), last / np.hypot(*last)


def resample(points: FloatArray, step: float) -> FloatArray:
    """Points at equal arc-length spacing close to `step`, both ends kept."""
    length = arc_length(points)
    count = max(2, round(length / step) + 1)
    return point_at(points, np.linspace(0.0, length, count))


def normals(points: FloatArray) -> FloatArray:
    """Unit normals of an evenly sampled line, shape (N, 2): the tangent (r, c) turned to (-c, r)."""
    tangent = np.gradient(points, axis=0)
    tangent /= np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    return np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)


def spline_through(points: FloatArray, step: float) -> FloatArray:
    """Smooth curve through all points, sampled every `step`.

    Natural cubic spline over centripetal parameters, which neither loops nor overshoots where points are
    unevenly spaced; a straight line for two points.
    """
    points = without_repeats(points)
    if len(points) == 2:
        return resample(points, step)
    from scipy.interpolate import CubicSpline

    knots = np.concatenate([[0.0], np.cumsum(np.sqrt(np.hypot(*np.diff(points, axis=0).T)))])
    dense = CubicSpline(knots, points, bc_type="natural")(np.linspace(0.0, knots[-1], 60 * len(points)))
    return resample(np.asarray(dense, dtype=np.float64), step)


def project(points: FloatArray, query: npt.ArrayLike, *, extend: bool = True) -> tuple[float, float]:
    """Foot of a point on a line.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        The line.
    query : array_like, shape (2,)
    extend : bool
        Continue the line straight beyond both ends; otherwise the foot stays within the line.

    Returns
    -------
    s, offset : float
        Arc length of the foot (negative before the start when extended) and signed distance from the line
        (positive on the side of :func:`normals`).
    """
    q = np.asarray(query, dtype=np.float64)
    start, delta = points[:-1], np.diff(points, axis=0)
    length = np.hypot(delta[:, 0], delta[:, 1])
    along = np.einsum("ij,ij->i", q - start, delta) / length
    along = np.clip(along, 0.0, length)
    foot = start + (along / length)[:, None] * delta
    distance = np.hypot(*(q - foot).T)
    best = int(np.argmin(distance))
    s = float(cumulative_length(points)[best] + along[best])
    total = arc_length(points)
    first, last = end_directions(points)
    if extend and s <= 0.0:
        direction, origin, base = first, points[0], 0.0
    elif extend and s >= total:
        direction, origin, base = last, points[-1], total
    else:
        unit = delta[best] / length[best]
        rel = q - foot[best]
        return s, float(-unit[1] * rel[0] + unit[0] * rel[1])
    rel = q - origin
    beyond = float(rel @ direction)
    beyond = min(beyond, 0.0) if base == 0.0 else max(beyond, 0.0)
    return base + beyond, float(-direction[1] * rel[0] + direction[0] * rel[1])


def beside(points: FloatArray, s: float, aside: float) -> FloatArray:
    """Point at arc length `s` of a line and a distance aside, on the side of :func:`normals`; shape (2,)."""
    where, ahead = point_at(points, np.array([s, s + 1.0]))
    direction = (ahead - where) / np.hypot(*(ahead - where))
    return np.asarray(where + aside * np.array([-direction[1], direction[0]]))


def section(points: FloatArray, s0: float, s1: float, step: float) -> FloatArray:
    """Part of the line between two arc lengths (extended straight if they lie outside), resampled."""
    count = max(2, round(abs(s1 - s0) / step) + 1)
    return point_at(points, np.linspace(s0, s1, count))
