"""Places for labels beside their points: over little of the drawing, and never over each other.

Nor does the line that leads from a point to its label run under another label, or across another such line.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_DISTANCES_PT = (7.0, 12.0, 20.0, 32.0, 48.0, 70.0, 100.0)
_DIRECTIONS = 16
_GRID = 24
# What covering one sample of a line costs, in points of distance; covering a label, per square point.
_LINE_COST = 7.0
_LABEL_COST = 1e4
# What a sample of a leading line under a label costs; less than a square point of label under label.
_LEADER_COST = 300.0
# What a crossing of two leading lines costs: more than the longest way, less than a label under a label.
_CROSSING_COST = 400.0
_LEADER_SHARES = np.linspace(0.0, 1.0, 25)[1:-1]
_GAP_PT = 1.5
_MARKER_PT = 4.5  # half of the greatest width of a marker


def place_labels(
    sizes: FloatArray, anchors: FloatArray, pane: FloatArray, lines: FloatArray, taken: FloatArray
) -> FloatArray:
    """Find a centre for every label, in order: the first have the choice.

    Parameters
    ----------
    sizes : ndarray, shape (L, 2)
        Width and height of each label, points.
    anchors : ndarray, shape (L, 2)
        (x, y) of what each belongs to, points.
    pane : ndarray, shape (2, 2)
        Lower left and upper right corner of the room, points.
    lines : ndarray, shape (M, 2)
        Samples of what should stay uncovered, points.
    taken : ndarray, shape (P, 2, 2)
        Lower left and upper right corners of texts that have their place already, points.

    Returns
    -------
    ndarray, shape (L, 2)
        Centres; every label lies in the pane where it fits into it at all.
    """
    placed, leaders = taken, np.empty((0, 2))
    ends = np.empty((0, 2, 2))
    centres = np.empty((len(sizes), 2))
    marks = np.vstack([lines, (anchors[:, None] + _MARKER_PT * _ring(8)).reshape(-1, 2)])
    for index, (size, anchor) in enumerate(zip(sizes, anchors, strict=True)):
        half = 0.5 * size + _GAP_PT
        low, high = pane[0] + half, np.maximum(pane[1] - half, pane[0] + half)
        tried = _candidates(np.clip(anchor, pane[0], pane[1]), half, low, high)
        boxes = np.stack([tried - half, tried + half], axis=1)
        cost = np.hypot(*(tried - anchor).T) - np.abs(tried - anchor) @ np.array([0.3, 0.0])
        cost += _LINE_COST * _covered(boxes, marks) + _LABEL_COST * _shared_area(boxes, placed)
        leading = anchor + _LEADER_SHARES[:, None] * (tried - anchor)[:, None]
        cost += _LEADER_COST * (_covered(boxes, leaders) + _under(leading, placed))
        cost += _CROSSING_COST * _crossings(anchor, tried, ends)
        best = int(cost.argmin())
        centres[index] = tried[best]
        leaders = np.concatenate([leaders, leading[best]])
        ends = np.concatenate([ends, np.stack([anchor, tried[best]])[None]])
        placed = np.concatenate([placed, boxes[best][None]])
    return centres


def _candidates(anchor: FloatArray, half: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Centres about a point at several distances, and over the whole room, shape (C, 2)."""
    ahead = _ring(_DIRECTIONS)
    # the box is pushed out until its edge, not its centre, is that far away
    out = np.concatenate(
        [anchor + ahead * distance + np.sign(np.round(ahead, 6)) * half for distance in _DISTANCES_PT]
    )
    grid = np.stack(np.meshgrid(*np.linspace(low, high, _GRID).T), axis=-1).reshape(-1, 2)
    inside = ((out >= low) & (out <= high)).all(axis=1)
    return np.concatenate([out[inside], grid])


def _ring(count: int) -> FloatArray:
    """Directions all round, shape (C, 2)."""
    turn = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    return np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _covered(boxes: FloatArray, points: FloatArray) -> FloatArray:
    """How many points lie in each box, (C, 2, 2) and (M, 2) to (C,)."""
    x, y = points.T
    within = (x >= boxes[:, None, 0, 0]) & (x <= boxes[:, None, 1, 0])
    within &= (y >= boxes[:, None, 0, 1]) & (y <= boxes[:, None, 1, 1])
    return np.asarray(within.sum(axis=1), dtype=np.float64)


def _under(leading: FloatArray, placed: FloatArray) -> FloatArray:
    """How many samples of each leading line lie under placed boxes, (C, S, 2) and (P, 2, 2) to (C,)."""
    within = (leading[:, :, None] > placed[:, 0]) & (leading[:, :, None] < placed[:, 1])
    return np.asarray(within.all(axis=3).sum(axis=(1, 2)), dtype=np.float64)


def _crossings(anchor: FloatArray, tried: FloatArray, ends: FloatArray) -> FloatArray:
    """How many leading lines, (E, 2, 2), each line from an anchor to a centre, (C, 2), crosses, (C,)."""
    start, stop = ends[None, :, 0], ends[None, :, 1]
    here, there = anchor[None, None], tried[:, None]
    apart = _side(here, there, start) * _side(here, there, stop) < 0
    apart &= _side(start, stop, here) * _side(start, stop, there) < 0
    return np.asarray(apart.sum(axis=1), dtype=np.float64)


def _side(start: FloatArray, stop: FloatArray, point: FloatArray) -> FloatArray:
    """On which side of a line a point lies, by sign."""
    ahead, aside = stop - start, point - start
    return np.asarray(ahead[..., 0] * aside[..., 1] - ahead[..., 1] * aside[..., 0])


def _shared_area(boxes: FloatArray, placed: FloatArray) -> FloatArray:
    """Area that each box shares with boxes that have their place, (C, 2, 2) and (P, 2, 2) to (C,)."""
    low = np.maximum(boxes[:, None, 0], placed[None, :, 0])
    high = np.minimum(boxes[:, None, 1], placed[None, :, 1])
    return np.asarray(np.clip(high - low, 0.0, None).prod(axis=2).sum(axis=1))
