"""The drawn construction of every method: finite, told step by step, and saying what the number says.

The number is read back from the drawn shapes alone, by shapely and plain geometry.
"""

from __future__ import annotations

import re
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon

from radio.measure.curvature import stack_of_traces
from radio.measure.drawn import Role, Spot, Step, Stroke, Words, arc, arc_of, circle
from radio.measure.methods import METHODS, method_named
from radio.measure.stack import Placed, TraceStack
from tests.fixtures.bent import answers, chain, kinked, reversed_stack, straight_and_arc, turned

CANALS = {
    "straight": kinked(7, 0, 6),
    "tiny": straight_and_arc(0.3, 0.2, 60),
    "short": straight_and_arc(1.5, 1, 60),
    "hook": straight_and_arc(8, 5, 60),
    "arc": chain((12, 70)),
    "kink": kinked(9, 50, 4),
    "s": chain((6, 0), (3, 40), (4, -30), (1, 0)),
    "s across its axis": chain((8, 0), (1.5, 25), (3, -50), (2.5, -10)),
    "nearly parallel ends": chain((6, 0), (3, 40), (3, -36), (2, 0)),
    "100 degrees": chain((6, 0), (5, 100), (2, 0)),
    "200 degrees": chain((6, 0), (5, 200), (2, 0)),
    "there and back": np.array([[0.0, 0.0], [9.0, 0.0], [0.0, 0.0]]),
}
PLACINGS = {
    "found": Placed(),
    "placed": Placed(np.array([[0.0, 0.1], [5.0, -0.2]]), np.array([7.5, 0.8])),
    "above": Placed(departure=np.array([-3.0, 1.0])),
}
# One bend and ends that are not parallel: every construction is complete.
BENT = st.tuples(st.floats(5, 9), st.floats(2.5, 5), st.floats(12, 75), st.floats(0, 2)).map(
    lambda c: chain((c[0], 0), (c[1], c[2]), (c[3] + 0.01, 0), count=700)
)
STRAIGHT_AT_BOTH_ENDS = st.tuples(
    st.floats(5, 9), st.floats(2.5, 5), st.floats(12, 75), st.floats(2.2, 5)
).map(lambda c: chain((c[0], 0), (c[1], c[2]), (c[3], 0), count=700))
PLACES = st.tuples(st.floats(0, 360), st.booleans())


def drawn(method: str, stack: TraceStack) -> list[Stroke | Spot | Words]:
    return [shape for step in method_named(method).construct(stack) for shape in step.shapes]


def strokes(shapes, role: str) -> list[np.ndarray]:
    return [shape.points for shape in shapes if isinstance(shape, Stroke) and shape.role == role]


def spot(shapes, name: str) -> np.ndarray:
    (found,) = [shape.point for shape in shapes if isinstance(shape, Spot) and shape.name == name]
    return found


def told_degrees(shapes) -> list[float]:
    texts = [shape.text for shape in shapes if isinstance(shape, Words)]
    return [float(re.search(r"([\d.]+)°", text).group(1)) for text in texts if "°" in text]


def between_deg(first: np.ndarray, second: np.ndarray) -> float:
    """Angle between two drawn lines, each from its first to its last point, by complex numbers."""
    u, v = (complex(*(line[-1] - line[0])) for line in (first, second))
    return abs(np.degrees(np.angle(v / u)))


def arc_span_deg(points: np.ndarray) -> float:
    """What a drawn arc spans at its centre, from its chord and its length alone."""
    line = LineString(points)
    n = len(points) - 1
    # each of n chords of an arc stands 1/n of the whole from its neighbour
    joints = [between_deg(points[i : i + 2], points[i + 1 : i + 3]) for i in range(n - 1)]
    assert line.length > 0
    return float(np.sum(joints)) * n / (n - 1)


def placed_somewhere(trace: np.ndarray, where) -> TraceStack:
    degrees, mirror = where
    return stack_of_traces(turned(trace * [1, -1] if mirror else trace, degrees) + np.array([40.0, 25.0]))


