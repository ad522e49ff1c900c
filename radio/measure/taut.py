"""Shortest way through a corridor between two walls, as a taut string takes it; exact for polylines."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from radio.errors import PeriapicalError

FloatArray = npt.NDArray[np.float64]
_Point = tuple[float, float]
# wall, place, and the rung it belongs to
_Corner = tuple[int, _Point, int]
_LEFT, _RIGHT = 1, -1
# descent to the best free ends: steps at most, a step that is none, the least part of one that is tried
_STEPS = 100
_SETTLED = 1e-9
_LEAST_PART = 1e-4
# neighbours on a wall closer than this share of the corridor's extent are one
_SAME = 1e-11


@dataclass(frozen=True, eq=False)
class TautPath:
    """A shortest path.

    Parameters
    ----------
    points : ndarray, shape (K, 2)
        Its vertices, from the first rung to the last; all but the ends lie on a wall, and between them it is
        straight.
    rungs : ndarray of int, shape (K,)
        The rung each vertex lies on.
    """

    points: FloatArray
    rungs: npt.NDArray[np.int64]

    @property
    def length(self) -> float:
        """Length, in the unit of the points."""
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())


def shortest_path(
    left: FloatArray, right: FloatArray, *, start: float | None = None, end: float | None = None
) -> TautPath:
    """Find the shortest path along a corridor from its first rung to its last.

    Rung i joins ``left[i]`` and ``right[i]``; the corridor is the strip of quadrilaterals between rungs. The
    strip is cut into triangles and a funnel is drawn through their common sides: the path is a shortest one,
    up to rounding, however the strip winds. Ends that are left free lie where the path is shortest; its
    length is a convex function of them in a strip without holes, so that a descent finds the least.

    Parameters
    ----------
    left, right : ndarray, shape (N, 2)
        Walls, N at least 2. Going along rising i, `left` lies on the left where the first coordinate counts
        ahead and the second to the left, which is the side of :func:`radio.trace.curve.normals`. A rung may
        have no width.
    start, end : float, optional
        Where the path begins on the first rung and ends on the last: 0 at the right wall, 1 at the left.
        Free where left out.

    Returns
    -------
    TautPath

    Raises
    ------
    PeriapicalError
        The walls are not two equally long lists of points, or they cross.

    References
    ----------
    Lee & Preparata 1984, Networks 14:393 (shortest path in a simple polygon); Pollack, Sharir & Rote 1989,
    Discrete Comput Geom 4:611 (convexity); both from memory.
    """
    left, right = _checked(left, right)
    for name, share in (("start", start), ("end", end)):
        if share is not None and not 0.0 <= share <= 1.0:
            raise PeriapicalError(
                f"{name} is {share!r}; it is a share of the rung, from 0 (right wall) to 1 (left wall)."
            )
    corners = _corners(left, right)
    free = [index for index, share in enumerate((start, end)) if share is None]
    shares = [0.5 if share is None else float(share) for share in (start, end)]
    if free:
        return _pulled(left, right, corners, _shortest_ends(left, right, corners, shares, free))
    return _pulled(left, right, corners, shares)


def crossings(path: TautPath, left: FloatArray, right: FloatArray) -> FloatArray:
    """Where a path crosses every rung: 0 at the right wall, 1 at the left, shape (N,); half without width."""
    piece = np.clip(
        np.searchsorted(path.rungs, np.arange(len(left)), side="right") - 1, 0, len(path.rungs) - 2
    )
    along = np.diff(path.points, axis=0)[piece]
    across, to = left - right, path.points[piece] - right
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (to[:, 0] * along[:, 1] - to[:, 1] * along[:, 0]) / (
            across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0]
        )
        # a path along a rung, or through a vertex on it, is found on the rung itself
        placed = path.points - right[path.rungs]
        on = (placed * across[path.rungs]).sum(axis=1) / (across[path.rungs] ** 2).sum(axis=1)
    share[path.rungs] = on
    return np.where(np.isfinite(share), np.clip(share, 0.0, 1.0), 0.5)


def _checked(left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    left, right = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    if left.shape != right.shape or left.ndim != 2 or left.shape[1:] != (2,) or len(left) < 2:
        raise PeriapicalError(
            f"The walls have the shapes {left.shape} and {right.shape}; give both as (N, 2), N at least 2."
        )
    if not (np.isfinite(left).all() and np.isfinite(right).all()):
        raise PeriapicalError("A wall has a point that is not finite; give finite coordinates.")
    return left, right


def _area(a: _Point, b: _Point, c: _Point) -> float:
    """Twice the area of a triangle, positive where c lies left of the way from a to b."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _corners(left: FloatArray, right: FloatArray) -> list[_Corner]:
    """Corners of the triangles of the strip in the order they are met, the first rung's apart.

    Each corner makes, with the latest one of the other wall, the next side that the path crosses.
    """
    extent = float(np.ptp(np.vstack([left, right]), axis=0).max())
    l_points, r_points = _snapped(left, _SAME * extent), _snapped(right, _SAME * extent)
    slack = -1e-12 * extent**2
    out: list[_Corner] = []
    for i in range(len(left) - 1):
        a, b, c, d = l_points[i], r_points[i], r_points[i + 1], l_points[i + 1]
        if _area(a, b, c) >= slack and _area(a, c, d) >= slack:
            out += [(_RIGHT, c, i + 1), (_LEFT, d, i + 1)]
        elif _area(a, b, d) >= slack and _area(b, c, d) >= slack:
            out += [(_LEFT, d, i + 1), (_RIGHT, c, i + 1)]
        else:
            raise PeriapicalError(
                f"The walls cross between points {i} and {i + 1}; narrow the corridor there, or list the "
                "points of both walls in the same order."
            )
    return out


