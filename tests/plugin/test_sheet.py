from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from napari_periapical.guide import GUIDE, essential, instruction, next_landmark
from napari_periapical.history import History
from napari_periapical.sheet import Canal, Sheet
from radio.measure.case import LANDMARKS, CaseFacts


def test_every_landmark_has_a_label_and_an_instruction():
    assert tuple(GUIDE) == LANDMARKS
    assert all(GUIDE[name].label and instruction(name, Canal(0)) for name in LANDMARKS)
    handle = instruction("file_start", Canal(0, CaseFacts(file_start_at="handle")))
    assert handle != instruction("file_start", Canal(0, CaseFacts(file_start_at="stop")))


def test_a_single_landmark_is_replaced_and_points_are_float64():
    canal, index = Canal(0).with_added("apex", (3, 4))
    canal, _ = canal.with_added("apex", (5, 6))
    assert canal.points("apex") == ((5, 6),)
    assert index == 0
    assert canal.clicks_px()["apex"].dtype == np.float64


@pytest.mark.parametrize("order", [(10, 20, 30), (30, 10, 20), (20, 30, 10)])
@pytest.mark.parametrize("ends", [("orifice", "apex"), ("orifice",), ("apex",)])
def test_via_points_come_in_their_order_along_the_canal(order, ends):
    canal = Canal(0)
    if "orifice" in ends:
        canal, _ = canal.with_added("orifice", (0.0, 0.0))
    if "apex" in ends:
        canal, _ = canal.with_added("apex", (40.0, 0.0))
    for row in order:
        canal, index = canal.with_added("canal_via", (float(row), 0.0))
        assert canal.points("canal_via")[index] == (float(row), 0.0)
    assert [row for row, _ in canal.points("canal_via")] == [10.0, 20.0, 30.0]


@pytest.mark.parametrize("rows", [(10.0, 30.0), (30.0, 10.0)])
def test_a_coronal_axis_has_two_points_and_a_third_takes_the_place_of_the_nearer(rows):
    canal = Canal(0).with_points("orifice", ((0.0, 0.0),))
    for row in rows:
        assert not canal.is_full("coronal_axis")
        canal, _ = canal.with_added("coronal_axis", (row, 0.0))
    assert canal.points("coronal_axis") == ((10.0, 0.0), (30.0, 0.0))
    assert canal.is_full("coronal_axis")
    canal, index = canal.with_added("coronal_axis", (28.0, 4.0))
    assert (canal.points("coronal_axis"), index) == (((10.0, 0.0), (28.0, 4.0)), 1)
    alone, _ = Canal(0).with_added("coronal_axis", (5.0, 5.0))
    assert alone.points("coronal_axis") == ((5.0, 5.0),)


def test_moved_and_removed_via_points_leave_the_others():
    canal = Canal(0).with_points("canal_via", ((1.0, 1.0), (2.0, 2.0), (3.0, 3.0)))
    assert canal.with_moved("canal_via", 1, (9.0, 9.0)).points("canal_via") == ((1, 1), (9, 9), (3, 3))
    assert canal.with_removed("canal_via", 1).points("canal_via") == ((1, 1), (3, 3))
    assert (
        canal.with_removed("canal_via", 0).with_removed("canal_via", 0).with_removed("canal_via", 0).clicks
        == ()
    )


def test_clicks_survive_the_way_to_arrays_and_back():
    canal = (
        Canal(0)
        .with_points("apex", ((10.123456789012345, 7.1),))
        .with_points("file_via", ((1.5, 2.5), (3.0, 4.0)))
    )
    assert Canal(0).with_clicks(canal.clicks_px()) == canal


@pytest.mark.parametrize(
    ("facts", "wanted"),
    [
        (CaseFacts(), ("file_start", "file_tip", "orifice", "apex")),
        (CaseFacts(scale_from="dicom"), ("orifice", "apex")),
        (CaseFacts(scale_from="dicom", file_length_mm=21.0), ("file_start", "file_tip", "orifice", "apex")),
        (CaseFacts(scale_from="ball", ball_diameter_mm=5.0), ("orifice", "apex", "ball_centre")),
    ],
)
def test_what_is_asked_for_follows_what_is_stated(facts, wanted):
    assert essential(Canal(0, facts)) == wanted