def beyond(line: np.ndarray) -> LineString:
    """A drawn line, carried far on both ways."""
    far = 100 * (line[-1] - line[0])
    return LineString([line[0] - far, line[-1] + far])


# -- every method, every canal -----------------------------------------------------------------------------


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
@pytest.mark.parametrize("canal", CANALS)
@pytest.mark.parametrize("placing", PLACINGS)
@pytest.mark.parametrize("unit", ["mm", "px"])
def test_finite_shapes_and_words_for_every_step(method, canal: str, placing: str, unit) -> None:
    size = 1.0 if unit == "mm" else 30.0
    placed = Placed(
        *(None if p is None else size * p for p in (PLACINGS[placing].axis, PLACINGS[placing].departure))
    )
    trace = size * CANALS[canal]
    stack = stack_of_traces(
        trace, [trace + 0.1 * size], unit=unit, tolerance=0.1 if unit == "mm" else 5.0, placed=placed
    )
    before = stack.points.copy()
    steps = method.construct(stack)
    assert np.array_equal(stack.points, before)
    assert steps
    assert all(isinstance(step, Step) for step in steps)
    assert all(step.text[0].isupper() and step.text.endswith((".", "!")) for step in steps)
    assert len({step.text for step in steps}) == len(steps)
    canals = [shape for shape in steps[0].shapes if isinstance(shape, Stroke) and shape.role == "canal"]
    assert np.array_equal(canals[0].points, stack.points[0])
    for shape in (shape for step in steps for shape in step.shapes):
        if isinstance(shape, Stroke):
            assert shape.points.ndim == 2
            assert shape.points.shape[1] == 2
            assert len(shape.points) >= 2
            assert shape.role in get_args(Role)
            assert np.isfinite(shape.points).all()
            continue
        assert shape.point.shape == (2,)
        assert np.isfinite(shape.point).all()
        if isinstance(shape, Words):
            assert shape.text
            assert not re.search(r"nan|inf|None|\[", shape.text)
            assert " px" not in shape.text or unit == "px"
    assert not any(re.search(r"\bnan\b|\binf\b", step.text) for step in steps)
    # draws change nothing about the drawing of the first trace
    alone = method.construct(TraceStack(stack.points[:1], stack.unit, stack.settings, placed))
    assert [step.text for step in alone] == [step.text for step in steps]


@pytest.mark.parametrize("placing", PLACINGS)
def test_what_was_placed_by_hand_is_said(placing: str) -> None:
    placed = PLACINGS[placing]
    steps = method_named("schneider").construct(stack_of_traces(CANALS["hook"], placed=placed))
    hand = [step.text for step in steps if "by hand" in step.text]
    assert len(hand) == (placed.axis is not None) + (placed.departure is not None)
    departs = spot([shape for step in steps for shape in step.shapes], "departure")
    if placed.departure is not None:
        assert np.array_equal(departs, placed.departure)


# -- the number, read back from the drawing ----------------------------------------------------------------


@settings(max_examples=15)
@given(BENT, PLACES)
def test_schneider_from_its_lines(trace, where) -> None:
    stack = placed_somewhere(trace, where)
    value = answers(stack)["schneider_deg"]
    shapes = drawn("schneider", stack)
    (axis,), (chord,), (sweep,) = (strokes(shapes, role) for role in ("axis", "chord", "arc"))
    assert between_deg(axis, chord) == pytest.approx(value, abs=1e-6)
    assert arc_span_deg(sweep) == pytest.approx(value, abs=1e-6)
    assert told_degrees(shapes) == pytest.approx([value], abs=0.051)
    assert chord[0] == pytest.approx(spot(shapes, "departure"))
    assert chord[-1] == pytest.approx(spot(shapes, "canal end"))
    # the departure is on the canal, as far from the drawn axis as the tolerance says
    assert LineString(stack.points[0]).distance(Point(chord[0])) < 1e-9
    assert beyond(axis).distance(Point(chord[0])) == pytest.approx(stack.tolerance, abs=2e-3)
    # the arc opens from the axis to the chord, about the departure
    radius = float(np.hypot(*(sweep[0] - chord[0])))
    assert np.hypot(*(sweep - chord[0]).T) == pytest.approx(radius)
    assert 0 < radius < LineString(chord).length
    assert between_deg(np.stack([chord[0], sweep[0]]), axis) < 1e-6
    assert between_deg(np.stack([chord[0], sweep[-1]]), chord) < 1e-6


