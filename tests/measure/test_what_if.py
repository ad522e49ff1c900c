"""What-if against plain geometry: a straight canal of p mm, then a tangent arc of radius r through theta.

With the axis and the departure point placed exactly where the arc begins, every move has a closed form. The
chord of an arc stands half way between its end tangents (tangent-chord theorem, Euclid III.32).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radio.measure.curvature import stack_of_traces
from radio.measure.methods import METHODS, method_named
from radio.measure.settings import DEFAULT_SETTINGS
from radio.measure.stack import Placed
from radio.measure.what_if import BENDING_MM, USUAL_CANAL_MM, what_if
from tests.fixtures.bent import chain, straight_and_arc, turned

SHAPES = [(8.0, 5.0, 60.0), (10.0, 10.0, 40.0), (9.0, 8.0, 30.0), (6.0, 4.0, 75.0)]
BY = 0.5


def placed_stack(p, r, theta, **more):
    placed = Placed(np.array([[0.0, 0.0], [p, 0.0]]), np.array([p, 0.0]))
    return stack_of_traces(straight_and_arc(p, r, theta), tolerance=0.1, placed=placed, **more)


def after(found, part, way, column="schneider_deg"):
    (one,) = [c for c in found.changes if (c.move.part, c.move.way) == (part, way) and c.column == column]
    return one.after


def before(found, column="schneider_deg"):
    (value,) = {one.before for one in found.changes if one.column == column}
    return value


def degrees_of(vector):
    """Angle of a (row, col) vector from +row toward +col."""
    return np.degrees(np.arctan2(vector[1], vector[0]))


def apical_line(r, theta):
    """Direction of the least-squares line of the last 2 mm of an arc: that of its middle, by symmetry."""
    return theta - np.degrees(DEFAULT_SETTINGS.apical_portion_mm / 2 / r)


def end_of(p, r, theta):
    t = np.radians(theta)
    return np.array([p + r * np.sin(t), r * (1 - np.cos(t))])


@pytest.mark.parametrize("shape", SHAPES)
def test_moving_the_axis_turns_it_by_the_angle_of_the_move(shape):
    p, r, theta = shape
    found = what_if(placed_stack(*shape), METHODS)
    turn = np.degrees(np.arctan(BY / p))
    # the canal bends toward +col: an axis begun further left leans toward the bend
    for column, angle in (("schneider_deg", theta / 2), ("weine_deg", apical_line(r, theta))):
        assert before(found, column) == pytest.approx(angle, abs=0.35)
        assert after(found, "axis", "left", column) - before(found, column) == pytest.approx(-turn, abs=1e-6)
        assert after(found, "axis", "right", column) - before(found, column) == pytest.approx(turn, abs=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
def test_moving_the_departure_point_turns_the_chord(shape):
    p, r, theta = shape
    found = what_if(placed_stack(*shape))
    coronal = degrees_of(end_of(*shape) - [p - BY, 0.0])
    apical = np.degrees(BY / r) / 2 + theta / 2
    assert after(found, "departure", "coronal") == pytest.approx(coronal, abs=0.02)
    # the point goes along with the nearest of 110 samples
    assert after(found, "departure", "apical") == pytest.approx(apical, abs=0.1)
    # it is no part of Weine's construction
    assert after(found, "departure", "apical", "weine_deg") == before(found, "weine_deg")


@pytest.mark.parametrize("shape", SHAPES)
def test_a_shorter_canal_has_an_arc_that_much_shorter(shape):
    _, r, theta = shape
    found = what_if(placed_stack(*shape))
    less = theta - np.degrees(BY / r)
    assert after(found, "end", "shorter") == pytest.approx(less / 2, abs=0.02)
    assert after(found, "end", "shorter", "weine_deg") == pytest.approx(apical_line(r, less), abs=0.35)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_longer_canal_goes_straight_on(shape):
    p, _, theta = shape
    t = np.radians(theta)
    end = end_of(*shape) + BY * np.array([np.cos(t), np.sin(t)])
    found = what_if(placed_stack(*shape))
    # straight on from the last of 110 samples
    assert after(found, "end", "longer") == pytest.approx(degrees_of(end - [p, 0.0]), abs=0.1)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_end_moved_aside_takes_the_chord_along_and_bends_the_canal(shape):
    p, _, theta = shape
    t = np.radians(theta)
    normal = np.array([-np.sin(t), np.cos(t)])  # toward more bend: up, or to the right, whichever it is more
    more, less = ("right", "left") if theta < 45 else ("up", "down")
    found = what_if(placed_stack(*shape))
    for way, sign in ((more, 1), (less, -1)):
        end = end_of(*shape) + sign * BY * normal
        assert after(found, "end", way) == pytest.approx(degrees_of(end - [p, 0.0]), abs=0.1)
        # the line through a part of a parabola leans as the parabola does in the middle of that part
        middle = BENDING_MM - DEFAULT_SETTINGS.apical_portion_mm / 2
        leaning = np.degrees(np.arctan(2 * BY * middle / BENDING_MM**2))
        turned_by = after(found, "end", way, "weine_deg") - before(found, "weine_deg")
        assert turned_by == pytest.approx(sign * leaning, abs=1.5)


@pytest.mark.parametrize("shape", SHAPES)
def test_what_the_rule_found_turns_about_the_departure_point(shape):
    found = what_if(stack_of_traces(straight_and_arc(*shape), tolerance=0.1))
    stack = stack_of_traces(straight_and_arc(*shape), tolerance=0.1)
    origin, direction = stack.axis[0][0], stack.axis[1][0]
    lever = (stack.departure[0] - stack.orifice[0]) @ direction
    turn = np.degrees(np.arctan(BY / lever))
    assert np.isfinite(origin).all()
    # held beside the departure point, the axis is left there as before
    assert after(found, "axis", "right") - before(found) == pytest.approx(turn, abs=0.15)
    assert after(found, "axis", "left") - before(found) == pytest.approx(-turn, abs=0.15)


def test_a_straight_canal_has_no_departure_point_to_move():
    found = what_if(stack_of_traces(chain((13.0, 0.0)), tolerance=0.1))
    assert before(found) == 0.0
    assert {move.part for move in found.moves} == {"axis", "end"}
    assert len(found.left_out) == 2
    assert all("does not leave its axis" in text for text in found.left_out)
    # aside by 0.5 t^2 over the last 3 mm: 0.1 mm aside at t = 0.447, from where it rises 0.4 mm in 1.66 mm
    rise = np.degrees(np.arctan((0.5 - 0.1) / (BENDING_MM * (1 - np.sqrt(0.2)))))
    assert after(found, "end", "left") == pytest.approx(rise, abs=1.5)
    assert after(found, "end", "left") == pytest.approx(after(found, "end", "right"), abs=1e-6)


def test_without_a_scale_the_same_share_of_the_canal_is_taken():
    p, r = 8.0, 5.0
    theta = np.degrees((USUAL_CANAL_MM - p) / r)
    in_mm = what_if(placed_stack(p, r, theta))
    placed = Placed(np.array([[0.0, 0.0], [20 * p, 0.0]]), np.array([20 * p, 0.0]))
    points = 20 * straight_and_arc(p, r, theta)
    in_px = what_if(stack_of_traces(points, unit="px", tolerance=2.0, placed=placed))
    assert (in_mm.by, in_mm.unit) == (BY, "mm")
    assert in_px.by == pytest.approx(20 * BY, rel=1e-4)
    assert "4% of the canal's length (there is no scale)" in in_px.told
    for move in in_mm.moves:
        assert after(in_px, move.part, move.way) == pytest.approx(after(in_mm, move.part, move.way), abs=1e-3)
    columns = {one.column for one in in_px.changes}
    assert {"schneider_deg", "weine_deg", "canal_form", "s_shaped"} <= columns
    assert not [name for name in columns if name.endswith(("_mm", "per_mm"))]


def test_only_the_first_trace_counts_and_nothing_is_changed():
    trace = straight_and_arc(8, 5, 60)
    alone, several = (
        stack_of_traces(trace, draws, tolerance=0.1) for draws in ((), (2 * trace, trace + 1.0))
    )
    kept = several.points.copy()
    assert what_if(several).changes == what_if(alone).changes
    assert np.array_equal(several.points, kept)


@settings(max_examples=20, deadline=None)
@given(st.floats(0, 360), st.floats(-500, 500), st.floats(-500, 500))
def test_turning_and_moving_the_image_changes_the_names_of_the_sides_only(degrees, row, col):
    method = [method_named("schneider")]
    trace = straight_and_arc(8, 5, 60)
    there = what_if(stack_of_traces(turned(trace, degrees) + np.array([row, col]), tolerance=0.1), method)
    here = what_if(stack_of_traces(trace, tolerance=0.1), method)
    for part in ("axis", "departure", "end"):
        values = [
            sorted(one.after for one in found.changes if one.move.part == part) for found in (here, there)
        ]
        assert values[0] == pytest.approx(values[1], abs=1e-3)


def test_an_axis_clicked_from_below_is_moved_at_its_coronal_end_too():
    points = straight_and_arc(8, 5, 60)
    axis = np.array([[0.0, 0.1], [7.0, -0.1]])
    found = [
        what_if(stack_of_traces(points, tolerance=0.1, placed=Placed(one))) for one in (axis, axis[::-1])
    ]
    for way in ("left", "right"):
        assert after(found[0], "axis", way) == pytest.approx(after(found[1], "axis", way), abs=1e-9)


def test_a_placed_departure_point_beside_the_canal_keeps_its_distance_from_it():
    placed = Placed(np.array([[0.0, 0.0], [8.0, 0.0]]), np.array([7.0, 0.3]))
    found = what_if(stack_of_traces(straight_and_arc(8, 5, 60), tolerance=0.1, placed=placed))
    chord = end_of(8, 5, 60) - [6.5, 0.3]
    assert after(found, "departure", "coronal") == pytest.approx(degrees_of(chord), abs=0.02)


def test_words_are_told_before_and_after():
    s_shape = chain((5, 0), (4, 26), (4, -26), (1, 0))
    found = what_if(stack_of_traces(s_shape, tolerance=0.1), [method_named("secondary")])
    assert before(found, "s_shaped") == "yes"
    # the last 3 mm bent against the second curve by 2 * 0.5 / 3 of a radian, 18 degrees: too little is left
    words = {one.move.way: one.after for one in found.changes if one.column == "s_shaped"}
    assert words["left"] == "yes"
    assert words["right"] == "no"
    gone = {one.move.way: one.after for one in found.changes if one.column == "secondary_curve_deg"}
    assert gone["right"] is None
    assert gone["left"] > before(found, "secondary_curve_deg")


def test_moves_without_room_are_named():
    short = what_if(stack_of_traces(chain((1.9, 20.0)), tolerance=0.1))
    assert any(text.startswith("canal end 0.5 mm back") for text in short.left_out)
    placed = Placed(departure=np.array([0.2, 0.0]))
    near = what_if(stack_of_traces(straight_and_arc(8, 5, 60), tolerance=0.1, placed=placed))
    assert any("toward the orifice: it would come within" in text for text in near.left_out)
    assert any(text.startswith("coronal end of the axis") for text in near.left_out)


def test_it_can_be_asked_for_another_distance():
    far = what_if(placed_stack(8, 5, 60), by_mm=1.0)
    assert after(far, "axis", "right") - before(far) == pytest.approx(np.degrees(np.arctan(1 / 8)), abs=1e-6)
    assert all("1 mm" in move.text for move in far.moves)


@pytest.mark.parametrize("by_mm", [0.0, -0.5, np.nan, np.inf])
def test_a_distance_that_is_none_is_refused(by_mm):
    with pytest.raises(ValueError, match="finite number above 0"):
        what_if(placed_stack(8, 5, 60), by_mm=by_mm)
