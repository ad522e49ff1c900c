"""Curvature of a canal from its trace: the Schneider angle and its construction."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.curve import cumulative_length, resample

FloatArray = npt.NDArray[np.float64]

DEFAULT_TOLERANCE_MM = 0.10
DEFAULT_TOLERANCE_PX = 5.0
_SAMPLES = 110


@dataclass(frozen=True, eq=False)
class Departure:
    """Coronal axis of a canal and the point where the canal leaves it; all in the unit of the trace.

    Parameters
    ----------
    origin, direction : ndarray, shape (2,)
        A point on the axis and its unit direction, coronal to apical.
    point : ndarray, shape (2,)
        Departure point; the canal end when the canal never leaves the axis.
    s : float
        Arc length of the departure point from the orifice.
    leaves : bool
        False when the canal stays within the tolerance to its end.
    """

    origin: FloatArray
    direction: FloatArray
    point: FloatArray
    s: float
    leaves: bool


def angle_between_deg(u: FloatArray, v: FloatArray) -> float:
    """Angle between two directed vectors, 0 to 180 degrees; stable near 0 and 180."""
    cross = u[0] * v[1] - u[1] * v[0]
    return float(np.degrees(np.arctan2(abs(cross), u @ v)))


def find_departure(points: FloatArray, tolerance: float) -> Departure:
    """Coronal axis and departure point of a trace.

    The coronal run grows from the orifice for as long as its least-squares (principal) line stays within the
    tolerance of all of its points; that line, directed apically, is the coronal axis. The canal leaves it at
    the first point whose distance exceeds the tolerance and stays beyond it to the end.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Orifice to canal end, square units (mm, or px of a square-pixel image).
    tolerance : float
        Departure tolerance, same unit.

    Returns
    -------
    Departure

    Notes
    -----
    Least-squares form of the construction of Schneider 1971 (Oral Surg Oral Med Oral Pathol 32:271);
    the tolerance makes "begins to leave the axis" a stated quantity.
    """
    return _leave(resample(points, float(cumulative_length(points)[-1]) / (_SAMPLES - 1)), tolerance)


def _leave(pts: FloatArray, tolerance: float) -> Departure:
    """Departure of an evenly sampled trace."""
    origin, direction = _coronal_axis(pts, tolerance)
    rel = pts - origin
    distance = np.abs(direction[0] * rel[:, 1] - direction[1] * rel[:, 0])
    within = np.flatnonzero(distance <= tolerance)
    cum = cumulative_length(pts)
    last = int(within[-1]) if len(within) else 0
    if last >= len(pts) - 1:
        return Departure(origin, direction, pts[-1].copy(), float(cum[-1]), False)
    rise = distance[last + 1] - distance[last]
    part = float(np.clip((tolerance - distance[last]) / rise, 0.0, 1.0)) if rise > 0 else 0.0
    point = pts[last] + part * (pts[last + 1] - pts[last])
    return Departure(origin, direction, point, float(cum[last] + part * (cum[last + 1] - cum[last])), True)


def _coronal_axis(pts: FloatArray, tolerance: float) -> tuple[FloatArray, FloatArray]:
    """Principal line of the last beginning before the first it does not fit; all beginnings at once."""
    count = np.arange(1, len(pts) + 1)[:, None]
    mean = np.cumsum(pts, axis=0) / count
    square = np.cumsum(pts**2, axis=0) / count - mean**2
    mixed = np.cumsum(pts[:, 0] * pts[:, 1]) / count[:, 0] - mean[:, 0] * mean[:, 1]
    theta = 0.5 * np.arctan2(2 * mixed, square[:, 0] - square[:, 1])
    direction = np.stack([np.cos(theta), np.sin(theta)], axis=1)
    forward = np.einsum("ij,ij->i", direction, pts - pts[0]) >= 0
    direction[~forward] *= -1
    rel = pts[None, :, :] - mean[:, None, :]
    distance = np.abs(direction[:, None, 0] * rel[..., 1] - direction[:, None, 1] * rel[..., 0])
    within_run = np.tril(np.ones((len(pts), len(pts)), dtype=bool))
    worst = np.where(within_run, distance, 0.0).max(axis=1)
    too_far = np.flatnonzero(worst > tolerance)
    end = int(too_far[0]) - 1 if len(too_far) else len(pts) - 1
    end = max(end, 1)
    return mean[end], direction[end]


def schneider_deg(points: FloatArray, tolerance: float) -> tuple[float, Departure]:
    """Schneider angle of a trace, degrees, and the departure it rests on.

    Angle between the coronal axis and the line from the departure point to the canal end; 0 when the canal
    never leaves the axis by more than the tolerance.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Orifice to canal end, in mm (or px of a square-pixel image).
    tolerance : float
        Departure tolerance, same unit.
    """
    departure = find_departure(points, tolerance)
    return _angle(departure, points[-1]), departure


def _angle(departure: Departure, end: FloatArray) -> float:
    if not departure.leaves:
        return 0.0
    return angle_between_deg(departure.direction, end - departure.point)


# Bend that a stretch not shown by the image may hide: curvature, standard deviation, per mm (a radius of
# 20 mm), and the most it is allowed to reach aside. Common practice, no source.
_HIDDEN_BEND_PER_MM = 0.05
_HIDDEN_MOST_MM = 0.8
# Support over less than this between two such stretches does not part them: texture can look like a canal.
_PARTING_MM = 2.5


def hidden_bends(points: FloatArray, confident: npt.NDArray[np.bool_], mm: float) -> FloatArray:
    """Sideways standard deviation of an arc over each stretch that the image does not support.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
    confident : ndarray of bool, shape (N,)
    mm : float
        Millimetres per unit of `points`.

    Returns
    -------
    ndarray, shape (G, N)
        One row a stretch, unit of `points`; zero outside it.
    """
    s = cumulative_length(points) * mm
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (~confident).astype(int), [0]])))
    spans: list[list[int]] = []
    for first, stop in zip(edges[::2], edges[1::2] - 1, strict=True):
        if spans and s[first] - s[spans[-1][1]] < _PARTING_MM:
            spans[-1][1] = int(stop)
        else:
            spans.append([int(first), int(stop)])
    rows = []
    for first, stop in spans:
        rise = 0.5 * _HIDDEN_BEND_PER_MM * np.clip(s - s[first], 0, None) * np.clip(s[stop] - s, 0, None)
        rows.append(np.minimum(rise, _HIDDEN_MOST_MM) / mm)
    return np.array(rows).reshape(len(rows), len(points))


def perturbed_traces(
    points: FloatArray,
    sd: FloatArray,
    *,
    correlation: float,
    end_sd: tuple[float, float],
    bridges: FloatArray,
    count: int,
    seed: int = 20_240_229,
) -> list[FloatArray]:
    """Traces as they might have come out: the trace moved sideways and at its ends by its own uncertainty.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
    sd : ndarray, shape (N,)
        Sideways standard uncertainty, unit of `points`.
    correlation : float
        Length over which sideways errors go together, unit of `points`.
    end_sd : tuple of float
        Standard uncertainty along the line of the first and the last point.
    bridges : ndarray, shape (G, N)
        What each stretch that the image does not show may hide, from :func:`hidden_bends`.
    count : int
        Number of traces.
    seed : int
        Seed, fixed so that the same trace gives the same uncertainty.
    """
    from scipy.ndimage import gaussian_filter1d

    from radio.trace.curve import normals, point_at

    rng = np.random.default_rng(seed)
    cum = cumulative_length(points)
    even = np.linspace(0.0, cum[-1], 80)
    base = point_at(points, even)
    sd_even = np.interp(even, cum, sd)
    noise = rng.standard_normal((count, len(even)))
    samples = max(correlation / (even[1] - even[0]), 0.5)
    noise = gaussian_filter1d(noise, samples, axis=1, mode="reflect")
    noise /= noise.std(axis=1).mean() + 1e-12
    normal = normals(base)
    ends = rng.standard_normal((count, 2)) * np.asarray(end_sd)
    hidden = rng.standard_normal((count, len(bridges))) @ np.array(
        [np.interp(even, cum, bridge) for bridge in bridges]
    ).reshape(len(bridges), len(even))
    out = []
    for i in range(count):
        moved = base + (noise[i] * sd_even + hidden[i])[:, None] * normal
        total = float(cumulative_length(moved)[-1])
        out.append(point_at(moved, np.linspace(ends[i, 0], total + ends[i, 1], len(even))))
    return out


def _schneider_of_even(trace: FloatArray, tolerance: float) -> float:
    return _angle(_leave(trace, tolerance), trace[-1])


@dataclass(frozen=True)
class CurvatureMethod:
    """One published way of putting a number on the bend of a canal.

    Parameters
    ----------
    column : str
        Name in tables, with the unit as suffix.
    title : str
        Name for people.
    unit : str
    basis : str
        What the number rests on, in words.
    value : callable
        Number from an evenly sampled trace, shape (N, 2), orifice to canal end, and the departure tolerance,
        both in pixels of a square-pixel image.
    smallest_sd : float
        Standard uncertainty is never stated below this, in `unit`.
    """

    column: str
    title: str
    unit: str
    basis: str
    value: Callable[[FloatArray, float], float]
    smallest_sd: float

    def with_sd(
        self, points: FloatArray, draws: Sequence[FloatArray], tolerance: float
    ) -> tuple[float, float]:
        """Value of a trace and its spread over traces as they might have come out.

        Parameters
        ----------
        points : ndarray, shape (N, 2)
        draws : sequence of ndarray, shape (M, 2)
            From :func:`perturbed_traces`.
        tolerance : float
            Departure tolerance, unit of the traces.
        """
        even = resample(points, float(cumulative_length(points)[-1]) / (_SAMPLES - 1))
        value = self.value(even, tolerance)
        spread = np.array([self.value(trace, tolerance) for trace in draws]) - value
        return value, max(float(np.sqrt(np.mean(spread**2))), self.smallest_sd)


# Every method that is measured; a new one is added here and appears in tables, pictures and the panel.
METHODS: tuple[CurvatureMethod, ...] = (
    CurvatureMethod(
        "schneider_deg",
        "Schneider angle",
        "deg",
        "axis from the coronal run",
        _schneider_of_even,
        0.2,
    ),
)
