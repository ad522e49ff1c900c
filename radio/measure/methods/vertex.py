"""Where coronal axis and apical line meet; shared by methods with two lines."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.measure.stack import TraceStack, cross2

FloatArray = npt.NDArray[np.float64]

# Lines closer to parallel than this have no vertex that means anything, degrees.
LEAST_TURN_DEG = 3.0


def vertex_of(stack: TraceStack) -> FloatArray:
    """Where coronal axis and apical line meet, shape (K, 2); NaN where they are near to parallel."""
    origin, direction = stack.axis
    across = cross2(direction, stack.apical)
    flat = np.abs(across) < np.sin(np.radians(LEAST_TURN_DEG))
    t = cross2(stack.end - origin, stack.apical) / np.where(flat, 1.0, across)
    found = origin + t[:, None] * direction
    found[flat] = np.nan
    return np.asarray(found)
