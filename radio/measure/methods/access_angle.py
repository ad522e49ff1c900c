"""Canal access angle, with height and distance of the curvature."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words
from radio.measure.methods.contract import CurvatureMethod, Quantity, tolerance_words
from radio.measure.methods.shared_steps import (
    angle_step,
    arc_radius,
    axis_step,
    canal_step,
    departure_step,
)
from radio.measure.stack import FloatArray, TraceStack, angles_deg, cross2


def _deepest(stack: TraceStack) -> tuple[FloatArray, FloatArray]:
    """Index of the point furthest from the line orifice to canal end, and the distances, (K,) and (K, N)."""
    base = stack.end - stack.orifice
    away = np.abs(cross2(base[:, None], stack.points - stack.orifice[:, None]))
    away /= np.maximum(np.hypot(*base.T), 1e-12)[:, None]
    return away.argmax(axis=1), away


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Access angle, and height and distance from the departure point and from the deepest point."""
    base = stack.end - stack.orifice
    length = np.maximum(np.hypot(*base.T), 1e-12)  # a canal back at its orifice has no base
    to_departure = stack.departure - stack.orifice
    index, away = _deepest(stack)
    k = np.arange(len(index))
    deepest = stack.points[k, index] - stack.orifice
    bent = stack.leaves
    return {
        "access_angle_deg": np.where(bent, angles_deg(to_departure, base), 0.0),
        "curve_height_mm": np.where(bent, np.abs(cross2(to_departure, base)) / length, np.nan),
        "curve_distance_mm": np.where(bent, (to_departure * base).sum(axis=1) / length, np.nan),
        "curve_height_deepest_mm": np.where(bent, away[k, index], np.nan),
        "curve_distance_deepest_mm": np.where(bent, (deepest * base).sum(axis=1) / length, np.nan),
    }


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Departure, base line, access angle, both heights."""
    steps = (canal_step(stack), axis_step(stack), departure_step(stack))
    if not stack.leaves[0]:
        return steps
    orifice, end, leaves = stack.orifice[0], stack.end[0], stack.departure[0]
    base = end - orifice
    found = values(stack)
    index = int(_deepest(stack)[0][0])
    deepest = stack.points[0, index]

    def foot(point: FloatArray) -> FloatArray:
        return np.asarray(orifice + ((point - orifice) @ base) / max(base @ base, 1e-24) * base)

    heights = []
    for point, name, column in (
        (leaves, "departure", "curve_height_mm"),
        (deepest, "deepest point", "curve_height_deepest_mm"),
    ):
        drawn = Stroke(np.stack([point, foot(point)]), "height")
        text = f"{name.split()[0]} {found[column][0]:.2f} {stack.unit}"
        step = f"Drop the perpendicular from the {name}: the height."
        heights.append(Step(step, (drawn, Spot(point, ""), Words(foot(point), text))))
    value, chord = float(found["access_angle_deg"][0]), leaves - orifice
    return (
        *steps,
        Step("Join orifice and canal end.", (Stroke(np.stack([orifice, end]), "second_axis"),)),
        Step("Join orifice and departure point.", (Stroke(np.stack([orifice, leaves]), "chord"),)),
        angle_step(orifice, arc_radius(stack, chord, base), chord, base, value),
        *heights,
    )


METHOD = CurvatureMethod(
    name="access-angle",
    order=70,
    title="Canal access angle",
    definition=(
        "Angle at the orifice between the line to the departure point and the line to the canal end; height "
        "and distance of the curvature are those of the departure point over the second line, measured from "
        "the orifice. Read from the deepest point of the canal instead, both are given beside them."
    ),
    source="Gunday M, Sazak H, Garip Y 2005, J Endod 31:796",
    standing=(
        "Names and use verified (abstract); that the perpendicular is dropped from the departure "
        "point is from "
        "memory, hence both readings."
    ),
    quantities=(
        Quantity("access_angle_deg", "Canal access angle", "deg", 0.1),
        Quantity("curve_height_mm", "Curvature height, from departure", "mm", 0.02),
        Quantity("curve_distance_mm", "Curvature distance, to departure", "mm", 0.05),
        Quantity("curve_height_deepest_mm", "Curvature height, deepest point", "mm", 0.02),
        Quantity("curve_distance_deepest_mm", "Curvature distance, deepest point", "mm", 0.05),
    ),
    values=values,
    settings=tolerance_words,
    construct=construct,
    absent="the canal does not leave its coronal axis by more than the tolerance",
)
