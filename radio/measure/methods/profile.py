"""Curvature as a function along the canal."""

from __future__ import annotations

import numpy as np

from radio.measure.drawn import Spot, Step, Stroke, Words, circle
from radio.measure.methods.contract import CurvatureMethod, Quantity, smoothing_words
from radio.measure.methods.shared_steps import canal_step
from radio.measure.stack import FloatArray, TraceStack

# Ends left out: a spline is free there. Share of the canal.
_EDGE = 0.05
# The canal counts as curved where its radius is below this (the mildest of the published groups of Schafer
# et al. 2002 is "below 40 mm", abstract).
CURVED_RADIUS_MM = 40.0
_NORMAL95 = 1.96
# A greater radius than this many lengths of the canal is no radius: the canal is straight there.
_MOST_LENGTHS = 1000.0


def inner(stack: TraceStack) -> slice:
    """Samples that are not at an end."""
    n = stack.points.shape[1]
    edge = max(1, round(_EDGE * n))
    return slice(edge, n - edge)


def _radius(curvature: FloatArray, length: FloatArray) -> FloatArray:
    """One over the curvature, shape (K,); NaN where the canal is straight."""
    least = 1.0 / (_MOST_LENGTHS * length)
    return np.where(curvature > least, 1.0 / np.maximum(curvature, least), np.nan)


def values(stack: TraceStack) -> dict[str, FloatArray]:
    """Greatest and mean curvature, radius, where, total turning, and length of the curved part."""
    part = inner(stack)
    bend = np.abs(stack.curvature[:, part])
    index = bend.argmax(axis=1)
    k = np.arange(len(bend))
    greatest = bend[k, index]
    where = stack.length - stack.s[:, part][k, index]
    turning = _along(stack.s, _to_ends(stack, bend))
    return {
        "smallest_radius_mm": _radius(greatest, stack.length),
        "greatest_curvature_per_mm": greatest,
        "greatest_curvature_from_end_mm": where,
        "mean_curvature_per_mm": turning / stack.length,
        "smooth_turning_deg": np.degrees(turning),
        "curved_length_mm": _curved_length(stack, stack.s, bend),
    }


def bounds(stack: TraceStack) -> dict[str, tuple[float, float]]:
    """Ends of the 95 % interval of the curved length.

    Where the canal bends about as much as the threshold, each waver of a trace decides over a stretch of it,
    and a draw, wavering once more, tells nothing of what the trace wavers. So the curvature itself has its
    interval at every place, from the draws: surely curved is where its lower end is beyond the threshold,
    possibly curved where its upper end is.
    """
    signed = stack.curvature[:, inner(stack)]
    bend = np.abs(signed[:1])
    half = _NORMAL95 * np.sqrt(((signed[1:] - signed[:1]) ** 2).mean(axis=0))
    curved, least, most = (
        float(_curved_length(stack, stack.s[:1], one)[0]) for one in (bend, bend - half, bend + half)
    )
    # the ends of the canal are not sure either
    ends = _NORMAL95 * np.sqrt(np.mean((stack.length[1:] / stack.length[0] - 1.0) ** 2))
    below, above = np.hypot(curved - least, ends * curved), np.hypot(most - curved, ends * most)
    return {"curved_length_mm": (curved - float(below), curved + float(above))}


def _curved_length(stack: TraceStack, s: FloatArray, bend: FloatArray) -> FloatArray:
    """Length where the curvature of the inner samples, shape (K, M), is beyond the threshold."""
    return _along(s, _to_ends(stack, (bend > 1.0 / CURVED_RADIUS_MM).astype(float)))


def _to_ends(stack: TraceStack, samples: FloatArray) -> FloatArray:
    """Inner samples, shape (K, M), carried on to the ends: these count as the sample next to them."""
    part = inner(stack)
    return np.pad(samples, ((0, 0), (part.start, stack.points.shape[1] - part.stop)), mode="edge")


def _along(s: FloatArray, samples: FloatArray) -> FloatArray:
    """Integral of samples, shape (K, N), over arc length."""
    return np.asarray((0.5 * (samples[:, 1:] + samples[:, :-1]) * np.diff(s, axis=1)).sum(axis=1))


def construct(stack: TraceStack) -> tuple[Step, ...]:
    """The smoothed canal and its circle of curvature where it bends most."""
    part = inner(stack)
    signed = stack.curvature[0, part]
    index = int(np.abs(signed).argmax())
    smooth = stack.smooth[0]
    at = smooth[part][index]
    along = np.gradient(smooth, axis=0)[part][index]
    along /= np.hypot(*along)
    normal = np.array([-along[1], along[0]]) * np.sign(signed[index])
    radius = 1.0 / max(abs(float(signed[index])), 1e-12)
    steps = (
        canal_step(stack),
        Step("Smooth the trace with a spline.", (Stroke(smooth, "chord"),)),
        Step("Mark where it bends most.", (Spot(at, "greatest curvature"),)),
    )
    if radius > 3 * float(stack.length[0]):
        return steps
    centre = at + radius * normal
    shapes = (
        circle(centre, radius),
        Stroke(np.stack([centre, at]), "height"),
        Words(0.5 * (centre + at), f"r {radius:.1f} {stack.unit}"),
    )
    return (*steps, Step("Draw the circle of the same curvature there.", shapes))


METHOD = CurvatureMethod(
    name="profile",
    order=120,
    title="Curvature along the canal",
    definition=(
        "Curvature (one over the radius) at every place of a smoothing spline through the trace: the "
        "greatest, "
        "where it is, the mean, the total turning, and the length where the radius is below "
        f"{CURVED_RADIUS_MM:g} mm."
    ),
    source="Sonntag D, Stachniss-Carp S, Stachniss V 2006, Aust Endod J 32:16",
    standing=(
        "Fitted curve, greatest and mean curvature and distance to the foramen are verified "
        "(abstract and open "
        "text); the formula of curvature is textbook calculus; the smoothing is a parameter, "
        "printed: it flattens short bends, and where a bend begins sharply the spline overshoots by some "
        "5 %. At either end the spline is free: the next samples stand for them."
    ),
    quantities=(
        Quantity("smallest_radius_mm", "Smallest radius", "mm", 0.1, reciprocal=True, noise_adds=True),
        Quantity("greatest_curvature_per_mm", "Greatest curvature", "1/mm", 0.002, noise_adds=True),
        Quantity("greatest_curvature_from_end_mm", "Greatest curvature, from canal end", "mm", 0.1),
        Quantity("mean_curvature_per_mm", "Mean curvature", "1/mm", 0.001, noise_adds=True),
        Quantity("smooth_turning_deg", "Total turning, smoothed", "deg", 0.3, noise_adds=True),
        Quantity("curved_length_mm", "Length of the curved part", "mm", 0.1),
    ),
    values=values,
    settings=smoothing_words,
    construct=construct,
    uses_axis=False,
    bounds=bounds,
    absent="the canal is straight everywhere",
    needs_mm=True,
)
