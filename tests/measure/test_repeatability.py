"""The spread of repeated readings, against published data, scipy's analysis of variance and chance itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import f_oneway, norm

from radio.errors import PeriapicalError
from radio.measure.published_change import CONTRADICTIONS, FIXED_FIGURES, PUBLISHED_CHANGES
from radio.measure.repeatability import (
    DEFAULT_SD_MM,
    LSC_FACTOR,
    default_repeatability,
    pooled_sd,
    reading_step_mm,
    repeatability_of,
    sd_interval,
    stated_repeatability,
)

# Bland and Altman 1986, Lancet i:307: two readings by each of two meters
LARGE = (
    (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427),
    (490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421),
)
MINI = (
    (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451),
    (525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443),
)
# Shrout and Fleiss 1979, Psychol Bull 86:420: six subjects, four judges
JUDGED = ((9, 2, 5, 8), (6, 1, 3, 2), (8, 4, 6, 8), (7, 1, 2, 6), (10, 5, 6, 9), (6, 2, 4, 7))


def test_the_factor_is_the_one_of_two_readings() -> None:
    assert pytest.approx(norm.ppf(0.975) * np.sqrt(2), rel=1e-12) == LSC_FACTOR
    # ISO 5725-6, repeatability limit r = 2.8 s_r: from memory
    assert round(LSC_FACTOR, 1) == 2.8
    assert round(LSC_FACTOR, 2) == 2.77


@pytest.mark.parametrize(
    ("readings", "dahlberg", "repeatability"),
    # Dahlberg's error and twice the SD of the differences, as Bland and Altman print them (from memory), and
    # computed by numpy from their data
    [(LARGE, 15.306669, (43.2, 43.293798)), (MINI, 19.910831, (56.4, 56.316333))],
)
def test_published_pairs(readings, dahlberg, repeatability) -> None:
    sd, freedom = pooled_sd(list(zip(*readings, strict=True)))
    assert freedom == 17
    assert sd == pytest.approx(dahlberg, abs=1e-6)
    printed, computed = repeatability
    assert 2 * np.sqrt(2) * sd == pytest.approx(computed, abs=1e-6)
    assert 2 * np.sqrt(2) * sd == pytest.approx(printed, abs=0.11)


def test_published_mean_square_within() -> None:
    # WMS 6.26 as printed (from memory), 6.263889 by numpy
    sd, freedom = pooled_sd(JUDGED)
    assert freedom == 18
    assert sd**2 == pytest.approx(6.263889, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    sets=st.lists(
        st.lists(st.integers(500, 4000).map(lambda n: n / 100), min_size=2, max_size=5),
        min_size=2,
        max_size=6,
    )
)
def test_pooled_sd_is_that_of_an_analysis_of_variance(sets) -> None:
    sd, freedom = pooled_sd(sets)
    assert freedom == sum(map(len, sets)) - len(sets)
    everything = np.concatenate(sets)
    means = [np.mean(one) for one in sets]
    between = sum(len(one) * (mean - everything.mean()) ** 2 for one, mean in zip(sets, means, strict=True))
    if sd > 1e-6 and between > 1e-6:
        # scipy's F is the mean square between over that within
        ratio = f_oneway(*sets).statistic
        assert between / (len(sets) - 1) / ratio == pytest.approx(sd**2, rel=1e-6)


def test_interval_of_an_sd() -> None:
    # factors for ten readings, 0.688 and 1.826: tables of the chi-square distribution, from memory
    low, high = sd_interval(1.0, 9)
    assert (round(low, 3), round(high, 3)) == (0.688, 1.826)


def test_intervals_and_both_limits_do_what_they_say() -> None:
    # chance itself, seed fixed: three lengths with three readings each, then a change that is none
    random = np.random.default_rng(20)
    true, trials, held, beyond, surely = 0.2, 1000, 0, 0, 0
    for _ in range(trials):
        readings = random.normal(21.0, true, (3, 3))
        own = repeatability_of({str(n): list(row) for n, row in enumerate(readings)})
        assert own.interval_mm is not None
        assert own.repeats == 6
        held += own.interval_mm[0] <= true <= own.interval_mm[1]
        change = abs(np.diff(random.normal(20.0, true, 2))[0])
        beyond += change > own.lsc_mm
        surely += change > own.sure_lsc_mm
    assert held / trials == pytest.approx(0.95, abs=0.02)
    assert surely / trials == pytest.approx(0.05, abs=0.02)
    # 2.77 times an SD from six repeats is passed by chance more often than one time in twenty
    assert 0.07 < beyond / trials < 0.13


def test_a_known_sd_is_passed_one_time_in_twenty() -> None:
    random = np.random.default_rng(21)
    own = stated_repeatability(0.2)
    changes = np.diff(random.normal(20.0, 0.2, (20000, 2)), axis=1)
    assert np.mean(abs(changes) > own.lsc_mm) == pytest.approx(0.05, abs=0.006)
    assert own.sure_lsc_mm == own.lsc_mm


@pytest.mark.parametrize(
    ("sets", "count"),
    [
        ({}, 0),
        ({"a": [21.0]}, 0),
        ({"a": [21.0, 21.4, 21.2]}, 2),
        ({"a": [21.0, 21.4], "b": [20.0, 20.1]}, 2),
    ],
)
def test_fewer_than_three_repeats_give_the_marked_default(sets, count) -> None:
    own = repeatability_of(sets)
    assert (own.sd_mm, own.source, own.repeats) == (DEFAULT_SD_MM, "default", None)
    assert f"{count} repeat" in own.basis
    assert "not your own" in own.warnings[0]
    # 0.55 mm for an SD of 0.2 mm: arithmetic
    assert own.lsc_mm == pytest.approx(0.554, abs=5e-4)
    assert default_repeatability().whose == "the default"


def test_three_repeats_are_enough() -> None:
    own = repeatability_of({"a": [21.0, 21.3], "b": [20.0, 20.1], "c": [19.0, 19.2], "d": [18.0]})
    assert (own.source, own.repeats, own.whose) == ("repeats", 3, "your")
    assert own.sd_mm == pytest.approx(np.sqrt((0.045 + 0.005 + 0.02) / 3))
    assert "3 lengths with 3 repeats" in own.basis
    assert own.warnings == ()


def test_agreement_within_the_reading_step_is_no_spread_of_nothing() -> None:
    own = repeatability_of({"a": [21.0, 21.0], "b": [20.5, 20.5], "c": [19.0, 19.0]})
    # step / √12: rectangular distribution, JCGM 100:2008, 4.3.7
    assert own.sd_mm == pytest.approx(0.5 / np.sqrt(12))
    assert "steps of 0.5 mm" in own.warnings[0]
    assert own.interval_mm is not None
    assert own.interval_mm[0] < own.sd_mm < own.interval_mm[1]


@pytest.mark.parametrize(
    ("readings", "step"),
    [([21.0, 20.0], 1.0), ([21.5, 20.0], 0.5), ([21.25, 20.0], 0.25), ([21.3, 20.0], 0.1), ([21.33], 0.01)],
)
def test_reading_step(readings, step) -> None:
    assert reading_step_mm(readings) == step


def test_a_mistyped_repeat_is_named() -> None:
    good = {f"tooth {n}": [20.0 + n / 10, 20.1 + n / 10] for n in range(6)}
    assert repeatability_of(good).warnings == ()
    told, large = repeatability_of({**good, "tooth 9": [21.0, 12.0]}).warnings
    assert "above 0.5 mm" in large
    assert "tooth 9" in told
    assert "mistyped" in told


def test_ordinary_sets_are_rarely_called_odd() -> None:
    random = np.random.default_rng(22)
    trials = 250
    called = 0
    for _ in range(trials):
        readings = random.normal(21.0, 0.2, (5, 3)).round(3)
        called += bool(repeatability_of({str(n): list(row) for n, row in enumerate(readings)}).warnings)
    assert called / trials < 0.03


@pytest.mark.parametrize("sd_mm", [0.0, -0.2, 3.5, float("nan"), float("inf")])
def test_a_stated_sd_has_limits(sd_mm) -> None:
    with pytest.raises(PeriapicalError, match=r"allowed is 0\.005 to 3 mm"):
        stated_repeatability(sd_mm)


@pytest.mark.parametrize("sets", [[], [[]], [[21.0]], [[21.0], [20.0]]])
def test_no_repeat_has_no_spread(sets) -> None:
    with pytest.raises(PeriapicalError, match="No length was read twice"):
        pooled_sd(sets)


def test_a_reading_that_is_no_number() -> None:
    with pytest.raises(PeriapicalError, match="not a number"):
        pooled_sd([[21.0, float("nan")]])


def test_what_is_published_says_how_far_it_was_verified() -> None:
    for one in (*PUBLISHED_CHANGES, *FIXED_FIGURES):
        assert "verified" in one.standing or "from memory" in one.standing
    changes = [one.change for one in PUBLISHED_CHANGES]
    # Davis 2002, Schroeder 2002 (pages that sum them up), Kumar and Khambete 2013 (abstract)
    for printed in ("-0.48", "-0.22", "-0.36 / -0.07", "-0.17", "-0.77 ± 0.42 / -0.33 ± 0.44"):
        assert printed in changes
    assert "contradict" in CONTRADICTIONS
    assert "Nothing is predicted" in CONTRADICTIONS


def test_a_blunder_among_the_repeats_is_told() -> None:
    # pairs 5 mm apart: SD 5 / √2 = 3.54 mm by Dahlberg's formula, which no loss could exceed
    own = repeatability_of({f"canal {n}": (20.0, 25.0) for n in range(3)})
    assert own.sd_mm == pytest.approx(5 / 2**0.5)
    assert [f"canal {n}" in own.warnings[n] and "5.00 mm apart" in own.warnings[n] for n in range(3)] == [
        True
    ] * 3
    assert "above 0.5 mm" in own.warnings[-1]
    assert "above 0.5 mm" in stated_repeatability(0.6).warnings[0]
    # 1 mm itself is not more than 1 mm
    near = repeatability_of({"a": (20.0, 21.0), "b": (20.0, 20.1), "c": (20.0, 20.1), "d": (20.0, 20.1)})
    assert not any("apart" in one for one in near.warnings)
    assert stated_repeatability(0.5).warnings == ()


def test_repeats_too_few_to_use_are_told() -> None:
    own = repeatability_of({"a": (20.0, 20.1)})
    assert own.source == "default"
    assert own.warnings[0].startswith("The repeats you gave are not used (1 repeat given, at least 3")
    assert "not used" not in default_repeatability().warnings[0]
