"""Weine angle."""

from __future__ import annotations

from radio.measure.drawn import Step
from radio.measure.methods.contract import CurvatureMethod, Quantity, portion_words, tolerance_words
from radio.measure.methods.shared_steps import (
    apical_of,
    apical_step,
    axis_of,
    axis_step,
    canal_step,
    corner_of,
    meeting_steps,
)
from radio.measure.stack import FloatArray, TraceStack, angles_deg


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Angle between coronal axis and apical direction."""
    return {"weine_deg": angles_deg(stack.axis[1], stack.apical)}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Axis, apical line, vertex, angle."""
    corner = corner_of(stack, axis_of(stack), apical_of(stack))
    steps = (canal_step(stack), axis_step(stack, corner), apical_step(stack, corner))
    value = float(values(stack)["weine_deg"][0])
    return (*steps, *meeting_steps(corner, stack.axis[1][0], stack.apical[0], value))


METHOD = CurvatureMethod(
    name="weine",
    order=20,
    title="Weine angle",
    definition=(
        "Angle between the line through the coronal canal and the line from the canal end back along the "
        "apical canal."
    ),
    source="Weine FS 1982, Endodontic Therapy (textbook)",
    standing=(
        "Construction from memory; that it gives more degrees than Schneider's is verified (Int "
        "Endod J 2025, "
        "10.1111/iej.70072, abstract). No source states the apical portion: it is a parameter, printed."
    ),
    quantities=(Quantity("weine_deg", "Weine angle", "deg", 0.2),),
    values=values,
    settings=lambda stack: f"{tolerance_words(stack)}, {portion_words(stack)}",
    construct=construct,
)
