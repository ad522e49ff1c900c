"""The arc of every drawn angle lies between its two arms and within their length.

Judged on the drawn shapes alone, by shapely.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from shapely import LineString, MultiLineString, Point

from radio.measure.curvature import stack_of_traces
from radio.measure.drawn import Stroke, Words
from radio.measure.methods import method_named
from radio.measure.stack import Placed, cross2
from tests.fixtures.bent import chain, kinked, straight_and_arc

CANALS = {
    "straight": kinked(7, 0, 6),
    "hook": straight_and_arc(8, 5, 60),
    "arc": chain((12, 70)),
    "kink": kinked(9, 50, 4),
    "bends at its end": kinked(12, 40, 0.6),
    "bends at its start": chain((1.5, 0), (1.5, 30), (11, 0)),
    "s": chain((6, 0), (3, 40), (4, -30), (1, 0)),
    "s across its axis": chain((8, 0), (1.5, 25), (3, -50), (2.5, -10)),
    "nearly parallel ends": chain((6, 0), (3, 40), (3, -36), (2, 0)),
    "100 degrees": chain((6, 0), (5, 100), (2, 0)),
    "200 degrees": chain((6, 0), (5, 200), (2, 0)),
}
ANGLES = {
    "schneider": 1,
    "weine": 1,
    "long-axis": 1,
    "tangent-circle": 1,
    "chord-radius": 1,
    "access-angle": 1,
    "four-point": 1,
    "secondary": 2,
}
S_SHAPED = ("s", "s across its axis", "nearly parallel ends")


def readings(steps):
    """Steps in which an angle is read, each with its arc, its words, and the lines drawn until then."""
    lines: list[np.ndarray] = []
    for step in steps:
        drawn = [shape for shape in step.shapes if isinstance(shape, Stroke)]
        if re.match(r"Read the (\w+ )?angle ", step.text):
            (sweep,) = [shape.points for shape in drawn if shape.role == "arc"]
            (words,) = [shape for shape in step.shapes if isinstance(shape, Words)]
            yield sweep, words, MultiLineString([LineString(one) for one in lines])
        lines += [shape.points for shape in drawn if shape.role in ("axis", "second_axis", "chord")]


def centre_of(sweep):
    """Centre of an arc by its definition: the point equally far from three of its points."""
    a, b, c = sweep[[0, len(sweep) // 2, -1]]
    return np.linalg.solve(2 * np.stack([b - a, c - a]), [b @ b - a @ a, c @ c - a @ a])


@pytest.mark.parametrize("method", ANGLES)
@pytest.mark.parametrize("canal", CANALS)
@pytest.mark.parametrize("departure", [None, (9.0, 0.6)], ids=["found", "placed"])
def test_the_arc_ends_on_both_arms(method: str, canal: str, departure) -> None:
    placed = Placed(departure=None if departure is None else np.array(departure))
    stack = stack_of_traces(CANALS[canal], placed=placed)
    found = list(readings(method_named(method).construct(stack)))
    if departure is None and not (method == "secondary" and canal not in S_SHAPED) and canal != "straight":
        assert len(found) == ANGLES[method]
    # a departure lies off its axis: by the tolerance where it is found, where it was put where placed
    off = max(stack.tolerance, abs(float(cross2(stack.axis[1][0], stack.departure[0] - stack.axis[0][0]))))
    for sweep, words, lines in found:
        degrees = float(re.search(r"([\d.]+)°", words.text).group(1))
        if degrees < 1.0:
            continue  # no centre can be told from so flat an arc
        for end in sweep[[0, -1]]:
            assert lines.distance(Point(end)) <= off + 1e-3
        radius = float(np.hypot(*(sweep[0] - centre_of(sweep))))
        assert LineString(sweep).length == pytest.approx(radius * np.radians(degrees), rel=0.06)
        # large enough to be seen, and no larger than the canal can hold
        assert radius <= 0.29 * float(stack.length[0])
        assert LineString(sweep).distance(Point(words.point)) < 1e-9


@pytest.mark.parametrize("canal", ["hook", "kink", "s", "bends at its start"])
@pytest.mark.parametrize("method", ANGLES)
def test_the_arc_is_large_enough_to_be_read(method: str, canal: str) -> None:
    stack = stack_of_traces(CANALS[canal])
    for sweep, _, _ in readings(method_named(method).construct(stack)):
        # a twentieth of the canal is some 5 mm on the printed page
        assert float(np.hypot(*(sweep[0] - centre_of(sweep)))) > 0.05 * float(stack.length[0])


@pytest.mark.parametrize(
    ("method", "canal"),
    [("weine", "nearly parallel ends"), ("four-point", "nearly parallel ends"), ("long-axis", "straight")],
)
def test_lines_that_meet_far_away_keep_to_the_canal(method: str, canal: str) -> None:
    stack = stack_of_traces(CANALS[canal])
    steps = method_named(method).construct(stack)
    assert any("too far away" in step.text for step in steps)
    line = LineString(stack.points[0])
    strokes = [shape for step in steps for shape in step.shapes if isinstance(shape, Stroke)]
    assert max(line.distance(Point(p)) for shape in strokes for p in shape.points) < 0.35 * line.length


def test_a_circle_that_cannot_be_drawn_is_told_with_its_radius() -> None:
    stack = stack_of_traces(CANALS["nearly parallel ends"])
    method = method_named("two-segments")
    radius = float(method.values(stack)["two_segment_radius_mm"][0])
    steps = method.construct(stack)
    assert np.isfinite(radius)
    assert f"the radius comes to {radius:.1f} mm" in steps[-1].text
    assert not [s for step in steps for s in step.shapes if isinstance(s, Stroke) and s.role == "arc"]
