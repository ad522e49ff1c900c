"""The taut path against closed forms and against a visibility graph (shapely, networkx)."""

from __future__ import annotations

from itertools import combinations

import networkx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from shapely import LineString, Polygon, prepare

from radio.errors import PeriapicalError
from radio.measure.taut import crossings, shortest_path
from radio.trace.curve import normals

FINE = 2001


def arc_walls(radius: float, half: float, turn_deg: float, count: int = FINE):
    """Walls either side of an arc that turns to the left, exact at every rung."""
    turn = np.linspace(0.0, np.radians(turn_deg), count)
    out = np.stack([np.sin(turn), 1 - np.cos(turn)], axis=1)
    inward = np.stack([-np.sin(turn), np.cos(turn)], axis=1)
    return radius * out + half * inward, radius * out - half * inward


def test_a_straight_corridor_is_gone_through_straight() -> None:
    x = np.linspace(0.0, 12.0, 40)
    path = shortest_path(np.stack([x, 0.3 + 0 * x], 1), np.stack([x, -0.2 + 0 * x], 1), start=0.4, end=0.4)
    assert path.length == pytest.approx(12.0, abs=1e-12)
    assert path.points == pytest.approx(np.array([[0.0, 0.0], [12.0, 0.0]]), abs=1e-12)


@pytest.mark.parametrize(
    ("radius", "half", "turn_deg"),
    [(5.0, 0.3, 60.0), (10.0, 0.2, 40.0), (2.0, 0.1, 90.0), (5.0, 0.05, 150.0)],
)
def test_round_an_arc_it_is_tangent_inner_arc_tangent(radius, half, turn_deg) -> None:
    """Closed form: from the middle, tangents to the inner circle and the arc between them."""
    turn, inner = np.radians(turn_deg), radius - half
    reach = np.arccos(inner / radius)
    assert 2 * reach < turn
    exact = 2 * np.sqrt(radius**2 - inner**2) + inner * (turn - 2 * reach)
    path = shortest_path(*arc_walls(radius, half, turn_deg), start=0.5, end=0.5)
    step = turn / (FINE - 1)
    # the walls are chords of the arc: shorter than it by (step ** 2 / 24), and a tangent may miss one of them
    assert exact * (1 - step**2) - step**2 <= path.length <= exact + 1e-12
    free = shortest_path(*arc_walls(radius, half, turn_deg))
    assert free.length == pytest.approx(inner * turn, rel=step**2)


# arc minus chord of a curved part, r theta - 2 r sin(theta / 2); mathematics, to the digits given
@pytest.mark.parametrize(("radius", "turn_deg", "loss_mm"), [(5.0, 60.0, 0.236), (10.0, 40.0, 0.141)])
def test_in_a_wide_arc_it_is_the_chord(radius, turn_deg, loss_mm) -> None:
    half = 1.01 * radius * (1 - np.cos(np.radians(turn_deg) / 2))
    path = shortest_path(*arc_walls(radius, half, turn_deg), start=0.5, end=0.5)
    assert len(path.points) == 2
    assert radius * np.radians(turn_deg) - path.length == pytest.approx(loss_mm, abs=5e-4)


def test_round_a_corner_where_all_rungs_meet() -> None:
    """An arc whose inner wall is its centre: straight on, though hundreds of corners all but coincide."""
    left, right = arc_walls(5.0, 5.0, 100.0, 400)
    left = left + np.random.default_rng(5).normal(0.0, 1e-15, left.shape)
    path = shortest_path(left, right, start=0.5, end=0.5)
    assert path.length == pytest.approx(10.0 * np.sin(np.radians(50.0)), abs=1e-9)


def test_free_ends_of_a_straight_corridor_whose_ends_are_askew() -> None:
    """From the foot or corner of one segment to the other that faces it askew: plain geometry."""
    left = np.array([[0.0, 1.0], [4.0, 1.0], [9.0, 1.0]])
    right = np.array([[0.0, -1.0], [4.0, -1.0], [8.0, -1.0]])
    path = shortest_path(left, right)
    along = np.array([1.0, 2.0]) / np.sqrt(5.0)
    foot = (np.array([0.0, -1.0]) - right[-1]) @ along
    assert foot < 0  # beyond the lower end, so the corner itself is nearest
    assert path.length == pytest.approx(8.0, abs=1e-9)


def corridor(rng: np.random.Generator, count: int, narrow: bool):
    """A winding strip of rungs of uneven widths about a random walk; some of them without width."""
    heading = np.cumsum(rng.normal(0.0, 0.35, count))
    steps = rng.uniform(0.4, 1.5, (count, 1)) * np.stack([np.cos(heading), np.sin(heading)], axis=1)
    centre = np.cumsum(steps, axis=0)
    across = normals(centre)
    half = rng.uniform(0.0, 0.9, (2, count, 1))
    if narrow:
        half[:, rng.random(count) < 0.3] = 0.0
    return centre + half[0] * across, centre - half[1] * across


