"""Geometry of ordered points against closed forms and shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from radio.errors import TraceError
from radio.trace.curve import (
    arc_length,
    cumulative_length,
    end_directions,
    normals,
    point_at,
    project,
    resample,
    section,
    spline_through,
    without_repeats,
)

COORDINATE = st.floats(-500, 500)
# real clicks lie at least a fraction of a pixel apart
GRID_POINT = st.tuples(st.integers(-300, 300), st.integers(-300, 300))


@st.composite
def polylines(draw, most: int = 9):
    points = draw(st.lists(GRID_POINT, min_size=2, max_size=most))
    points = np.array(points, float)
    assume((np.hypot(*np.diff(points, axis=0).T) > 0.5).all())
    return points


@st.composite
def smooth_lines(draw):
    """A dense line that bends gently: a chain of arcs, radius at least 60, points 1 apart."""
    bends = draw(st.lists(st.floats(-1 / 60, 1 / 60), min_size=2, max_size=5))
    curvature = np.repeat(bends, draw(st.integers(20, 60)))
    heading = draw(st.floats(0, 2 * np.pi)) + np.cumsum(curvature)
    assume(np.ptp(heading) < 2.0)
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1)
    return np.array([draw(COORDINATE), draw(COORDINATE)]) + np.vstack([[0, 0], np.cumsum(steps, axis=0)])


@given(polylines())
def test_length_is_shapelys(points) -> None:
    assert arc_length(points) == pytest.approx(shapely.LineString(points).length, rel=1e-12)
    cumulative = cumulative_length(points)
    assert cumulative[0] == 0.0
    assert (np.diff(cumulative) > 0).all()
    assert len(cumulative) == len(points)


@pytest.mark.parametrize(("radius", "turn_deg"), [(2, 30), (2, 45), (2, 60), (5, 30), (5, 45), (5, 60)])
def test_length_of_arcs(radius: float, turn_deg: float) -> None:
    # the simulated canals of Pruett 1997 (J Endod 23:77): 30, 45 and 60 degrees, radius 2 and 5 mm; radius
    # times angle gives 1.0472 to 5.2360 mm
    angle = np.linspace(0, np.radians(turn_deg), 2001)
    points = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    assert arc_length(points) == pytest.approx(radius * np.radians(turn_deg), rel=1e-6)


@given(polylines(), st.floats(0, 1))
def test_point_at_is_shapelys_interpolation(points, share: float) -> None:
    line = shapely.LineString(points)
    exact = line.interpolate(share * line.length)
    assert point_at(points, [share * arc_length(points)])[0] == pytest.approx((exact.x, exact.y), abs=1e-8)


@given(polylines(), st.floats(0.1, 100))
def test_both_ends_run_on_straight(points, beyond: float) -> None:
    first, last = end_directions(points)
    total = arc_length(points)
    before, after = point_at(points, [-beyond, total + beyond])
    assert before == pytest.approx(points[0] - beyond * first, abs=1e-9)
    assert after == pytest.approx(points[-1] + beyond * last, abs=1e-9)


@given(smooth_lines(), st.floats(0.02, 0.98), st.floats(-25, 25))
def test_projecting_a_point_put_beside_the_line_finds_it_again(points, share: float, aside: float) -> None:
    s = share * arc_length(points)
    near = point_at(points, [s - 0.05, s, s + 0.05])
    direction = (near[2] - near[0]) / np.hypot(*(near[2] - near[0]))
    query = near[1] + aside * np.array([-direction[1], direction[0]])
    line = shapely.LineString(points)
    assume(line.distance(shapely.Point(query)) > abs(aside) - 0.3)  # no other part of the line is nearer
    found_s, found_aside = project(points, query)
    # the foot on a polyline of 1 px segments on radius 60, 25 px aside, wanders by less than a segment
    assert found_s == pytest.approx(s, abs=1.0)
    assert found_aside == pytest.approx(aside, abs=0.05)


@given(smooth_lines(), st.floats(0, 1), st.floats(-40, 40), st.floats(-40, 40))
def test_distance_within_the_line_is_shapelys(points, share: float, down: float, right: float) -> None:
    line = shapely.LineString(points)
    row, col = point_at(points, [share * line.length])[0] + (down, right)
    query = shapely.Point(row, col)
    s = line.project(query)
    assume(0.5 < s < line.length - 0.5)
    found_s, aside = project(points, (row, col), extend=False)
    foot = point_at(points, [found_s])[0]
    assert np.hypot(*(foot - (row, col))) == pytest.approx(line.distance(query), abs=1e-6)
    # across the line, not to a vertex: equal up to the half-angle between two segments
    assert abs(aside) == pytest.approx(line.distance(query), rel=1e-3, abs=1e-6)


@given(smooth_lines(), st.floats(0.5, 60), st.floats(-20, 20))
def test_projection_beyond_the_ends_is_that_on_the_continued_line(points, beyond: float, aside: float):
    first, last = end_directions(points)
    total = arc_length(points)
    for origin, direction, s in ((points[0], first, -beyond), (points[-1], last, total + beyond)):
        along = s if s < 0 else s - total
        query = origin + along * direction + aside * np.array([-direction[1], direction[0]])
        line = shapely.LineString(points)
        ends_nearest = line.project(shapely.Point(query)) in (0.0, line.length)
        if ends_nearest:
            assert project(points, query) == pytest.approx((s, aside), abs=1e-6)


def test_the_side_of_an_offset_is_that_of_the_normals() -> None:
    line = np.stack([np.arange(50.0), np.zeros(50)], axis=1)  # straight down the rows
    assert normals(line)[20] == pytest.approx((0.0, 1.0))
    assert project(line, (20.25, 3.0)) == pytest.approx((20.25, 3.0))
    assert project(line, (20.25, -3.0)) == pytest.approx((20.25, -3.0))
    assert project(line, (-4.0, 2.0)) == pytest.approx((-4.0, 2.0))
    assert project(line, (60.0, -2.0)) == pytest.approx((60.0, -2.0))


@given(polylines(), st.floats(0.3, 40))
def test_resampling_keeps_ends_and_stays_on_the_line(points, step: float) -> None:
    even = resample(points, step)
    assert even[0] == pytest.approx(points[0], abs=1e-9)
    assert even[-1] == pytest.approx(points[-1], abs=1e-9)
    line = shapely.LineString(points)
    assert shapely.distance(shapely.points(even), line).max() < 1e-8
    chosen = arc_length(points) / (len(even) - 1)
    assert (np.hypot(*np.diff(even, axis=0).T) <= chosen + 1e-8).all()
    assert len(even) == max(2, round(arc_length(points) / step) + 1)


@given(smooth_lines(), st.floats(0.05, 0.45), st.floats(0.55, 0.95))
def test_a_section_is_the_part_between(points, low: float, high: float) -> None:
    total = arc_length(points)
    part = section(points, low * total, high * total, 0.5)
    assert arc_length(part) == pytest.approx((high - low) * total, rel=2e-3)
    assert project(points, part[0])[0] == pytest.approx(low * total, abs=1e-6)
    assert project(points, part[-1])[0] == pytest.approx(high * total, abs=1e-6)
    whole = section(points, 0.0, total, 1.0)
    assert whole[[0, -1]] == pytest.approx(points[[0, -1]], abs=1e-9)


@given(smooth_lines())
def test_normals_are_unit_and_square_to_the_line(points) -> None:
    normal = normals(points)
    assert np.hypot(*normal.T) == pytest.approx(np.ones(len(points)))
    steps = points[2:] - points[:-2]
    assert np.einsum("ij,ij->i", normal[1:-1], steps) == pytest.approx(np.zeros(len(steps)), abs=1e-9)


@given(polylines(most=6))
def test_a_spline_goes_through_its_points(points) -> None:
    curve = spline_through(points, 0.25)
    assert curve[[0, -1]] == pytest.approx(points[[0, -1]], abs=1e-6)
    line = shapely.LineString(curve)
    # 60 places a piece of the longest possible 850 px: the sagitta between two of them
    assert shapely.distance(shapely.points(points), line).max() < 1.5


def test_a_spline_through_points_of_an_arc_is_that_arc() -> None:
    angle = np.radians([0, 12, 20, 35, 50, 60])
    curve = spline_through(300 * np.stack([np.cos(angle), np.sin(angle)], axis=1), 1.0)
    # a natural spline is straight at its ends, which leaves at most half the sagitta of a chord of 15 degrees
    error = np.abs(np.hypot(*curve.T) - 300)
    assert error.max() < 0.5 * 300 * (1 - np.cos(np.radians(7.5)))
    assert np.median(error) < 0.25


def test_repeated_points_are_dropped() -> None:
    kept = without_repeats([[0, 0], [0, 0], [1, 0], [1, 1e-12], [2, 0]])
    assert kept.tolist() == [[0, 0], [1, 0], [2, 0]]


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_point_that_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(TraceError, match="not a finite number"):
        without_repeats([[0, 0], [bad, 1]])


@pytest.mark.parametrize("points", [[[3, 4]], [[3, 4], [3, 4]], np.zeros((0, 2))])
def test_one_place_is_no_line(points) -> None:
    with pytest.raises(TraceError, match="two different points"):
        without_repeats(points)
