"""Curvature along the canal, its form, side, and both curves of an S, against calculus and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_interp_spline

from radio.measure.curvature import stack_of_traces
from radio.measure.methods.secondary import two_bends
from radio.measure.stack import TraceStack
from tests.fixtures.bent import answers, answers_of, chain, reversed_stack, turned

# -- curvature along the canal -----------------------------------------------------------------------------


@pytest.mark.parametrize(("r", "length"), [(5, 12), (8, 12), (12, 12), (25, 16)])
@pytest.mark.parametrize("side", [1, -1])
def test_a_circle_has_one_over_its_radius_all_along(r: float, length: float, side: int) -> None:
    stack = stack_of_traces(chain((length, side * np.degrees(length / r))))
    inside = slice(6, -6)
    # a spline is free at its ends: 5 % within half a millimetre of them, a hundredth further in
    assert stack.curvature[0, inside] == pytest.approx(side / r, rel=0.05)
    assert stack.curvature[0, 20:-20] == pytest.approx(side / r, rel=0.012)
    back = reversed_stack(stack).curvature[0]
    assert back[inside] == pytest.approx(-stack.curvature[0, ::-1][inside], rel=1e-6)
    found = answers(stack)
    assert found["smallest_radius_mm"] == pytest.approx(r, rel=0.02)
    assert found["mean_curvature_per_mm"] == pytest.approx(1 / r, rel=0.02)
    assert found["smooth_turning_deg"] == pytest.approx(np.degrees(length / r), rel=0.02)
    assert found["curved_length_mm"] == pytest.approx(length, rel=1e-3)
    assert found["greatest_curvature_per_mm"] == pytest.approx(1 / found["smallest_radius_mm"])


def test_curvature_is_that_of_an_independent_spline() -> None:
    s = np.linspace(0, 14, 8001)
    points = np.stack([s, 0.9 * np.sin(2 * np.pi * s / 14)], axis=1)
    stack = stack_of_traces(points)
    spline = make_interp_spline(stack.s[0], stack.points[0], k=5)
    first, second = spline(stack.s[0], 1), spline(stack.s[0], 2)
    bend = (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / np.hypot(*first.T) ** 3
    inside = slice(20, -20)
    # waves of 14 mm pass a smoothing that halves those of 4 mm: (4 / 14)^6 is nothing; near a free end, where
    # the curvature itself changes, a spline knows it less well
    most = np.abs(bend).max()
    assert stack.curvature[0, inside] == pytest.approx(bend[inside], abs=0.04 * most)
    assert stack.curvature[0, 6:-6] == pytest.approx(bend[6:-6], abs=0.2 * most)
    found = answers(stack)
    assert found["greatest_curvature_per_mm"] == pytest.approx(np.abs(bend[inside]).max(), rel=0.03)
    where = stack.length[0] - found["greatest_curvature_from_end_mm"]
    assert min(abs(where - stack.length[0] * share) for share in (0.25, 0.75)) < 0.3


@pytest.mark.parametrize("degrees", [20.0, 45.0, 70.0])
def test_a_bend_that_comes_and_goes_gently(degrees: float) -> None:
    # the heading grows as a smooth step over 10 mm, so its greatest slope is twice the mean (calculus)
    s = np.linspace(0, 16, 4001)
    u = np.clip((s - 3) / 10, 0, 1)
    heading = np.radians(degrees) * (u - np.sin(2 * np.pi * u) / (2 * np.pi))
    step = np.stack([np.cos(heading), np.sin(heading)], axis=1)[:-1] * (s[1] - s[0])
    found = answers_of(np.vstack([[0, 0], np.cumsum(step, axis=0)]))
    assert found["smooth_turning_deg"] == pytest.approx(degrees, rel=0.03)
    assert found["smallest_radius_mm"] == pytest.approx(10 / (2 * np.radians(degrees)), rel=0.03)
    assert found["greatest_curvature_from_end_mm"] == pytest.approx(8, abs=0.3)
    least = np.arccos(1 - 10 / np.radians(degrees) / 40) / (2 * np.pi) * 10  # from where r is below 40 mm
    assert found["curved_length_mm"] == pytest.approx(10 - 2 * least, abs=0.5)


def test_smoothing_halves_the_waves_it_says() -> None:
    stack = stack_of_traces(np.stack([np.linspace(0, 20, 800), np.zeros(800)], axis=1))
    s = stack.points[0, :, 0]
    for wave, share in ((4.0, 0.5), (8.0, 1 / (1 + 0.5**6)), (2.0, 1 / (1 + 2.0**6))):
        aside = 0.02 * np.sin(2 * np.pi * s / wave)
        moved = TraceStack(np.stack([s, aside], axis=1)[None])
        inside = slice(30, -30)
        left = moved.smooth[0, inside, 1] @ aside[inside] / (aside[inside] @ aside[inside])
        assert left == pytest.approx(share, abs=0.03)


def test_a_straight_canal_has_no_radius_and_no_bend() -> None:
    found = answers_of(turned(np.array([[0.0, 0.0], [13.0, 0.0]]), 33))
    assert not [column for column in found if "radius" in column]
    angles = {column: value for column, value in found.items() if column.endswith("_deg")}
    assert len(angles) >= 8
    assert list(angles.values()) == pytest.approx([0.0] * len(angles), abs=1e-4)
    assert found["curved_length_mm"] == 0
    assert (found["canal_form"], found["bend_side"], found["s_shaped"]) == ("straight", "none", "no")


# -- forms, sides, S-shapes --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("form", "pieces"),
    [
        ("straight", [(13, 0)]),
        ("straight", [(9, 0), (4, 4)]),
        ("apically curved", [(9, 0), (4, 40)]),
        ("apically curved", [(8, 0), (3, -30), (2, 0)]),
        ("continuously curved", [(13, 60)]),
        ("continuously curved", [(2, 0), (11, -45)]),
        ("multi-curved", [(5, 0), (3, 35), (5, -40)]),
        ("multi-curved", [(5, 0), (3, -35), (5, 40)]),
    ],
)
def test_forms(form: str, pieces) -> None:
    # the four forms of Dobo-Nagy et al. (1995, 2002, abstract)
    found = answers_of(chain(*pieces))
    assert found["canal_form"] == form
    assert found["s_shaped"] == ("yes" if form == "multi-curved" else "no")


@pytest.mark.parametrize("turn", [25.0, -25.0, 60.0, -60.0, 110.0])
@pytest.mark.parametrize("degrees", [0.0, 90.0, 180.0, 300.0])
def test_side_is_that_of_the_image(turn: float, degrees: float) -> None:
    trace = turned(chain((7, 0), (5, turn)), degrees)
    # the canal end against the line of the straight part, as seen on the screen
    along = trace[1] - trace[0]
    rel = trace[-1] - trace[0]
    row, col = rel - (rel @ along) / (along @ along) * along
    seen = ("right" if col > 0 else "left") if abs(col) > abs(row) else ("down" if row > 0 else "up")
    assert answers_of(trace)["bend_side"] == seen
    flipped = {"left": "right", "right": "left"}.get(seen, seen)
    assert answers_of(trace * [1, -1])["bend_side"] == flipped


@pytest.mark.parametrize(("first", "second"), [(30, 30), (40, 25), (25, 50)])
@pytest.mark.parametrize("side", [1, -1])
def test_both_angles_of_an_s_shape(first: float, second: float, side: int) -> None:
    # Cunningham and Senia 1992: Schneider's technique for each curve. The second curve is an arc that sets
    # out along the straight between the two, so its chord stands half its turn from that (tangent and chord)
    pieces = [(6, 0), (3, side * first), (2, 0), (4, -side * second)]
    between = np.vstack([chain(*pieces[:3])[-1], chain(*pieces[:1])[-1]])
    row, col = between[0] - between[1]
    found = answers_of(chain(*pieces), tolerance=0.02)
    assert found["s_shaped"] == "yes"
    # the tolerance is left up to 4 degrees of arc late, half of which counts; smoothing over 4 mm lets the
    # direction between two close bends fall short by some 4 degrees
    assert found["primary_curve_deg"] == pytest.approx(np.degrees(np.arctan2(abs(col), row)), abs=4.5)
    assert found["secondary_curve_deg"] == pytest.approx(second / 2, abs=4.5)
    bends = two_bends(stack_of_traces(chain(*pieces)))
    assert side * bends.first_deg[0] == pytest.approx(first, abs=4)
    assert -side * bends.second_deg[0] == pytest.approx(second, abs=6)


def test_an_s_that_comes_back_across_its_axis_has_its_first_angle_before_that() -> None:
    # where it leaves the axis for good lies in the second curve; looking back from there to where the second
    # curve starts is no angle of the first curve
    pieces = [(8, 0), (1.5, 25), (3.0, -50), (2.5, -10)]
    stack = stack_of_traces(chain(*pieces))
    found = answers(stack)
    assert stack.departure_s[0] > 11
    assert found["s_shaped"] == "yes"
    assert 8 < found["primary_curve_deg"] < 25
    assert 20 < found["secondary_curve_deg"] < 50


@settings(max_examples=40)
@given(st.lists(st.tuples(st.floats(2, 5), st.floats(-4, 60)), min_size=1, max_size=3), st.booleans())
def test_a_bend_to_one_side_is_no_s(bends, mirror: bool) -> None:
    # what turns back by less than half of the least bend of an S cannot count as one
    trace = chain((6, 0), *bends)
    found = answers_of(trace * [1, -1] if mirror else trace)
    if all(turn >= 0 for _, turn in bends) and all(turn / length < 12 for length, turn in bends):
        assert found["s_shaped"] == "no"
        assert found["canal_form"] != "multi-curved"
