"""Parts of a construction placed by hand, and input that is no trace."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from radio.errors import PeriapicalError
from radio.measure.curvature import stack_of_traces
from radio.measure.methods import METHODS, QUANTITIES, method_named
from radio.measure.stack import Placed, TraceStack
from tests.fixtures.bent import answers, answers_of, chain, straight_and_arc, turned

HOOK = straight_and_arc(8, 5, 60)

# -- placed by hand ----------------------------------------------------------------------------------------


@settings(max_examples=30)
@given(st.floats(-40, 40), st.booleans())
@example(0.0, True)
def test_a_placed_axis_is_the_one_that_is_used(lean: float, upward: bool) -> None:
    axis = turned(np.array([[0.0, 0.0], [6.0, 0.0]]), lean)
    stack = stack_of_traces(HOOK, placed=Placed(axis[::-1] if upward else axis))
    found = answers(stack)
    # the order of its two points does not matter: it is directed as the canal is
    # the apical line has the direction of the middle of its portion, of an arc of 5 mm here
    apical = 60 - np.degrees(stack.apical_portion / 10)
    assert found["weine_deg"] == pytest.approx(apical - lean, abs=0.5)
    if stack.leaves[0]:
        row, col = stack.end[0] - stack.departure[0]
        assert found["schneider_deg"] == pytest.approx(abs(np.degrees(np.arctan2(col, row)) - lean), abs=1e-6)


def test_a_placed_departure_is_the_one_that_is_used() -> None:
    for place in ([8.5, 0.1], [7.0, 0.6], [10.0, -0.4]):
        stack = stack_of_traces(HOOK, placed=Placed(departure=np.array(place)))
        found = answers(stack)
        row, col = HOOK[-1] - place
        u = stack.axis[1][0]
        assert found["schneider_deg"] == pytest.approx(
            abs(np.degrees(np.arctan2(col, row) - np.arctan2(u[1], u[0]))), abs=1e-9
        )
        assert np.hypot(row, col) == pytest.approx(
            2 * found["chord_radius_mm"] * np.sin(np.radians(found["schneider_deg"]))
        )


def test_nearer_to_the_end_a_departure_gives_a_larger_angle() -> None:
    places = [chain((8, 0), (s, np.degrees(s / 5)))[-1] for s in (0.01, 1.0, 2.0, 3.0)]
    angles = [answers_of(HOOK, placed=Placed(HOOK[[0, 100]], place))["schneider_deg"] for place in places]
    # tangent-chord theorem: half of what is left to turn, and what is turned already
    expected = [30 + np.degrees(s / 5) / 2 for s in (0.01, 1.0, 2.0, 3.0)]
    assert angles == pytest.approx(expected, abs=1e-6)


# -- bad input ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "points",
    [np.full((1, 20, 2), np.nan), np.full((1, 20, 2), np.inf), np.zeros((20, 2)), np.zeros((1, 5, 2))],
)
def test_points_that_are_no_trace_are_refused(points) -> None:
    with pytest.raises(ValueError, match="points"):
        TraceStack(points)


def test_one_bad_point_in_one_draw_is_refused() -> None:
    stack = stack_of_traces(HOOK, [HOOK])
    points = stack.points.copy()
    points[1, 40, 0] = np.nan
    with pytest.raises(ValueError, match="finite"):
        TraceStack(points)


def test_an_unknown_method_is_told_with_those_there_are() -> None:
    with pytest.raises(PeriapicalError, match="schneider"):
        method_named("no such method")


def test_every_method_says_what_it_is() -> None:
    assert (
        len({method.name for method in METHODS}) == len({method.order for method in METHODS}) == len(METHODS)
    )
    assert len(QUANTITIES) == sum(len(method.quantities) for method in METHODS)
    stack = stack_of_traces(HOOK)
    for method in METHODS:
        assert method.definition.endswith(".")
        assert method.standing.endswith(".")
        assert any(year.isdigit() for year in method.source.replace(",", " ").split())
        assert method.settings(stack)
