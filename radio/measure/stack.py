"""Many traces of one canal at once, and what the curvature methods share about them.

The first trace of a stack is the one that was measured; the others are how it might have come out. Methods
work on all of them in one go, which is what makes an uncertainty for each of them affordable.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings, Unit
from radio.trace.path import penalised

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SAMPLES = 110


@dataclass(frozen=True, eq=False)
class Placed:
    """Parts of a construction that a person placed, unit of the trace; None where the rule decides.

    Parameters
    ----------
    axis : ndarray, shape (2, 2), optional
        Two different points of the coronal axis; it is directed as the coronal canal is.
    departure : ndarray, shape (2,), optional
        Departure point.
    errors : ndarray, shape (K, 3, 2), optional
        How far each trace's upper and lower point of the axis and its departure point may lie from those
        placed; zero for the first trace, none at all where it is left out.
    tooth_axis : ndarray, shape (2, 2), optional
        Two different points of the long axis of the tooth, which two views are matched along; no method of
        one view uses it.
    """

    axis: FloatArray | None = None
    departure: FloatArray | None = None
    errors: FloatArray | None = None
    tooth_axis: FloatArray | None = None

    def errors_of(self, count: int) -> FloatArray:
        """Errors of the first `count` traces, shape (count, 3, 2)."""
        return np.zeros((count, 3, 2)) if self.errors is None else self.errors[:count]


@dataclass(frozen=True, eq=False)
class TraceStack:
    """K traces of one canal, each of N evenly spaced points from orifice to canal end.

    Parameters
    ----------
    points : ndarray, shape (K, N, 2)
        (row, col) in `unit`; rows and columns have the same unit, so that angles are true.
    unit : {"mm", "px"}
        Millimetres on a calibrated image, pixels otherwise.
    settings : CurvatureSettings
        Parameters of the methods.
    placed : Placed
        What a person placed.
    """

    points: FloatArray
    unit: Unit = "mm"
    settings: CurvatureSettings = DEFAULT_SETTINGS
    placed: Placed = field(default_factory=Placed)

    def __post_init__(self) -> None:
        if self.points.ndim != 3 or self.points.shape[1] < 8 or self.points.shape[2] != 2:
            raise ValueError(f"points has the shape {self.points.shape}; it must be (K, N, 2), N at least 8")
        if not np.isfinite(self.points).all():
            raise ValueError("points holds a number that is not finite; leave such points out of the trace")

    @cached_property
    def s(self) -> FloatArray:
        """Arc length from the orifice, shape (K, N)."""
        steps = np.hypot(*np.moveaxis(np.diff(self.points, axis=1), 2, 0))
        return np.concatenate([np.zeros((len(steps), 1)), np.cumsum(steps, axis=1)], axis=1)

    @cached_property
    def length(self) -> FloatArray:
        """Length of each trace, shape (K,)."""
        return np.asarray(self.s[:, -1])

    @property
    def orifice(self) -> FloatArray:
        """First points, shape (K, 2)."""
        return np.asarray(self.points[:, 0])

    @property
    def end(self) -> FloatArray:
        """Canal ends, shape (K, 2)."""
        return np.asarray(self.points[:, -1])

    def at(self, s: FloatArray) -> FloatArray:
        """Points at arc lengths, shape (K,) to (K, 2) or (K, M) to (K, M, 2); traces end where they end."""
        wanted = np.atleast_2d(s.T).T
        share = np.clip(wanted / self.length[:, None], 0.0, 1.0) * (self.points.shape[1] - 1)
        low = np.minimum(share.astype(int), self.points.shape[1] - 2)
        part = (share - low)[..., None]
        k = np.arange(len(self.points))[:, None]
        found = (1 - part) * self.points[k, low] + part * self.points[k, low + 1]
        return np.asarray(found[:, 0] if s.ndim == 1 else found)

    @property
    def possible(self) -> int:
        """Number of traces as they might have come out."""
        return len(self.points) - 1

    @property
    def tolerance(self) -> float:
        """Departure tolerance, in `unit`."""
        return self.settings.tolerance(self.unit)

    # -- coronal axis and departure -----------------------------------------------------------------------

    @cached_property
    def axis(self) -> tuple[FloatArray, FloatArray]:
        """Point on the coronal axis and its unit direction, apical, shapes (K, 2)."""
        if self.placed.axis is not None:
            ends = self.placed.axis + self.placed.errors_of(len(self.points))[:, :2]
            direction = ends[:, 1] - ends[:, 0]
            direction /= np.hypot(*direction.T)[:, None]
            # clicked from apical to coronal it would read an angle of 180 degrees less the true one
            coronal = self.points[0, self.points.shape[1] // 3] - self.points[0, 0]
            direction[direction @ coronal < 0] *= -1
            return ends[:, 0], direction
        return coronal_axis(self.points, self.tolerance)

    @cached_property
    def departure_s(self) -> FloatArray:
        """Arc length at which each canal leaves its axis for good, shape (K,); its length where it stays."""
        if self.placed.departure is not None:
            distance = np.hypot(*np.moveaxis(self.points - self.departure[:, None], 2, 0))
            return np.asarray(self.s[np.arange(len(self.s)), distance.argmin(axis=1)])
        return leaving(self.points, self.s, *self.axis, self.tolerance)

    @cached_property
    def leaves(self) -> BoolArray:
        """Whether each canal leaves its axis, shape (K,)."""
        return np.asarray(self.departure_s < self.length * (1 - 1e-9))

    @cached_property
    def departure(self) -> FloatArray:
        """Departure points, shape (K, 2)."""
        if self.placed.departure is not None:
            return np.asarray(self.placed.departure + self.placed.errors_of(len(self.points))[:, 2])
        return self.at(self.departure_s)

    @property
    def chord(self) -> FloatArray:
        """From the departure point to the canal end, shape (K, 2)."""
        return self.end - self.departure

    # -- apical direction ---------------------------------------------------------------------------------

    @property
    def apical_portion(self) -> float:
        """Length of the apical portion whose direction is taken, in `unit`."""
        return self.settings.apical_portion(self.unit, float(self.length[0]))

    @cached_property
    def apical(self) -> FloatArray:
        """Unit direction of the least-squares line of each apical portion, shape (K, 2)."""
        part = self.at(self.length[:, None] - self.apical_portion * np.linspace(1.0, 0.0, 25)[None])
        return principal_lines(part, np.ones(part.shape[:2]))[1]

    # -- smooth curvature ---------------------------------------------------------------------------------

    @property
    def smooth_span(self) -> float:
        """Length of a wave that smoothing halves, in `unit`."""
        return self.settings.smoothing(self.unit, float(self.length[0]))

    @cached_property
    def smooth(self) -> FloatArray:
        """Smoothing spline (on the samples) of each trace, shape (K, N, 2)."""
        count, n, _ = self.points.shape
        step = float(self.length[0]) / (n - 1)
        lam = (self.smooth_span / step / (2 * np.pi)) ** 6
        flat = np.moveaxis(self.points, 0, 1).reshape(n, 2 * count)
        smooth = penalised(flat, np.ones(n), lam, 3)
        return np.moveaxis(smooth.reshape(n, count, 2), 1, 0)

    @cached_property
    def curvature(self) -> FloatArray:
        """Signed curvature along each smoothed trace, shape (K, N); positive from +row toward +col."""
        first = np.gradient(self.smooth, axis=1, edge_order=2)
        second = np.diff(self.smooth, 2, axis=1)
        second = np.concatenate([second[:, :1], second, second[:, -1:]], axis=1)
        cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
        return np.asarray(cross / np.maximum((first**2).sum(axis=2), 1e-18) ** 1.5)


def cross2(u: FloatArray, v: FloatArray) -> FloatArray:
    """Cross product of plane vectors, shape (..., 2) to (...)."""
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])


def angles_deg(u: FloatArray, v: FloatArray) -> FloatArray:
    """Angles between directed vectors, shape (..., 2) to (...), 0 to 180 degrees; stable near 0 and 180."""
    return np.asarray(np.degrees(np.arctan2(np.abs(cross2(u, v)), (u * v).sum(axis=-1))))


def signed_deg(u: FloatArray, v: FloatArray) -> FloatArray:
    """Signed angles from `u` to `v`, degrees, positive from +row toward +col."""
    return np.asarray(np.degrees(np.arctan2(cross2(u, v), (u * v).sum(axis=-1))))


def principal_lines(points: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least-squares (principal) line of each weighted trace: a point and the apical unit direction, (K, 2).

    Parameters
    ----------
    points : ndarray, shape (K, N, 2)
    weights : ndarray, shape (K, N)
    """
    total = weights.sum(axis=1)[:, None]
    mean = (weights[..., None] * points).sum(axis=1) / total
    rel = points - mean[:, None]
    moment = np.einsum("kn,kni,knj->kij", weights, rel, rel)
    theta = 0.5 * np.arctan2(2 * moment[:, 0, 1], moment[:, 0, 0] - moment[:, 1, 1])
    direction = np.stack([np.cos(theta), np.sin(theta)], axis=1)
    along = np.einsum("kn,kni,ki->k", weights * np.linspace(-1, 1, points.shape[1]), rel, direction)
    return mean, np.where(along[:, None] < 0, -direction, direction)


