"""Second curve of an S-shaped canal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import Spot, Step, Stroke
from radio.measure.methods.contract import CurvatureMethod, Quantity, smoothing_words, tolerance_words
from radio.measure.methods.shared_steps import (
    Corner,
    angle_step,
    arc_radius,
    axis_step,
    canal_step,
    departure_step,
    line_to,
)
from radio.measure.settings import along_canal
from radio.measure.stack import FloatArray, TraceStack, angles_deg, cross2, leaving

# Each of two opposite bends must turn by this much: less is what the trace itself wavers. Chosen on synthetic
# radiographs between missing true S-shapes and seeing false ones; no source states a figure.
LEAST_BEND_DEG = 8.0
# The canal is a funnel there, and the trace begins at a click: common practice, no source.
FUNNEL_MM = 1.0


@dataclass(frozen=True, eq=False)
class TwoBends:
    """Bends on either side of the place where the bending changes side, each of K canals.

    Parameters
    ----------
    index : ndarray of int, shape (K,)
        Sample at the change.
    first_deg, second_deg : ndarray, shape (K,)
        Turning before and after it, signed.
    """

    index: npt.NDArray[np.intp]
    first_deg: FloatArray
    second_deg: FloatArray

    @property
    def s_shaped(self) -> npt.NDArray[np.bool_]:
        """Whether both bends count and are opposite, shape (K,)."""
        opposite = self.first_deg * self.second_deg < 0
        least = np.minimum(np.abs(self.first_deg), np.abs(self.second_deg))
        return np.asarray(opposite & (least >= LEAST_BEND_DEG))


def two_bends(stack: TraceStack) -> TwoBends:
    """Split every canal where that leaves the most turning on the lesser of two opposite sides.

    The first :data:`FUNNEL_MM` is left out.
    """
    step = (stack.length / (stack.points.shape[1] - 1))[:, None]
    funnel = along_canal(FUNNEL_MM, stack.unit, float(stack.length[0]))
    curvature = np.where(stack.s < funnel, 0.0, stack.curvature)
    turned = np.cumsum(0.5 * (curvature[:, 1:] + curvature[:, :-1]) * step, axis=1)
    turned = np.degrees(np.concatenate([np.zeros((len(turned), 1)), turned], axis=1))
    k = np.arange(len(turned))
    choices = []
    for index in (turned.argmax(axis=1), turned.argmin(axis=1)):
        first = turned[k, index]
        second = turned[:, -1] - first
        least = np.where(first * second < 0, np.minimum(np.abs(first), np.abs(second)), -1.0)
        choices.append((least, index, first, second))
    use = choices[0][0] >= choices[1][0]
    pick = [np.where(use, a, b) for a, b in zip(choices[0][1:], choices[1][1:], strict=True)]
    return TwoBends(pick[0].astype(np.intp), pick[1], pick[2])


def first_departure(stack: TraceStack, bends: TwoBends) -> FloatArray:
    """Where the first curve leaves the coronal axis, shape (K, 2).

    An S-shaped canal may come back across its axis; where it leaves that for good then belongs to the second
    curve, and the first is measured from where it leaves before the bending changes side.
    """
    if stack.placed.departure is not None:
        return stack.departure
    return stack.at(leaving(stack.points, stack.s, *stack.axis, stack.tolerance, bends.index))


def _second(stack: TraceStack, bends: TwoBends) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Place and direction of the axis between the bends, and where the second curve leaves it."""
    k = np.arange(len(bends.index))
    n = stack.points.shape[1]
    along = np.gradient(stack.smooth, axis=1)[k, bends.index]
    along /= np.hypot(*along.T)[:, None]
    place = stack.smooth[k, bends.index]
    away = np.abs(cross2(along[:, None], stack.points - place[:, None]))
    before = np.arange(n)[None] <= bends.index[:, None]
    within = before | (away <= stack.tolerance)
    last = n - 1 - within[:, ::-1].argmax(axis=1)
    return place, along, stack.points[k, np.minimum(last, n - 2)]


def values(stack: TraceStack) -> dict[str, npt.NDArray[np.generic]]:
    """Whether the canal is S-shaped, and both angles."""
    bends = two_bends(stack)
    shaped = bends.s_shaped
    _, along, leaves = _second(stack, bends)
    primary = angles_deg(stack.axis[1], leaves - first_departure(stack, bends))
    second = angles_deg(along, stack.end - leaves)
    return {
        "s_shaped": np.where(shaped, "yes", "no"),
        "primary_curve_deg": np.where(shaped, primary, np.nan),
        "secondary_curve_deg": np.where(shaped, second, np.nan),
    }


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Schneider's construction up to the second curve, then on it."""
    steps = (canal_step(stack), axis_step(stack))
    bends = two_bends(stack)
    if not bends.s_shaped[0]:
        one = Step("The bending does not change side by enough: one curve.", ())
        return (*steps, departure_step(stack), one)
    place, along, leaves = (p[0] for p in _second(stack, bends))
    found = {column: float(angle[0]) for column, angle in values(stack).items() if column.endswith("_deg")}
    reach = 0.35 * float(stack.length[0])
    corner = first_departure(stack, bends)[0]
    first, second = leaves - corner, stack.end[0] - leaves
    size = arc_radius(stack, second)
    between = line_to((place, along), Corner(leaves, size, False), (0.5 * reach, reach), "second_axis")
    return (
        *steps,
        Step("Mark the point where the first curve leaves the axis.", (Spot(corner, "departure"),)),
        Step(
            "Join the departure point and the start of the second curve.",
            (Stroke(np.stack([corner, leaves]), "chord"),),
        ),
        angle_step(
            corner,
            arc_radius(stack, first),
            stack.axis[1][0],
            first,
            found["primary_curve_deg"],
            which="first",
        ),
        Step(
            "Draw the axis between the two curves, where the bending changes side.",
            (between, Spot(leaves, "second curve")),
        ),
        Step(
            "Join the start of the second curve and the canal end.",
            (Stroke(np.stack([leaves, stack.end[0]]), "chord"),),
        ),
        angle_step(leaves, size, along, second, found["secondary_curve_deg"], which="second"),
    )


METHOD = CurvatureMethod(
    name="secondary",
    order=130,
    title="S-shape and its two curves",
    definition=(
        "A second curve that bends to the other side than the first. Each is measured as Schneider's angle: "
        "the first from where it leaves the coronal axis to the start of the second; the axis of the second "
        "is the direction of the canal where the bending changes side. What the first millimetre does is not "
        "counted as a bend."
    ),
    source="Cunningham CJ, Senia ES 1992, J Endod 18:294",
    standing=(
        "Opposite direction and Schneider's technique for each are verified (abstract); the axis of "
        "the second "
        f"curve is not stated there; that both must turn by {LEAST_BEND_DEG:g} degrees is a choice made here."
    ),
    quantities=(
        Quantity("s_shaped", "S-shaped", "word"),
        Quantity("primary_curve_deg", "First curve of the S", "deg", 0.3),
        Quantity("secondary_curve_deg", "Second curve of the S", "deg", 0.3),
    ),
    values=values,
    settings=lambda stack: (
        f"{tolerance_words(stack)}, each bend at least {LEAST_BEND_DEG:g} degrees, {smoothing_words(stack)}"
    ),
    construct=construct,
    absent="the canal is not S-shaped",
)
