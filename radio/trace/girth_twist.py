"""How a section with corners is turned along a twisted file: the likeliest steady twist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# Corners that pass in a millimetre; a file of 16 mm working part has some 10 to 50 flutes along it
# (common practice, no source).
_TWISTS_PER_MM = np.arange(0.5, 3.61, 0.15)
# Cost of running ahead of or behind a steady twist by one phase, in the unit of the costs of the rows.
_UNSTEADY = 12.0
# Flutes are seen where the opposite phases fit worse by at least this.
_LEAST_OPPOSED = 25.0
# Chance explains up to this, so that a fit below says nothing of a twist.
_CHANCE_OPPOSED = 50.0
# No row may speak louder than this against a phase.
_LARGEST_COST = 10.0


@dataclass(frozen=True, eq=False)
class Twist:
    """Turn of the section in every row.

    Parameters
    ----------
    phases : ndarray of int, shape (N,)
    per_mm : float
        Corners that pass in a millimetre; negative for the other hand, where that shows.
    opposed : float
        How much worse the rows fit half way to the next corner, in units of their noise: large where flutes
        are seen, about 0 where there are none.
    """

    phases: IntArray
    per_mm: float
    opposed: float


def steady_twist(costs: FloatArray, step_mm: float) -> Twist:
    """Phases that a nearly steady twist passes through at the least cost.

    Parameters
    ----------
    costs : ndarray, shape (K, N)
        Misfit of every phase in every row, about twice the negative logarithm of its likelihood.
    step_mm : float
        Distance between rows.
    """
    count, rows = costs.shape
    bounded = np.minimum(costs - costs.min(axis=0), _LARGEST_COST)
    advances = np.concatenate([_TWISTS_PER_MM, -_TWISTS_PER_MM]) * step_mm * count
    # in a frame that turns along, a steady twist is a line without change: shape (T, K, N)
    turned = (np.arange(count)[None, :, None] + advances[:, None, None] * np.arange(rows)) % count
    low = turned.astype(np.int64) % count
    share = turned - np.floor(turned)
    column = np.arange(rows)
    moving = bounded[low, column] * (1 - share) + bounded[(low + 1) % count, column] * share
    total = moving[:, :, 0]
    steps = np.zeros(moving.shape, dtype=np.int64)
    for row in range(1, rows):
        choices = np.stack([total, np.roll(total, 1, 1) + _UNSTEADY, np.roll(total, -1, 1) + _UNSTEADY])
        steps[:, :, row] = choices.argmin(axis=0)
        total = choices.min(axis=0) + moving[:, :, row]
    best, state = np.unravel_index(int(total.argmin()), total.shape)
    path = np.empty(rows, dtype=np.int64)
    for row in range(rows - 1, -1, -1):
        path[row] = state
        state = (state - (0, 1, -1)[steps[best, state, row]]) % count
    phases = np.round(path + advances[best] * column).astype(np.int64) % count
    opposed = bounded[(phases + count // 2) % count, column] - bounded[phases, column]
    return Twist(phases, float(advances[best] / step_mm / count), float(opposed.sum()))


def is_a_twist(twist: Twist) -> bool:
    """Whether flutes are seen: a twist within what is looked for, and worse fits half way between corners.

    Where nothing turns, the slowest or the fastest twist looked for explains chance misfits best.
    """
    slowest, fastest = _TWISTS_PER_MM[[0, -1]]
    inside = slowest * 1.05 < abs(twist.per_mm) < fastest * 0.99
    return bool(inside and twist.opposed > _LEAST_OPPOSED)


def may_be_hidden(twist: Twist) -> bool:
    """Whether rows fit about as well half way between corners, as where blur hides the flutes."""
    return twist.opposed < _CHANCE_OPPOSED
