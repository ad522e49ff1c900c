"""Measures of a line in space against closed forms and another road to the same rule."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radio.measure import space as sp
from radio.measure import space_measures as sm
from radio.measure import two_views as tv
from tests.fixtures.in_space import (
    ROUND,
    in_space,
    rotation,
    s_shape,
    straight_and_arc,
)


def departure_by_definition(points: np.ndarray, tolerance: float):
    """Singular values and plain loops: another road to the same rule."""
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    even = np.stack([np.interp(np.linspace(0, s[-1], 110), s, c) for c in points.T], axis=1)

    def line(run):
        middle = run.mean(axis=0)
        direction = np.linalg.svd(run - middle)[2][0]
        return middle, direction * np.sign(direction @ (run[-1] - run[0]))

    def away(run, middle, direction):
        rel = run - middle
        return np.linalg.norm(rel - np.outer(rel @ direction, direction), axis=1)

    n = 2
    while n < 110 and away(even[: n + 1], *line(even[: n + 1])).max() <= tolerance:
        n += 1
    middle, direction = line(even[:n])
    distance = away(even, middle, direction)
    k = max(i for i in range(110) if distance[i] <= tolerance)
    return direction, even[k], even[min(k + 1, 109)]


@pytest.mark.parametrize("canal", [s_shape(), in_space(straight_and_arc(8, 5, 60), 70)], ids=["s", "arc"])
@pytest.mark.parametrize("tolerance", [0.05, 0.10, 0.25])
def test_axis_and_departure_follow_the_definition(canal, tolerance):
    found = sp.axis_and_departure(canal, tolerance)
    direction, before, after = departure_by_definition(canal, tolerance)
    assert found.leaves
    assert found.direction == pytest.approx(direction, abs=1e-6)
    # the departure point lies on the piece between the last sample within and the first beyond
    reach = np.linalg.norm(found.point - before) + np.linalg.norm(after - found.point)
    assert reach == pytest.approx(np.linalg.norm(after - before), abs=1e-9)
    rel = found.point - found.origin
    assert np.linalg.norm(rel - (rel @ direction) * direction) == pytest.approx(tolerance, abs=2e-3)


MEASURES = {
    "schneider": lambda line: sp.schneider_deg(line, 0.1),
    "weine": lambda line: sp.weine_deg(line, 0.1),
    "turning": sp.total_turning_deg,
    "curvature": sp.greatest_per_mm,
    "length": sp.length_mm,
}


@settings(max_examples=20)
@given(st.tuples(st.floats(5, 12), st.floats(3, 12), st.floats(20, 80)), ROUND, ROUND, st.booleans())
def test_measures_do_not_depend_on_where_the_canal_lies(oracle, first, second, mirrored):
    planar = straight_and_arc(*oracle, count=500)
    turn = rotation(np.array([1.0, 0, 0]), first) @ rotation(np.array([0.3, 1.0, -0.5]), second)
    moved = in_space(planar, 0) @ turn.T + [3.0, -7.0, 11.0]
    if mirrored:
        moved[:, 2] *= -1
    for name, measure in MEASURES.items():
        assert measure(moved) == pytest.approx(measure(planar), rel=1e-6, abs=1e-4), name


@settings(max_examples=20)
@given(st.floats(1.2, 3.0))
def test_angles_do_not_depend_on_size_when_everything_grows(factor):
    line = s_shape()
    assert sp.schneider_deg(factor * line, factor * 0.1) == pytest.approx(
        sp.schneider_deg(line, 0.1), abs=1e-4
    )
    assert sp.length_mm(factor * line) == pytest.approx(factor * sp.length_mm(line))


@pytest.mark.parametrize("radius", [3.0, 8.0])
def test_circle_in_space(radius):
    a = np.linspace(0, 10 / radius, 1000)
    flat = radius * np.stack([np.sin(a), 1 - np.cos(a), np.zeros_like(a)], axis=1)
    turn = rotation(np.array([1.0, 2.0, 3.0]), 70)
    circle = flat @ turn.T
    # the line of an arc has the direction of its middle; ten pieces of 1 mm turn by 1 / radius, nine times
    middle = a[-1] - 1 / radius
    tangent = turn @ [np.cos(middle), np.sin(middle), 0]
    assert sp.end_direction(circle) == pytest.approx(tangent, abs=2e-2)
    assert sp.total_turning_deg(circle) == pytest.approx(np.degrees(9 / radius), rel=1e-3)
    kappa = sp.curvature_per_mm(circle)[1]
    assert np.median(kappa) == pytest.approx(1 / radius, rel=0.01)
    assert kappa == pytest.approx(np.full(len(kappa), 1 / radius), rel=0.25)  # smoothing flattens the ends
    # the same circle walked the other way
    assert np.median(sp.curvature_per_mm(circle[::-1])[1]) == pytest.approx(1 / radius, rel=0.01)


def test_total_turning_of_a_stair_in_space():
    stair = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [1, 1, 1.0]])
    assert sp.total_turning_deg(stair) == pytest.approx(180)


def test_straight_canal():
    line = np.array([[0.0, 0.0], [12.0, 1.5]])
    values = sm.measure_in_space(tv.reconstruct(line, line)).measurements
    assert values["length_3d_mm"].value == pytest.approx(np.sqrt(12**2 + 2 * 1.5**2))
    for name in ("schneider_3d_deg", "weine_3d_deg", "total_turning_3d_deg", "greatest_curvature_3d_per_mm"):
        assert values[name].value == pytest.approx(0, abs=1e-5), name
    assert "smallest_radius_3d_mm" not in values
