"""Long-axis angle."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Step
from radio.measure.methods.contract import CurvatureMethod, Quantity
from radio.measure.methods.shared_steps import canal_step, corner_of, line_to, meeting_steps
from radio.measure.stack import FloatArray, TraceStack, angles_deg, principal_lines

# Share of the canal's length whose long axis is taken at either end.
PORTION = 1 / 3


def axes(
    stack: TraceStack, portion: float = PORTION
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Long axes of the coronal and the apical portion, each as point and direction, shapes (K, 2)."""
    share = stack.s / stack.length[:, None]
    coronal = principal_lines(stack.points, (share <= portion).astype(float))
    apical = principal_lines(stack.points, (share >= 1 - portion).astype(float))
    return coronal, apical


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Angle between the long axes of the coronal and the apical portion."""
    coronal, apical = axes(stack)
    return {"long_axis_deg": angles_deg(coronal[1], apical[1])}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Both axes and their angle."""
    first, second = ((p[0], d[0]) for p, d in axes(stack))
    corner = corner_of(stack, first, second)
    reach = (0.25 * float(stack.length[0]),) * 2
    value = float(values(stack)["long_axis_deg"][0])
    return (
        canal_step(stack),
        Step(
            f"Draw the long axis of the coronal portion ({PORTION:.0%} of the canal).",
            (line_to(first, corner, reach, "axis"),),
        ),
        Step(
            f"Draw the long axis of the apical portion ({PORTION:.0%} of the canal).",
            (line_to(second, corner, reach, "second_axis"),),
        ),
        *meeting_steps(corner, first[1], second[1], value),
    )


METHOD = CurvatureMethod(
    name="long-axis",
    order=30,
    title="Long-axis angle",
    definition=(
        "Angle between the long axes (least squares) of the coronal and the apical portion of the "
        "canal; they "
        "need not pass through orifice or canal end."
    ),
    source="Hankins PJ, ElDeeb ME 1996, J Endod 22:123",
    standing=(
        "Existence verified (Gunday 2005, abstract); the portions are from memory and ambiguous: a "
        "parameter, "
        "printed."
    ),
    quantities=(Quantity("long_axis_deg", "Long-axis angle", "deg", 0.2),),
    values=values,
    settings=lambda _: f"coronal and apical portion {PORTION:.0%} of the canal each",
    construct=construct,
    uses_axis=False,
)
