"""Exact lines and numbers a measurement is judged against, from the truth of a synthetic radiograph.

Geometry comes from the generator's own functions and from here, not from the tracer that is judged; only the
rules of the curvature methods are shared, because their numbers are defined by them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.image.synthetic import Truth
from radio.image.synthetic.curves import arc_length, at_length, foot, tangents
from radio.measure.curvature import schneider_deg, stack_of_traces
from radio.measure.settings import DEFAULT_SETTINGS
from radio.measure.stack import TraceStack

FloatArray = npt.NDArray[np.float64]

# A line may begin or end a little off the true ends, as the clicks do; that is judged as an end error.
END_ALLOWANCE_MM = 0.8
_STEP_MM = 0.02
# Over this length the exact file axis is led over into the exact canal axis beyond the tip.
_JOINT_MM = 0.5
# The exact radius is that of the circle through points this far apart along the axis: shorter than any bend.
_CIRCLE_STEP_MM = 0.5


@dataclass(frozen=True)
class Foot:
    """Where a point lies against a line: along it from a given end or place, and aside, in mm."""

    along_mm: float
    aside_mm: float


def mean_distance_mm(found_px: FloatArray, true_px: FloatArray, mm_per_px: float) -> float:
    """Mean distance of a found line, at even steps of 0.1 mm, from a true one continued at both ends.

    Parameters
    ----------
    found_px, true_px : ndarray, shape (N, 2)
    mm_per_px : float
    """
    found = found_px * mm_per_px
    points = at_length(found, np.arange(0.0, float(arc_length(found)[-1]), 0.1))
    total = float(arc_length(true_px)[-1]) * mm_per_px
    line = at_length(
        true_px * mm_per_px, np.arange(-END_ALLOWANCE_MM, total + END_ALLOWANCE_MM + _STEP_MM, _STEP_MM)
    )
    start, step = line[:-1], np.diff(line, axis=0)
    rel = points[:, None] - start
    along = np.clip((rel * step).sum(axis=2) / (step**2).sum(axis=1), 0.0, 1.0)
    away = rel - along[..., None] * step
    return float(np.sqrt((away**2).sum(axis=2).min(axis=1)).mean())


def against_end(point_px: FloatArray, end_px: FloatArray, line_px: FloatArray, mm_per_px: float) -> Foot:
    """Where a found landmark lies against the true one, along and aside of the true line.

    Parameters
    ----------
    point_px, end_px : ndarray, shape (2,)
        Found and true landmark.
    line_px : ndarray, shape (N, 2)
        True line; continued along its end tangents.
    mm_per_px : float
    """
    s = foot(line_px, point_px)
    along = s - foot(line_px, end_px)
    here = at_length(line_px, [s])[0]
    index = int(np.clip(np.searchsorted(arc_length(line_px), s), 0, len(line_px) - 1))
    tangent = tangents(line_px)[index]
    rel = point_px - here
    return Foot(along * mm_per_px, float(tangent[0] * rel[1] - tangent[1] * rel[0]) * mm_per_px)


def reference_length_mm(truth: Truth) -> float:
    """Length of the file below the foot of the coronal reference, in the file's own scale, plus the gap."""
    assert truth.file_axis_px is not None
    assert truth.file_mm_per_px is not None
    assert truth.file_length_mm is not None
    assert truth.gap_mm is not None
    above_px = foot(truth.file_axis_px, truth.reference_px)
    return truth.file_length_mm - above_px * truth.file_mm_per_px + truth.gap_mm


def estimate_mm(truth: Truth) -> float:
    """Length from the foot of the reference, on the canal axis going on straight, to the foot of the apex."""
    axis = truth.canal_axis_px
    return (foot(axis, truth.apex_px) - foot(axis, truth.reference_px)) * truth.mm_per_px


def true_schneider_deg(line_px: FloatArray, truth: Truth, *, calibrated: bool) -> float:
    """Schneider angle of an exact line with the tolerance the product states with its own.

    Parameters
    ----------
    line_px : ndarray, shape (N, 2)
    truth : Truth
    calibrated : bool
        Whether the measurement judged had millimetres: 0.10 mm, otherwise 5 px.
    """
    if calibrated:
        return schneider_deg(line_px * truth.mm_per_px, DEFAULT_SETTINGS.departure_tolerance_mm)[0]
    return schneider_deg(line_px, DEFAULT_SETTINGS.departure_tolerance_px)[0]


def axis_stack(truth: Truth, *, calibrated: bool) -> TraceStack:
    """The exact canal axis as the curvature methods take it.

    Parameters
    ----------
    truth : Truth
    calibrated : bool
        In millimetres, otherwise in pixels, each with the settings the product has unless told otherwise.
    """
    if calibrated:
        return stack_of_traces(truth.canal_axis_px * truth.mm_per_px)
    return stack_of_traces(truth.canal_axis_px, unit="px")


def smallest_radius_mm(line_mm: FloatArray) -> float:
    """Radius of a line where it bends most, without smoothing, the outer twentieths left out.

    Parameters
    ----------
    line_mm : ndarray, shape (N, 2)
        Dense and exact, in millimetres.
    """
    total = float(arc_length(line_mm)[-1])
    edge = max(0.05 * total, _CIRCLE_STEP_MM)
    s = np.arange(edge, total - edge, _STEP_MM)
    a, b, c = (at_length(line_mm, s + shift) for shift in (-_CIRCLE_STEP_MM, 0.0, _CIRCLE_STEP_MM))
    sides = [np.hypot(*(p - q).T) for p, q in ((a, b), (b, c), (c, a))]
    twice_area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    # circumradius: product of the sides over four times the area
    return float((sides[0] * sides[1] * sides[2] / np.maximum(2 * twice_area, 1e-12)).min())


def canal_along_file(truth: Truth) -> FloatArray:
    """What a faultless tracer would take for the canal of an image with a file, shape (N, 2), in pixels.

    The exact axis of the file from the foot of the orifice to the tip, led over within half a millimetre into
    the exact canal beyond it; where the file goes beyond the canal's end, the file to the foot of that end.
    """
    assert truth.file_axis_px is not None
    file, canal = truth.file_axis_px, truth.canal_axis_px
    step = _STEP_MM / truth.mm_per_px
    start, tip_in_file = foot(file, truth.orifice_px), float(arc_length(file)[-1])
    tip_in_canal, end = foot(canal, file[-1]), float(arc_length(canal)[-1])
    if tip_in_canal >= end - step:
        return at_length(file, np.arange(start, foot(file, truth.canal_end_px), step))
    coronal = at_length(file, np.arange(start, tip_in_file, step))
    beyond = np.linspace(tip_in_canal, end, max(int((end - tip_in_canal) / step), 2))
    tail = at_length(canal, beyond)
    fade = np.exp(-(beyond - tip_in_canal) * truth.mm_per_px / _JOINT_MM)[:, None]
    return np.vstack([coronal, tail + fade * (file[-1] - tail[0])])
