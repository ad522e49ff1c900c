"""Long-axis angle."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Step
from radio.measure.methods.contract import CurvatureMethod, Quantity
from radio.measure.methods.shared_steps import canal_step, corner_of, line_to, meeting_steps
from radio.measure.stack import FloatArray, TraceStack, angles_deg, principal_lines

_PLACES = 40


def axes(stack: TraceStack) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Long axes of the coronal and the apical portion, each as point and direction, shapes (K, 2)."""
    # places of their own: the samples of the trace would round the portion
    shares = np.linspace(0.0, stack.settings.long_axis_portion, _PLACES)
    coronal, apical = (stack.at(stack.length[:, None] * ends[None]) for ends in (shares, 1.0 - shares[::-1]))
    even = np.ones(coronal.shape[:2])
    return principal_lines(coronal, even), principal_lines(apical, even)


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
    portion = _portion_words(stack)
    return (
        canal_step(stack),
        Step(
            f"Draw the long axis of the coronal portion ({portion}).",
            (line_to(first, corner, reach, "axis"),),
        ),
        Step(
            f"Draw the long axis of the apical portion ({portion}).",
            (line_to(second, corner, reach, "second_axis"),),
        ),
        *meeting_steps(corner, first[1], second[1], value),
    )


def _portion_words(stack: TraceStack) -> str:
    return f"{100 * stack.settings.long_axis_portion:.3g} % of the canal"


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
    settings=lambda stack: f"coronal and apical portion {_portion_words(stack)} each",
    construct=construct,
    uses_axis=False,
)
