"""Form of the canal, and the side it bends to."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import Step
from radio.measure.methods.contract import CurvatureMethod, Quantity, smoothing_words, tolerance_words
from radio.measure.methods.secondary import LEAST_BEND_DEG, two_bends
from radio.measure.methods.shared_steps import axis_step, canal_step, chord_step, departure_step
from radio.measure.stack import TraceStack, signed_deg

# A canal that stays on its axis beyond this share of its length bends in its apical part only.
APICAL_FROM = 0.5
_STRAIGHT_DEG = 5.0


def values(stack: TraceStack) -> dict[str, npt.NDArray[np.generic]]:
    """Form and side as words."""
    many = two_bends(stack).s_shaped
    angle = np.where(stack.leaves, signed_deg(stack.axis[1], stack.chord), 0.0)
    straight = ~many & (np.abs(angle) < _STRAIGHT_DEG)
    apical = stack.departure_s > APICAL_FROM * stack.length
    form = np.where(apical, "apically curved", "continuously curved")
    form = np.where(straight, "straight", form)
    form = np.where(many, "multi-curved", form)
    return {"canal_form": form, "bend_side": np.where(straight | (angle == 0.0), "none", _side(stack))}


def _side(stack: TraceStack) -> npt.NDArray[np.str_]:
    """Side of the image that each canal end lies to, seen from the coronal axis, shape (K,)."""
    axis = stack.axis[1]
    away = stack.chord - (stack.chord * axis).sum(axis=1)[:, None] * axis
    down, right = away.T
    upright = np.where(right > 0, "right", "left")
    return np.where(np.abs(right) >= np.abs(down), upright, np.where(down > 0, "down", "up"))


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """What the form is read from."""
    found = values(stack)
    told = f"Form: {found['canal_form'][0]}; bends to the side: {found['bend_side'][0]}."
    steps = (canal_step(stack), axis_step(stack), departure_step(stack))
    return (*steps, *((chord_step(stack),) if stack.leaves[0] else ()), Step(told, ()))


METHOD = CurvatureMethod(
    name="form",
    order=140,
    title="Form of the canal",
    definition=(
        "Straight: Schneider angle below "
        f"{_STRAIGHT_DEG:g} degrees. Multi-curved: two opposite bends of at least {LEAST_BEND_DEG:g} "
        f"degrees. "
        f"Apically curved: on the coronal axis for more than {APICAL_FROM:.0%} of the length. Continuously "
        "curved: else. The side is that of the image to which the canal end lies from the coronal axis: "
        "left, right, up, or down."
    ),
    source="Dobo-Nagy C et al. 1995, Int Endod J; 2002, Fogorv Sz (forms I, J, C, S)",
    standing=(
        "The four forms are verified (abstract, 433 roots); there they come from a fourth-degree polynomial, "
        "here from the rules stated, which are chosen here."
    ),
    quantities=(
        Quantity("canal_form", "Form", "word"),
        Quantity("bend_side", "Bends toward", "word", of_image=True),
    ),
    values=values,
    settings=lambda stack: f"{tolerance_words(stack)}, {smoothing_words(stack)}",
    construct=construct,
)
