"""Radius through the ends of two straight segments."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words, circle
from radio.measure.methods.contract import CurvatureMethod, Quantity, portion_words, tolerance_words
from radio.measure.methods.shared_steps import (
    apical_of,
    apical_step,
    axis_of,
    axis_step,
    canal_step,
    corner_of,
)
from radio.measure.methods.vertex import vertex_of
from radio.measure.stack import FloatArray, TraceStack
from radio.trace.circle import circumcircles

SEGMENT_MM = 6.0


def corners(stack: TraceStack) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Coronal end, meeting point and apical end of the two segments, shapes (K, 2)."""
    vertex = vertex_of(stack)
    return vertex - SEGMENT_MM * stack.axis[1], vertex, vertex + SEGMENT_MM * stack.apical


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Radius of the circle through the three points."""
    return {"two_segment_radius_mm": circumcircles(*corners(stack))[1]}


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Both lines, both segments, perpendicular bisectors, circle."""
    first, vertex, second = (p[0] for p in corners(stack))
    corner = corner_of(stack, axis_of(stack), apical_of(stack))
    steps = (canal_step(stack), axis_step(stack, corner), apical_step(stack, corner))
    centre, radius = circumcircles(*corners(stack))
    if not np.isfinite(radius[0]):
        return steps
    if corner.carried:
        told = f"The two lines meet too far away to be drawn; the radius comes to {radius[0]:.1f} mm."
        return (*steps, Step(told, ()))
    bisectors = tuple(Stroke(np.stack([0.5 * (p + vertex), centre[0]]), "height") for p in (first, second))
    return (
        *steps,
        Step(
            f"Lay off {SEGMENT_MM:g} mm along either line from where they meet.",
            (Stroke(np.stack([first, vertex, second]), "chord"), Spot(vertex, "vertex")),
        ),
        Step("Draw the perpendicular bisectors; they meet in the centre.", bisectors),
        Step(
            "Draw the circle through the three points.",
            (
                circle(centre[0], float(radius[0])),
                Words(0.5 * (centre[0] + bisectors[0].points[0]), f"r {radius[0]:.1f} mm"),
            ),
        ),
    )


METHOD = CurvatureMethod(
    name="two-segments",
    order=60,
    title="Radius of two segments",
    definition=(
        f"Radius of the circle through the ends of two straight segments of {SEGMENT_MM:g} mm, one along the "
        "coronal and one along the apical canal, and through the point where they meet: 6 mm / (2 sin(t/2)) "
        "for an angle t between them."
    ),
    source="Estrela C et al. 2008, Braz Dent J 19:114",
    standing=(
        "Radius by the circumcentre of three points is verified (abstract); the 6 mm are from "
        "memory. It is a "
        "function of the angle alone, whatever the true radius."
    ),
    quantities=(Quantity("two_segment_radius_mm", "Radius of two segments", "mm", 0.05, reciprocal=True),),
    values=values,
    settings=lambda stack: f"segments of {SEGMENT_MM:g} mm, {tolerance_words(stack)}, {portion_words(stack)}",
    construct=construct,
    absent="the two lines are too near to parallel to meet",
    needs_mm=True,
)
