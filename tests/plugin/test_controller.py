from __future__ import annotations

import subprocess
import sys

import pytest

from napari_periapical.controller import Controller
from radio.measure.case import CaseFacts
from radio.measure.reading import ReadingFacts
from tests.plugin.made import HeldRunner, plain_radiograph, straight_length


@pytest.fixture
def controller():
    one = Controller(measure=straight_length)
    one.open(plain_radiograph(), [CaseFacts(scale_from="none")])
    return one


def length(controller):
    return controller.shown.result.measurements["canal_length_px"].value


def test_controller_needs_neither_qt_nor_napari():
    code = (
        "import sys, napari_periapical.controller, napari_periapical.keeping, napari_periapical.layers, "
        "napari_periapical.number_rows, napari_periapical.about, napari_periapical.shortcuts, "
        "napari_periapical.mouse, napari_periapical.background\n"
        "print([m for m in ('napari', 'qtpy', 'PySide6', 'vispy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_points_are_placed_one_after_the_other_and_measured(controller):
    assert controller.session.landmark == "orifice"
    controller.place((10.0, 20.0))
    assert (controller.session.landmark, controller.shown) == ("apex", None)
    controller.place((40.0, 60.0 - 0.5))
    assert controller.session.landmark is None
    assert length(controller) == pytest.approx((30**2 + 39.5**2) ** 0.5)


def test_a_click_outside_the_image_is_told_and_not_taken(controller):
    told = []
    controller.told.connect(lambda level, text: told.append((level, text)))
    controller.place((80.0, 20.0))
    assert controller.canal.clicks == ()
    assert told[-1][0] == "problem"
    assert "outside the image" in told[-1][1]


def test_a_message_goes_when_another_image_is_opened(controller):
    told = []
    controller.told.connect(lambda *what: told.append(what))
    controller.tell("good", "Table saved.")
    controller.open(plain_radiograph(seed=5))
    assert told[-1] == ("note", "")


def test_a_click_with_nothing_left_to_place_changes_nothing(controller):
    controller.place((10.0, 20.0))
    controller.place((40.0, 20.0))
    before, told = controller.canal, []
    controller.told.connect(lambda _, text: told.append(text))
    controller.place((50.0, 20.0))
    assert controller.canal == before
    assert "list" in told[-1]


def test_a_drag_is_measured_on_the_way_and_is_one_step(controller):
    controller.place((10.0, 20.0))
    controller.place((40.0, 20.0))
    placed = controller.canal
    controller.begin_move("apex", 0)
    for row in (42.25, 45.5, 50.75):
        controller.move_to((row, 20.0))
        assert length(controller) == row - 10
    controller.end_move()
    assert controller.canal.points("apex") == ((50.75, 20.0),)
    controller.undo()
    assert controller.canal == placed
    assert length(controller) == 30
    controller.redo()
    assert length(controller) == 40.75


def test_a_dragged_point_stays_on_the_image(controller):
    controller.place((10.0, 20.0))
    controller.begin_move("orifice", 0)
    controller.move_to((-7.0, 999.0))
    controller.end_move()
    assert controller.canal.points("orifice") == ((-0.5, 59.5),)


def test_a_drag_that_is_given_up_leaves_no_trace(controller):
    controller.place((10.0, 20.0))
    before, steps = controller.canal, controller.undoable
    controller.begin_move("orifice", 0)
    controller.move_to((30.0, 30.0))
    controller.cancel_move()
    assert (controller.canal, controller.undoable) == (before, steps)
    controller.begin_move("orifice", 0)
    controller.end_move()
    assert controller.undoable == steps


def test_every_kind_of_action_is_undone_and_redone_exactly(controller):
    states = [controller.session.sheet]

    def do(action):
        action()
        assert controller.session.sheet != states[-1]
        states.append(controller.session.sheet)

    do(lambda: controller.place((10.5, 20.25)))
    do(lambda: controller.place((40.125, 20.0)))
    do(lambda: controller.state_fact("tooth", "36"))
    do(lambda: controller.state_fact("file_length_mm", "21,5"))
    do(lambda: (controller.choose("apex"), controller.remove_selected()))
    do(controller.add_canal)
    do(lambda: controller.place((5.0, 5.0)))
    do(controller.remove_canal)
    for state in reversed(states[:-1]):
        controller.undo()
        assert controller.session.sheet.canals == state.canals
    assert controller.undoable == ""
    for state in states[1:]:
        controller.redo()
        assert controller.session.sheet.canals == state.canals
    assert controller.redoable == ""


def test_remove_takes_the_chosen_point_and_asks_for_it_again(controller):
    controller.place((10.0, 20.0))
    controller.select("orifice", 0)
    controller.remove_selected()
    assert controller.canal.clicks == ()
    assert controller.session.landmark == "orifice"
    told = []
    controller.told.connect(lambda _, text: told.append(text))
    controller.remove_selected()
    assert "first" in told[-1]


def test_enter_passes_over_a_landmark_and_does_not_come_back(controller):
    controller.state_fact("scale_from", "")
    assert controller.session.landmark == "file_start"
    controller.advance()
    controller.advance()
    assert controller.session.landmark == "orifice"
    controller.place((10.0, 20.0))
    controller.place((40.0, 20.0))
    assert controller.session.landmark is None


def test_via_points_can_be_placed_one_after_another(controller):
    controller.choose("canal_via")
    for row in (10.0, 20.0):
        controller.place((row, 5.0))
    assert len(controller.canal.points("canal_via")) == 2
    controller.advance()
    assert controller.session.landmark == "apex"


@pytest.mark.parametrize(
    ("fact", "text", "value"),
    [
        ("file_length_mm", "21,5", 21.5),
        ("file_length_mm", " 21.5 ", 21.5),
        ("mm_per_px", "0,025", 0.025),
        ("file_size", "08", 8),
        ("tooth", "36", "36"),
        ("file_start_at", "handle", "handle"),
        ("scale_from", "", None),
        ("electronic_mark", "half", "half"),
        ("electronic_tolerance_mm", "1", 1.0),
        (
            "electronic",
            "Flooded; bleeding; patency: no; repeats 21 21,5; file size 08; time 2026-03-14T09:30",
            ReadingFacts(
                canal_state="flooded",
                bleeding=True,
                patency=False,
                file_size=8,
                repeats_mm=(21.0, 21.5),
                time="2026-03-14T09:30",
            ),
        ),
    ],
)
def test_facts_are_stated_as_text(controller, fact, text, value):
    assert controller.state_fact(fact, text) == ""
    assert getattr(controller.canal.facts, fact) == value
    assert controller.state_fact(fact, "") == ""
    assert getattr(controller.canal.facts, fact) == getattr(CaseFacts(), fact)


@pytest.mark.parametrize(
    ("fact", "text", "told"),
    [
        ("file_length_mm", "twenty", "10 to 40"),
        ("file_length_mm", "210", "10 to 40"),
        ("file_length_mm", "nan", "10 to 40"),
        ("tooth", "99", "ISO 3950"),
        ("file_size", "7", "ISO 3630-1"),
        ("mm_per_px", "-1", "0.002"),
    ],
)
def test_nonsense_is_named_and_not_taken(controller, fact, text, told):
    before = controller.session.sheet
    problem = controller.state_fact(fact, text)
    assert told in problem
    assert text in problem
    assert controller.session.sheet is before


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("wet", "Given 'wet'; allowed is, set apart by semicolons"),
        ("canal state wet", "Canal state: given 'wet'; allowed is one of dry, moist, flooded"),
        ("bleeding maybe", "Bleeding: given 'maybe'"),
        ("repeats", "without a value"),
        ("bleeding; bleeding no", "twice"),
        ("timely", "allowed is"),
    ],
)
def test_a_state_of_the_reading_that_is_none_is_named_and_not_taken(controller, text, told):
    before = controller.session.sheet
    assert told in controller.state_fact("electronic", text)
    assert controller.session.sheet is before


