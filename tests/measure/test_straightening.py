"""Straightening against closed forms of corridors about lines and arcs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.instruments import HandFile
from radio.errors import PeriapicalError
from radio.measure.straightening import CENTRED, LEANING, TRACED, straightening
from radio.measure.taut import shortest_path
from radio.trace.curve import normals
from tests.fixtures.bent import chain


def arc(radius: float, turn_deg: float, count: int = 201) -> np.ndarray:
    turn = np.linspace(0.0, np.radians(turn_deg), count)
    return radius * np.stack([np.sin(turn), 1 - np.cos(turn)], axis=1)


def near(half: float, turn_deg: float) -> float:
    """At its ends a polyline of 201 points is square to its first and last pieces, half a step too early."""
    return half * np.radians(turn_deg) / 200 + 1e-5


def straight(length: float, count: int = 101) -> np.ndarray:
    return np.stack([np.linspace(0.0, length, count), np.zeros(count)], axis=1)


def test_nothing_shrinks_in_a_straight_canal() -> None:
    found = straightening(straight(12.0), 0.3, 0.2, measuring=HandFile(10), prepared=HandFile(25, 0.06))
    for way in found.ways.values():
        assert way.shrink_mm == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("radius", "turn_deg", "half"), [(5.0, 60.0, 0.2), (10.0, 40.0, 0.3), (4.0, 90.0, 0.1)]
)
def test_about_an_arc_a_thread_hugs_the_inner_wall(radius, turn_deg, half) -> None:
    """Both ends free: the inner arc, shorter by half-width times turn. Plain geometry."""
    found = straightening(arc(radius, turn_deg), half, half)
    assert found.length_mm == pytest.approx(radius * np.radians(turn_deg), rel=2e-5)
    assert found.ways[TRACED].shrink_mm == pytest.approx(
        half * np.radians(turn_deg), abs=near(half, turn_deg)
    )


@pytest.mark.parametrize("radius", [5.0, 8.0])
def test_a_file_has_its_own_radius_less_room(radius) -> None:
    """An untapered canal 0.3 mm to either side, a file of taper 0.02 from 0.15 mm on: its axis has the rest.

    The way of least length then lies where the inner room begins at every place, whose length is the
    integral of (1 - room / r) along the centre line, up to the slope of the room squared.
    """
    centre = arc(radius, 60.0)
    file = HandFile(15)
    s = np.linspace(0.0, radius * np.radians(60.0), len(centre))
    room = 0.3 - 0.5 * (0.15 + 0.02 * (s[-1] - s))
    found = straightening(centre, 0.3, 0.3, measuring=file)
    assert found.ways[TRACED].shrink_mm == pytest.approx(float(np.trapezoid(room, s)) / radius, abs=2e-3)


def test_widening_about_the_centre_and_about_the_taut_path() -> None:
    """A thread in a canal of 0.1 mm half-width about an arc of 5 mm, widened by a tube of 0.3 mm half-width.

    About the centre line the inner wall lies 0.3 mm aside; about the taut path, itself 0.1 mm aside, 0.4 mm.
    The tube stands for a file of very little taper.
    """
    tube = HandFile(60, 1e-9)
    found = straightening(arc(5.0, 60.0), 0.1, 0.1, prepared=tube)
    turn = np.radians(60.0)
    assert found.ways[TRACED].shrink_mm == pytest.approx(0.1 * turn, abs=near(0.1, 60.0))
    assert found.ways[CENTRED].shrink_mm == pytest.approx(0.3 * turn, abs=near(0.3, 60.0))
    assert found.ways[LEANING].shrink_mm == pytest.approx(0.4 * turn, abs=near(0.4, 60.0))


# straight for 8 mm, then an arc of 5 mm through 60 degrees, whose arc less chord is 0.236 mm: mathematics
def test_with_straight_runs_before_the_bend_a_wider_canal_has_more_to_lose() -> None:
    centre = chain((8.0, 0.0), (5.0 * np.radians(60.0), 60.0), count=141)
    shrinks = [straightening(centre, half, half).ways[TRACED].shrink_mm for half in (0.05, 0.2, 0.6)]
    assert 0 < shrinks[0] < shrinks[1] < shrinks[2]
    # a narrow canal: the inner wall all along the bend
    assert shrinks[0] == pytest.approx(0.05 * np.radians(60.0), abs=0.01)
    fixed = shortest_path(*(centre + half * normals(centre) for half in (5.0, -5.0)), start=0.5, end=0.5)
    whole = 8.0 + 5.0 * np.radians(60.0)
    assert fixed.length == pytest.approx(np.hypot(8.0 + 5.0 * np.sin(np.radians(60.0)), 2.5), abs=1e-3)
    assert whole - fixed.length > 0.236


def test_an_instrument_thicker_than_the_canal_stays_in_its_middle() -> None:
    found = straightening(arc(5.0, 60.0), 0.05, 0.15, measuring=HandFile(40))
    # its axis 0.05 mm to the right of a centre line that turns to the left: the longer way
    assert found.ways[TRACED].shrink_mm == pytest.approx(-0.05 * np.radians(60.0), abs=near(0.05, 60.0))


def test_a_bend_sharper_than_the_canal_is_wide_is_narrowed_and_said() -> None:
    centre = arc(0.4, 90.0, 60)
    found = straightening(centre, 0.6, 0.3)
    assert found.narrowed
    assert 0 < found.ways[TRACED].shrink_mm < found.length_mm
    assert not straightening(centre, 0.3, 0.6).narrowed


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(1.5, 5), st.integers(-60, 60)), min_size=1, max_size=3),
    st.floats(0.02, 0.5),
    st.floats(0.02, 0.5),
    st.sampled_from([10, 20, 40]),
)
def test_wider_corridors_never_have_longer_ways(pieces, left, right, size) -> None:
    centre = chain(*pieces, count=161)
    file = HandFile(size, 0.04)
    thread = straightening(centre, left, right, prepared=file)
    measured = straightening(centre, left, right, measuring=HandFile(10), prepared=file)
    for found in (thread, measured):
        ways = found.ways
        # where walls were drawn closer, or a file is held in the middle, one corridor is not part of another
        held = found is measured and left + right < HandFile(10).diameter_mm(found.length_mm)
        if not found.narrowed and not held:
            assert ways[TRACED].shrink_mm <= ways[CENTRED].shrink_mm + 1e-9
            assert ways[TRACED].shrink_mm <= ways[LEANING].shrink_mm + 1e-9
    for name, way in measured.ways.items() if not held else ():
        assert way.shrink_mm <= thread.ways[name].shrink_mm + 1e-9
    chord = float(np.hypot(*(centre[-1] - centre[0])))
    assert thread.length_mm - thread.ways[TRACED].shrink_mm <= thread.length_mm + 1e-9
    assert thread.ways[TRACED].path.length >= chord - 2 * (left + right)


def test_wrong_widths_are_refused() -> None:
    with pytest.raises(PeriapicalError, match="left are not 101 finite"):
        straightening(straight(5.0), -0.1, 0.1)
    with pytest.raises(PeriapicalError, match="right are not 101 finite"):
        straightening(straight(5.0), 0.1, np.full(100, 0.1))
    with pytest.raises(PeriapicalError, match="three or more"):
        straightening(straight(5.0)[:2], 0.1, 0.1)
