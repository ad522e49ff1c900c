"""Traces as they might have come out: what the uncertainty of every curvature method is taken from."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.measure.canal import FORAMEN_ASIDE_SD_MM
from radio.measure.stack import SAMPLES
from radio.trace.along import CLICK_SD_MM
from radio.trace.curve import cumulative_length, normals, point_at

FloatArray = npt.NDArray[np.float64]

# Fixed, so that the same trace gives the same uncertainty.
SEED = 20_240_229
# Bend that a stretch not shown by the image may hide: curvature, standard deviation, per mm (a radius of
# 20 mm), and the most it is allowed to reach aside. Common practice, no source.
_HIDDEN_BEND_PER_MM = 0.05
_HIDDEN_MOST_MM = 0.8
# Support over less than this between two such stretches does not part them: texture can look like a canal.
_PARTING_MM = 2.5
# Apical stretch in which a canal turns aside to its foramen. Common practice, no source.
_TURN_TO_FORAMEN_MM = 1.5
# How many times longer errors that change slowly go together: a lean is found from what lies within twice as
# far along the canal (2 mm, `lean.py`) as a centre line.
_SLOWER = 2.0


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


def turn_to_foramen(points: FloatArray, mm: float) -> FloatArray:
    """Sideways standard deviation of a turn to the foramen that the image does not show.

    The last of a canal is too thin to be seen in most images, and foramina lie aside of the canal's axis; the
    trace knows theirs only from a click. Without this the direction at the canal end would seem much better
    known than it is.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
    mm : float
        Millimetres per unit of `points`.

    Returns
    -------
    ndarray, shape (1, N)
        Unit of `points`: a bend of even curvature over the last stretch, free at its end.
    """
    s = cumulative_length(points) * mm
    share = np.clip((s - s[-1]) / _TURN_TO_FORAMEN_MM + 1.0, 0.0, None)
    # what foramina do, where a click tells of this one
    most_mm = 1.0 / np.hypot(1.0 / FORAMEN_ASIDE_SD_MM, 1.0 / CLICK_SD_MM)
    return np.asarray((most_mm / mm * share**2)[None])


def _together(rng: np.random.Generator, count: int, samples: float) -> FloatArray:
    """Errors of standard deviation 1 that go together over some samples, shape (count, SAMPLES)."""
    apart = np.arange(SAMPLES)[:, None] - np.arange(SAMPLES)[None]
    weights = np.exp(-0.5 * (apart / max(samples, 0.5)) ** 2)
    weights /= np.sqrt((weights**2).sum(axis=0))
    return np.asarray(rng.standard_normal((count, SAMPLES)) @ weights)


def perturbed_traces(
    points: FloatArray,
    sd: FloatArray,
    *,
    correlation: float,
    end_sd: tuple[float, float],
    bridges: FloatArray,
    count: int,
    slow_sd: FloatArray | None = None,
    seed: int = SEED,
) -> FloatArray:
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
        What each stretch that the image does not show may hide, from :func:`hidden_bends` and
        :func:`turn_to_foramen`.
    count : int
        Number of traces.
    slow_sd : ndarray, shape (N,), optional
        The share of `sd` whose errors go together over twice the correlation.
    seed : int
        Seed of the random numbers.

    Returns
    -------
    ndarray, shape (count, SAMPLES, 2)
        About evenly spaced.
    """
    rng = np.random.default_rng(seed)
    cum = cumulative_length(points)
    at = np.linspace(0.0, cum[-1], SAMPLES)
    base = point_at(points, at)
    slow = np.zeros(len(points)) if slow_sd is None else slow_sd
    quick = np.sqrt(np.maximum(sd**2 - slow**2, 0.0))
    samples = correlation / (at[1] - at[0])
    noise = np.interp(at, cum, quick) * _together(rng, count, samples)
    noise += np.interp(at, cum, slow) * _together(rng, count, _SLOWER * samples)
    ends = rng.standard_normal((count, 2)) * np.asarray(end_sd)
    hidden = rng.standard_normal((count, len(bridges))) @ np.array(
        [np.interp(at, cum, bridge) for bridge in bridges]
    ).reshape(len(bridges), SAMPLES)
    aside = noise + hidden
    # the ends move along the line as it lies, straight on beyond it
    share = np.linspace(0.0, 1.0, SAMPLES)
    total = float(cumulative_length(base)[-1])
    wanted = ends[:, :1] + share * (total + ends[:, 1:] - ends[:, :1])
    along = point_at(base, wanted.ravel()).reshape(count, SAMPLES, 2)
    moved_aside = np.stack(
        [np.interp(w, at, a) for w, a in zip(wanted * (cum[-1] / total), aside, strict=True)]
    )
    normal = normals(base)
    across = np.stack([np.interp(wanted * (cum[-1] / total), at, normal[:, axis]) for axis in (0, 1)], axis=2)
    return np.asarray(along + moved_aside[..., None] * across)