def test_two_canals_keep_their_own_points_and_facts(controller):
    controller.place((10.0, 20.0))
    controller.place((40.0, 20.0))
    controller.add_canal()
    assert controller.canal.facts.canal == "2"
    assert controller.canal.clicks == ()
    assert "already" in controller.state_fact("canal", "1")
    controller.place((10.0, 40.0))
    controller.place((70.0, 40.0))
    assert length(controller) == 60
    controller.choose_canal(0)
    assert length(controller) == 30
    controller.undo()
    assert controller.canal.facts.canal == "2"
    assert controller.canal.points("apex") == ()


def test_the_newest_state_is_shown_whatever_comes_in_between():
    runner = HeldRunner()
    controller = Controller(runner, straight_length)
    controller.open(plain_radiograph(), [CaseFacts(scale_from="none")])
    controller.place((10.0, 20.0))
    controller.place((40.0, 20.0))
    controller.begin_move("apex", 0)
    controller.move_to((50.0, 20.0))
    assert not controller.up_to_date
    runner.run()  # the outcome for the state before the move
    assert length(controller) == 30
    assert not controller.up_to_date
    while runner.jobs:
        runner.run(-1)
    assert length(controller) == 40
    assert controller.up_to_date


def test_a_result_that_arrives_after_another_image_was_opened_is_not_shown_there():
    runner = HeldRunner()
    controller = Controller(runner, straight_length)
    first, second = plain_radiograph(seed=1), plain_radiograph(seed=2)
    controller.open(first, [CaseFacts(scale_from="none")])
    controller.place((10.0, 20.0))
    controller.place((40.0, 20.0))
    controller.open(second, [CaseFacts(scale_from="none")])
    runner.run()
    assert controller.shown is None
    controller.open(first)
    assert length(controller) == 30


