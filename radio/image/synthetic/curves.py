"""Lines in space: canal axes of drawn curvature, arc length, resampling."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

STEP_MM = 0.02


def arc_length(points: FloatArray) -> FloatArray:
    """Cumulative chord length along points, shape (N, D); result shape (N,), starting at 0."""
    steps = np.sqrt((np.diff(points, axis=0) ** 2).sum(axis=1))
    return np.concatenate([[0.0], np.cumsum(steps)])


def at_length(points: FloatArray, lengths: npt.ArrayLike) -> FloatArray:
    """Points at given arc lengths along a dense line; beyond either end along the end tangent.

    Parameters
    ----------
    points : ndarray, shape (N, D)
        Dense line.
    lengths : array_like, shape (M,)
        Arc lengths from the first point, same unit as the points.

    Returns
    -------
    ndarray, shape (M, D)
    """
    along = arc_length(points)
    wanted = np.atleast_1d(np.asarray(lengths, dtype=np.float64))
    inside = np.clip(wanted, 0.0, along[-1])
    result = np.column_stack([np.interp(inside, along, column) for column in points.T])
    ends = tangents(points)
    over = np.maximum(wanted - along[-1], 0.0)
    under = np.minimum(wanted, 0.0)
    return np.asarray(result + over[:, None] * ends[-1] + under[:, None] * ends[0])


def resample(points: FloatArray, step: float = STEP_MM) -> FloatArray:
    """Resample a line at equal steps of about `step` (end points kept)."""
    total = arc_length(points)[-1]
    count = max(int(np.ceil(total / step)), 1) + 1
    return at_length(points, np.linspace(0.0, total, count))


def tangents(points: FloatArray) -> FloatArray:
    """Return unit tangents of a line, shape (N, D)."""
    slope = np.gradient(points, axis=0)
    return np.asarray(slope / np.linalg.norm(slope, axis=1, keepdims=True))


def foot(points: FloatArray, target: FloatArray) -> float:
    """Arc length of the point of a dense line nearest to `target`; beyond either end along the end tangent.

    Parameters
    ----------
    points : ndarray, shape (N, D)
        Dense line.
    target : ndarray, shape (D,)
        A point near it.
    """
    steps = np.diff(points, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    along = ((target - points[:-1]) * steps).sum(axis=1) / lengths
    low = np.zeros(len(steps))
    high = lengths.copy()
    low[0], high[-1] = -np.inf, np.inf
    held = np.clip(along, low, high)
    away = points[:-1] + steps * (held / lengths)[:, None] - target
    nearest = int(np.argmin((away**2).sum(axis=1)))
    return float(lengths[:nearest].sum() + held[nearest])


def _bump(position: FloatArray, start: float, end: float) -> FloatArray:
    """Unit-area curvature pulse between two arc lengths, with soft shoulders."""
    inside = np.clip((position - start) / (end - start), 0.0, 1.0)
    shape = np.sin(np.pi * inside) ** 0.7
    area = np.trapezoid(shape, position)
    return np.asarray(shape / area if area > 0 else np.zeros_like(shape))


def bent_axis(
    length_mm: float,
    form: str,
    turn_deg: float,
    second_turn_deg: float,
    curve_length_mm: float,
    plane_deg: float,
    lean_deg: float,
) -> FloatArray:
    """Axis of a root: straight at first, then bending in one plane.

    Parameters
    ----------
    length_mm : float
        Arc length.
    form : {"straight", "apical", "continuous", "s"}
        Where the bending lies: nowhere to speak of, in the last `curve_length_mm`, along most of the length,
        or in two opposite bends.
    turn_deg, second_turn_deg : float
        Total turning of the (first) bend and of the opposite second one.
    curve_length_mm : float
        Arc length over which an apical curve bends.
    plane_deg : float
        Angle of the plane of curvature to the x-z plane.
    lean_deg : float
        Direction of the first tangent from the z axis, in the x-z plane.

    Returns
    -------
    ndarray, shape (N, 3)
        Points (x, y, z) in mm at steps of `STEP_MM`, from the origin.
    """
    position = np.linspace(0.0, length_mm, int(np.ceil(length_mm / STEP_MM)) + 1)
    if form == "s":
        middle = length_mm - curve_length_mm
        bend = turn_deg * _bump(position, 0.12 * length_mm, middle + 0.3)
        bend = bend - second_turn_deg * _bump(position, middle - 0.3, length_mm)
    elif form == "apical":
        bend = turn_deg * _bump(position, length_mm - curve_length_mm, length_mm + 0.15 * curve_length_mm)
    else:
        bend = turn_deg * _bump(position, 0.15 * length_mm, 1.1 * length_mm)
    step = position[1] - position[0]
    heading = np.deg2rad(np.concatenate([[0.0], np.cumsum((bend[1:] + bend[:-1]) / 2 * step)]))
    middle_heading = (heading[1:] + heading[:-1]) / 2
    side = np.concatenate([[0.0], np.cumsum(np.sin(middle_heading) * step)])
    down = np.concatenate([[0.0], np.cumsum(np.cos(middle_heading) * step)])
    plane, lean = np.deg2rad(plane_deg), np.deg2rad(lean_deg)
    x, y = side * np.cos(plane), side * np.sin(plane)
    return np.column_stack(
        [x * np.cos(lean) + down * np.sin(lean), y, down * np.cos(lean) - x * np.sin(lean)]
    )
