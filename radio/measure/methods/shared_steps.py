"""Steps that several constructions begin with."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import Spot, Step, Stroke, Words, arc, ray
from radio.measure.stack import TraceStack

FloatArray = npt.NDArray[np.float64]


def canal_step(stack: TraceStack) -> Step:
    """The traced canal with its ends."""
    return Step(
        "Trace the middle of the canal from the orifice to its end.",
        (
            Stroke(stack.points[0], "canal"),
            Spot(stack.orifice[0], "orifice"),
            Spot(stack.end[0], "canal end"),
        ),
    )


def axis_step(stack: TraceStack) -> Step:
    """The coronal axis."""
    origin, direction = stack.axis[0][0], stack.axis[1][0]
    foot = origin + ((stack.orifice[0] - origin) @ direction) * direction
    how = "as placed by hand" if stack.placed.axis is not None else "through the longest straight beginning"
    ahead = 0.8 * float(stack.length[0])
    return Step(
        f"Draw the long axis of the coronal canal, {how}.", (ray(foot, direction, 0.0, ahead, "axis"),)
    )


def departure_step(stack: TraceStack) -> Step:
    """The departure point."""
    how = (
        "as placed by hand" if stack.placed.departure is not None else "for good, by more than the tolerance"
    )
    return Step(
        f"Mark the point where the canal leaves the axis, {how}.", (Spot(stack.departure[0], "departure"),)
    )


def chord_step(stack: TraceStack) -> Step:
    """The line from departure point to canal end."""
    return Step(
        "Join the departure point and the canal end.",
        (Stroke(np.stack([stack.departure[0], stack.end[0]]), "chord"),),
    )


def apical_step(stack: TraceStack, vertex: FloatArray | None) -> Step:
    """The apical direction, drawn back to the vertex where there is one."""
    end, direction = stack.end[0], stack.apical[0]
    back = 0.4 * float(stack.length[0])
    if vertex is not None and np.isfinite(vertex).all():
        back = max(back, 1.1 * float((end - vertex) @ direction))
    back = min(back, float(stack.length[0]))
    return Step(
        "Draw the direction of the apical canal back from the canal end.",
        (ray(end, direction, back, 0.0, "second_axis"),),
    )


def angle_step(
    stack: TraceStack, corner: FloatArray, first: FloatArray, second: FloatArray, value: float
) -> Step:
    """The arc between two directions at a corner, with the angle."""
    size = 0.28 * float(stack.length[0])
    drawn = arc(corner, size, first, second)
    return Step(
        "Read the angle between the two directions; a straight canal has 0.",
        (drawn, Words(drawn.points[30], f"{value:.1f}°")),
    )
