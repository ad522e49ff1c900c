"""Schneider angle against closed forms, and against the definition computed another way.

The oracle shape is a straight canal of p mm continued by a tangent arc of radius r through theta: by the
tangent-chord theorem the Schneider angle is theta / 2 where the departure tolerance is 0.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from radio.measure.curvature import find_departure, measure_methods, schneider_deg, stack_of_traces
from radio.measure.methods import QUANTITIES, CurvatureMethod, Quantity, method_named
from radio.measure.perturb import perturbed_traces, turn_to_foramen
from radio.measure.stack import angles_deg, coronal_axis
from radio.trace.curve import arc_length

# p, r, theta, Schneider angle, chord from the start of the curve to its end: derived by plain geometry
ORACLES = [
    (8, 5, 60, 30.0, 5.0000),
    (10, 10, 40, 20.0, 6.8404),
    (6, 2, 75, 37.5, 2.4350),
    (9, 8, 20, 10.0, 2.7784),
    (7, 4, 90, 45.0, 5.6569),
    (10, 6, 30, 15.0, 3.1058),
]
SIZES = st.tuples(st.floats(5, 12), st.floats(3, 12), st.floats(15, 80))


def straight_and_arc(p: float, r: float, theta_deg: float, count: int = 1500) -> np.ndarray:
    theta = np.radians(theta_deg)
    s = np.linspace(0, p + r * theta, count)
    a = np.clip((s - p) / r, 0, None)
    return np.stack([np.minimum(s, p) + r * np.sin(a), r * (1 - np.cos(a))], axis=1)


def bends(*pieces: tuple[float, float], step: float = 0.01) -> np.ndarray:
    """A chain of (length, turn in degrees), as points."""
    curvature = np.concatenate(
        [np.full(round(length / step), np.radians(turn) / length) for length, turn in pieces]
    )
    heading = np.cumsum(curvature) * step - curvature * step / 2
    return np.vstack([[0, 0], np.cumsum(step * np.stack([np.cos(heading), np.sin(heading)], axis=1), axis=0)])


def turned(points, degrees: float):
    a = np.radians(degrees)
    return points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])


def principal_line(points):
    """Least-squares line by singular values: an independent road to the coronal axis."""
    middle = points.mean(axis=0)
    direction = np.linalg.svd(points - middle, full_matrices=False)[2][0]
    return middle, direction * (np.sign(direction @ (points[-1] - points[0])) or 1.0)


def defined_angle(points, tolerance: float) -> tuple[float, float]:
    """Angle and arc length of the departure, by the words of the definition, on a dense trace."""

    def away(k: int) -> float:
        middle, u = principal_line(points[:k])
        rel = points[:k] - middle
        return float(np.abs(u[0] * rel[:, 1] - u[1] * rel[:, 0]).max())

    low, high = 2, len(points)
    if away(high) <= tolerance:
        run = high
    else:  # the run that just fits, by halving
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if away(middle) <= tolerance else (low, middle)
        run = low
    middle, u = principal_line(points[:run])
    rel = points - middle
    distance = np.abs(u[0] * rel[:, 1] - u[1] * rel[:, 0])
    beyond = len(points)
    while beyond > 0 and distance[beyond - 1] > tolerance:
        beyond -= 1
    if beyond == len(points):
        return 0.0, arc_length(points)
    v = points[-1] - points[beyond]
    angle = np.degrees(np.arccos(np.clip(u @ v / np.hypot(*v), -1, 1)))
    return float(angle), arc_length(points[: beyond + 1])


@pytest.mark.parametrize(("p", "r", "theta", "angle", "chord"), ORACLES)
def test_half_the_arc_as_the_tolerance_vanishes(p, r, theta, angle, chord) -> None:
    trace = straight_and_arc(p, r, theta, 6000)
    errors = []
    for tolerance in (1e-2, 1e-3, 1e-4):
        found, departure = schneider_deg(trace, tolerance)
        # an arc of radius r is sideways by the tolerance after arccos(1 - tolerance / r); the tangent-chord
        # theorem from there gives half of that more
        latest = np.degrees(np.arccos(1 - tolerance / r))
        errors.append(abs(found - angle))
        assert found - angle <= latest / 2 + 0.4
        assert np.hypot(*(trace[-1] - departure.point)) == pytest.approx(
            chord, abs=2 * r * np.radians(latest) + 0.12
        )
    assert errors == sorted(errors, reverse=True)
    # what remains comes from sampling the trace at 110 places: less than one place along the arc
    assert errors[-1] < np.degrees(arc_length(trace) / 109 / r) / 2 + 0.1


@pytest.mark.parametrize("tolerance", [0.05, 0.1, 0.2])
@pytest.mark.parametrize(("p", "r", "theta"), [o[:3] for o in ORACLES])
def test_with_a_tolerance_the_angle_is_that_of_the_definition(p, r, theta, tolerance) -> None:
    trace = straight_and_arc(p, r, theta, 4000)
    angle, s = defined_angle(trace, tolerance)
    found, departure = schneider_deg(trace, tolerance)
    assert departure.leaves
    # one of 110 places along the run moves the axis and the departure a little
    assert found == pytest.approx(angle, abs=0.35)
    assert departure.s == pytest.approx(s, abs=0.12)


@pytest.mark.parametrize(("r", "theta"), [(4, 40), (6, 30), (10, 25)])
def test_a_tangent_arc_leaves_its_axis_where_the_closed_form_says(r: float, theta: float) -> None:
    # Whatever the fitted axis is, straight lines and circles are simple: an axis that crosses the straight
    # part at an angle beta, `h` aside of where the arc begins, is left by the arc where
    # h + r (cos(beta) - cos(a + beta)) reaches the tolerance
    p, tolerance = 12.0, 0.1
    trace = straight_and_arc(p, r, theta, 8000)
    found, departure = schneider_deg(trace, tolerance)
    u = departure.direction
    beta = np.arctan2(u[1], u[0])
    begin = np.array([p, 0.0]) - departure.origin
    h = u[0] * begin[1] - u[1] * begin[0]
    a = np.arccos(np.cos(beta) - (tolerance - h) / r) + beta
    assert departure.s == pytest.approx(p + r * a, abs=0.02)
    at = np.array([p + r * np.sin(a), r * (1 - np.cos(a))])
    assert departure.point == pytest.approx(at, abs=0.02)
    # tangent-chord theorem: the chord from there to the end stands half way between the two tangents
    exact = np.degrees(0.5 * (a + np.radians(theta)) - beta)
    assert found == pytest.approx(exact, abs=0.05)


@pytest.mark.parametrize("theta", [8.0, 20.0, 45.0, 75.0])
def test_two_straight_lines(theta: float) -> None:
    a = np.radians(theta)
    knee = np.array([9.0, 0.0])
    trace = np.vstack([[0, 0], knee, knee + 5 * np.array([np.cos(a), np.sin(a)])])
    for tolerance, within in ((0.001, 0.15), (0.1, 1.6)):
        found, departure = schneider_deg(trace, tolerance)
        assert found == pytest.approx(theta, abs=within)
        # leaving by the tolerance happens tolerance / sin(theta) beyond the knee, and the axis gives way
        assert 9.0 - 0.13 <= departure.s <= 9.0 + 2.2 * tolerance / np.sin(a) + 0.13


def test_a_curve_of_two_bends_is_measured_from_the_first_that_stays_away() -> None:
    away = bends((7, 0), (3, 30), (3, -20), (1, 0))
    angle, s = defined_angle(away, 0.1)
    found, departure = schneider_deg(away, 0.1)
    assert departure.leaves
    assert found == pytest.approx(angle, abs=0.35)
    assert departure.s == pytest.approx(s, abs=0.12)


def test_a_canal_that_swings_back_across_its_axis_leaves_it_only_for_good() -> None:
    back = bends((8, 0), (1.5, 25), (3.0, -50), (2.5, -10))
    distance = np.abs(back[:, 1])
    assert distance[800:1200].max() > 0.25  # it leaves once, comes back, and leaves on the other side
    departure = find_departure(back, 0.1)
    crossing = 8 + np.flatnonzero(np.diff(np.sign(back[850:, 1])))[0] * 0.01 + 0.5
    assert departure.leaves
    assert departure.s > crossing
    assert departure.point[1] < 0


@pytest.mark.parametrize("wave_mm", [0.0, 0.04, 0.06])
def test_a_straight_canal_has_no_angle(wave_mm: float) -> None:
    s = np.linspace(0, 13, 300)
    angle, departure = schneider_deg(np.stack([s, wave_mm * np.sin(s)], axis=1), 0.1)
    assert angle == 0.0
    assert not departure.leaves
    assert departure.s == pytest.approx(13, abs=0.02)
    assert departure.point == pytest.approx((13, wave_mm * np.sin(13)), abs=1e-9)


def test_the_coronal_run_ends_at_the_first_bend_it_does_not_fit() -> None:
    # an S whose halves make up for one another: the whole keeps within 0.122 mm of its own line while its
    # first 6.5 mm depart by 0.14; a bend is not undone by the next one
    def most(points) -> float:
        middle, u = principal_line(points)
        rel = points - middle
        return float(np.abs(u[0] * rel[:, 1] - u[1] * rel[:, 0]).max())

    wave = bends((4, 14), (4, -14))
    assert most(wave) < 0.122
    assert most(wave[:650]) > 0.14
    departure = find_departure(wave, 0.13)
    assert departure.leaves


@given(SIZES, st.floats(0, 360), st.floats(-2000, 2000), st.floats(-2000, 2000))
def test_turning_and_moving_the_canal_changes_nothing(shape, degrees, row, col) -> None:
    trace = straight_and_arc(*shape, 400)
    angle, departure = schneider_deg(trace, 0.1)
    moved_angle, moved = schneider_deg(turned(trace, degrees) + np.array([row, col]), 0.1)
    assert moved_angle == pytest.approx(angle, abs=1e-3)
    assert moved.point == pytest.approx(turned(departure.point, degrees) + np.array([row, col]), abs=1e-3)


@given(SIZES, st.floats(0.1, 80))
def test_enlarging_canal_and_tolerance_together_changes_nothing(shape, factor: float) -> None:
    trace = straight_and_arc(*shape, 400)
    assert schneider_deg(factor * trace, factor * 0.1)[0] == pytest.approx(
        schneider_deg(trace, 0.1)[0], abs=1e-4
    )


@given(SIZES, st.booleans())
def test_a_mirrored_canal_has_the_same_angle(shape, rows: bool) -> None:
    trace = straight_and_arc(*shape, 400)
    mirrored = trace * ([-1, 1] if rows else [1, -1])
    assert schneider_deg(mirrored, 0.1)[0] == pytest.approx(schneider_deg(trace, 0.1)[0], abs=1e-4)


@given(SIZES, st.integers(60, 3000))
def test_how_densely_a_trace_is_sampled_hardly_matters(shape, count: int) -> None:
    fine = schneider_deg(straight_and_arc(*shape, 6000), 0.1)[0]
    # a chord of a sparse trace cuts its arc by step²/8r: 0.02 mm at 0.45 mm and 3 mm radius
    assert schneider_deg(straight_and_arc(*shape, count), 0.1)[0] == pytest.approx(fine, abs=0.8)


@given(SIZES)
def test_the_departure_is_on_the_canal_at_the_tolerance_from_the_axis(shape) -> None:
    trace = straight_and_arc(*shape, 3000)
    departure = find_departure(trace, 0.1)
    assume(departure.leaves)
    u = departure.direction
    rel = trace - departure.origin
    distance = np.abs(u[0] * rel[:, 1] - u[1] * rel[:, 0])
    at = int(np.argmin(np.hypot(*(trace - departure.point).T)))
    assert np.hypot(*u) == pytest.approx(1.0)
    assert u @ (trace[-1] - trace[0]) > 0
    assert np.hypot(*(trace[at] - departure.point)) < 0.01
    assert distance[at] == pytest.approx(0.1, abs=0.01)
    assert (distance[at + 20 :] > 0.1).all()


@given(st.floats(0.6, 1.6), st.floats(0, 360))
def test_pixels_that_are_not_square_make_no_difference_in_millimetres(aspect: float, degrees: float) -> None:
    canal_mm = turned(straight_and_arc(8, 5, 60, 800), degrees)
    col_mm = 0.03
    pixels = canal_mm / [col_mm * aspect, col_mm]
    square = pixels * [aspect, 1.0]
    assert schneider_deg(square, 0.1 / col_mm)[0] == pytest.approx(schneider_deg(canal_mm, 0.1)[0], abs=1e-3)


def test_leaving_out_the_pixel_shape_would_be_seen() -> None:
    canal_mm = straight_and_arc(8, 5, 60, 800)
    stretched = canal_mm * [1.3, 1.0]
    assert abs(schneider_deg(stretched, 0.1)[0] - schneider_deg(canal_mm, 0.1)[0]) > 2


@given(st.floats(0, 180), st.floats(0, 360), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_angle_between_directed_vectors(degrees, heading, long: float, short: float) -> None:
    a, b = np.radians(heading), np.radians(heading + degrees)
    u = long * np.array([np.cos(a), np.sin(a)])
    v = short * np.array([np.cos(b), np.sin(b)])
    assert angles_deg(u, v) == pytest.approx(degrees, abs=1e-9)
    assert angles_deg(v, u) == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize("tiny", [1e-3, 1e-6, 1e-9])
def test_angles_near_0_and_180_keep_their_digits(tiny: float) -> None:
    # an arc cosine loses them: it gives 0 for 1e-9 degrees
    u, v = np.array([1.0, 0.0]), np.array([np.cos(np.radians(tiny)), np.sin(np.radians(tiny))])
    assert angles_deg(u, v) == pytest.approx(tiny, rel=1e-6)
    assert 180 - angles_deg(u, -v) == pytest.approx(tiny, rel=1e-4, abs=1e-12)


NO_BRIDGE = np.zeros((0, 300))


def test_spread_of_perturbed_traces() -> None:
    trace = straight_and_arc(8, 5, 60, 300)
    draws = perturbed_traces(
        trace, np.full(300, 0.05), correlation=1.0, end_sd=(0.2, 0.3), bridges=NO_BRIDGE, count=400
    )
    again = perturbed_traces(
        trace, np.full(300, 0.05), correlation=1.0, end_sd=(0.2, 0.3), bridges=NO_BRIDGE, count=400
    )
    assert all(np.array_equal(a, b) for a, b in zip(draws, again, strict=True))
    middle = draws[:, len(draws[0]) // 2]
    across = (middle - middle.mean(axis=0))[:, 1]
    # two sigma of a spread of 400 are 7 %
    assert across.std() == pytest.approx(0.05, rel=0.08)
    assert np.array([draw[0, 0] for draw in draws]).std() == pytest.approx(0.2, rel=0.15)
    tangent = np.array([np.cos(np.radians(60)), np.sin(np.radians(60))])
    ends = np.array([(draw[-1] - trace[-1]) @ tangent for draw in draws])
    assert ends.std() == pytest.approx(0.3, rel=0.2)
    still = perturbed_traces(
        trace, np.zeros(300), correlation=1.0, end_sd=(0.0, 0.0), bridges=NO_BRIDGE, count=2
    )
    assert still[0][[0, -1]] == pytest.approx(trace[[0, -1]], abs=1e-9)


def test_errors_that_change_slowly_go_together_over_twice_as_far() -> None:
    trace = np.stack([np.linspace(0, 20, 300), np.zeros(300)], axis=1)
    given = {"correlation": 1.0, "end_sd": (0.0, 0.0), "bridges": NO_BRIDGE, "count": 2000}
    sd = np.full(300, 0.05)
    shift = round(2.0 / (20 / (len(perturbed_traces(trace, sd, **given)[0]) - 1)))
    found = {}
    for name, slow in (("quick", None), ("slow", sd), ("both", 0.8 * sd)):
        aside = np.array(perturbed_traces(trace, sd, slow_sd=slow, **given))[..., 1]
        assert aside.std(axis=0) == pytest.approx(sd[0], rel=0.08)  # ends as well
        found[name] = np.mean(aside[:, shift:] * aside[:, :-shift]) / sd[0] ** 2
    # white noise under a Gaussian of standard deviation c goes together as exp(-d**2 / (4 c**2))
    lag = 20 / 109 * shift
    assert found["quick"] == pytest.approx(np.exp(-(lag**2) / 4), abs=0.04)
    assert found["slow"] == pytest.approx(np.exp(-(lag**2) / 16), abs=0.04)
    assert found["both"] == pytest.approx(0.64 * found["slow"] + 0.36 * found["quick"], abs=0.04)


def test_a_less_certain_trace_gives_a_less_certain_angle() -> None:
    trace = straight_and_arc(8, 5, 60, 300)
    spreads = []
    for sd in (0.0, 0.03, 0.1):
        draws = perturbed_traces(
            trace, np.full(300, sd), correlation=1.0, end_sd=(0.1, 0.1), bridges=NO_BRIDGE, count=40
        )
        found = angle_with_sd(trace, draws)
        assert found.value == pytest.approx(schneider_deg(trace, 0.1)[0], abs=1e-6)
        spreads.append(found.sd)
    assert all(a < b for a, b in pairwise(spreads))
    assert angle_with_sd(trace, [trace]).sd == found.quantity.smallest_sd


def test_the_turn_to_the_foramen_lies_in_the_last_stretch_and_is_free_at_its_end() -> None:
    trace = straight_and_arc(8, 5, 60, 400)
    for unit in (1.0, 0.05):  # millimetres, and pixels of 0.05 mm
        (aside,) = turn_to_foramen(trace / unit, unit)
        from_end = arc_length(trace) - np.linspace(0, arc_length(trace), 400)
        assert (aside[from_end > 1.55] == 0).all()
        # two normal laws together: foramina lie 0.18 mm aside (one component of the 0.26 to 0.29 mm of
        # Kuttler 1955, by a secondary summary), and a click is taken to scatter by 0.25 mm
        assert aside[-1] * unit == pytest.approx(0.1461, abs=1e-4)
        assert np.interp(0.75, from_end[::-1], aside[::-1]) * unit == pytest.approx(0.1461 / 4, rel=0.02)


def test_the_direction_at_the_end_is_less_certain_than_a_trace_without_foramen_would_say() -> None:
    trace = straight_and_arc(8, 5, 60, 300)
    spreads = []
    for bridges in (NO_BRIDGE, turn_to_foramen(trace, 1.0)):
        draws = perturbed_traces(
            trace, np.full(300, 0.03), correlation=1.0, end_sd=(0.1, 0.1), bridges=bridges, count=60
        )
        found, _ = measure_methods(stack_of_traces(trace, draws))
        spreads.append([found[column].sd for column in ("weine_deg", "long_axis_deg")])
    (weine, long_axis), (weine_turned, long_axis_turned) = spreads
    assert weine_turned > 1.4 * weine
    assert long_axis_turned < 1.3 * long_axis


# Student's t for 23 degrees of freedom is 2.069 (any printed table); of 24 values whose root mean square is 1
# the standard deviation is sqrt(24 / 23), and a further one has 1/24 more variance.
HALF_OF_24 = 2.0687 * np.sqrt(24 / 23) * np.sqrt(1 + 1 / 24)


def made_of(*quantities: Quantity, values) -> CurvatureMethod:
    return replace(method_named("schneider"), quantities=quantities, values=lambda _: values)


def test_an_interval_reaches_down_where_noise_only_adds_and_both_ways_elsewhere() -> None:
    drawn = 40.0 + np.array([-2.0, 2.0] * 12)  # on average 10 above the value, scattered by 2
    values = np.concatenate([[30.0], drawn])
    adds = Quantity("sum_deg", "Sum", "deg", 0.3, noise_adds=True)
    method = made_of(
        adds,
        replace(adds, column="angle_deg", noise_adds=False),
        replace(adds, column="bend_mm", unit="mm", reciprocal=True),
        values={"sum_deg": values, "angle_deg": values, "bend_mm": 300.0 / values},
    )
    found, _ = measure_methods(stack_of_traces(straight_and_arc(8, 5, 60)), methods=[method])
    both = np.hypot(10, 2)
    assert found["sum_deg"].value == found["angle_deg"].value == 30.0
    assert found["angle_deg"].sd == pytest.approx(both)
    # the uncertainty beside the interval is a quarter of its width
    half = HALF_OF_24 * 2
    assert found["sum_deg"].sd == pytest.approx((10 + 2 * half) / (2 * 1.96), rel=1e-3)
    assert found["sum_deg"].interval95 == pytest.approx((30 - 10 - half, 30 + half), rel=1e-3)
    assert found["angle_deg"].interval95 == pytest.approx((30 - 1.96 * 0.3, 40 + half), rel=1e-3)
    # a radius of 300 over each: what the bend may be too great by, the radius may be too small by
    ends = (300 / (30 + half), 300 / (30 - 10 - half))
    assert found["bend_mm"].interval95 == pytest.approx(ends, rel=1e-3)


def test_a_funnel_at_the_orifice_makes_no_s() -> None:
    # the first millimetre of the trace turns aside by 20 degrees; the canal then bends the other way
    assert answer(bends((1, -20), (6, 0), (5, 30)), "s_shaped") == "no"
    assert answer(bends((3, 0), (3, -15), (2, 0), (5, 30)), "s_shaped") == "yes"


def answer(trace, column: str) -> str:
    return measure_methods(stack_of_traces(trace))[0][column].word


def angle_with_sd(trace, draws):
    stack = stack_of_traces(trace, draws, tolerance=0.1)
    return measure_methods(stack, methods=[method_named("schneider")])[0]["schneider_deg"]


def test_method_columns_end_in_their_unit() -> None:
    endings = {"deg": "_deg", "mm": "_mm", "1/mm": "_per_mm", "deg/mm": "_deg_per_mm"}
    for column, quantity in QUANTITIES.items():
        assert column == quantity.column
        assert column.endswith(endings.get(quantity.unit, ""))


@pytest.mark.parametrize("samples", [8, 21, 22, 23, 57, 110, 131])
@pytest.mark.parametrize("shape", ["bent", "straight", "both"])
def test_the_axis_is_that_of_trying_every_beginning(samples: int, shape: str) -> None:
    bent, straight = straight_and_arc(8, 5, 60, samples), straight_and_arc(13, 0.01, 0.0, samples)
    traces = {"bent": [bent], "straight": [straight], "both": [bent, straight, bent[:, ::-1]]}[shape]
    origin, direction = coronal_axis(np.stack(traces), 0.1)
    for k, trace in enumerate(traces):
        for count in range(2, samples + 1):
            part = trace[:count]
            # the principal line is the first singular vector of the centred points (numpy's SVD)
            along = np.linalg.svd(part - part.mean(axis=0))[2][0]
            aside = (part - part.mean(axis=0)) @ np.array([-along[1], along[0]])
            if np.abs(aside).max() > 0.1:
                break
            last = part.mean(axis=0), along
        assert origin[k] == pytest.approx(last[0], abs=1e-9)
        assert np.abs(direction[k] @ last[1]) == pytest.approx(1.0, abs=1e-9)
