"""Radius from the angle and the chord of the curved part."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words, arc_of
from radio.measure.methods.contract import CurvatureMethod, Quantity, tolerance_words
from radio.measure.methods.shared_steps import (
    angle_step,
    arc_radius,
    axis_step,
    canal_step,
    chord_step,
    departure_step,
)
from radio.measure.stack import FloatArray, TraceStack, angles_deg, cross2

# An angle below this gives a radius that is all uncertainty.
_LEAST_DEG = 1.0


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Radius by both readings of the angle, and the length of the arc by the first."""
    angle = np.radians(angles_deg(stack.axis[1], stack.chord))
    chord = np.hypot(*stack.chord.T)
    bent = stack.leaves & (angle > np.radians(_LEAST_DEG))
    angle = np.where(bent, angle, np.nan)
    radius = chord / (2 * np.sin(angle))
    return {
        "chord_radius_mm": radius,
        "chord_arc_mm": 2 * angle * radius,
        "chord_radius_central_mm": chord / (2 * np.sin(0.5 * angle)),
    }


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Schneider's construction, then the arc that has the axis for tangent and the chord for chord."""
    steps = (canal_step(stack), axis_step(stack), departure_step(stack))
    radius = float(values(stack)["chord_radius_mm"][0])
    if not np.isfinite(radius):
        return steps
    axis, chord = stack.axis[1][0], stack.chord[0]
    value = float(angles_deg(axis, chord))
    side = float(np.sign(cross2(axis, chord)))
    normal = side * np.array([-axis[1], axis[0]])
    centre = stack.departure[0] + radius * normal
    drawn = arc_of(centre, radius, -normal, side * np.radians(2 * value))
    middle = drawn.points[30]
    curve = Step(
        "Draw the arc that touches the axis at the departure point and ends at the canal end.",
        (
            drawn,
            Spot(centre, "centre"),
            Stroke(np.stack([centre, middle]), "height"),
            Words(middle, f"r {radius:.1f} {stack.unit}"),
        ),
    )
    return (
        *steps,
        chord_step(stack),
        angle_step(stack.departure[0], arc_radius(stack, chord), axis, chord, value),
        curve,
    )


METHOD = CurvatureMethod(
    name="chord-radius",
    order=50,
    title="Radius from angle and chord",
    definition=(
        "Radius of the arc whose chord runs from the departure point to the canal end: chord / (2 "
        "sin a) when a "
        "is the angle between axis and chord (Schneider's), chord / (2 sin a/2) when a is read as "
        "the angle at "
        "the centre; and the length of the arc."
    ),
    source="Schafer E, Diez C, Hoppe W, Tepel J 2002, J Endod 28:211",
    standing=(
        "That angle, radius and length are given together is verified (abstract). Which angle the paper puts "
        "in is from memory (axis to chord), so both are given; the formulas are exact geometry."
    ),
    quantities=(
        Quantity("chord_radius_mm", "Radius from chord, axis-chord angle", "mm", 0.05, reciprocal=True),
        Quantity("chord_arc_mm", "Length of that arc", "mm", 0.05),
        Quantity("chord_radius_central_mm", "Radius from chord, central angle", "mm", 0.05, reciprocal=True),
    ),
    values=values,
    settings=lambda stack: f"{tolerance_words(stack)}; angle a is the Schneider angle",
    construct=construct,
    absent=f"the angle is below {_LEAST_DEG:g} degree",
)
