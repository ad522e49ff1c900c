"""Cheapest paths and smoothing against brute force, scikit-image and plain linear algebra."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from skimage.graph import MCP, route_through_array

from radio.trace.path import cheapest_path, curve_near, penalised, penalised_sd, smooth_offsets

SMALL = arrays(
    np.float32, st.tuples(st.integers(1, 6), st.integers(1, 5)), elements=st.integers(-20, 20).map(float)
)


def total(cost, path, slope_weight: float) -> float:
    steps = np.diff(path).astype(float)
    return float(cost[np.arange(len(path)), path].astype(float).sum() + slope_weight * (steps**2).sum())


@given(SMALL, st.sampled_from([0.0, 0.5, 3.0]), st.integers(1, 3))
def test_no_path_is_cheaper(cost, slope_weight: float, max_shift: int) -> None:
    rows, cols = cost.shape
    path = cheapest_path(cost, slope_weight=slope_weight, max_shift=max_shift)
    assert np.abs(np.diff(path)).max(initial=0) <= max_shift
    every = (
        total(cost, other, slope_weight)
        for other in product(range(cols), repeat=rows)
        if np.abs(np.diff(other)).max(initial=0) <= max_shift
    )
    assert total(cost, path, slope_weight) == pytest.approx(min(every), abs=1e-4)


@pytest.mark.parametrize("max_shift", [1, 2, 4])
def test_scikit_image_finds_the_same_cost(max_shift: int) -> None:
    cost = np.random.default_rng(max_shift).integers(1, 50, (60, 40)).astype(np.float32)
    moves = [(1, d) for d in range(-max_shift, max_shift + 1)]
    reference = MCP(cost, offsets=moves, fully_connected=False)
    sums, _ = reference.find_costs(starts=[(0, c) for c in range(cost.shape[1])])
    path = cheapest_path(cost, slope_weight=0.0, max_shift=max_shift)
    along = cost[np.arange(len(cost)), path]
    # the reference may or may not count its starting place: compare against its own best route
    route = reference.traceback((len(cost) - 1, int(np.argmin(sums[-1]))))
    theirs = cost[tuple(np.array(route).T)]
    assert along.sum() <= theirs.sum()
    assert along[1:].sum() >= np.min(sums[-1]) - cost[0].max()


def test_a_clear_valley_is_the_route_of_scikit_image() -> None:
    _, cols = np.mgrid[:80, :50].astype(float)
    valley = np.round(25 + 12 * np.sin(np.arange(80) / 16)).astype(int)
    cost = (1.0 + np.abs(cols - valley[:, None])) ** 2
    route, _ = route_through_array(cost, (0, valley[0]), (79, valley[-1]), geometric=False)
    route = np.array(route)
    theirs = np.array([np.median(route[route[:, 0] == row, 1]) for row in range(80)])
    ours = cheapest_path(cost.astype(np.float32), slope_weight=0.0, max_shift=1)
    assert np.array_equal(ours, valley)
    assert np.array_equal(ours, theirs)


def test_slope_weight_keeps_a_path_straight() -> None:
    cost = np.ones((40, 21), np.float32)
    cost[:20, 4] = cost[20:, 16] = 0.0
    free = cheapest_path(cost, slope_weight=0.0, max_shift=12)
    held = cheapest_path(cost, slope_weight=100.0, max_shift=12)
    assert set(free) == {4, 16}
    assert np.ptp(held) == 0


@given(
    st.integers(8, 150), st.floats(1, 60), st.floats(-2, 2), st.floats(-2, 2), st.floats(-0.05, 0.05),
    st.integers(0, 2**31),
)  # fmt: skip
def test_parabolas_pass_the_smoother_unchanged(n, span, level, slope, bend, seed) -> None:
    x = np.arange(n, dtype=float)
    parabola = level + slope * x + bend * x**2
    weights = np.random.default_rng(seed).uniform(0.1, 3.0, n)
    smooth = smooth_offsets(parabola, weights, span=span)
    # the conditioning of the sums grows with the sixth power of the span
    assert smooth == pytest.approx(parabola, abs=1e-5 * max(1.0, np.abs(parabola).max()))


@pytest.mark.parametrize("radius_mm", [3.0, 5.0, 12.0])
def test_an_arc_keeps_its_sagitta(radius_mm: float) -> None:
    # offsets every 0.1 mm from a chord of 5 mm; smoothed with the span the tracer uses, 2 mm
    x = np.arange(-2.5, 2.501, 0.1)
    arc = np.sqrt(radius_mm**2 - x**2) - np.sqrt(radius_mm**2 - 2.5**2)
    noisy = arc + np.random.default_rng(4).normal(0, 0.01, len(x))
    sagitta = radius_mm - np.sqrt(radius_mm**2 - 2.5**2)
    assert smooth_offsets(arc, np.ones_like(arc), span=20).max() == pytest.approx(sagitta, rel=0.01)
    assert smooth_offsets(noisy, np.ones_like(arc), span=20)[25] == pytest.approx(sagitta, abs=0.012)


@pytest.mark.parametrize(("period", "kept"), [(10, (0.0, 0.03)), (20, (0.45, 0.55)), (60, (0.99, 1.01))])
def test_the_span_is_the_wave_that_is_halved(period: float, kept: tuple[float, float]) -> None:
    # gain of the penalty: 1 / (1 + lam (2 sin(w/2))^6), 1/2 at the wave of the span
    x = np.arange(601)
    wave = np.cos(2 * np.pi * (x - 300) / period)
    smooth = smooth_offsets(wave, np.ones(601), span=20)
    assert kept[0] <= smooth[300] <= kept[1]


def test_values_without_weight_are_bridged() -> None:
    x = np.arange(40.0)
    parabola = 0.02 * (x - 20) ** 2
    wrong = parabola.copy()
    wrong[15:25] += 50.0
    weights = np.where((x >= 15) & (x < 25), 0.0, 1.0)
    assert smooth_offsets(wrong, weights, span=8) == pytest.approx(parabola, abs=1e-3)


@given(
    st.integers(5, 40), st.integers(1, 3), st.floats(1e-3, 1e3), st.integers(0, 2**31)
)  # fmt: skip
def test_penalised_is_the_dense_solution(n: int, order: int, lam: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    values, weights = rng.normal(size=(n, 2)), rng.uniform(0.2, 4.0, n)
    difference = np.diff(np.eye(n), order, axis=0)
    normal = np.diag(weights) + lam * difference.T @ difference
    exact = np.linalg.solve(normal, weights[:, None] * values)
    assert penalised(values, weights, lam, order) == pytest.approx(exact, abs=1e-7)
    assert penalised_sd(weights, lam, order) == pytest.approx(
        np.sqrt(np.diag(np.linalg.inv(normal))), rel=1e-6
    )


def test_the_spread_of_a_smoothed_line_is_what_repeated_noise_shows() -> None:
    # Bayes: with a penalty that is the prior of the truth, the stated spread is the error's; straight truth
    # has no such spread, so the error must be below it, and near it where data alone decide (order 1, lam 0)
    rng = np.random.default_rng(2)
    weights = np.full(30, 4.0)
    noise = rng.normal(0, 0.5, (30, 4000))
    assert penalised(noise, weights, 1e-12, 1).std(axis=1) == pytest.approx(np.full(30, 0.5), rel=0.05)
    assert penalised_sd(weights, 1e-12, 1) == pytest.approx(np.full(30, 0.5), rel=1e-6)
    assert (penalised(noise, weights, 100.0, 2).std(axis=1) < penalised_sd(weights, 100.0, 2)).all()


@given(st.floats(0, 360), st.floats(-100, 100), st.floats(-100, 100))
def test_a_guide_turns_with_its_clicks(turn_deg: float, row: float, col: float) -> None:
    clicks = np.array([[0.0, 0.0], [80.0, 6.0], [150.0, -4.0], [240.0, 60.0]])
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    sds = np.full(4, 8.0)
    plain = curve_near(clicks, sds, step=3.0, curvature_sd=0.01)
    turned = curve_near(clicks @ turn.T + [row, col], sds, step=3.0, curvature_sd=0.01)
    assert turned == pytest.approx(plain @ turn.T + [row, col], abs=1e-4)


def test_close_clicks_a_little_off_make_no_kink() -> None:
    clicks = np.array([[0.0, 0.0], [200.0, 5.0], [206.0, -5.0], [400.0, 0.0]])
    curve = curve_near(clicks, np.full(4, 8.0), step=3.0, curvature_sd=2.0 * 0.03**1.5)
    heading = np.degrees(np.unwrap(np.arctan2(*np.diff(curve, axis=0).T[::-1])))
    assert np.ptp(heading) < 12  # the two clicks themselves stand at 59 degrees to the line
    assert np.abs(curve[:, 1]).max() < 4


def test_sure_clicks_are_met_and_unsure_ones_are_not() -> None:
    clicks = np.array([[0.0, 0.0], [100.0, 20.0], [200.0, 0.0]])
    near = curve_near(clicks, np.array([0.1, 0.1, 0.1]), step=2.0, curvature_sd=0.02)
    far = curve_near(clicks, np.array([0.1, 30.0, 0.1]), step=2.0, curvature_sd=0.0005)
    assert np.abs(near[:, 1]).max() == pytest.approx(20, abs=0.3)
    assert np.abs(far[:, 1]).max() < 5