@settings(max_examples=15)
@given(BENT, PLACES, st.sampled_from(["weine", "tangent-circle", "long-axis"]))
def test_angles_from_two_lines_that_meet(trace, where, method: str) -> None:
    stack = placed_somewhere(trace, where)
    column = {"weine": "weine_deg", "tangent-circle": "tangent_circle_deg", "long-axis": "long_axis_deg"}
    value = answers(stack)[column[method]]
    shapes = drawn(method, stack)
    (axis,), (apical,) = strokes(shapes, "axis"), strokes(shapes, "second_axis")
    sweep = strokes(shapes, "arc")[-1]
    assert between_deg(axis, apical) == pytest.approx(value, abs=1e-6)
    assert arc_span_deg(sweep) == pytest.approx(value, abs=1e-6)
    assert told_degrees(shapes) == pytest.approx([value], abs=0.051)
    # both are drawn as far as the point that is said to be where they meet
    vertex = spot(shapes, "vertex")
    assert LineString(axis).distance(Point(vertex)) < 1e-9
    assert LineString(apical).distance(Point(vertex)) < 1e-9
    assert np.hypot(*(sweep - vertex).T) == pytest.approx(float(np.hypot(*(sweep[0] - vertex))))
    assert LineString(axis).distance(Point(sweep[0])) < 1e-9
    assert LineString(apical).distance(Point(sweep[-1])) < 1e-9
    assert between_deg(np.stack([vertex, sweep[0]]), axis) < 1e-6
    assert between_deg(np.stack([vertex, sweep[-1]]), apical) < 1e-6


@pytest.mark.parametrize("canal", ["straight", "nearly parallel ends", "s"])
@pytest.mark.parametrize("method", ["weine", "long-axis"])
def test_lines_that_meet_far_away_are_carried_together(canal: str, method: str) -> None:
    stack = stack_of_traces(CANALS[canal])
    value = answers(stack)[f"{method.replace('-', '_')}_deg"]
    shapes = drawn(method, stack)
    first, second = strokes(shapes, "axis")[-1], strokes(shapes, "second_axis")[-1]
    assert between_deg(first, second) == pytest.approx(value, abs=1e-4)
    assert LineString(first).distance(LineString(second)) < 1e-9
    assert told_degrees(shapes) == pytest.approx([value], abs=0.051)
    # nothing runs off: all of it within two lengths of the canal
    everything = np.vstack([np.atleast_2d(getattr(s, "points", getattr(s, "point", None))) for s in shapes])
    middle = stack.points[0, 55]
    assert np.hypot(*(everything - middle).T).max() < 2.5 * stack.length[0]


