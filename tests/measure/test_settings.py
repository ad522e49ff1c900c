"""The parameters of the curvature methods: their limits, and that each method follows its own.

Checked against plane geometry: the least-squares line of an arc is parallel to the tangent at its middle (by
symmetry), and the angle between tangent and chord is half of the arc (tangent-chord theorem, Euclid III.32).
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radio.errors import PeriapicalError
from radio.measure.curvature import SHORTEST_MM, stack_of_traces
from radio.measure.methods import METHODS, method_named
from radio.measure.settings import DEFAULT_SETTINGS, LIMITS, CurvatureSettings, spelled
from radio.measure.stack import Placed, TraceStack
from radio.measure.what_if import what_if
from tests.fixtures.bent import answers, chain, straight_and_arc

NAMES = [one.name for one in fields(CurvatureSettings)]


# -- limits ------------------------------------------------------------------------------------------------


def test_every_setting_has_limits_that_its_default_keeps() -> None:
    assert list(LIMITS) == NAMES
    stated = {"departure_tolerance_mm": 0.10, "departure_tolerance_px": 5.0, "apical_portion_mm": 2.0}
    stated |= {"long_axis_portion": 1 / 3, "smoothing_mm": 4.0}
    assert {name: getattr(DEFAULT_SETTINGS, name) for name in NAMES} == stated


@pytest.mark.parametrize("name", NAMES)
def test_the_ends_of_the_limits(name: str) -> None:
    limits = LIMITS[name]
    assert getattr(CurvatureSettings(**{name: limits.high}), name) == limits.high
    if limits.low_allowed:
        assert getattr(CurvatureSettings(**{name: limits.low}), name) == limits.low
    else:
        with pytest.raises(PeriapicalError, match=f"{name} is .*above 0, at most"):
            CurvatureSettings(**{name: limits.low})


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("wrong", [-1.0, 1000.0, float("nan"), float("inf"), "0.2", None, True])
def test_a_wrong_value_is_named_with_what_is_allowed(name: str, wrong) -> None:
    with pytest.raises(PeriapicalError) as told:
        CurvatureSettings(**{name: wrong})
    text = str(told.value)
    assert text.startswith(f"{name} is {wrong!r}; allowed is a number ")
    assert f"{LIMITS[name].high:g} {LIMITS[name].unit}" in text
    assert "Leave it out for " in text


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(0.1, 2, "0.10"), (0.125, 2, "0.125"), (5.0, 0, "5"), (2.0, 1, "2.0"), (1e-6, 2, "0.000001")],
)
def test_a_stated_number_is_told_in_full(value: float, decimals: int, text: str) -> None:
    assert spelled(value, decimals) == text


# -- each method follows its own -----------------------------------------------------------------------------


def value(stack: TraceStack, method: str, column: str) -> float:
    return float(method_named(method).values(stack)[column][0])


def on_axis(points: np.ndarray, tolerance: float) -> TraceStack:
    """Canal along +row at first, on that axis."""
    stated = CurvatureSettings(departure_tolerance_mm=tolerance)
    return TraceStack(points[None], "mm", stated, Placed(np.array([[0.0, 0.0], [1.0, 0.0]])))


@settings(max_examples=40)
@given(st.floats(4, 10), st.floats(2, 12), st.floats(40, 90), st.floats(0.01, 0.3))
def test_the_schneider_angle_follows_the_tolerance(
    p: float, r: float, theta: float, tolerance: float
) -> None:
    # an arc of radius r is a tolerance t away from its tangent after a = arccos(1 - t / r); the chord from
    # there to the end of the arc stands half way between the tangents at a and at theta
    stack = on_axis(straight_and_arc(p, r, theta, 4001), tolerance)
    late = np.degrees(np.arccos(1 - tolerance / r))
    # a point between two samples lies on their chord: off by a part of one step in place
    step = np.degrees(stack.length[0] / 4000 / r)
    assert value(stack, "schneider", "schneider_deg") == pytest.approx((late + theta) / 2, abs=step)


def test_a_wider_tolerance_makes_a_larger_angle_of_the_same_trace() -> None:
    trace = straight_and_arc(8, 5, 60, 4001)
    found = [value(on_axis(trace, t), "schneider", "schneider_deg") for t in (0.05, 0.10, 0.20)]
    # 30 + half of arccos(1 - t / 5), worked out by hand: 8.11, 11.48, 16.26 degrees
    assert found == pytest.approx([34.05, 35.74, 38.13], abs=0.02)


def test_without_a_scale_the_tolerance_in_pixels_counts_alone() -> None:
    trace = 20 * straight_and_arc(8, 5, 60, 4001)
    stated = CurvatureSettings(departure_tolerance_px=4.0, departure_tolerance_mm=0.9)
    stack = TraceStack(trace[None], "px", stated, Placed(np.array([[0.0, 0.0], [20.0, 0.0]])))
    # 4 px are 0.20 of the units above
    assert value(stack, "schneider", "schneider_deg") == pytest.approx(38.13, abs=0.02)
    assert method_named("schneider").settings(stack) == "departure tolerance 4 px (no scale)"


@settings(max_examples=40)
@given(st.floats(3, 20), st.floats(10, 120), st.floats(0.1, 0.5))
def test_long_axes_of_portions_of_an_arc(r: float, theta: float, portion: float) -> None:
    # each axis is parallel to the tangent at the middle of its portion, so that half of either portion is
    # missing from the whole arc at either end
    arc = chain((r * np.radians(theta), theta), count=4001)
    stack = TraceStack(arc[None], settings=CurvatureSettings(long_axis_portion=portion))
    assert value(stack, "long-axis", "long_axis_deg") == pytest.approx(theta * (1 - portion), abs=1e-3)


@settings(max_examples=40)
@given(st.floats(3, 12), st.floats(40, 90), st.floats(0.1, 1.0))
def test_the_apical_line_follows_its_portion(r: float, theta: float, share: float) -> None:
    # parallel to the tangent at the middle of the portion: half of it short of the end
    long = straight_and_arc(9, r, theta, 4001)
    portion = max(share * min(r * np.radians(theta), 10.0), 0.1)
    stated = CurvatureSettings(apical_portion_mm=portion)
    stack = TraceStack(long[None], "mm", stated, Placed(np.array([[0.0, 0.0], [1.0, 0.0]])))
    taken = min(portion, float(stack.length[0]) / 3)
    # of the points that the line is fitted to, one lies on a chord between two samples
    assert value(stack, "weine", "weine_deg") == pytest.approx(theta - np.degrees(taken / (2 * r)), abs=0.02)


def test_no_more_than_a_third_of_the_canal_is_apical_and_it_says_so() -> None:
    stack = stack_of_traces(chain((9.0, 30.0)), settings=CurvatureSettings(apical_portion_mm=5.0))
    assert stack.apical_portion == pytest.approx(3.0)
    assert "apical line through the last 3.0 mm (a third of the canal)" in method_named("weine").settings(
        stack
    )


@pytest.mark.parametrize("wave_mm", [2.0, 3.0, 6.0])
def test_smoothing_halves_a_wave_of_its_own_length(wave_mm: float) -> None:
    # a wave far from the ends of a long straight canal, small beside its length
    s = np.linspace(0.0, 60.0, 4001)
    height = 0.01
    trace = np.stack([s, height * np.sin(2 * np.pi * s / wave_mm)], axis=1)
    stack = TraceStack(trace[None], settings=CurvatureSettings(smoothing_mm=wave_mm))
    middle = slice(1500, 2500)
    assert np.ptp(stack.smooth[0, middle, 1]) == pytest.approx(height, rel=0.01)


def test_the_most_smoothing_on_the_shortest_canal_has_a_solution() -> None:
    stated = CurvatureSettings(smoothing_mm=LIMITS["smoothing_mm"].high)
    stack = stack_of_traces(chain((SHORTEST_MM, 30.0)), settings=stated)
    # a penalty on third differences leaves a parabola in the end: the one that numpy fits
    place = np.linspace(-1.0, 1.0, stack.points.shape[1])
    fitted = np.stack([np.polyval(np.polyfit(place, one, 2), place) for one in stack.points[0].T], axis=1)
    assert np.abs(stack.smooth[0] - fitted).max() < 0.01


def test_without_a_scale_lengths_along_the_canal_are_shares_of_it() -> None:
    # of a canal of 13.3 mm: 15 % and 30 % as they were before they could be chosen
    trace = 30 * straight_and_arc(8, 5, 60)
    stack = stack_of_traces(trace, unit="px")
    assert stack.apical_portion == pytest.approx(0.15 * stack.length[0])
    assert stack.smooth_span == pytest.approx(0.30 * stack.length[0])
    twice = replace(stack, settings=CurvatureSettings(apical_portion_mm=4.0, smoothing_mm=2.0))
    assert twice.apical_portion == pytest.approx(0.30 * stack.length[0])
    assert twice.smooth_span == pytest.approx(0.15 * stack.length[0])
    told = method_named("weine").settings(twice)
    assert f"the last {0.3 * stack.length[0]:.0f} px (30 % of the canal, no scale)" in told


# -- printed, and no other number moves ----------------------------------------------------------------------

OTHERS = {
    "departure_tolerance_mm": 0.17,
    "departure_tolerance_px": 7.0,
    "apical_portion_mm": 1.35,
    "long_axis_portion": 0.215,
    "smoothing_mm": 2.65,
}
TOLD = {
    "departure_tolerance_mm": "departure tolerance 0.17 mm",
    "apical_portion_mm": "apical line through the last 1.35 mm",
    "long_axis_portion": "coronal and apical portion 21.5 % of the canal",
    "smoothing_mm": "waves of 2.65 mm halved",
}


@pytest.mark.parametrize("name", NAMES)
def test_a_number_that_moves_with_a_setting_prints_it(name: str) -> None:
    """On a J, and on an S: every method whose values change must name the setting's own value."""
    moved_any = False
    for trace in (straight_and_arc(8, 5, 60), chain((6, 0), (3, 40), (2, 0), (4, -35))):
        plain = stack_of_traces(trace)
        other = replace(plain, settings=CurvatureSettings(**{name: OTHERS[name]}))
        for method in METHODS:
            before, after = method.values(plain), method.values(other)
            same = all(
                np.array_equal(before[c], after[c], equal_nan=before[c].dtype.kind == "f") for c in before
            )
            told = name in TOLD and TOLD[name] in method.settings(other)
            assert same or told, method.name
            moved_any |= not same
    # pixels mean nothing on a calibrated image
    assert moved_any == (name != "departure_tolerance_px")


def test_what_if_keeps_the_settings() -> None:
    trace = straight_and_arc(8, 5, 60)
    stated = CurvatureSettings(long_axis_portion=0.2, departure_tolerance_mm=0.2)
    stack = stack_of_traces(trace, settings=stated)
    found = what_if(stack, [method_named("long-axis"), method_named("schneider")])
    now = answers(stack)
    before = {one.column: one.before for one in found.changes}
    assert before == {"long_axis_deg": now["long_axis_deg"], "schneider_deg": now["schneider_deg"]}
    # the departure of a longer canal is found again by the same tolerance
    (longer,) = (m for m in found.moves if m.way == "longer")
    after = {one.column: one.after for one in found.changes if one.move == longer}
    tip = trace[-1] + 0.5 * np.array([np.cos(np.pi / 3), np.sin(np.pi / 3)])
    by_hand = answers(stack_of_traces(np.vstack([trace, tip]), settings=stated))
    assert after["schneider_deg"] == pytest.approx(by_hand["schneider_deg"], abs=0.2)
    other = answers(stack_of_traces(np.vstack([trace, tip])))
    assert abs(other["schneider_deg"] - by_hand["schneider_deg"]) > 1
