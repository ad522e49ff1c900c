"""Two straight parts joined by one arc, fitted to a canal."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from radio.measure.stack import FloatArray, TraceStack

# Steps of the first search for where the arc begins and ends, and rounds of refinement after it.
_COARSE, _ROUNDS = 40, 10
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
    grid = _grid(n, 2 if stack.placed.axis is None else 1)
    if stack.placed.axis is not None:
        axis = stack.axis[1]
        given = np.arctan2(axis[:, 1], axis[:, 0])
        given += 2 * np.pi * np.round((heading[:, 0] - given) / (2 * np.pi))
        running = running - given[:, None] * grid.x
    places, turn = _search(running - running @ grid.base @ grid.base.T, grid)
    if stack.placed.axis is not None:
        start = given
    else:
        curve = turn[:, None] * _risen(grid.x[None], places[:, :1], places[:, 1:])
        start = np.linalg.lstsq(grid.free, (running - curve).T, rcond=None)[0][1]
    return _drawn_back(stack, places, turn, start)


def _risen(x: FloatArray, begin: FloatArray, end: FloatArray) -> FloatArray:
    """Integral of a heading that rises from 0 to 1 between two places and stays there."""
    width = np.maximum(end - begin, 1e-9)
    inside = np.clip(x - begin, 0.0, width)
    return np.asarray(inside**2 / (2 * width) + np.clip(x - end, 0.0, None))


def _rise_slopes(x: FloatArray, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How :func:`_risen` changes with either place, each of shape (K, N)."""
    begin, end = places[:, :1], places[:, 1:]
    width = np.maximum(end - begin, 1e-9)
    share = np.clip((x - begin) / width, 0.0, 1.0)
    half = 0.5 * share**2
    return half - share, -half


@dataclass(frozen=True, eq=False)
class _Grid:
    """What the search needs and no trace changes.

    Parameters
    ----------
    x : ndarray, shape (N,)
        Places of the samples, shares of the length.
    free : ndarray, shape (N, F)
        What turning (2) and shifting (1) add to a running integral.
    base : ndarray, shape (N, F)
        The same, orthonormal.
    pairs : ndarray, shape (P, 2)
        Places (begin, end) of the first search.
    shapes : ndarray, shape (P, N)
        The curve of each.
    """

    x: FloatArray
    free: FloatArray
    base: FloatArray
    pairs: FloatArray
    shapes: FloatArray


@lru_cache(maxsize=4)
def _grid(samples: int, free_columns: int) -> _Grid:
    x = np.linspace(0.0, 1.0, samples)
    free = np.stack([np.ones(samples), x], axis=1)[:, :free_columns]
    base, _ = np.linalg.qr(free)
    steps = np.linspace(0.0, 1.0, _COARSE + 1)
    begin, end = np.meshgrid(steps, steps, indexing="ij")
    keep = end - begin >= SHORTEST_SHARE - 1e-9
    pairs = np.stack([begin[keep], end[keep]], axis=1)
    return _Grid(x, free, base, pairs, _bare(x, base, pairs))


def _search(rest: FloatArray, grid: _Grid) -> tuple[FloatArray, FloatArray]:
    """Places (K, 2), shares of the length, and height (K,) that leave the least of each row of `rest`."""
    x, base = grid.x, grid.base
    best = ((rest @ grid.shapes.T) ** 2 / (grid.shapes**2).sum(axis=1)).argmax(axis=1)
    places = grid.pairs[best]
    shape = grid.shapes[best]
    turn, left = _height(rest, shape)
    step = np.ones(len(rest))
    for _ in range(_ROUNDS):
        tried = _within(places + step[:, None] * _newton_step(rest, grid, places, turn, shape))
        tried_shape = _bare(x, base, tried)
        tried_turn, tried_left = _height(rest, tried_shape)
        better = tried_left < left
        places = np.where(better[:, None], tried, places)
        shape = np.where(better[:, None], tried_shape, shape)
        turn, left = np.where(better, tried_turn, turn), np.where(better, tried_left, left)
        step = np.where(better, np.minimum(2.0 * step, 1.0), 0.3 * step)
    return places, turn


def _bare(x: FloatArray, base: FloatArray, places: FloatArray) -> FloatArray:
    """Integral of the rise at each pair of places, without what turning and shifting make up, (P, N)."""
    shapes = _risen(x[None], places[:, :1], places[:, 1:])
    return np.asarray(shapes - shapes @ base @ base.T)


def _height(rest: FloatArray, shapes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least-squares height of each row's own shape, and the sum of squares it leaves."""
    height = (rest * shapes).sum(axis=1) / np.maximum((shapes**2).sum(axis=1), 1e-30)
    return height, ((rest - height[:, None] * shapes) ** 2).sum(axis=1)


def _newton_step(
    rest: FloatArray, grid: _Grid, places: FloatArray, turn: FloatArray, shape: FloatArray
) -> FloatArray:
    """Gauss-Newton step of both places, shape (K, 2); a place at the border does not go beyond it."""
    x, base = grid.x, grid.base
    slopes = [turn[:, None] * (one - one @ base @ base.T) for one in _rise_slopes(x[None], places)]
    jacobian = np.stack([shape, *slopes], axis=2)
    gradient = np.einsum("knp,kn->kp", jacobian, rest - turn[:, None] * shape)
    normal = jacobian.transpose(0, 2, 1) @ jacobian
    ridge = 1e-9 * np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-18
    normal = normal + ridge * np.eye(3)
    step = np.linalg.solve(normal, gradient[..., None])[..., 0]
    # a place at the border that the joint step would take beyond it stays, and the others step without it
    before, beyond = (places[:, 0] <= 0.0) & (step[:, 1] < 0), (places[:, 1] >= 1.0) & (step[:, 2] > 0)
    if not (before | beyond).any():
        return np.asarray(step[:, 1:])
    for k, outward in ((1, before), (2, beyond)):
        normal[outward, k, :], normal[outward, :, k], gradient[outward, k] = 0.0, 0.0, 0.0
        normal[outward, k, k] = 1.0
    return np.asarray(np.linalg.solve(normal, gradient[..., None])[:, 1:, 0])


def _within(places: FloatArray) -> FloatArray:
    """Places with the arc on the canal and no shorter than it may be."""
    begin = np.clip(places[:, 0], 0.0, 1.0 - SHORTEST_SHARE)
    return np.stack([begin, np.clip(places[:, 1], begin + SHORTEST_SHARE, 1.0)], axis=1)


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