@settings(max_examples=15)
@given(st.one_of(BENT, STRAIGHT_AT_BOTH_ENDS), PLACES)
def test_the_circle_touches_both_lines(trace, where) -> None:
    stack = placed_somewhere(trace, where)
    found = answers(stack)
    shapes = drawn("tangent-circle", stack)
    ring = strokes(shapes, "arc")[0]
    centre = np.array(Polygon(ring).centroid.coords[0])
    radius = float(np.hypot(*(ring - centre).T).mean())
    assert radius == pytest.approx(found["tangent_circle_radius_mm"], rel=1e-6)
    (axis,), (apical,) = strokes(shapes, "axis"), strokes(shapes, "second_axis")
    for line in (axis, apical):
        assert beyond(line).distance(Point(centre)) == pytest.approx(radius, rel=1e-6)
    # both radii are drawn, to the points of contact, and stand as far apart as the lines (Pruett 1997)
    (radii,) = strokes(shapes, "height")
    assert np.hypot(*(radii[[0, 2]] - radii[1]).T) == pytest.approx(radius, rel=1e-6)
    assert between_deg(radii[[1, 0]], radii[[1, 2]]) == pytest.approx(found["tangent_circle_deg"], abs=1e-6)
    assert between_deg(radii[:2], axis) == pytest.approx(90, abs=1e-6)
    quotient = method_named("quotient").construct(stack)[-1].text
    assert float(re.search(r"[\d.]+\d", quotient).group()) == pytest.approx(
        found["tangent_circle_deg"] / radius, abs=0.006
    )
    tail = LineString(stack.points[0][stack.s[0] > stack.length[0] - stack.apical_portion - 0.1])
    if tail.length - Point(tail.coords[0]).distance(Point(tail.coords[-1])) > 1e-6:
        return  # the apical line is then no tangent of the canal
    # and line, arc, line lie along the canal: within twice the tolerance that axis and departure were given
    contacts = [beyond(line).project(Point(p)) for line, p in ((axis, radii[0]), (apical, radii[2]))]
    from_lines = [beyond(line) for line in (axis, apical)]
    for place in map(Point, stack.points[0]):
        if from_lines[0].project(place) < contacts[0]:
            away = from_lines[0].distance(place)
        elif from_lines[1].project(place) > contacts[1]:
            away = from_lines[1].distance(place)
        else:
            away = abs(place.distance(Point(centre)) - radius)
        assert away < 2 * stack.tolerance


@settings(max_examples=15)
@given(BENT, PLACES)
def test_the_circle_of_two_segments_goes_through_its_points(trace, where) -> None:
    stack = placed_somewhere(trace, where)
    found = answers(stack)
    shapes = drawn("two-segments", stack)
    (ring,), (pieces,) = strokes(shapes, "arc"), strokes(shapes, "chord")
    assert np.hypot(*np.diff(pieces, axis=0).T) == pytest.approx(6.0)
    assert pieces[1] == pytest.approx(spot(shapes, "vertex"))
    bisectors = strokes(shapes, "height")
    centre = bisectors[0][-1]
    assert bisectors[1][-1] == pytest.approx(centre)
    radius = found["two_segment_radius_mm"]
    for point in (*pieces, *ring):
        assert np.hypot(*(point - centre)) == pytest.approx(radius, rel=1e-9)
    for half, ends in zip(bisectors, (pieces[:2], pieces[1:]), strict=True):
        assert half[0] == pytest.approx(ends.mean(axis=0))
        assert between_deg(half, ends) == pytest.approx(90, abs=1e-4)


@settings(max_examples=15)
@given(st.one_of(BENT, st.floats(160, 330).map(lambda theta: straight_and_arc(6, 1.5, theta, 700))), PLACES)
def test_the_arc_on_the_chord_is_the_one_whose_length_is_stated(trace, where) -> None:
    # an axis-chord angle above 90 degrees belongs to the longer of the two arcs on the chord
    stack = placed_somewhere(trace, where)
    found = answers(stack)
    shapes = drawn("chord-radius", stack)
    curve = strokes(shapes, "arc")[-1]
    assert curve[0] == pytest.approx(spot(shapes, "departure"), abs=1e-9)
    assert curve[-1] == pytest.approx(spot(shapes, "canal end"), abs=1e-9)
    assert np.hypot(*(curve - spot(shapes, "centre")).T) == pytest.approx(found["chord_radius_mm"])
    n, span = len(curve) - 1, np.radians(2 * found["schneider_deg"])
    # n chords are shorter than their arc by a factor sin(x) / x, x half a piece
    whole = LineString(curve).length / np.sinc(span / (2 * n) / np.pi)
    assert whole == pytest.approx(found["chord_arc_mm"], rel=1e-9)
    # it sets out along the axis
    (axis,) = strokes(shapes, "axis")
    assert between_deg(axis, curve[:2]) == pytest.approx(np.degrees(span) / (2 * n), abs=1e-6)


