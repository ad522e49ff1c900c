"""Two straight parts joined by one arc, fitted to a canal."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from radio.measure.stack import FloatArray, TraceStack

# Places where the arc may begin and end: of the first search, and about the best in each later one.
_COARSE, _FINE, _ROUNDS, _NARROWING = 40, 5, 10, 0.62
# An arc shorter than this share of the canal is a kink: its radius means nothing.
SHORTEST_SHARE = 0.05


@dataclass(frozen=True, eq=False)
class LineArcLine:
    """The fit to each of K canals, in the unit of the traces.

    Parameters
    ----------
    begin, end : ndarray, shape (K,)
        Arc lengths where the arc begins and ends.
    turn_deg : ndarray, shape (K,)
        Signed angle it spans, positive from +row toward +col.
    first, second : ndarray, shape (K, 2)
        Unit directions of the coronal and the apical line.
    first_point, second_point : ndarray, shape (K, 2)
        Where the circle touches them.
    radius : ndarray, shape (K,)
    centre : ndarray, shape (K, 2)
    """

    begin: FloatArray
    end: FloatArray
    turn_deg: FloatArray
    first: FloatArray
    second: FloatArray
    first_point: FloatArray
    second_point: FloatArray
    radius: FloatArray
    centre: FloatArray


@lru_cache(maxsize=1)
def line_arc_line(stack: TraceStack) -> LineArcLine:
    """Fit line, arc, and line to every canal of a stack.

    The heading of such a shape is constant, rises evenly, and is constant again; its running integral is, but
    for turning and shifting the whole, one curve with two free places and one free height. The places are
    searched, the height is least squares. The integral, unlike the heading, averages the wavers of a trace.
    A coronal axis placed by hand gives the first heading.
    """
    count, n, _ = stack.points.shape
    step = np.diff(stack.points, axis=1)
    heading = np.unwrap(np.arctan2(step[..., 1], step[..., 0]), axis=1)
    sizes = np.hypot(step[..., 0], step[..., 1]) / stack.length[:, None]
    running = np.concatenate([np.zeros((count, 1)), np.cumsum(heading * sizes, axis=1)], axis=1)
    x = np.linspace(0.0, 1.0, n)
    free = np.stack([np.ones(n), x], axis=1)
    if stack.placed.axis is not None:
        axis = stack.axis[1]
        given = np.arctan2(axis[:, 1], axis[:, 0])
        given += 2 * np.pi * np.round((heading[:, 0] - given) / (2 * np.pi))
        running, free = running - given[:, None] * x, free[:, :1]
    base, _ = np.linalg.qr(free)
    rest = running - running @ base @ base.T
    places, turn = _search(rest, x, base)
    curve = turn[:, None] * _risen(x[None], places[:, :1], places[:, 1:])
    if stack.placed.axis is not None:
        start = given
    else:
        start = np.linalg.lstsq(free, (running - curve).T, rcond=None)[0][1]
    return _drawn_back(stack, places, turn, start)


def _risen(x: FloatArray, begin: FloatArray, end: FloatArray) -> FloatArray:
    """Integral of a heading that rises from 0 to 1 between two places and stays there."""
    width = np.maximum(end - begin, 1e-9)
    inside = np.clip(x - begin, 0.0, width)
    return np.asarray(inside**2 / (2 * width) + np.clip(x - end, 0.0, None))


@lru_cache(maxsize=4)
def _pairs(steps: int) -> npt.NDArray[np.float64]:
    """All places (begin, end) on a grid of so many steps that are far enough apart, shape (P, 2)."""
    grid = np.linspace(0.0, 1.0, steps + 1)
    begin, end = np.meshgrid(grid, grid, indexing="ij")
    keep = end - begin >= SHORTEST_SHARE - 1e-9
    return np.stack([begin[keep], end[keep]], axis=1)


def _search(rest: FloatArray, x: FloatArray, base: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places (K, 2), shares of the length, and height (K,) that leave the least of each row of `rest`."""
    pairs = _pairs(_COARSE)
    shapes = _risen(x[None], pairs[:, :1], pairs[:, 1:])
    shapes = shapes - shapes @ base @ base.T
    power = (shapes**2).sum(axis=1)
    best = ((rest @ shapes.T) ** 2 / power).argmax(axis=1)
    places, reach = pairs[best], 1.0 / _COARSE
    k = np.arange(len(rest))
    turn = np.zeros(len(rest))
    for _ in range(_ROUNDS):
        shift = np.linspace(-reach, reach, _FINE)
        begin, end = (one.ravel() for one in np.meshgrid(shift, shift, indexing="ij"))
        begins = np.clip(places[:, :1] + begin, 0.0, 1.0 - SHORTEST_SHARE)
        ends = np.minimum(np.maximum(places[:, 1:] + end, begins + SHORTEST_SHARE), 1.0)
        shapes = _risen(x[None, None], begins[..., None], ends[..., None])
        shapes = shapes - shapes @ base @ base.T
        power = (shapes**2).sum(axis=2)
        overlap = np.einsum("kpn,kn->kp", shapes, rest)
        best = (overlap**2 / power).argmax(axis=1)
        places = np.stack([begins[k, best], ends[k, best]], axis=1)
        turn = overlap[k, best] / power[k, best]
        reach *= _NARROWING
    return places, turn


def _drawn_back(stack: TraceStack, places: FloatArray, turn: FloatArray, start: FloatArray) -> LineArcLine:
    """The fit as lines and circle on the image, through the canal where the arc begins."""
    begin, end = (places * stack.length[:, None]).T
    first = np.stack([np.cos(start), np.sin(start)], axis=1)
    second = np.stack([np.cos(start + turn), np.sin(start + turn)], axis=1)
    radius = (end - begin) / np.maximum(np.abs(turn), 1e-12)
    side = np.sign(turn)[:, None]
    first_point = stack.at(begin)
    centre = first_point + radius[:, None] * side * np.stack([-first[:, 1], first[:, 0]], axis=1)
    second_point = centre - radius[:, None] * side * np.stack([-second[:, 1], second[:, 0]], axis=1)
    return LineArcLine(begin, end, np.degrees(turn), first, second, first_point, second_point, radius, centre)
