"""Sum of the turns from point to point."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words
from radio.measure.methods.contract import CurvatureMethod, Quantity
from radio.measure.methods.shared_steps import canal_step
from radio.measure.stack import FloatArray, TraceStack, angles_deg

STEP_MM = 1.0


def stations(stack: TraceStack) -> FloatArray:
    """Points every step along each canal, the rest shared out evenly, shape (K, M, 2)."""
    count = max(round(float(stack.length[0]) / STEP_MM), 2)
    return stack.at(stack.length[:, None] * np.linspace(0.0, 1.0, count + 1)[None])


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Sum of the angles between successive pieces."""
    pieces = np.diff(stations(stack), axis=1)
    return {"total_turning_deg": angles_deg(pieces[:, :-1], pieces[:, 1:]).sum(axis=1)}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Points, pieces, sum."""
    points = stations(stack)[0]
    value = float(values(stack)["total_turning_deg"][0])
    return (
        canal_step(stack),
        Step("Mark a point every millimetre along the canal.", tuple(Spot(p, "") for p in points)),
        Step("Join neighbouring points.", (Stroke(points, "chord"),)),
        Step(
            "Add up the angles between neighbouring pieces, whichever way they turn.",
            (Words(points[len(points) // 2], f"sum {value:.1f}°"),),
        ),
    )


METHOD = CurvatureMethod(
    name="point-turning",
    order=100,
    title="Point-to-point turning",
    definition="Sum of the angles between successive straight pieces through points every millimetre.",
    source="Gialain IO et al. 2021, abstract, Brazilian Division of IADR (SBPqO)",
    standing=(
        "Points every millimetre are verified (abstract); that the angles are summed is inferred from its "
        "values. Every waver of the trace adds to it."
    ),
    quantities=(Quantity("total_turning_deg", "Total turning, point to point", "deg", 0.3, noise_adds=True),),
    values=values,
    settings=lambda _: f"points every {STEP_MM:g} mm",
    construct=construct,
    uses_axis=False,
    needs_mm=True,
)
