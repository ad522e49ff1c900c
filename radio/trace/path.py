"""The cheapest path along a straightened band."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def cheapest_path(
    cost: npt.NDArray[np.float32], *, slope_weight: float, max_shift: int
) -> npt.NDArray[np.intp]:
    """Column of least total cost in every row, when neighbouring rows may differ by a few columns.

    Dynamic programming over rows; a step of d columns adds ``slope_weight * d**2``.

    Parameters
    ----------
    cost : ndarray, shape (N, M)
    slope_weight : float
        Cost of a sideways step of one column, squared law.
    max_shift : int
        Largest sideways step, columns.

    Returns
    -------
    ndarray of int, shape (N,)
    """
    rows, cols = cost.shape
    shifts = np.arange(-max_shift, max_shift + 1)
    penalty = (slope_weight * shifts.astype(np.float32) ** 2)[:, None]
    padded = np.full(cols + 2 * max_shift, np.float32(np.inf))
    # row d of the view is the previous total shifted by d - max_shift columns
    view = np.lib.stride_tricks.sliding_window_view(padded, cols)
    came_from = np.empty((rows, cols), dtype=np.int8)
    every = np.arange(cols)
    total = cost[0].astype(np.float32)
    for i in range(1, rows):
        padded[max_shift : max_shift + cols] = total
        options = view + penalty
        choice = options.argmin(axis=0)
        came_from[i] = choice
        total = options[choice, every] + cost[i]
    path = np.empty(rows, dtype=np.intp)
    path[-1] = int(total.argmin())
    for i in range(rows - 1, 0, -1):
        path[i - 1] = path[i] + int(came_from[i, path[i]]) - max_shift
    return path


def smooth_offsets(offsets: FloatArray, weights: FloatArray, *, span: float, order: int = 3) -> FloatArray:
    """Smooth evenly spaced values without flattening bends.

    Penalised least squares on differences of the given order (Whittaker 1923; Eilers 2003, Anal Chem
    75:3631): with order 3 any parabola passes unchanged, so an arc keeps its sagitta.

    Parameters
    ----------
    offsets, weights : ndarray, shape (N,)
        Values and their weights (0 = bridge this one).
    span : float
        Length, in samples, below which detail is smoothed away.
    order : int
        Order of the differences.
    """
    if len(offsets) <= order + 1:
        return offsets.copy()
    # a difference penalty of weight lam halves a wave of angular frequency lam ** (-1 / (2 order))
    typical = float(np.median(weights[weights > 0])) if (weights > 0).any() else 1.0
    lam = typical * (span / (2 * np.pi)) ** (2 * order)
    return penalised(offsets[:, None], weights, lam, order)[:, 0]


def curve_near(points: FloatArray, sds: FloatArray, *, step: float, curvature_sd: float) -> FloatArray:
    """Smooth curve that passes near scattered ordered points, as near as their scatter asks.

    Penalised least squares with the points weighted by their scatter and bending by what is usual, so that
    two close clicks, each a little off, do not make a kink.

    Parameters
    ----------
    points : ndarray, shape (K, 2)
        Ordered, distinct.
    sds : ndarray, shape (K,)
        Standard deviation of each point, unit of `points`.
    step : float
        Sample spacing of the result, unit of `points`.
    curvature_sd : float
        Usual curvature, per unit of length, averaged over one unit of length.

    Returns
    -------
    ndarray, shape (N, 2)
        From the foot of the first point to the foot of the last.
    """
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    count = max(int(np.ceil(at[-1] / step)) + 1, 5)
    index = np.round(at / at[-1] * (count - 1)).astype(int)
    spacing = at[-1] / (count - 1)
    weights = np.zeros(count)
    sums = np.zeros((count, 2))
    np.add.at(weights, index, 1.0 / sds**2)
    np.add.at(sums, index, points / sds[:, None] ** 2)
    values = sums / np.maximum(weights, 1e-300)[:, None]
    lam = 1.0 / (curvature_sd**2 * spacing**3)
    return penalised(values, weights, lam, 2)


def penalised(values: FloatArray, weights: FloatArray, lam: float, order: int) -> FloatArray:
    """Minimiser of weighted squares plus `lam` times squared differences.

    Parameters
    ----------
    values : ndarray, shape (N, D)
    weights : ndarray, shape (N,)
    lam : float
        Weight of the squared differences.
    order : int
        Order of the differences.
    """
    from scipy.linalg import solveh_banded

    return np.asarray(solveh_banded(_normal_bands(weights, lam, order), weights[:, None] * values))


def penalised_sd(weights: FloatArray, lam: float, order: int) -> FloatArray:
    """Standard deviation of each value of :func:`penalised` when weights are inverse variances."""
    from scipy.linalg import solveh_banded

    inverse = solveh_banded(_normal_bands(weights, lam, order), np.eye(len(weights)))
    return np.asarray(np.sqrt(np.maximum(np.diag(inverse), 0.0)))


def _normal_bands(weights: FloatArray, lam: float, order: int) -> FloatArray:
    """Upper bands of the normal equations, as scipy wants them."""
    n = len(weights)
    coefficients = np.array([1.0])
    for _ in range(order):
        coefficients = np.convolve(coefficients, [1.0, -1.0])
    banded = np.zeros((order + 1, n))
    for lag in range(order + 1):
        products = coefficients[: order + 1 - lag] * coefficients[lag:]
        for k, product in enumerate(products):
            banded[order - lag, k + lag : n - order + k + lag] += lam * product
    floor = 1e-9 * float(weights.max()) if weights.max() > 0 else 1e-9
    banded[order] += np.maximum(weights, floor)
    return banded
