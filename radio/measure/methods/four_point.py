"""Four-point angle."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step
from radio.measure.methods.contract import CurvatureMethod, Quantity
from radio.measure.methods.shared_steps import canal_step, corner_of, line_to, meeting_steps
from radio.measure.stack import FloatArray, TraceStack, angles_deg

CORONAL_MM, APICAL_MM = 2.0, 1.0


def four_points(stack: TraceStack) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Orifice, the point below it, the point short of the end, and the end, shapes (K, 2)."""
    below = stack.at(np.full(len(stack.points), CORONAL_MM))
    return stack.orifice, below, stack.at(stack.length - APICAL_MM), stack.end


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Angle between the first and the last of the three lines."""
    a, b, c, d = four_points(stack)
    long_enough = stack.length > CORONAL_MM + APICAL_MM
    return {"four_point_deg": np.where(long_enough, angles_deg(b - a, d - c), np.nan)}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """The points and the two lines, each drawn on."""
    a, b, c, d = (p[0] for p in four_points(stack))
    value = float(values(stack)["four_point_deg"][0])
    if not np.isfinite(value):
        return (canal_step(stack), Step(f"{METHOD.absent.capitalize()}: there is no angle.", ()))
    first, second = (a, (b - a) / np.hypot(*(b - a))), (d, (d - c) / np.hypot(*(d - c)))
    corner = corner_of(stack, first, second)
    reach = 0.4 * float(stack.length[0])
    upper = line_to(first, corner, (0.0, CORONAL_MM + reach), "axis")
    lower = line_to(second, corner, (APICAL_MM + reach, 0.0), "second_axis")
    return (
        canal_step(stack),
        Step(
            f"Mark the points {CORONAL_MM:g} mm below the orifice and {APICAL_MM:g} mm short of the "
            f"canal end.",
            (Spot(b, f"{CORONAL_MM:g} mm"), Spot(c, f"{APICAL_MM:g} mm")),
        ),
        Step("Draw the line through orifice and upper point.", (upper,)),
        Step("Draw the line through lower point and end.", (lower,)),
        *meeting_steps(corner, first[1], second[1], value),
    )


METHOD = CurvatureMethod(
    name="four-point",
    order=90,
    title="Four-point angle",
    definition=(
        f"Angle between the line from the orifice to the point {CORONAL_MM:g} mm below it and the "
        f"line from the "
        f"point {APICAL_MM:g} mm short of the canal end to that end."
    ),
    source="Luiten DJ et al. 1995, J Endod 21:26",
    standing="From memory, distances included.",
    quantities=(Quantity("four_point_deg", "Four-point angle", "deg", 0.3),),
    values=values,
    settings=lambda _: f"points {CORONAL_MM:g} mm below the orifice and {APICAL_MM:g} mm short of the end",
    construct=construct,
    uses_axis=False,
    absent=f"the canal is shorter than {CORONAL_MM + APICAL_MM:g} mm",
    needs_mm=True,
)