@settings(max_examples=15)
@given(BENT, PLACES)
def test_access_angle_and_heights_from_their_lines(trace, where) -> None:
    stack = placed_somewhere(trace, where)
    found = answers(stack)
    shapes = drawn("access-angle", stack)
    (base,), (chord,) = strokes(shapes, "second_axis"), strokes(shapes, "chord")
    assert base == pytest.approx(np.stack([spot(shapes, "orifice"), spot(shapes, "canal end")]))
    assert chord == pytest.approx(np.stack([spot(shapes, "orifice"), spot(shapes, "departure")]))
    assert between_deg(base, chord) == pytest.approx(found["access_angle_deg"], abs=1e-6)
    assert arc_span_deg(strokes(shapes, "arc")[-1]) == pytest.approx(found["access_angle_deg"], abs=1e-6)
    heights = strokes(shapes, "height")
    for line, suffix in zip(heights, ("", "_deepest"), strict=True):
        assert LineString(line).length == pytest.approx(found[f"curve_height{suffix}_mm"], abs=1e-9)
        along = float(np.hypot(*(line[1] - base[0])))
        assert along == pytest.approx(abs(found[f"curve_distance{suffix}_mm"]), abs=1e-9)
        assert beyond(base).distance(Point(line[1])) < 1e-6
        assert between_deg(line, base) == pytest.approx(90, abs=1e-4)
    # nothing of the canal is further from the base than the deepest point
    furthest = max(beyond(base).distance(Point(p)) for p in stack.points[0])
    assert LineString(heights[1]).length == pytest.approx(furthest, abs=1e-6)


@settings(max_examples=15)
@given(BENT, PLACES)
def test_four_points_from_their_lines(trace, where) -> None:
    stack = placed_somewhere(trace, where)
    value = answers(stack)["four_point_deg"]
    shapes = drawn("four-point", stack)
    (axis,), (apical,) = strokes(shapes, "axis"), strokes(shapes, "second_axis")
    assert between_deg(axis, apical) == pytest.approx(value, abs=1e-6)
    assert told_degrees(shapes) == pytest.approx([value], abs=0.051)
    canal = LineString(stack.points[0])
    assert canal.project(Point(spot(shapes, "2 mm"))) == pytest.approx(2.0, abs=1e-3)
    assert canal.length - canal.project(Point(spot(shapes, "1 mm"))) == pytest.approx(1.0, abs=1e-3)
    assert LineString(axis).distance(Point(spot(shapes, "2 mm"))) < 1e-9
    assert LineString(apical).distance(Point(spot(shapes, "1 mm"))) < 1e-9


def test_a_canal_too_short_for_four_points_is_told_so() -> None:
    steps = method_named("four-point").construct(stack_of_traces(CANALS["short"]))
    assert "shorter than 3 mm" in steps[-1].text
    assert not told_degrees([shape for step in steps for shape in step.shapes])


@settings(max_examples=15)
@given(BENT, PLACES)
def test_pieces_and_stations_add_up(trace, where) -> None:
    stack = placed_somewhere(trace, where)
    found = answers(stack)
    for method, column in (("straight-pieces", "pieces_sum_deg"), ("point-turning", "total_turning_deg")):
        shapes = drawn(method, stack)
        (pieces,) = strokes(shapes, "chord")
        joints = [between_deg(pieces[i : i + 2], pieces[i + 1 : i + 3]) for i in range(len(pieces) - 2)]
        assert sum(joints) == pytest.approx(found[column], abs=1e-6)
        told = told_degrees(shapes)
        if method == "straight-pieces":
            assert told == pytest.approx(joints, abs=0.051)
            assert max(joints) == pytest.approx(found["pieces_greatest_deg"], abs=1e-6)
            assert len(pieces) == 7
        else:
            assert told == pytest.approx([sum(joints)], abs=0.051)
            lengths = np.hypot(*np.diff(pieces, axis=0).T)
            # what is left of the last millimetre is shared out among all; the chord of 1 mm of an arc is
            # shorter by 1 / 24 r^2, 0.012 mm at the smallest radius here
            assert lengths == pytest.approx(stack.length[0] / round(stack.length[0]), abs=0.014)