def test_next_landmark_goes_on_and_comes_back_to_what_is_missing():
    canal = Canal(0).with_points("apex", ((1.0, 1.0),))
    assert next_landmark(canal, None) == "file_start"
    assert next_landmark(canal, "apex") == "file_start"
    assert next_landmark(canal, "apex", {"file_start", "file_tip"}) == "orifice"
    assert (
        next_landmark(canal.with_points("orifice", ((2.0, 2.0),)), "orifice", {"file_start", "file_tip"})
        is None
    )


def test_history_goes_back_and_forth_and_forgets_what_was_replaced():
    first = Sheet()
    second = first.with_canal(Canal(0, CaseFacts(tooth="11")))
    third = first.with_canal(Canal(0, CaseFacts(tooth="12")))
    history = History(first)
    assert not history.undo()
    history.push("two", second)
    assert (history.undoable, history.undo(), history.sheet) == ("two", True, first)
    assert (history.redoable, history.redo(), history.sheet) == ("two", True, second)
    history.undo()
    history.push("three", third)
    assert (history.redo(), history.sheet) == (False, third)


EXACT_ACTIONS = st.one_of(
    st.tuples(st.just("add"), st.sampled_from(("canal_via", "apex", "coronal_axis")), st.booleans()),
    st.tuples(st.just("move"), st.integers(0, 9)),
    st.tuples(st.just("remove"), st.integers(0, 9)),
)


@given(st.lists(EXACT_ACTIONS, max_size=25), st.randoms(use_true_random=False))
def test_exact_follows_its_point_through_adding_moving_and_removing(actions, random):
    """Checked against a plain list of points that each know whether they are exact."""
    canal, known = Canal(0), {}  # known: point of a landmark to whether it is exact
    for k, (action, *rest) in enumerate(actions):
        point = (37 * k % 101 + random.uniform(0, 0.5), random.uniform(0, 99))  # no two alike
        there = [(name, at) for name, points in canal.clicks for at in range(len(points))]
        if action == "add":
            name, exact = rest
            before = set(canal.points(name))
            canal, index = canal.with_added(name, point, exact=exact)
            assert canal.points(name)[index] == point
            for gone in before - set(canal.points(name)):
                del known[name, gone]
            known[name, point] = exact
        elif there:
            name, index = there[rest[0] % len(there)]
            was = known.pop((name, canal.points(name)[index]))
            if action == "move":
                canal = canal.with_moved(name, index, point)
                known[name, point] = was
            else:
                canal = canal.with_removed(name, index)
        marked = {
            (n, point): at in canal.exact_points(n)
            for n, points in canal.clicks
            for at, point in enumerate(points)
        }
        assert marked == known
        assert canal.facts.exact == tuple(sorted(canal.facts.exact))


def test_exact_survives_the_way_to_arrays_and_back_and_goes_where_no_point_is_left():
    canal, _ = Canal(0).with_added("apex", (3.0, 4.0), exact=True)
    canal, _ = canal.with_added("canal_via", (1.0, 4.0))
    canal, _ = canal.with_added("canal_via", (2.0, 4.0), exact=True)
    assert Canal(0, canal.facts).with_clicks(canal.clicks_px()) == canal
    assert canal.with_points("canal_via", ((1.0, 4.0),)).facts.exact == (("apex", 0),)
    assert canal.with_clicks({}).facts.exact == ()


def test_a_plain_click_in_the_place_of_an_exact_point_is_a_plain_point():
    canal, _ = Canal(0).with_added("apex", (3.0, 4.0), exact=True)
    assert canal.with_added("apex", (5.0, 4.0))[0].facts.exact == ()
    assert canal.with_moved("apex", 0, (5.0, 4.0)).facts.exact == (("apex", 0),)


def test_another_canal_has_no_exact_points():
    canal, _ = Canal(0, CaseFacts(tooth="36")).with_added("apex", (3.0, 4.0), exact=True)
    sheet = Sheet((canal,)).with_another_canal()
    assert (sheet.canal.facts.tooth, sheet.canal.facts.exact) == ("36", ())
