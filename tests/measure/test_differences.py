"""Bias, limits of agreement and shares, against published data and general libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from radio.errors import PeriapicalError
from radio.measure.differences import describe_differences, share_of

# Peak flow of 17 people by a large and a mini meter, first readings: Bland & Altman 1986 (Lancet i:307); data
# as in a statistics package's data set, printed results from memory
LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
FLOW = tuple(float(one - other) for one, other in zip(LARGE, MINI, strict=True))


def test_peak_flow_as_bland_and_altman_printed_it() -> None:
    found = describe_differences(FLOW)
    assert found.n == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert found.bias_interval95 == pytest.approx((-22.0, 17.8), abs=0.05)
    twice = found.limits_at(2.0)
    # printed -79.7 and 75.5, from the standard deviation rounded to 38.8
    assert twice.lower.value == pytest.approx(-79.7, abs=0.11)
    assert twice.upper.value == pytest.approx(75.5, abs=0.11)
    # printed: standard error of a limit 16.3, so that with t = 2.12 intervals are -114.3 to -45.1 and 40.9
    # to 110.1
    assert twice.lower.high95 - twice.lower.value == pytest.approx(2.12 * 16.3, abs=0.1)
    assert (twice.lower.low95, twice.lower.high95) == pytest.approx((-114.3, -45.1), abs=0.2)
    assert (twice.upper.low95, twice.upper.high95) == pytest.approx((40.9, 110.1), abs=0.2)
    assert "1986" in twice.source


def test_peak_flow_with_1_96_standard_deviations() -> None:
    limits = describe_differences(FLOW).limits_at(1.96)
    # plain arithmetic on the same data, by numpy
    sd = np.std(FLOW, ddof=1)
    assert limits.lower.value == pytest.approx(-78.0973, abs=1e-4)
    assert limits.upper.value == pytest.approx(73.8620, abs=1e-4)
    assert limits.upper.value == pytest.approx(np.mean(FLOW) + 1.96 * sd)
    # Bland & Altman 1999: the variance of a limit is about 1.71 squared times s squared over n
    half = limits.upper.high95 - limits.upper.value
    assert half == pytest.approx(stats.t.ppf(0.975, 16) * 1.71 * sd / np.sqrt(17), rel=0.02)
    assert "1999" in limits.source


@given(st.lists(st.floats(-5, 5), min_size=3, max_size=40))
def test_the_bias_is_that_of_a_paired_t_test(values) -> None:
    found = describe_differences(values)
    assert found.bias == pytest.approx(float(np.mean(values)), abs=1e-12)
    if np.ptp(values) < 1e-3:
        return
    # scipy's paired t test of the same pairs
    exact = stats.ttest_rel(np.array(values) + 20.0, np.full(len(values), 20.0)).confidence_interval(0.95)
    assert found.bias_interval95 == pytest.approx((exact.low, exact.high), abs=1e-7)


def test_the_intervals_of_limits_hold_the_true_limits_as_often_as_they_say() -> None:
    # normal differences with bias 0.3 and spread 0.5: the true upper limit is 0.3 + m * 0.5
    rng = np.random.default_rng(20260314)
    for multiplier in (1.96, 2.0):
        truth = 0.3 + multiplier * 0.5
        held = [
            limit.low95 <= truth <= limit.high95
            for limit in (
                describe_differences(rng.normal(0.3, 0.5, 30).tolist()).limits_at(multiplier).upper
                for _ in range(1500)
            )
        ]
        # approximate intervals; 0.95 +- 4 standard errors of a share of 1500, and 1 % for the approximation
        assert np.mean(held) == pytest.approx(0.95, abs=0.033)


def test_one_difference_has_a_bias_and_nothing_more() -> None:
    one = describe_differences([0.4])
    assert (one.n, one.bias, one.bias_interval95, one.sd, one.limits) == (1, 0.4, None, None, ())
    assert one.limits_at(1.96) is None


@pytest.mark.parametrize("values", [[], [0.1, float("nan")], [float("inf")]])
def test_no_number_is_no_difference(values) -> None:
    with pytest.raises(PeriapicalError, match="give one or more numbers"):
        describe_differences(values)


@pytest.mark.parametrize(
    ("count", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_shares_of_newcombe(count, n, low, high) -> None:
    # Newcombe 1998 (Stat Med 17:857), score interval without continuity correction; from memory
    one = share_of(count, n)
    assert one.share == count / n
    assert (one.low95, one.high95) == pytest.approx((low, high), abs=5e-5)


@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_shares_of_a_general_library(pair) -> None:
    count, n = pair
    one = share_of(count, n)
    exact = stats.binomtest(count, n).proportion_ci(method="wilson")
    assert (one.low95, one.high95) == pytest.approx((exact.low, exact.high), abs=1e-12)
    assert 0.0 <= one.low95 <= one.share <= one.high95 <= 1.0


@pytest.mark.parametrize(("count", "n"), [(0, 0), (-1, 5), (6, 5)])
def test_a_share_is_of_something(count, n) -> None:
    with pytest.raises(PeriapicalError, match="0 to n"):
        share_of(count, n)