# Beginnings of a trace that are tried for its axis at once.
_AT_ONCE = 22


def coronal_axis(points: FloatArray, tolerance: float) -> tuple[FloatArray, FloatArray]:
    """Principal line of the last beginning of each trace before the first that it does not fit.

    A beginning fits when its least-squares line stays within the tolerance of all of its points.

    Parameters
    ----------
    points : ndarray, shape (K, N, 2)
        Evenly spaced.
    tolerance : float

    Returns
    -------
    origin, direction : ndarray, shape (K, 2)
        A point on the axis, and its unit direction, coronal to apical.
    """
    traces, n, _ = points.shape
    count = np.arange(1, n + 1)[:, None]
    mean = np.cumsum(points, axis=1) / count
    square = np.cumsum(points**2, axis=1) / count - mean**2
    mixed = np.cumsum(points[..., 0] * points[..., 1], axis=1) / count[:, 0] - mean[..., 0] * mean[..., 1]
    theta = 0.5 * np.arctan2(2 * mixed, square[..., 0] - square[..., 1])
    direction = np.stack([np.cos(theta), np.sin(theta)], axis=2)
    forward = np.einsum("kni,kni->kn", direction, points - points[:, :1]) >= 0
    direction[~forward] *= -1
    offset = cross2(direction, mean)
    fits = np.ones((traces, n), dtype=bool)
    # a stretch of beginnings at a time: most canals leave their axis long before the end
    for first in range(0, n, _AT_ONCE):
        rows, until = slice(first, first + _AT_ONCE), min(first + _AT_ONCE, n)
        # distance of point j from the line of the first i points, for j up to i
        distance = np.abs(
            direction[:, rows, None, 0] * points[:, None, :until, 1]
            - direction[:, rows, None, 1] * points[:, None, :until, 0]
            - offset[:, rows, None]
        )
        distance *= np.tri(until - first, until, first, dtype=bool)
        fits[:, rows] = distance.max(axis=2) <= tolerance
        if not fits[:, :until].all(axis=1).any():
            break
    end = np.where(fits.all(axis=1), n, fits.argmin(axis=1)) - 1
    end = np.maximum(end, 1)
    k = np.arange(traces)
    return mean[k, end], direction[k, end]


def leaving(
    points: FloatArray,
    s: FloatArray,
    origin: FloatArray,
    direction: FloatArray,
    tolerance: float,
    until: npt.NDArray[np.intp] | None = None,
) -> FloatArray:
    """Arc length from which each trace stays more than the tolerance away from a line, shape (K,).

    With `until`, shape (K,), only as far as that sample: what the canal does beyond it does not matter.
    """
    n = points.shape[1]
    distance = np.abs(cross2(direction[:, None], points - origin[:, None]))
    within = distance <= tolerance
    if until is not None:
        within &= np.arange(n)[None] < until[:, None]
    last = np.where(within.any(axis=1), n - 1 - within[:, ::-1].argmax(axis=1), 0)
    following = np.minimum(last + 1, n - 1)
    k = np.arange(len(points))
    rise = distance[k, following] - distance[k, last]
    rises = rise > 1e-12 * max(tolerance, 1e-12)
    part = np.clip((tolerance - distance[k, last]) / np.where(rises, rise, 1.0), 0.0, 1.0)
    part = np.where(rises, part, 0.0)
    return np.asarray(s[k, last] + part * (s[k, following] - s[k, last]))