def test_an_image_opened_again_is_as_it_was_left(controller):
    controller.place((10.0, 20.0))
    sheet = controller.session.sheet
    controller.open(plain_radiograph(seed=5))
    assert controller.canal.clicks == ()
    controller.close()
    controller.open(plain_radiograph())
    assert controller.session.sheet == sheet
    controller.undo()
    assert controller.canal.clicks == ()


def test_what_cannot_be_measured_is_told_in_words():
    def broken(*_):
        raise RuntimeError("the tracer fell over")

    controller = Controller(measure=broken)
    controller.open(plain_radiograph(), [CaseFacts(scale_from="none")])
    controller.place((10.0, 20.0))
    controller.place((40.0, 20.0))
    assert controller.shown.result is None
    assert "fell over" in controller.shown.problem


def test_without_an_image_every_action_is_harmless():
    controller = Controller()
    controller.place((1.0, 1.0))
    for action in (
        controller.advance,
        controller.remove_selected,
        controller.undo,
        controller.redo,
        controller.add_canal,
        controller.remove_canal,
        controller.end_move,
    ):
        action()
    assert controller.state_fact("tooth", "36") == ""
    assert (controller.session, controller.shown) == (None, None)


def test_a_coronal_axis_takes_two_clicks_and_then_the_flow_goes_on(controller):
    controller.choose("coronal_axis")
    controller.place((10.0, 20.0))
    assert controller.session.landmark == "coronal_axis"
    controller.place((30.0, 20.0))
    assert set(controller.canal.points("coronal_axis")) == {(10.0, 20.0), (30.0, 20.0)}
    assert controller.session.landmark != "coronal_axis"
    controller.undo()
    assert controller.canal.points("coronal_axis") == ((10.0, 20.0),)


def test_a_message_about_an_image_goes_with_it(controller):
    told = []
    controller.told.connect(lambda _, text: told.append(text))
    controller.tell("note", "something of this image")
    controller.close()
    assert told[-1] == ""


