"""Steps that several constructions begin with."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import Role, Spot, Step, Stroke, Words, arc, ray
from radio.measure.stack import TraceStack

FloatArray = npt.NDArray[np.float64]

# Lines that meet within this many lengths of the canal from it are drawn until they meet.
_NEAR = 1.0


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


def near(stack: TraceStack, corner: FloatArray | None) -> bool:
    """Whether lines meet near enough to the canal to be drawn until they do."""
    if corner is None or not np.isfinite(corner).all():
        return False
    far = np.hypot(*(stack.points[0] - corner).T).min()
    return bool(far <= _NEAR * stack.length[0])


def line_to(
    stack: TraceStack,
    line: tuple[FloatArray, FloatArray],
    corner: FloatArray | None,
    least: tuple[float, float],
    role: Role,
) -> Stroke:
    """Piece of a line (point, direction) to a corner on it, at least so far before and after its point."""
    before, after = least
    if corner is not None and near(stack, corner):
        along = float((corner - line[0]) @ line[1])
        before, after = max(before, -1.1 * along), max(after, 1.1 * along)
    return ray(*line, before, after, role)


def axis_step(stack: TraceStack, vertex: FloatArray | None = None) -> Step:
    """The coronal axis, drawn to the vertex where there is one near."""
    origin, direction = stack.axis[0][0], stack.axis[1][0]
    foot = origin + ((stack.orifice[0] - origin) @ direction) * direction
    how = "as placed by hand" if stack.placed.axis is not None else "through the longest straight beginning"
    ahead = 0.8 * float(stack.length[0])
    drawn = line_to(stack, (foot, direction), vertex, (0.0, ahead), "axis")
    return Step(f"Draw the long axis of the coronal canal, {how}.", (drawn,))


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
    """The apical line through the canal end, drawn to the vertex where there is one near."""
    back = 0.4 * float(stack.length[0])
    drawn = line_to(stack, (stack.end[0], stack.apical[0]), vertex, (back, 0.0), "second_axis")
    return Step("Draw the line of the apical canal back from the canal end.", (drawn,))


def meeting_steps(
    stack: TraceStack,
    corner: FloatArray,
    first: FloatArray,
    second: tuple[FloatArray, FloatArray],
    value: float,
) -> tuple[Step, ...]:
    """Where a line of direction `first` meets the line `second`, and the angle there.

    Lines that meet far away, or nowhere, have the first carried to the point of the second.
    """
    place, direction = second
    if near(stack, corner):
        meet = Step("Mark where the two lines meet.", (Spot(corner, "vertex"),))
        return meet, angle_step(stack, corner, first, direction, value)
    ahead = 0.35 * float(stack.length[0])
    carried = Step(
        "The two lines meet too far away to be drawn: carry the first, parallel, to the second.",
        (ray(place, first, 0.0, ahead, "axis"), ray(place, direction, 0.0, ahead, "second_axis")),
    )
    return carried, angle_step(stack, place, first, direction, value)


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
