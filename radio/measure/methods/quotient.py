"""Angle over radius."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Step
from radio.measure.methods import tangent_circle
from radio.measure.methods.contract import CurvatureMethod, Quantity
from radio.measure.stack import FloatArray, TraceStack


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Angle of the tangent circle over its radius."""
    found = tangent_circle.values(stack)
    return {"angle_over_radius_deg_per_mm": found["tangent_circle_deg"] / found["tangent_circle_radius_mm"]}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """The construction of the tangent circle, then the division."""
    steps = tangent_circle.construct(stack)
    value = float(values(stack)["angle_over_radius_deg_per_mm"][0])
    if not np.isfinite(value):
        return steps
    return (*steps, Step(f"Divide the angle by the radius: {value:.2f} degrees per {stack.unit}.", ()))


METHOD = CurvatureMethod(
    name="quotient",
    order=80,
    title="Angle over radius",
    definition="Angle of the tangent circle over its radius: large for a canal that bends far and abruptly.",
    source="Backman CA, Oswald RJ, Pitts DL 1992, J Endod 18:19",
    standing="From memory, the construction of the circle included; here it is the tangent circle's.",
    quantities=(Quantity("angle_over_radius_deg_per_mm", "Angle over radius", "deg/mm", 0.02),),
    values=values,
    settings=tangent_circle.METHOD.settings,
    construct=construct,
    uses_axis=False,
    absent=tangent_circle.METHOD.absent,
)
