"""Places for labels beside their points: over little of the drawing, and never over each other."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_DISTANCES_PT = (7.0, 12.0, 20.0, 32.0, 48.0, 70.0, 100.0)
_DIRECTIONS = 16
_GRID = 24
# What covering one sample of a line costs, in points of distance; covering a label, per square point.
_LINE_COST = 4.0
_LABEL_COST = 1e4
_GAP_PT = 1.5


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
    placed = taken
    centres = np.empty((len(sizes), 2))
    marks = np.vstack([lines, anchors, anchors])  # a point counts twice
    for index, (size, anchor) in enumerate(zip(sizes, anchors, strict=True)):
        half = 0.5 * size + _GAP_PT
        low, high = pane[0] + half, np.maximum(pane[1] - half, pane[0] + half)
        tried = _candidates(np.clip(anchor, pane[0], pane[1]), half, low, high)
        boxes = np.stack([tried - half, tried + half], axis=1)
        cost = np.hypot(*(tried - anchor).T) - np.abs(tried - anchor) @ np.array([0.3, 0.0])
        cost += _LINE_COST * _covered(boxes, marks) + _LABEL_COST * _shared_area(boxes, placed)
        best = int(cost.argmin())
        centres[index] = tried[best]
        placed = np.concatenate([placed, boxes[best][None]])
    return centres


def _candidates(anchor: FloatArray, half: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Centres about a point at several distances, and over the whole room, shape (C, 2)."""
    turn = np.linspace(0.0, 2 * np.pi, _DIRECTIONS, endpoint=False)
    ahead = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    # the box is pushed out until its edge, not its centre, is that far away
    out = np.concatenate(
        [anchor + ahead * distance + np.sign(np.round(ahead, 6)) * half for distance in _DISTANCES_PT]
    )
    grid = np.stack(np.meshgrid(*np.linspace(low, high, _GRID).T), axis=-1).reshape(-1, 2)
    inside = ((out >= low) & (out <= high)).all(axis=1)
    return np.concatenate([out[inside], grid])


def _covered(boxes: FloatArray, points: FloatArray) -> FloatArray:
    """How many points lie in each box, (C, 2, 2) and (M, 2) to (C,)."""
    x, y = points.T
    within = (x >= boxes[:, None, 0, 0]) & (x <= boxes[:, None, 1, 0])
    within &= (y >= boxes[:, None, 0, 1]) & (y <= boxes[:, None, 1, 1])
    return np.asarray(within.sum(axis=1), dtype=np.float64)


def _shared_area(boxes: FloatArray, placed: FloatArray) -> FloatArray:
    """Area that each box shares with boxes that have their place, (C, 2, 2) and (P, 2, 2) to (C,)."""
    low = np.maximum(boxes[:, None, 0], placed[None, :, 0])
    high = np.minimum(boxes[:, None, 1], placed[None, :, 1])
    return np.asarray(np.clip(high - low, 0.0, None).prod(axis=2).sum(axis=1))