@settings(max_examples=15)
@given(BENT, PLACES)
def test_the_circle_of_curvature_lies_against_the_canal(trace, where) -> None:
    stack = placed_somewhere(trace, where)
    found = answers(stack)
    shapes = drawn("profile", stack)
    (ring,), (smooth,) = strokes(shapes, "arc"), strokes(shapes, "chord")
    at = spot(shapes, "greatest curvature")
    radius = found["smallest_radius_mm"]
    centre = strokes(shapes, "height")[0][0]
    assert np.hypot(*(ring - centre).T) == pytest.approx(radius, rel=1e-6)
    assert np.hypot(*(at - centre)) == pytest.approx(radius, rel=1e-6)
    # three neighbouring points of the smoothed canal have that circle (another formula: circumradius)
    index = int(np.hypot(*(smooth - at).T).argmin())
    corner = smooth[[index - 3, index, index + 3]]
    a, b, c = (float(np.hypot(*(corner[i] - corner[j]))) for i, j in ((1, 2), (0, 2), (0, 1)))
    assert a * b * c / (4 * Polygon(corner).area) == pytest.approx(radius, rel=0.03)
    # and its centre on the inner side
    assert np.hypot(*(corner[[0, 2]].mean(axis=0) - centre)) < radius


@pytest.mark.parametrize("canal", ["s", "s across its axis"])
@pytest.mark.parametrize("side", [1, -1])
def test_both_angles_of_an_s_from_its_lines(canal: str, side: int) -> None:
    stack = stack_of_traces(CANALS[canal] * [1, side])
    found = answers(stack)
    shapes = drawn("secondary", stack)
    (axis,), (between,) = strokes(shapes, "axis"), strokes(shapes, "second_axis")
    first, second = strokes(shapes, "chord")
    assert between_deg(axis, first) == pytest.approx(found["primary_curve_deg"], abs=1e-6)
    assert between_deg(between, second) == pytest.approx(found["secondary_curve_deg"], abs=1e-6)
    assert told_degrees(shapes) == pytest.approx(
        [found["primary_curve_deg"], found["secondary_curve_deg"]], abs=0.051
    )
    assert first[0] == pytest.approx(spot(shapes, "departure"))
    assert first[1] == pytest.approx(spot(shapes, "second curve"))
    # in order along the canal, and bending to opposite sides
    line = LineString(stack.points[0])
    assert line.project(Point(first[0])) < line.project(Point(first[1])) < line.length
    turns = [
        np.angle(complex(*(v[-1] - v[0])) / complex(*(u[-1] - u[0])))
        for u, v in ((axis, first), (between, second))
    ]
    assert turns[0] * turns[1] < 0


def test_the_form_is_told_in_words() -> None:
    for name, form in (("straight", "straight"), ("hook", "apically curved"), ("s", "multi-curved")):
        stack = stack_of_traces(CANALS[name])
        assert form in method_named("form").construct(stack)[-1].text
    back = reversed_stack(stack_of_traces(CANALS["s"]))
    assert "multi-curved" in method_named("form").construct(back)[-1].text


@given(st.floats(0.1, 50), st.floats(-180, 180), st.floats(-179, 179))
def test_arcs_and_circles(radius: float, start: float, turn: float) -> None:
    centre = np.array([3.0, -7.0])
    a, b = np.radians(start), np.radians(start + turn)
    first, last = (np.array([np.cos(x), np.sin(x)]) for x in (a, b))
    for curve in (arc(centre, radius, first, last), arc_of(centre, radius, first, np.radians(turn))):
        assert curve.points[0] == pytest.approx(centre + radius * first)
        assert curve.points[-1] == pytest.approx(centre + radius * last, abs=1e-6 * radius + 1e-9)
        assert LineString(curve.points).length == pytest.approx(
            radius * abs(np.radians(turn)), rel=1e-3, abs=1e-9
        )
    ring = Polygon(circle(centre, radius).points)
    assert ring.area == pytest.approx(np.pi * radius**2, rel=1e-3)
    assert ring.centroid.coords[0] == pytest.approx(tuple(centre), abs=1e-9 * radius + 1e-9)
