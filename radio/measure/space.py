"""Measures of a line of any dimension, shape (N, D), by the rules of the planar methods.

A planar trace gives the planar value.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from radio.measure.methods.four_point import APICAL_MM, CORONAL_MM
from radio.measure.methods.point_turning import STEP_MM as POINT_STEP_MM
from radio.measure.methods.straight_pieces import POINTS
from radio.measure.settings import DEFAULT_SETTINGS
from radio.measure.stack import SAMPLES
from radio.trace.path import penalised

FloatArray = npt.NDArray[np.float64]


def length_mm(points_mm: FloatArray) -> float:
    """Length of a polyline, shape (N, D)."""
    return float(_cumulative(points_mm)[-1])


def _cumulative(points: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


def evenly(points: FloatArray, count: int, rows: FloatArray | None = None) -> FloatArray:
    """Points, or rows that go with them, at `count` equal steps along the polyline."""
    at = _cumulative(points)
    even = np.linspace(0.0, at[-1], count)
    return np.stack([np.interp(even, at, column) for column in (points if rows is None else rows).T], axis=1)


def angle_deg(u: FloatArray, v: FloatArray) -> float:
    """Angle between two directed vectors, shape (D,), 0 to 180 degrees; stable near 0 and 180."""
    a, b = u / np.linalg.norm(u), v / np.linalg.norm(v)
    return float(2 * np.degrees(np.arctan2(np.linalg.norm(a - b), np.linalg.norm(a + b))))


@dataclass(frozen=True, eq=False)
class AxisAndDeparture:
    """Coronal axis of a canal and the point where the canal leaves it.

    Parameters
    ----------
    origin, direction : ndarray, shape (D,)
        A point on the axis and its unit direction, coronal to apical.
    point : ndarray, shape (D,)
        Departure point; the canal end when the canal never leaves the axis.
    leaves : bool
        False when the canal stays within the tolerance to its end.
    """

    origin: FloatArray
    direction: FloatArray
    point: FloatArray
    leaves: bool


def axis_and_departure(points_mm: FloatArray, tolerance_mm: float) -> AxisAndDeparture:
    """Coronal axis and departure point of a canal, shape (N, D), by the rule used in one view.

    The coronal run grows from the orifice while its principal line stays within the tolerance of all of its
    points; that line is the axis. The canal leaves it where its distance goes beyond the tolerance for good.
    """
    points = evenly(points_mm, SAMPLES)
    rel = points - points[0]
    count = np.arange(1, SAMPLES + 1)[:, None]
    mean = np.cumsum(rel, axis=0) / count
    squares = np.cumsum(rel[:, :, None] * rel[:, None, :], axis=0) / count[..., None]
    direction = np.linalg.eigh(squares - mean[:, :, None] * mean[:, None, :])[1][:, :, -1]
    direction *= np.where((direction * rel).sum(axis=1) < 0, -1.0, 1.0)[:, None]
    aside = rel[None] - mean[:, None]
    aside -= (aside * direction[:, None]).sum(axis=2)[..., None] * direction[:, None]
    distance = np.linalg.norm(aside, axis=2)
    fits = (distance * np.tri(SAMPLES)).max(axis=1) <= tolerance_mm
    run = max((SAMPLES if fits.all() else int(fits.argmin())) - 1, 1)
    away = distance[run]
    within = np.flatnonzero(away <= tolerance_mm)
    last = int(within[-1]) if len(within) else 0
    origin, unit = points[0] + mean[run], direction[run]
    if last == SAMPLES - 1:
        return AxisAndDeparture(origin, unit, points[-1], False)
    part = float(np.clip((tolerance_mm - away[last]) / (away[last + 1] - away[last] or 1.0), 0.0, 1.0))
    return AxisAndDeparture(origin, unit, points[last] + part * (points[last + 1] - points[last]), True)


def schneider_deg(points_mm: FloatArray, tolerance_mm: float) -> float:
    """Angle between the coronal axis and the line from departure point to canal end; 0 if it never leaves.

    After Schneider 1971 (Oral Surg Oral Med Oral Pathol 32:271), in the plane the two lines span.
    """
    found = axis_and_departure(points_mm, tolerance_mm)
    return angle_deg(found.direction, points_mm[-1] - found.point) if found.leaves else 0.0


def weine_deg(
    points_mm: FloatArray, tolerance_mm: float, portion_mm: float = DEFAULT_SETTINGS.apical_portion_mm
) -> float:
    """Angle between the coronal axis and the line of the apical portion, after Weine 1982 (from memory)."""
    axis = axis_and_departure(points_mm, tolerance_mm).direction
    return angle_deg(axis, end_direction(points_mm, portion_mm))


def end_direction(
    points_mm: FloatArray, portion_mm: float = DEFAULT_SETTINGS.apical_portion_mm
) -> FloatArray:
    """Unit direction of the least-squares line of a canal's apical portion, shape (D,).

    Parameters
    ----------
    points_mm : ndarray, shape (N, D)
    portion_mm : float
        Length of the portion; never more than a third of the canal.
    """
    points = evenly(points_mm, SAMPLES)
    size = length_mm(points)
    share = min(portion_mm, size / 3) / size
    return _principal(_at(points, np.linspace(1.0 - share, 1.0, 25)))


def _principal(part: FloatArray) -> FloatArray:
    """Unit direction of the least-squares line of points in order, shape (D,)."""
    line = np.linalg.svd(part - part.mean(axis=0), full_matrices=False)[2][0]
    return np.asarray(line if line @ (part[-1] - part[0]) >= 0 else -line)


def _at(points_mm: FloatArray, shares: FloatArray) -> FloatArray:
    """Points at shares of the length, shape (M, D)."""
    points = evenly(points_mm, SAMPLES)
    place = np.linspace(0.0, 1.0, SAMPLES)
    return np.stack([np.interp(shares, place, column) for column in points.T], axis=1)


def long_axis_deg(points_mm: FloatArray, portion: float = DEFAULT_SETTINGS.long_axis_portion) -> float:
    """Angle between the long axes of the coronal and the apical portion, as in one view."""
    coronal, apical = (
        _principal(_at(points_mm, np.linspace(*ends, 40))) for ends in ((0.0, portion), (1.0 - portion, 1.0))
    )
    return angle_deg(coronal, apical)


def access_angle_deg(points_mm: FloatArray, tolerance_mm: float) -> float:
    """Angle at the orifice between departure point and canal end; 0 if the canal never leaves its axis."""
    found = axis_and_departure(points_mm, tolerance_mm)
    if not found.leaves:
        return 0.0
    return angle_deg(found.point - points_mm[0], points_mm[-1] - points_mm[0])


def four_point_deg(points_mm: FloatArray) -> float:
    """Angle between the first 2 mm and the last 1 mm, each as a chord."""
    size = length_mm(points_mm)
    a, b, c, d = _at(points_mm, np.array([0.0, CORONAL_MM / size, 1.0 - APICAL_MM / size, 1.0]))
    return angle_deg(b - a, d - c)


def pieces_deg(points_mm: FloatArray) -> FloatArray:
    """Angles between successive straight pieces through seven points, shape (5,)."""
    pieces = np.diff(_at(points_mm, np.linspace(0.0, 1.0, POINTS)), axis=0)
    return np.array([angle_deg(u, v) for u, v in pairwise(pieces)])


def total_turning_deg(points_mm: FloatArray) -> float:
    """Sum of the angles between successive pieces through points every millimetre along the canal.

    Notes
    -----
    Gialain et al. 2021 (abstract, SBPqO), who state it in the plane and in space; that the angles are summed
    is inferred from their values. Every waver of the traces adds to it, in space more than in the plane.
    """
    pieces = np.diff(evenly(points_mm, max(round(length_mm(points_mm) / POINT_STEP_MM), 2) + 1), axis=0)
    return sum(angle_deg(u, v) for u, v in pairwise(pieces))


def curvature_per_mm(
    points_mm: FloatArray, smoothing_mm: float = DEFAULT_SETTINGS.smoothing_mm
) -> tuple[FloatArray, FloatArray]:
    """Curvature along the smoothed canal.

    Returns
    -------
    s_mm, curvature_per_mm : ndarray, shape (M,)
        Arc length from the orifice; curvature, 0 or more.
    """
    points = evenly(points_mm, SAMPLES)
    at = np.linspace(0.0, length_mm(points_mm), SAMPLES)
    stiffness = (smoothing_mm / at[1] / (2 * np.pi)) ** 6
    smooth = penalised(points, np.ones(SAMPLES), stiffness, 3)
    first = np.gradient(smooth, axis=0, edge_order=2)
    second = np.pad(np.diff(smooth, 2, axis=0), ((1, 1), (0, 0)), mode="edge")
    speed2 = (first**2).sum(axis=1)[:, None]
    aside = second - (second * first).sum(axis=1)[:, None] / speed2 * first
    return at, np.linalg.norm(aside, axis=1) / speed2[:, 0]


def greatest_per_mm(points_mm: FloatArray, smoothing_mm: float = DEFAULT_SETTINGS.smoothing_mm) -> float:
    """Greatest curvature along the smoothed canal; its reciprocal is the smallest radius, in mm."""
    return float(curvature_per_mm(points_mm, smoothing_mm)[1].max())
