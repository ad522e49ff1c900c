"""Intervals from draws, against printed tables, an independent library and their own promise."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from radio.measure.curvature import measure_methods, stack_of_traces
from radio.measure.methods import method_named, profile
from radio.measure.spread import bounded, spread
from tests.fixtures.bent import chain, kinked, straight_and_arc

NORMAL = {"by_scale": 0.0, "least": 1e-9, "noise_adds": False}


@pytest.mark.parametrize("count", [8, 24, 38, 39, 48, 200])
@pytest.mark.parametrize("law", ["normal", "exponential"])
def test_a_further_draw_lies_in_the_interval_with_95_percent(count: int, law: str) -> None:
    if law == "exponential" and count < 39:
        pytest.skip("so few draws are taken to be normal")
    rng = np.random.default_rng(1)
    inside = []
    for _ in range(4000):
        *drawn, further = getattr(rng, f"standard_{law}")(count + 1)
        _, low, high = spread(float(np.median(drawn)), np.array(drawn), **NORMAL)
        inside.append(low <= further <= high)
    # two sigma of a binomial of 4000 are 0.7 %; straight lines between order statistics add up to a percent
    assert 0.94 < np.mean(inside) < 0.97


def test_few_draws_are_judged_by_students_t() -> None:
    drawn = np.random.default_rng(2).normal(10.0, 3.0, 12)
    _, low, high = spread(10.0, drawn, **NORMAL)
    # 2.201: Student's t of 11 degrees of freedom, any printed table
    half = 2.201 * drawn.std(ddof=1) * np.sqrt(1 + 1 / 12)
    assert (low, high) == pytest.approx((drawn.mean() - half, drawn.mean() + half), rel=1e-3)
    # the same by scipy's own distribution of a further value
    law = stats.t(11, drawn.mean(), drawn.std(ddof=1) * np.sqrt(1 + 1 / 12))
    assert (low, high) == pytest.approx(law.interval(0.95), rel=1e-9)


def test_a_skewed_spread_has_a_skewed_interval() -> None:
    drawn = 5.0 + stats.lognorm(0.8).rvs(4000, random_state=3) - 1.0  # the median is 5
    sd, low, high = spread(5.0, drawn, **NORMAL)
    assert (low, high) == pytest.approx(4.0 + np.array(stats.lognorm(0.8).interval(0.95)), rel=0.05)
    assert sd == pytest.approx(np.sqrt(np.mean((drawn - 5.0) ** 2)))
    assert high - 5.0 > 3 * (5.0 - low)


def test_scale_least_and_no_draws() -> None:
    drawn = np.random.default_rng(4).normal(0.0, 1.0, 100_000)
    sd, low, high = spread(0.0, drawn, by_scale=2.0, least=0.1, noise_adds=False)
    assert (sd, low, high) == pytest.approx((5**0.5, -1.96 * 5**0.5, 1.96 * 5**0.5), rel=0.02)
    assert spread(7.0, np.full(48, 7.0), by_scale=0.0, least=0.5, noise_adds=False) == pytest.approx(
        (0.5, 7 - 0.98, 7 + 0.98)
    )
    assert spread(7.0, np.zeros(0), by_scale=0.5, least=0.1, noise_adds=True) == pytest.approx(
        (0.5, 7 - 0.98, 7 + 0.98)
    )


def test_the_value_lies_in_its_interval_even_where_no_draw_reaches_it() -> None:
    drawn = np.random.default_rng(5).uniform(20.0, 22.0, 48)
    _, low, high = spread(10.0, drawn, by_scale=0.0, least=0.3, noise_adds=False)
    assert low == pytest.approx(10 - 1.96 * 0.3)
    assert 21.5 < high <= 22.0
    _, low, high = spread(10.0, drawn, by_scale=0.0, least=0.3, noise_adds=True)
    # as far below as the draws lie above, and their spread; above their spread alone
    assert low == pytest.approx(10 - (drawn.mean() - 10) - 1.0, abs=0.2)
    assert high == pytest.approx(11.0, abs=0.2)


def test_a_known_interval_is_widened_by_the_scale() -> None:
    assert bounded(5.0, (3.0, 9.0), 0.0, 0.01) == pytest.approx((6 / 3.92, 3.0, 9.0))
    sd, low, high = bounded(5.0, (5.0, 5.0), 0.3, 0.4)
    assert (low, high) == pytest.approx((5 - 1.96 * 0.5, 5 + 1.96 * 0.5))
    assert sd == pytest.approx(0.5)


def wavering(canal: np.ndarray, rng: np.random.Generator, size: float) -> np.ndarray:
    """A canal moved aside by three waves of random phase, mm."""
    along = np.linspace(0.0, np.pi, len(canal))[:, None] * np.arange(2, 5)
    waves = np.sin(along + rng.uniform(0, 2 * np.pi, 3)).mean(axis=1)
    return np.asarray(canal + size * waves[:, None] * np.array([0.0, 1.0]))


@pytest.mark.parametrize("radius_mm", [35.0, 60.0, 400.0])
def test_the_curved_length_holds_the_truth_where_the_threshold_is_near(radius_mm: float) -> None:
    # curvature near that of 40 mm on the whole canal, so that what is curved hangs on every waver
    canal = chain((12, np.degrees(12 / radius_mm)))
    truth = float(profile.values(stack_of_traces(canal))["curved_length_mm"][0])
    assert truth == pytest.approx(12.0 if radius_mm < 40 else 0.0, abs=0.1)
    rng = np.random.default_rng(7)
    held, by_draws_alone = [], []
    slack = 0.05  # a waver changes the length of the whole canal too, by less than this
    for _ in range(60):
        seen = wavering(canal, rng, 0.1)
        stack = stack_of_traces(seen, [wavering(seen, rng, 0.1) for _ in range(48)])
        found, _ = measure_methods(stack, methods=[method_named("profile")])
        low, high = found["curved_length_mm"].interval95
        held.append(low - slack <= truth <= high + slack)
        values = profile.values(stack)["curved_length_mm"]
        _, low, high = spread(float(values[0]), values[1:], by_scale=0.0, least=0.1, noise_adds=True)
        by_draws_alone.append(low - slack <= truth <= high + slack)
    # at worst some four stretches, each on its own, must keep to one side: 0.975**4 is 90 %, of which a
    # binomial of 60 has below 80 % in one of a hundred
    assert np.mean(held) >= 0.8
    if radius_mm == 60:  # what counted before: a trace that wavers is believed
        assert np.mean(by_draws_alone) < 0.8


@pytest.mark.parametrize("trace", [kinked(7, 0, 6), straight_and_arc(8, 5, 60), chain((12, 70))])
def test_traces_without_errors_leave_the_curved_length_as_it_is(trace) -> None:
    stack = stack_of_traces(trace, [trace] * 48)
    value = float(profile.values(stack)["curved_length_mm"][0])
    assert profile.bounds(stack)["curved_length_mm"] == pytest.approx((value, value))


def test_wavers_widen_the_bounds_of_the_curved_length_on_either_side() -> None:
    trace = straight_and_arc(6, 6, 30)
    aside = np.sin(np.linspace(0, 6, len(trace)))[:, None] * np.array([[0.0, 1.0]])
    ends = [
        profile.bounds(stack_of_traces(trace, [trace + size * aside]))["curved_length_mm"]
        for size in (0.0, 0.02, 0.1, 0.5)
    ]
    assert all(a[0] >= b[0] and a[1] <= b[1] for a, b in pairwise(ends))
    assert ends[-1][1] - ends[-1][0] > ends[0][1] - ends[0][0] + 3
