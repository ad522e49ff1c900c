"""Angle and radius of the circle that touches both straight parts."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words, circle
from radio.measure.methods.contract import CurvatureMethod, Quantity, tolerance_words
from radio.measure.methods.line_arc_line import LineArcLine, line_arc_line
from radio.measure.methods.shared_steps import canal_step, corner_of, line_to, meeting_steps
from radio.measure.stack import FloatArray, TraceStack, angles_deg, leaving

# Lines closer to parallel than this have no circle that means anything, degrees.
LEAST_TURN_DEG = 3.0


def _corner(fit: LineArcLine) -> FloatArray:
    """Where the two lines meet, shape (K, 2); NaN where they are near to parallel."""
    half = np.radians(np.abs(fit.turn_deg)) / 2
    flat = np.abs(fit.turn_deg) < LEAST_TURN_DEG
    reach = np.where(flat, np.nan, fit.radius * np.tan(half))
    return np.asarray(fit.first_point + reach[:, None] * fit.first)


def leaving_points(stack: TraceStack) -> tuple[FloatArray, FloatArray]:
    """Where each canal leaves the coronal line and where it reaches the apical one, arc lengths (K,)."""
    fit = line_arc_line(stack)
    leaves = leaving(stack.points, stack.s, fit.first_point, fit.first, stack.tolerance)
    backward = np.ascontiguousarray(stack.points[:, ::-1])
    s = stack.length[:, None] - stack.s[:, ::-1]
    from_end = leaving(backward, s, fit.second_point, -fit.second, stack.tolerance)
    return leaves, np.maximum(stack.length - from_end, leaves)


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Angle of the arc, radius, and asymmetry.

    The asymmetry is how much further from the corner of the lines one of the points where the canal leaves
    them lies than the other, as a ratio: 1 where the canal is a circle's arc between straight parts.
    """
    fit = line_arc_line(stack)
    corner = _corner(fit)
    leaves, reaches = leaving_points(stack)
    first = np.hypot(*(stack.at(leaves) - corner).T)
    second = np.hypot(*(stack.at(reaches) - corner).T)
    none = ~np.isfinite(corner).all(axis=1)
    with np.errstate(invalid="ignore"):
        asymmetry = np.maximum(first, second) / np.maximum(np.minimum(first, second), 1e-9)
    return {
        "tangent_circle_deg": angles_deg(fit.first, fit.second),
        "tangent_circle_radius_mm": np.where(none, np.nan, fit.radius),
        "tangent_circle_asymmetry": np.where(none, np.nan, asymmetry),
    }


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Both lines, the circle, the points of contact and of leaving, angle and radius."""
    fit, found = line_arc_line(stack), values(stack)
    first, second = (fit.first_point[0], fit.first[0]), (fit.second_point[0], fit.second[0])
    length = float(stack.length[0])
    before = max(float((first[0] - stack.orifice[0]) @ first[1]), 0.2 * length)
    after = max(float((stack.end[0] - second[0]) @ second[1]), 0.15 * length)
    how = "as placed by hand" if stack.placed.axis is not None else "fitted together with the arc"
    corner = corner_of(stack, first, second)
    coronal = line_to(first, corner, (before, 0.3 * length), "axis")
    apical = line_to(second, corner, (0.3 * length, after), "second_axis")
    steps = (
        canal_step(stack),
        Step(f"Draw the line along the coronal canal, {how}.", (coronal,)),
        Step("Draw the line along the apical canal.", (apical,)),
    )
    radius = float(found["tangent_circle_radius_mm"][0])
    if not np.isfinite(radius):
        return (*steps, Step("The lines are too near to parallel for a circle.", ()))
    centre = fit.centre[0]
    contacts = Stroke(np.stack([first[0], centre, second[0]]), "height")
    fitted = Step(
        "Draw the circle that touches both lines and fits the canal between them.",
        (circle(centre, radius), contacts, Words(0.5 * (centre + first[0]), f"r {radius:.1f} {stack.unit}")),
    )
    touch = Step(
        "Mark where the circle touches the two lines.",
        (Spot(first[0], "touches"), Spot(second[0], "touches")),
    )
    value = float(found["tangent_circle_deg"][0])
    return (*steps, fitted, touch, *meeting_steps(corner, first[1], second[1], value))


METHOD = CurvatureMethod(
    name="tangent-circle",
    order=40,
    title="Tangent circle",
    definition=(
        "The circle that touches the lines along the coronal and the apical straight part: the angle its arc "
        "spans between them, and its radius. Line, arc, and line are fitted to the whole canal at once."
    ),
    source="Pruett JP, Clement DJ, Carnes DL 1997, J Endod 23:77",
    standing=(
        "That angle and radius are both given is verified (scanned page); the steps of the construction are "
        "from memory; fitting all three together is a stated form of it made here. The asymmetry says how "
        "far the canal is from such a shape: 1 where it leaves both lines equally far from where they meet."
    ),
    quantities=(
        Quantity("tangent_circle_deg", "Tangent circle, angle", "deg", 0.2),
        Quantity("tangent_circle_radius_mm", "Tangent circle, radius", "mm", 0.05, reciprocal=True),
        Quantity("tangent_circle_asymmetry", "Tangent circle, asymmetry", "ratio", 0.01, at_least=1.0),
    ),
    values=values,
    settings=lambda stack: (
        f"line, arc, and line by least squares; {tolerance_words(stack)} for the asymmetry"
    ),
    construct=construct,
    uses_axis=False,
    absent=f"the two lines are within {LEAST_TURN_DEG:g} degrees of parallel",
)
