"""Schneider angle."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Step
from radio.measure.methods.contract import CurvatureMethod, Quantity, tolerance_words
from radio.measure.methods.shared_steps import (
    angle_step,
    arc_radius,
    axis_step,
    canal_step,
    chord_step,
    departure_step,
)
from radio.measure.stack import FloatArray, TraceStack, angles_deg


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Angle between coronal axis and the line from departure point to canal end; 0 for a canal that stays."""
    angle = angles_deg(stack.axis[1], stack.chord)
    return {"schneider_deg": np.where(stack.leaves, angle, 0.0)}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Axis, departure, chord, angle."""
    steps = (canal_step(stack), axis_step(stack), departure_step(stack))
    if not stack.leaves[0]:
        return steps
    value, chord = float(values(stack)["schneider_deg"][0]), stack.chord[0]
    angle = angle_step(stack.departure[0], arc_radius(stack, chord), stack.axis[1][0], chord, value)
    return (*steps, chord_step(stack), angle)


METHOD = CurvatureMethod(
    name="schneider",
    order=10,
    title="Schneider angle",
    definition=(
        "Angle between the long axis of the coronal canal and the line from the point where the canal leaves "
        "that axis to the canal end."
    ),
    source="Schneider SW 1971, Oral Surg Oral Med Oral Pathol 32:271",
    standing=(
        "Construction verified in later open papers. Least-squares axis and departure tolerance are a stated "
        "form of it made here. The tolerance lets the departure lie later than where a bend begins: on an "
        "arc that begins sharply the angle reads some 5 to 10 degrees more than with none."
    ),
    quantities=(Quantity("schneider_deg", "Schneider angle", "deg", 0.2),),
    values=values,
    settings=tolerance_words,
    construct=construct,
)
