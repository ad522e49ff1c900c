"""Steps that several constructions begin with, and the angle that many end with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import Role, Spot, Step, Stroke, Words, arc, ray
from radio.measure.stack import TraceStack, cross2

FloatArray = npt.NDArray[np.float64]
# A point and a unit direction, shapes (2,).
DrawnLine = tuple[FloatArray, FloatArray]

# Lines that meet within this many lengths of the canal from it are drawn until they meet.
_NEAR = 0.6
# Radius of the arc in an angle: the greatest and, where the arms can be drawn on, the least, shares of the
# length of the canal; and the share of the shorter arm that it stays within.
_GREATEST_ARC, _LEAST_ARC, _SHARE_OF_ARM = 0.28, 0.12, 0.7
# How far the arms are drawn, in radii of the arc.
_ARM_RADII = 1.25
# Where an angle of lines that do not meet is drawn, as a share of the canal.
_CARRIED_TO = 0.35


@dataclass(frozen=True, eq=False)
class Corner:
    """Where the angle of two lines is drawn.

    Parameters
    ----------
    point : ndarray, shape (2,)
        Where they meet; a point of the first line where they meet too far away.
    radius : float
        Of the arc in the angle.
    carried : bool
        Whether the second line is carried to the point, parallel.
    """

    point: FloatArray
    radius: float
    carried: bool


def corner_of(stack: TraceStack, first: DrawnLine, second: DrawnLine) -> Corner:
    """Where two lines meet, or a place on the first, beside the canal, where they meet too far away."""
    length = float(stack.length[0])
    across = float(cross2(first[1], second[1]))
    if abs(across) > 1e-9:
        point = first[0] + float(cross2(second[0] - first[0], second[1])) / across * first[1]
        if np.hypot(*(stack.points[0] - point).T).min() <= _NEAR * length:
            arm = _SHARE_OF_ARM * float(np.hypot(*(stack.end[0] - point)))
            radius = float(np.clip(arm, _LEAST_ARC * length, _GREATEST_ARC * length))
            return Corner(np.asarray(point), radius, False)
    beside = stack.at(_CARRIED_TO * stack.length)[0]
    point = first[0] + float((beside - first[0]) @ first[1]) * first[1]
    return Corner(np.asarray(point), _GREATEST_ARC * length, True)


def arc_radius(stack: TraceStack, *arms: FloatArray) -> float:
    """Radius of the arc in an angle with the given arms, each (2,) from the corner: within all of them."""
    shortest = min(float(np.hypot(*arm)) for arm in arms)
    return min(_GREATEST_ARC * float(stack.length[0]), _SHARE_OF_ARM * shortest)


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


def line_to(line: DrawnLine, corner: Corner, least: tuple[float, float], role: Role) -> Stroke:
    """Piece of a line at least so far before and after its point, and to be an arm at the corner on it."""
    before, after = least
    if role == "axis" or not corner.carried:
        along = float((corner.point - line[0]) @ line[1])
        before, after = max(before, -along), max(after, along + _ARM_RADII * corner.radius)
    return ray(*line, before, after, role)


def axis_step(stack: TraceStack, corner: Corner | None = None) -> Step:
    """The coronal axis: to be an arm at a corner, else at the departure."""
    origin, direction = stack.axis[0][0], stack.axis[1][0]
    foot = origin + ((stack.orifice[0] - origin) @ direction) * direction
    how = "as placed by hand" if stack.placed.axis is not None else "through the longest straight beginning"
    length = float(stack.length[0])
    if corner is None:
        corner = Corner(stack.departure[0], _GREATEST_ARC * length if stack.leaves[0] else 0.0, False)
    drawn = line_to((foot, direction), corner, (0.0, 0.8 * length), "axis")
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


def axis_of(stack: TraceStack) -> DrawnLine:
    """The coronal axis."""
    return stack.axis[0][0], stack.axis[1][0]


def apical_of(stack: TraceStack) -> DrawnLine:
    """The apical line, through the canal end."""
    return stack.end[0], stack.apical[0]


def apical_step(stack: TraceStack, corner: Corner) -> Step:
    """The apical line through the canal end, drawn to be an arm at the corner."""
    back = 0.4 * float(stack.length[0])
    drawn = line_to(apical_of(stack), corner, (back, 0.0), "second_axis")
    return Step("Draw the line of the apical canal back from the canal end.", (drawn,))


def meeting_steps(
    corner: Corner, first: FloatArray, second: FloatArray, value_deg: float
) -> tuple[Step, ...]:
    """Where two lines of these directions, shape (2,), meet, and the angle there.

    Of lines that meet far away, or nowhere, the second is carried to the first.
    """
    read = angle_step(corner.point, corner.radius, first, second, value_deg)
    if not corner.carried:
        return Step("Mark where the two lines meet.", (Spot(corner.point, "vertex"),)), read
    carried = Step(
        "The two lines meet too far away to be drawn: carry the second, parallel, to the first.",
        (ray(corner.point, second, 0.0, _ARM_RADII * corner.radius, "second_axis"),),
    )
    return carried, read


def angle_step(
    corner: FloatArray,
    radius: float,
    first: FloatArray,
    second: FloatArray,
    value_deg: float,
    *,
    which: str = "",
) -> Step:
    """The arc between two directions at a corner, with the angle.

    Parameters
    ----------
    corner : ndarray, shape (2,)
    radius : float
        In the unit of the trace; the arms are no shorter.
    first, second : ndarray, shape (2,)
    value_deg : float
    which : str
        What tells the angle from others of the construction.
    """
    drawn = arc(corner, radius, first, second)
    name = f"{which} angle" if which else "angle"
    return Step(
        f"Read the {name} between the two directions; a straight canal has 0.",
        (drawn, Words(drawn.points[len(drawn.points) // 2], f"{which} {value_deg:.1f}°".lstrip())),
    )