def test_a_point_placed_exactly_stays_exact_while_it_is_dragged_and_undone(controller):
    controller.place((10.0, 20.0))
    controller.place((40.0, 50.0), exact=True)
    assert controller.canal.facts.exact == (("apex", 0),)
    assert controller.undoable == "placing Radiographic apex exactly"
    controller.begin_move("apex", 0)
    controller.move_to((41.0, 51.0))
    controller.end_move()
    assert controller.canal.points("apex") == ((41.0, 51.0),)
    assert controller.canal.facts.exact == (("apex", 0),)
    controller.undo()
    controller.undo()
    assert (controller.canal.points("apex"), controller.canal.facts.exact) == ((), ())
    controller.redo()
    assert controller.canal.facts.exact == (("apex", 0),)
    controller.select("apex", 0)
    controller.remove_selected()
    assert controller.canal.facts.exact == ()


def test_facts_of_a_table_bring_no_exact_points_without_their_points(controller):
    controller.open(plain_radiograph(seed=7), [CaseFacts(tooth="36", exact=(("canal_via", 1),))])
    assert (controller.canal.facts.tooth, controller.canal.facts.exact) == ("36", ())


def test_keys_go_through_landmarks_canals_and_methods(controller):
    controller.choose("orifice")
    controller.choose_near(1)
    assert controller.session.landmark == "canal_via"
    controller.choose_near(-1)
    assert controller.session.landmark == "orifice"
    first = controller.method.name
    controller.near_method(-1)
    controller.near_method(1)
    assert controller.method.name == first
    controller.add_canal()
    assert controller.session.sheet.active == 1
    controller.next_canal()
    assert controller.session.sheet.active == 0
    controller.switch_hidden()
    assert controller.view.hidden == {controller.canal.uid}
    controller.switch_hidden()
    controller.switch_numbers()
    assert not controller.view.hidden
    assert not controller.view.numbers
    controller.undo()
    assert controller.view.numbers


def test_no_key_of_ours_is_one_of_the_viewer():
    """Beside those that mean the same in both, or are asked of every layer of points."""
    from napari.utils.shortcuts import default_shortcuts

    from napari_periapical.shortcuts import SHORTCUTS

    shared = {"Backspace", "Delete", "1", "Enter", "Escape", "Left", "Right"}
    theirs = {
        str(key).replace("+", "-").replace("Ctrl", "Control") for k in default_shortcuts.values() for key in k
    }
    ours = [key for one in SHORTCUTS for key, _ in one.keys]
    assert len(ours) == len(set(ours))
    of_others = {"M"}  # of layers of labels, which ours are not
    assert set(ours) & theirs <= shared | of_others


def test_a_fact_can_be_stated_for_a_canal_that_is_not_worked_on(controller):
    controller.add_canal()
    first = controller.session.sheet.canals[0].uid
    second = controller.canal.uid
    assert controller.state_fact_of(controller.session, first, "tooth", "36") == ""
    assert [one.facts.tooth for one in controller.session.sheet.canals] == ["36", ""]
    assert controller.canal.uid == second
    assert controller.undoable == "stating tooth"
    assert "already" in controller.state_fact_of(controller.session, first, "canal", "2")
    controller.undo()
    assert controller.session.sheet.canals[0].facts.tooth == ""
    assert "not there" in controller.state_fact_of(controller.session, 99, "tooth", "36")


def test_a_fact_stated_for_another_image_is_a_step_there_and_none_here(controller):
    left = controller.session
    controller.open(plain_radiograph(seed=5), [CaseFacts(scale_from="none")])
    here = controller.session.sheet
    assert controller.state_fact_of(left, left.canal.uid, "file_length_mm", "21") == ""
    assert controller.session.sheet is here
    assert controller.undoable == ""
    assert (left.sheet.canal.facts.file_length_mm, left.history.undoable) == (21.0, "stating file length")
    assert left.landmark == "file_start"


def test_a_long_nonsense_is_not_echoed_whole(controller):
    for name in ("file_length_mm", "tooth", "file_size", "length_rule", "electronic"):
        problem = controller.state_fact(name, "nonsense" * 40)
        assert "nonsense…'" in problem
        assert "nonsense" * 6 not in problem
    assert "nonsense" * 6 not in controller.state_setting("smoothing_mm", "nonsense" * 40)