def simple(left: np.ndarray, right: np.ndarray) -> Polygon | None:
    """The strip as one polygon, where it is one."""
    polygon = Polygon(np.vstack([left, right[::-1]]))
    cells = [Polygon([left[i], right[i], right[i + 1], left[i + 1]]) for i in range(len(left) - 1)]
    whole = polygon.is_valid and all(cell.is_valid for cell in cells)
    return polygon if whole and abs(sum(cell.area for cell in cells) - polygon.area) < 1e-9 else None


def by_visibility_graph(polygon: Polygon, begin: np.ndarray, stop: np.ndarray) -> float:
    """Shortest path within a polygon over all pairs of its corners that see each other."""
    places = [tuple(begin), tuple(stop), *polygon.exterior.coords[:-1]]
    room = polygon.buffer(1e-7, join_style="mitre")
    prepare(room)
    graph = networkx.Graph()
    for (i, p), (j, q) in combinations(enumerate(places), 2):
        if room.covers(LineString([p, q])):
            graph.add_edge(i, j, weight=float(np.hypot(p[0] - q[0], p[1] - q[1])))
    return float(networkx.dijkstra_path_length(graph, 0, 1))


def place(left, right, k: int, share: float) -> np.ndarray:
    return right[k] + share * (left[k] - right[k])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(3, 14), st.floats(0, 1), st.floats(0, 1))
def test_as_an_independent_library_finds_it(seed, count, start, end) -> None:
    left, right = corridor(np.random.default_rng(seed), count, narrow=False)
    polygon = simple(left, right)
    assume(polygon is not None)
    path = shortest_path(left, right, start=start, end=end)
    begin, stop = place(left, right, 0, start), place(left, right, -1, end)
    assert path.points[[0, -1]] == pytest.approx(np.array([begin, stop]))
    assert path.length == pytest.approx(by_visibility_graph(polygon, begin, stop), abs=3e-6)
    assert polygon.buffer(1e-9).covers(LineString(path.points))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(3, 9))
def test_free_ends_are_where_a_search_over_both_finds_them(seed, count) -> None:
    """The ends by a general search (scipy, golden section in golden section), each try with fixed ends."""
    left, right = corridor(np.random.default_rng(seed), count, narrow=False)
    assume(simple(left, right) is not None)

    def best_end(start: float) -> float:
        tried = minimize_scalar(
            lambda end: shortest_path(left, right, start=start, end=end).length,
            bounds=(0, 1),
            method="bounded",
        )
        return float(tried.fun)

    searched = minimize_scalar(best_end, bounds=(0, 1), method="bounded").fun
    found = shortest_path(left, right)
    assert found.length <= searched + 1e-9
    assert found.length == pytest.approx(searched, abs=1e-4)
    half_free = shortest_path(left, right, start=0.5)
    assert half_free.length == pytest.approx(best_end(0.5), abs=1e-4)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(3, 30))
def test_necks_without_width_are_passed_through(seed, count) -> None:
    left, right = corridor(np.random.default_rng(seed), count, narrow=True)
    try:
        path = shortest_path(left, right)
    except PeriapicalError:
        assume(False)
    share = crossings(path, left, right)[:, None]
    crossed = right + share * (left - right)
    necks = np.flatnonzero(np.hypot(*(left - right).T) == 0.0)
    for neck in necks:
        assert LineString(path.points).distance(LineString([left[neck], left[neck] + 1e-12])) < 1e-9
    # the places on the rungs lie on the path, in its order: joined, they are as long as it
    assert np.hypot(*np.diff(crossed, axis=0).T).sum() == pytest.approx(path.length, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-180, 180), st.floats(0.01, 100))
def test_turned_moved_and_scaled_it_stays_the_same(seed, turn_deg, factor) -> None:
    left, right = corridor(np.random.default_rng(seed), 12, narrow=False)
    try:
        before = shortest_path(left, right)
    except PeriapicalError:
        assume(False)
    a = np.radians(turn_deg)
    turn = factor * np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    after = shortest_path(left @ turn.T + [7.0, -3.0], right @ turn.T + [7.0, -3.0])
    assert after.length == pytest.approx(factor * before.length, rel=1e-7)
    backward = shortest_path(right[::-1], left[::-1])
    assert backward.length == pytest.approx(before.length, rel=1e-7)


def test_walls_that_cross_are_refused() -> None:
    x = np.linspace(0.0, 4.0, 5)
    left, right = np.stack([x, 0 * x + 1], 1), np.stack([x, 0 * x - 1], 1)
    with pytest.raises(PeriapicalError, match="walls cross between points 0 and 1"):
        shortest_path(right, left)
    with pytest.raises(PeriapicalError, match="give both as"):
        shortest_path(left, right[:-1])
    with pytest.raises(PeriapicalError, match="from 0"):
        shortest_path(left, right, start=1.5)
    with pytest.raises(PeriapicalError, match="not finite"):
        shortest_path(left * np.nan, right)
