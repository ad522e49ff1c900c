"""Angle and radius of the circle that touches both straight parts."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words, circle
from radio.measure.methods.contract import CurvatureMethod, Quantity, portion_words, tolerance_words
from radio.measure.methods.shared_steps import apical_step, axis_step, canal_step, meeting_steps
from radio.measure.methods.vertex import LEAST_TURN_DEG, vertex_of
from radio.measure.stack import FloatArray, TraceStack, angles_deg, cross2, leaving

_RADII = 24
# The fit looks at every so many samples of the trace.
_EVERY = 3


@lru_cache(maxsize=1)
def touching_circle(stack: TraceStack) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Radius (K,), centre (K, 2), and asymmetry (K,) of the circle tangent to both lines that fits best.

    A circle in the corner of two lines is known by its radius alone; the one taken makes line, arc, and line
    lie nearest, in least squares, to the whole canal, whatever the tolerance. The asymmetry is how much
    further from the vertex one of the points where the canal leaves the lines lies than the other, as a
    ratio: 1 where an exact circle exists.
    """
    angle = np.radians(angles_deg(stack.axis[1], stack.apical))
    # along the apical canal, not through its end: an end that bends on would turn the corner into a kink
    vertex = vertex_of(stack, stack.apical_line[0])
    inward = stack.apical - stack.axis[1]
    inward /= np.maximum(np.hypot(*inward.T), 1e-12)[:, None]
    rel = stack.points[:, ::-_EVERY] - vertex[:, None]
    low, high = np.log(np.maximum(0.02 * stack.length, 1e-9)), np.log(np.maximum(20.0 * stack.length, 1e-9))
    best = 0.5 * (low + high)
    for _ in range(4):
        tried = np.exp(low[:, None] + (high - low)[:, None] * np.linspace(0, 1, _RADII))
        cost = _misfit(rel, (stack.axis[1], stack.apical, inward), tried, angle)
        index = np.where(np.isfinite(cost), cost, np.inf).argmin(axis=1)
        best = np.log(tried[np.arange(len(tried)), index])
        step = (high - low) / (_RADII - 1)
        low, high = best - step, best + step
    radius = np.exp(best)
    none = ~np.isfinite(vertex).all(axis=1) | (angle < np.radians(LEAST_TURN_DEG))
    radius = np.where(none, np.nan, radius)
    centre = vertex + (radius / np.cos(0.5 * angle))[:, None] * inward
    first = np.hypot(*(stack.departure - vertex).T)
    second = np.hypot(*(stack.at(leaving_apically(stack)) - vertex).T)
    asymmetry = np.maximum(first, second) / np.maximum(np.minimum(first, second), 1e-9)
    return radius, centre, np.where(none, np.nan, asymmetry)


def _misfit(
    rel: FloatArray, ways: tuple[FloatArray, FloatArray, FloatArray], tried: FloatArray, angle: FloatArray
) -> FloatArray:
    """Sum of squared distances of each canal from line, arc, and line, shape (K, R).

    Parameters
    ----------
    rel : ndarray, shape (K, N, 2)
        Canals, from the vertex.
    ways : tuple of ndarray, shape (K, 2)
        Unit directions of the coronal and the apical line, and from the vertex to the centre.
    tried : ndarray, shape (K, R)
        Radii.
    angle : ndarray, shape (K,)
        Between the lines, radians.
    """
    coronal, apical, inward = (way[:, None] for way in ways)
    tangent = (tried * np.tan(0.5 * angle)[:, None])[..., None]
    centres = (tried / np.cos(0.5 * angle)[:, None])[..., None] * inward
    away = rel[:, None] - centres[:, :, None]
    from_arc = np.abs(np.hypot(away[..., 0], away[..., 1]) - tried[..., None])
    before = (rel * coronal).sum(axis=2)[:, None] <= -tangent
    beyond = (rel * apical).sum(axis=2)[:, None] >= tangent
    from_coronal = np.where(before, np.abs(cross2(coronal, rel))[:, None], np.inf)
    from_apical = np.where(beyond, np.abs(cross2(apical, rel))[:, None], np.inf)
    from_lines = np.minimum(from_coronal, from_apical)
    return np.asarray((np.where(before | beyond, from_lines, from_arc) ** 2).sum(axis=2))


def leaving_apically(stack: TraceStack) -> FloatArray:
    """Arc length from the orifice at which each canal reaches its apical line for good, shape (K,)."""
    backward = np.ascontiguousarray(stack.points[:, ::-1])
    s = stack.length[:, None] - stack.s[:, ::-1]
    from_end = leaving(backward, s, stack.apical_line[0], -stack.apical, stack.tolerance)
    return np.asarray(np.maximum(stack.length - from_end, stack.departure_s))


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Arc angle, radius and asymmetry."""
    radius, _, asymmetry = touching_circle(stack)
    return {
        "tangent_circle_deg": angles_deg(stack.axis[1], stack.apical),
        "tangent_circle_radius_mm": radius,
        "tangent_circle_asymmetry": asymmetry,
    }


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """Both lines, the points where the canal leaves them, the circle, angle and radius."""
    radius, centre, _ = touching_circle(stack)
    place = stack.apical_line[0][0]
    vertex = vertex_of(stack, stack.apical_line[0])[0]
    steps = (canal_step(stack), axis_step(stack, vertex), apical_step(stack, vertex, place))
    if not np.isfinite(radius[0]):
        return steps
    second = stack.at(leaving_apically(stack))[0]
    lines = (stack.axis[0][0], stack.axis[1][0]), (place, stack.apical[0])
    touches = [p + ((centre[0] - p) @ u) * u for p, u in lines]
    leave = Step(
        "Mark where the canal leaves the coronal and reaches the apical line.",
        (Spot(stack.departure[0], "leaves"), Spot(second, "reaches")),
    )
    drawn = circle(centre[0], float(radius[0]))
    unit = stack.unit
    fitted = Step(
        "Fit the circle that touches both lines to the canal.",
        (
            drawn,
            Words(centre[0], f"r {radius[0]:.1f} {unit}"),
            Stroke(np.stack([touches[0], centre[0], touches[1]]), "height"),
        ),
    )
    value = float(values(stack)["tangent_circle_deg"][0])
    return (*steps, leave, fitted, *meeting_steps(stack, vertex, lines[0][1], lines[1], value))


METHOD = CurvatureMethod(
    name="tangent-circle",
    order=40,
    title="Tangent circle",
    definition=(
        "The circle that touches the lines along the coronal and the apical straight part: the angle its arc "
        "spans between them, and its radius. Of all such circles, the one with which line, arc, and line lie "
        "nearest to the canal in least squares."
    ),
    source="Pruett JP, Clement DJ, Carnes DL 1997, J Endod 23:77",
    standing=(
        "That angle and radius are both given is verified (scanned page); the steps of the construction are "
        "from memory; the least-squares radius is derived here. An exact circle exists only when the canal "
        "leaves both lines equally far from where they meet: the asymmetry says how far it is from that."
    ),
    quantities=(
        Quantity("tangent_circle_deg", "Tangent circle, angle", "deg", 0.2),
        Quantity("tangent_circle_radius_mm", "Tangent circle, radius", "mm", 0.05, reciprocal=True),
        Quantity("tangent_circle_asymmetry", "Tangent circle, asymmetry", "ratio", 0.01),
    ),
    values=values,
    settings=lambda stack: f"{tolerance_words(stack)}, {portion_words(stack)}",
    construct=construct,
    absent=f"the two lines are within {LEAST_TURN_DEG:g} degrees of parallel",
)
