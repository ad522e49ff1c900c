"""Piecewise straight lines through seven points."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words
from radio.measure.methods.contract import CurvatureMethod, Quantity
from radio.measure.methods.shared_steps import canal_step
from radio.measure.stack import FloatArray, TraceStack, angles_deg

POINTS = 7


def knots(stack: TraceStack) -> FloatArray:
    """Evenly spaced points, shape (K, 7, 2)."""
    return stack.at(stack.length[:, None] * np.linspace(0.0, 1.0, POINTS)[None])


def bends_deg(stack: TraceStack) -> FloatArray:
    """Angles between successive pieces, shape (K, 5)."""
    pieces = np.diff(knots(stack), axis=1)
    return angles_deg(pieces[:, :-1], pieces[:, 1:])


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """The greatest of the angles, and their sum."""
    bends = bends_deg(stack)
    return {"pieces_greatest_deg": bends.max(axis=1), "pieces_sum_deg": bends.sum(axis=1)}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Points, pieces, angles."""
    points = knots(stack)[0]
    told = tuple(
        Words(p, f"{angle:.1f}°") for p, angle in zip(points[1:-1], bends_deg(stack)[0], strict=True)
    )
    return (
        canal_step(stack),
        Step(f"Mark {POINTS} evenly spaced points.", tuple(Spot(p, "") for p in points)),
        Step(f"Join them by {POINTS - 1} straight pieces.", (Stroke(points, "chord"),)),
        Step("Read the angle at every joint.", told),
    )


METHOD = CurvatureMethod(
    name="straight-pieces",
    order=110,
    title="Piecewise straight lines",
    definition=f"Angles between the {POINTS - 1} straight pieces that join {POINTS} points on the canal.",
    source="Prabhakar N et al. 2013, Int J Morphol 31:131",
    standing=(
        "Seven points and six pieces are verified (abstract); that they are evenly spaced is assumed here."
    ),
    quantities=(
        Quantity("pieces_greatest_deg", "Straight pieces, greatest angle", "deg", 0.3, noise_adds=True),
        Quantity("pieces_sum_deg", "Straight pieces, sum of angles", "deg", 0.3, noise_adds=True),
    ),
    values=values,
    settings=lambda _: f"{POINTS} evenly spaced points",
    construct=construct,
    uses_axis=False,
)