def _snapped(wall: FloatArray, near: float) -> list[_Point]:
    """Points of a wall, those that all but coincide with the one before made to: their order is noise."""
    out = [_point(wall[0])]
    for place in wall[1:]:
        point = _point(place)
        out.append(out[-1] if hypot(point[0] - out[-1][0], point[1] - out[-1][1]) < near else point)
    return out


class _Node(NamedTuple):
    """A vertex of the funnel and the one before it on the shortest path to it."""

    point: _Point
    rung: int
    before: _Node | None


def _pulled(
    left: FloatArray, right: FloatArray, corners: Sequence[_Corner], shares: npt.ArrayLike
) -> TautPath:
    """Shortest path between two places on the first and the last rung."""
    first, last = np.asarray(shares, dtype=np.float64).tolist()
    begin = right[0] + first * (left[0] - right[0])
    stop = right[-1] + last * (left[-1] - right[-1])
    node: _Node | None = _funnel(left, right, corners, _point(begin), _point(stop))
    vertices: list[_Node] = []
    while node is not None:
        if not vertices or node.point != vertices[-1].point:
            vertices.append(node)
        node = node.before
    if len(vertices) < 2:
        vertices.append(_Node(_point(begin), 0, None))
    vertices.reverse()
    return TautPath(
        np.array([one.point for one in vertices]),
        np.array([0, *(one.rung for one in vertices[1:])], dtype=np.int64),
    )


def _point(place: FloatArray) -> _Point:
    return float(place[0]), float(place[1])


def _funnel(
    left: FloatArray, right: FloatArray, corners: Sequence[_Corner], begin: _Point, stop: _Point
) -> _Node:
    """Last vertex of the shortest path.

    The funnel is an apex and, from it, the taut paths to the latest corners of both walls; every corner is
    added once and dropped once.
    """
    apex = _Node(begin, 0, None)
    chains = {
        _LEFT: deque([_Node(_point(left[0]), 0, apex)]),
        _RIGHT: deque([_Node(_point(right[0]), 0, apex)]),
    }
    last = len(left) - 1
    for side, point, rung in (*corners, (_LEFT, stop, last)):
        own, other = chains[side], chains[-side]
        # off the own chain, from its end: what the new corner makes slack
        while own and side * _area((own[-2] if len(own) > 1 else apex).point, own[-1].point, point) <= 0.0:
            own.pop()
        if not own:
            # round the other chain, from the apex
            while other and (
                other[0].point == apex.point or side * _area(apex.point, other[0].point, point) < 0.0
            ):
                apex = other.popleft()
        own.append(_Node(point, rung, own[-1] if own else apex))
    return chains[_LEFT][-1]


def _shortest_ends(
    left: FloatArray,
    right: FloatArray,
    corners: Sequence[_Corner],
    shares: Sequence[float],
    free: Sequence[int],
) -> FloatArray:
    """Places of the free ends that make the path shortest.

    Each step goes toward where the ends would be best if the path kept its vertices, and as much of the way
    as shortens it. Where that is no way at all, the place is the best: length is convex in the ends.
    """
    now = np.array(shares)
    path = _pulled(left, right, corners, now)
    for _ in range(_STEPS):
        step = np.zeros(2)
        step[list(free)] = (_best_if_kept(path, left, right, now, free) - now)[list(free)]
        if np.abs(step).max() < _SETTLED:
            return now
        part = 1.0
        while part > _LEAST_PART:
            tried = np.clip(now + part * step, 0.0, 1.0)
            shorter = _pulled(left, right, corners, tried)
            if shorter.length < path.length:
                break
            part *= 0.5
        else:
            return now
        gained = path.length - shorter.length
        now, path = tried, shorter
        if gained <= 1e-13 * path.length:
            return now
    return now


def _best_if_kept(
    path: TautPath, left: FloatArray, right: FloatArray, shares: FloatArray, free: Sequence[int]
) -> FloatArray:
    """Shares of both ends that make the path shortest with its other vertices kept."""
    across = (left[0] - right[0], left[-1] - right[-1])
    # an end at a corner may meet that corner again, by rounding
    between = path.points[(path.rungs > 0) & (path.rungs < len(left) - 1)]
    if len(between) or len(free) == 1:
        toward = (between[0], between[-1]) if len(between) else (path.points[-1], path.points[0])
        return np.array([_foot(toward[n], right[-n], across[n], shares[n]) for n in (0, 1)])
    # straight from rung to rung: the nearest points of two segments, by the best of either end for each
    # of four candidates and the inner solution
    apart, (a, b) = right[0] - right[-1], across
    aa, bb, ab = float(a @ a), float(b @ b), float(a @ b)
    det = aa * bb - ab * ab
    t = (ab * float(b @ apart) - bb * float(a @ apart)) / det if det > 0.0 else 0.5
    starts = [min(max(t, 0.0), 1.0), 0.0, 1.0]
    starts += [_foot(right[-1] + u * b, right[0], a, shares[0]) for u in (0.0, 1.0)]
    pairs = [(t, _foot(right[0] + t * a, right[-1], b, shares[1])) for t in starts]
    return np.array(min(pairs, key=lambda pair: float(np.hypot(*(apart + pair[0] * a - pair[1] * b)))))


def _foot(point: FloatArray, origin: FloatArray, across: FloatArray, otherwise: float) -> float:
    """Share along a rung that is nearest to a point; another where the rung has no width."""
    width2 = float(across @ across)
    return otherwise if width2 == 0.0 else min(max(float((point - origin) @ across) / width2, 0.0), 1.0)
