"""Tracing a line, on the controller alone: what clicks and keys make of points, and what can be undone."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from napari_periapical.controller import Controller
from radio.measure.case import CaseFacts
from tests.plugin.drawn import case, click
from tests.plugin.made import plain_radiograph, straight_length

FILE = CaseFacts(scale_from="file", file_length_mm=21.0)


@pytest.fixture
def controller():
    """Open a plain image where the file start is asked for first."""
    one = Controller(measure=straight_length)
    one.open(plain_radiograph((400, 300)), [FILE])
    assert one.session.landmark == "file_start"
    return one


@pytest.fixture
def said(controller):
    told = []
    controller.told.connect(lambda level, text: told.append((level, text)))
    return told


def points(controller, *names):
    return [controller.canal.points(name) for name in names]


def trace(controller, *places):
    for place in places:
        controller.click(place)


def test_clicks_pin_and_a_click_at_the_end_ends_the_line(controller):
    trace(controller, (10.0, 20.0), (40.5, 25.25), (80.0, 40.0))
    assert controller.session.tracing == "file"
    controller.end_line((120.0, 70.0))
    assert controller.session.tracing is None
    assert points(controller, "file_start", "file_via", "file_tip") == [
        ((10.0, 20.0),),
        ((40.5, 25.25), (80.0, 40.0)),
        ((120.0, 70.0),),
    ]
    assert controller.session.landmark == "orifice"


def test_pins_stay_in_the_order_they_were_set(controller):
    """A line that turns back on itself is not put in another order by nearness."""
    way = [(100.0, 100.0), (100.0, 140.0), (90.0, 120.0), (80.0, 100.0)]
    trace(controller, *way)
    assert controller.canal.points("file_via") == tuple(way[1:])


def test_enter_ends_the_line_at_the_last_pin_as_one_step(controller):
    trace(controller, (10.0, 20.0), (40.0, 25.0), (80.0, 40.0))
    controller.confirm()
    assert points(controller, "file_via", "file_tip") == [((40.0, 25.0),), ((80.0, 40.0),)]
    assert controller.session.tracing is None
    controller.undo()
    assert points(controller, "file_via", "file_tip") == [((40.0, 25.0), (80.0, 40.0)), ()]
    assert controller.session.tracing == "file"


def test_enter_with_nothing_pinned_says_what_to_do(controller, said):
    trace(controller, (10.0, 20.0))
    before = controller.session.sheet
    controller.confirm()
    assert controller.session.sheet is before
    assert controller.session.tracing == "file"
    assert "right click" in said[-1][1]


def test_backspace_takes_pins_back_one_by_one_and_then_the_start(controller):
    trace(controller, (10.0, 20.0), (40.0, 25.0), (80.0, 40.0))
    controller.back()
    assert controller.canal.points("file_via") == ((40.0, 25.0),)
    controller.back()
    assert controller.session.tracing == "file"
    controller.back()
    assert controller.canal.clicks == ()
    assert controller.session.tracing is None
    assert controller.session.landmark == "file_start"
    for _ in range(3):
        controller.undo()
    assert len(controller.canal.points("file_via")) == 2
    assert controller.session.tracing == "file"


def test_escape_gives_up_start_and_pins_as_one_step_and_undo_brings_them_back(controller, said):
    trace(controller, (10.0, 20.0), (40.0, 25.0), (80.0, 40.0))
    traced = controller.canal
    controller.escape()
    assert controller.canal.clicks == ()
    assert controller.session.tracing is None
    assert controller.session.landmark == "file_start"
    assert "Undo brings it back" in said[-1][1]
    controller.undo()
    assert controller.canal == traced
    assert controller.session.tracing == "file"
    controller.redo()
    assert controller.canal.clicks == ()


def test_escape_keeps_what_was_there_before(controller):
    controller.choose("file_via")
    controller.place((50.0, 50.0))
    controller.choose("orifice")
    controller.place((60.0, 10.0))
    assert controller.session.landmark == "apex"
    controller.choose("file_start")
    controller.click((200.0, 20.0))  # chosen in the list: no line
    controller.back()
    kept = controller.canal
    assert controller.session.landmark == "file_start"
    trace(controller, (10.0, 20.0), (70.0, 60.0))
    assert controller.session.tracing == "file"
    controller.escape()
    assert controller.canal == kept


def test_escape_without_a_line_changes_nothing(controller):
    controller.place((10.0, 20.0))
    before = controller.session.sheet
    controller.escape()
    assert controller.session.sheet is before


def test_escape_puts_a_held_point_back_and_leaves_the_line(controller):
    trace(controller, (10.0, 20.0), (40.0, 25.0))
    before = controller.canal
    controller.begin_move("file_via", 0)
    controller.move_to((60.0, 60.0))
    controller.escape()
    assert controller.canal == before
    assert controller.session.tracing == "file"


def test_undo_of_the_start_ends_tracing_and_redo_takes_it_up(controller):
    trace(controller, (10.0, 20.0))
    controller.undo()
    assert controller.session.tracing is None
    assert controller.session.live.line is None
    controller.redo()
    assert controller.session.tracing == "file"


def test_each_pin_is_one_step(controller):
    trace(controller, (10.0, 20.0), (40.0, 25.0), (80.0, 40.0))
    assert controller.undoable == "pinning the file"
    controller.undo()
    assert controller.canal.points("file_via") == ((40.0, 25.0),)
    trace(controller, (90.0, 45.0))
    assert controller.canal.points("file_via") == ((40.0, 25.0), (90.0, 45.0))


def test_the_same_place_twice_is_one_pin(controller):
    trace(controller, (10.0, 20.0), (40.0, 25.0), (40.2, 25.3))
    assert controller.canal.points("file_via") == ((40.0, 25.0),)


def test_a_pin_outside_the_image_is_told_and_not_taken(controller, said):
    trace(controller, (10.0, 20.0), (40.0, 25.0))
    before = controller.session.sheet
    controller.click((400.0, 25.0))
    controller.end_line((40.0, -3.0))
    assert controller.session.sheet is before
    assert controller.session.tracing == "file"
    assert [level for level, _ in said[-2:]] == ["problem", "problem"]


def test_a_landmark_chosen_in_the_list_is_placed_alone_and_the_line_goes_on_after_it(controller):
    trace(controller, (10.0, 20.0), (40.0, 25.0))
    controller.choose("orifice")
    assert controller.session.tracing is None
    controller.click((15.0, 30.0))
    assert controller.canal.points("orifice") == ((15.0, 30.0),)
    assert controller.session.tracing == "file"
    trace(controller, (80.0, 40.0))
    assert controller.canal.points("file_via")[-1] == (80.0, 40.0)


def test_a_start_chosen_in_the_list_begins_no_line(controller):
    controller.choose("file_start")
    controller.click((10.0, 20.0))
    assert controller.session.tracing is None
    assert controller.session.landmark == "file_tip"
    controller.click((80.0, 40.0))
    assert points(controller, "file_via", "file_tip") == [(), ((80.0, 40.0),)]


def test_a_start_whose_end_is_placed_begins_no_line(controller):
    controller.choose("file_tip")
    controller.place((80.0, 40.0))
    controller.choose("apex")
    controller.place((90.0, 40.0))
    for name in ("file_start", "orifice"):
        controller.session.go_on(controller.canal, None)
        assert controller.session.landmark == name
        controller.click((10.0, 20.0))
        assert controller.session.tracing is None


def test_a_canal_ends_at_the_apex_unless_the_canal_end_is_chosen(controller):
    controller.state_fact("scale_from", "none")
    controller.state_fact("file_length_mm", "")
    trace(controller, (10.0, 20.0), (50.0, 30.0))
    assert controller.session.tracing == "canal"
    controller.end_line((90.0, 40.0))
    assert points(controller, "canal_via", "apex") == [((50.0, 30.0),), ((90.0, 40.0),)]
    controller.undo()
    assert controller.session.tracing == "canal"
    controller.choose("canal_end")
    assert controller.session.tracing == "canal"
    controller.end_line((95.0, 40.0))
    assert points(controller, "canal_end", "apex") == [((95.0, 40.0),), ()]
    assert controller.session.tracing is None
    assert controller.session.landmark == "apex"


def test_an_end_chosen_in_the_list_is_placed_by_a_plain_click(controller):
    trace(controller, (10.0, 20.0), (50.0, 30.0))
    controller.choose("file_tip")
    controller.click((90.0, 40.0))
    assert points(controller, "file_via", "file_tip") == [((50.0, 30.0),), ((90.0, 40.0),)]


def test_a_fact_stated_on_the_way_leaves_the_line(controller):
    trace(controller, (10.0, 20.0), (50.0, 30.0))
    controller.state_fact("tooth", "24")
    assert controller.session.tracing == "file"
    assert controller.session.landmark == "file_tip"


def test_another_canal_has_a_line_of_its_own(controller):
    trace(controller, (10.0, 20.0), (50.0, 30.0))
    controller.add_canal()
    assert controller.session.tracing is None
    controller.choose_canal(0)
    assert controller.session.tracing == "file"
    trace(controller, (70.0, 30.0))
    assert len(controller.canal.points("file_via")) == 2


def test_exact_pins_and_ends_are_kept_as_such(controller):
    controller.click((10.0, 20.0), exact=True)
    controller.click((50.0, 30.0))
    controller.click((70.0, 35.0), exact=True)
    assert controller.canal.facts.exact == (("file_start", 0), ("file_via", 1))
    assert controller.undoable == "pinning the file exactly"
    controller.confirm()
    assert controller.canal.facts.exact == (("file_start", 0), ("file_tip", 0))
    controller.undo()
    controller.end_line((90.0, 40.0), exact=True)
    assert controller.canal.facts.exact == (("file_start", 0), ("file_tip", 0), ("file_via", 1))


# -- the live line ----------------------------------------------------------------------------------------


def test_the_live_line_goes_from_the_last_point_to_the_pointer(controller):
    seen = []
    controller.aimed.connect(lambda: seen.append(controller.session.live.line))
    controller.aim((30.0, 30.0))
    assert seen == [None]
    trace(controller, (10.0, 20.0))
    controller.aim((60.0, 40.0))
    np.testing.assert_array_equal(seen[-1][[0, -1]], [(10.0, 20.0), (60.0, 40.0)])
    trace(controller, (60.0, 40.0))
    controller.aim((90.0, 60.0))
    # through the pin
    np.testing.assert_array_equal(seen[-1][[0, -1]], [(10.0, 20.0), (90.0, 60.0)])
    assert (seen[-1] == (60.0, 40.0)).all(axis=1).any()
    controller.back()
    now = controller.session.live.line
    np.testing.assert_array_equal(now[[0, -1]], [(10.0, 20.0), (90.0, 60.0)])
    assert not (now == (60.0, 40.0)).all(axis=1).any()
    controller.undo()
    assert (controller.session.live.line == (60.0, 40.0)).all(axis=1).any()


def test_the_live_line_follows_a_pin_that_is_held(controller):
    trace(controller, (10.0, 20.0), (60.0, 40.0), (90.0, 60.0))
    controller.begin_move("file_via", 0)
    controller.move_to((50.0, 70.0))
    line = controller.session.live.line
    np.testing.assert_array_equal(line[[0, -1]], [(10.0, 20.0), (90.0, 60.0)])
    assert (line == (50.0, 70.0)).all(axis=1).any()
    controller.cancel_move()
    assert (controller.session.live.line == (60.0, 40.0)).all(axis=1).any()


def test_without_the_pointer_the_live_line_ends_at_the_last_pin(controller):
    trace(controller, (10.0, 20.0), (60.0, 40.0))
    controller.aim((90.0, 60.0))
    controller.rest()
    np.testing.assert_array_equal(controller.session.live.line[-1], (60.0, 40.0))


def test_the_live_line_goes_with_pointer_end_and_image(controller):
    trace(controller, (10.0, 20.0))
    live = controller.session.live

    def aim():
        controller.aim((60.0, 40.0))
        assert live.line is not None

    aim()
    controller.rest()
    assert live.line is None
    assert live.pointer is None
    aim()
    controller.aim((900.0, 40.0))
    assert live.line is None
    aim()
    controller.open(plain_radiograph(seed=3), [FILE])
    assert live.line is None
    controller.open(plain_radiograph((400, 300)))
    aim()
    controller.end_line((70.0, 40.0))
    assert live.line is None
    controller.aim((60.0, 40.0))
    assert live.line is None


def test_the_live_line_is_straight_when_it_does_not_snap(controller):
    trace(controller, (10.0, 20.0))
    controller.aim((200.0, 140.0), straight=True)
    np.testing.assert_array_equal(controller.session.live.line, [(10.0, 20.0), (200.0, 140.0)])


def test_the_first_move_of_the_pointer_loads_nothing_once_it_was_loaded_ahead():
    """Loading takes half a second, and the thread of the screen must not wait for it."""
    code = (
        "import sys, numpy as np\n"
        "from napari_periapical.controller import Controller\n"
        "from napari_periapical.live import load_ahead\n"
        "from radio.measure.case import CaseFacts\n"
        "from tests.plugin.made import plain_radiograph\n"
        "load_ahead()\n"
        "one = Controller()\n"
        "one.open(plain_radiograph((400, 300)), [CaseFacts(file_length_mm=21.0)])\n"
        "one.click((10.0, 20.0))\n"
        "before = set(sys.modules)\n"
        "one.aim((300.0, 200.0))\n"
        "assert len(one.session.live.line) > 20\n"
        "print(sorted(set(sys.modules) - before))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def off_line_mm(line_px, exact_px, mm_per_px):
    """Distance of a line from the exact one, its ends left out."""
    import shapely

    away = shapely.distance(shapely.points(line_px), shapely.LineString(exact_px)) * mm_per_px
    return away[3:-3]


@pytest.fixture
def drawn(case_radiograph):
    one = Controller()
    one.open(case_radiograph, [case().facts])
    return one


def test_the_live_line_lies_on_the_file(drawn):
    truth = case().truth
    drawn.click(click("file_start"))
    drawn.aim(click("file_tip"))
    away = off_line_mm(drawn.session.live.line, truth.file_axis_px, truth.mm_per_px)
    assert np.median(away) < 0.05
    straight = np.linspace(click("file_start"), click("file_tip"), 60)
    assert np.median(off_line_mm(straight, truth.file_axis_px, truth.mm_per_px)) > 0.2


def test_the_live_line_of_a_canal_follows_the_file_in_it_and_the_canal_beyond(drawn):
    """As the measured line does: the dark margin beside a file is not the canal."""
    truth = case().truth
    drawn.click(click("file_start"))
    drawn.end_line(click("file_tip"))
    assert drawn.session.landmark == "orifice"
    drawn.click(click("orifice"))
    assert drawn.session.tracing == "canal"
    half = truth.file_axis_px[round(0.8 * len(truth.file_axis_px))]
    drawn.aim(tuple(half))
    on_file = drawn.session.live.line
    assert off_line_mm(on_file, truth.file_axis_px, truth.mm_per_px).max() < 0.15
    drawn.aim(click("apex"))
    line = drawn.session.live.line
    np.testing.assert_array_equal(line[-1], click("apex"))
    assert np.hypot(*(line - truth.file_tip_px).T).min() * truth.mm_per_px < 0.2
    assert np.hypot(*np.diff(line, axis=0).T)[1:].max() * truth.mm_per_px < 0.4


@pytest.mark.parametrize("aspect", [1.0, 2.0])
def test_a_canal_runs_along_its_file_whatever_the_form_of_the_pixels(aspect):
    from radio.measure.case import CaseResult
    from radio.trace.line import Line

    rows = np.linspace(40.0, 240.0, 201)
    file = np.column_stack([rows, 100.0 + 25.0 * np.sin(rows / 90.0)])
    ones = np.ones(len(file))
    line = Line("file", file, 0.3 * ones, ones.astype(bool))
    result = CaseResult(FILE, None, None, line, None, {}, {}, None)
    controller = Controller(measure=lambda *_: result)
    controller.open(plain_radiograph((300, 200), aspect=aspect), [FILE])
    controller.click(tuple(file[0]))
    controller.end_line(tuple(file[-1]))
    first, last = file[60] + np.array([0.0, 2.0]), file[170] + np.array([0.0, -2.0])
    controller.click(tuple(first))
    controller.aim(tuple(last))
    live = controller.session.live.line
    assert off_line_mm(live, file, 1.0).max() < 0.3
    np.testing.assert_array_equal(live[[0, -1]], [first, last])
    # far from the file another canal is meant
    controller.aim((file[170][0], 190.0))
    assert off_line_mm(controller.session.live.line, file, 1.0).max() > 20


def test_an_inverted_picture_is_traced_along_its_dark_file(tmp_path):
    from PIL import Image

    from radio.image.radiograph import read_radiograph

    truth, path = case().truth, tmp_path / "inverted.png"
    grey = case().grey.grey
    Image.fromarray((255 * (1 - grey)).round().astype(np.uint8)).save(path)
    controller = Controller()
    controller.open(read_radiograph(path), [case().facts])
    controller.click(click("file_start"))
    controller.aim(click("file_tip"))
    away = off_line_mm(controller.session.live.line, truth.file_axis_px, truth.mm_per_px)
    assert np.median(away) < 0.06
