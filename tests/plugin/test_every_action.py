"""Every public action is one step of the one history, and undo restores to the last digit."""

from __future__ import annotations

import inspect

import pytest

from napari_periapical.autosave import Autosave
from napari_periapical.controller import Controller
from radio.measure.case import CaseFacts
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.sessions import newest_draft

IMAGE = plain_radiograph()


def ready(folder=None):
    """Two canals with points, an exact one among them, and a view that is not the first one."""
    one = Controller(measure=straight_length, autosave=Autosave((lambda: folder) if folder else None))
    one.open(IMAGE, [CaseFacts(scale_from="none"), CaseFacts(canal="2", scale_from="none")])
    for name, point in (("orifice", (10.25, 20.5)), ("canal_via", (20.0, 21.0)), ("apex", (40.125, 20.0))):
        one.choose(name)
        one.place(point, exact=name == "canal_via")
    one.show_display("inverting", invert=True)
    one.choose_method("tangent-circle")
    one.select("canal_via", 0)
    return one


def begin_file(one, *pins):
    one.choose("file_start")
    one.session.chosen = False
    one.click((5.0, 5.0))
    for pin in pins:
        one.pin(pin)


def moved(one):
    one.begin_move("apex", 0)
    one.move_to((41.5, 22.25))
    one.move_to((42.5, 22.75))


def with_file(*pins):
    return lambda one: begin_file(one, *pins)


# action: what goes before, and how it is done; each call of these is one step
STEPS = {
    "place": (lambda one: one.choose("canal_via"), lambda one: one.place((30.5, 20.25), exact=True)),
    "click": (lambda one: one.choose("canal_via"), lambda one: one.click((30.5, 20.25))),
    "remove_selected": (None, Controller.remove_selected),
    "back": (None, Controller.back),
    "end_move": (moved, Controller.end_move),
    "nudge": (None, lambda one: one.nudge(0.1, 0.0)),
    "pin": (with_file(), lambda one: one.pin((9.0, 9.0))),
    "end_line": (with_file((9.0, 9.0)), lambda one: one.end_line((15.0, 15.0))),
    "confirm": (with_file((9.0, 9.0)), Controller.confirm),
    "take_back": (with_file((9.0, 9.0)), Controller.take_back),
    "cancel_line": (with_file((9.0, 9.0), (12.0, 12.0)), Controller.cancel_line),
    "escape": (with_file((9.0, 9.0)), Controller.escape),
    "state_fact": (None, lambda one: one.state_fact("tooth", "36")),
    "state_fact_of": (None, lambda one: one.state_fact_of(one.session, 1, "tooth", "36")),
    "state_setting": (None, lambda one: one.state_setting("apical_portion_mm", "3")),
    "state_setting_of": (None, lambda one: one.state_setting_of(one.session, "apical_portion_mm", "3")),
    "answer_check": (None, lambda one: one.answer_check("P10", "yes", "seen")),
    "add_canal": (None, Controller.add_canal),
    "remove_canal": (None, Controller.remove_canal),
    "replace_canals": (None, lambda one: one.replace_canals("opening", one.session.sheet.canals[1:])),
    "choose_method": (None, lambda one: one.choose_method("schneider")),
    "near_method": (None, lambda one: one.near_method(1)),
    "show_step": (None, lambda one: one.show_step(2)),
    "keep_drawn": (None, lambda one: one.keep_drawn(True)),
    "draw_constructions": (None, lambda one: one.draw_constructions(False)),
    "show_numbers": (None, lambda one: one.show_numbers(False)),
    "switch_numbers": (None, Controller.switch_numbers),
    "switch_magnifier": (None, Controller.switch_magnifier),
    "hide_canal": (None, lambda one: one.hide_canal(True)),
    "switch_hidden": (None, Controller.switch_hidden),
    "show_display": (None, lambda one: one.show_display("changing gamma", gamma=2.0)),
    "show_window": (None, lambda one: one.show_window(low=0.25)),
    "show_as_exposed": (None, Controller.show_as_exposed),
    "show_as": (None, lambda one: one.show_as("hiding numbers on the image", numbers=False)),
    "pair_with": (None, lambda one: one.pair_with("0" * 64)),
    "note_shift": (None, lambda one: one.note_shift(tube_to="mesial", mesial_at="left")),
}
# choosing, looking, asking and what moves through the history: none of these changes what is placed or shown
NO_STEPS = {
    "advance": Controller.advance,
    "aim": lambda one: one.aim((12.0, 12.0)),
    "begin_move": lambda one: one.begin_move("apex", 0),
    "cancel_move": lambda one: (moved(one), one.cancel_move()),
    "choose": lambda one: one.choose("ball_centre"),
    "choose_canal": lambda one: one.choose_canal(1),
    "choose_near": lambda one: one.choose_near(1),
    "close": Controller.close,
    "is_meant": lambda one: one.is_meant(("apex", 0)),
    "move_to": moved,
    "next_canal": Controller.next_canal,
    "open": lambda one: one.open(plain_radiograph(seed=3)),
    "rest": Controller.rest,
    "result_now": lambda one: one.result_now(one.canal),
    "select": lambda one: one.select("apex", 0),
    "tell": lambda one: one.tell("note", "hello"),
    "told_by_shift": Controller.told_by_shift,
}
ELSEWHERE = {
    "undo",  # in every test here
    "redo",
    "take_up",  # of another draft: test_autosave
    "step_through",  # goes by the steps of a measured construction: test_commands
}


def test_there_is_no_public_action_beside_those_tried_here():
    actions = {name for name, _ in inspect.getmembers(Controller, inspect.isfunction) if name[0] != "_"}
    assert set(STEPS) | set(NO_STEPS) | ELSEWHERE == actions
    assert not set(STEPS) & set(NO_STEPS)


def content(one):
    """Everything a step may change."""
    return one.session.sheet.canals, one.view


@pytest.mark.parametrize("name", STEPS)
def test_an_action_is_one_step_undone_and_redone_exactly_and_kept(tmp_path, name):
    prepare, act = STEPS[name]
    one = ready(tmp_path)
    if prepare is not None:
        prepare(one)
    before, undone = content(one), one.undoable
    act(one)
    after, did = content(one), one.undoable
    assert after != before
    assert did
    one.undo()
    assert (content(one), one.undoable, one.redoable) == (before, undone, did)
    assert newest_draft(tmp_path, IMAGE.sha256)[0].sheet == one.session.sheet
    one.redo()
    assert (content(one), one.undoable, one.redoable) == (after, did, "")
    assert newest_draft(tmp_path, IMAGE.sha256)[0].sheet == one.session.sheet
    assert one.up_to_date


@pytest.mark.parametrize("name", NO_STEPS)
def test_what_is_no_action_adds_no_step(name):
    one = ready()
    session, before, undone = one.session, content(one), one.undoable
    NO_STEPS[name](one)
    assert (session.sheet.canals, session.sheet.view, session.history.undoable) == (*before, undone)


def test_all_actions_one_after_the_other_are_undone_to_the_beginning_and_redone_to_the_end(monkeypatch):
    one = Controller(measure=straight_length)
    one.open(IMAGE, [CaseFacts(scale_from="none"), CaseFacts(canal="2", scale_from="none")])
    states, push = [content(one)], one.session.history.push

    def noted(what, sheet, *, amend=False):
        states[-1 if amend else len(states) :] = [(sheet.canals, sheet.view)]
        push(what, sheet, amend=amend)

    monkeypatch.setattr(one.session.history, "push", noted)
    for prepare, act in STEPS.values():
        one.choose_canal(0)
        for name, points in one.canal.clicks:
            one.select(name, len(points) - 1)
        if prepare is not None:
            prepare(one)
        act(one)
    assert len(states) > 30
    for state in states[-2::-1]:
        one.undo()
        assert content(one) == state
    assert one.undoable == ""
    for state in states[1:]:
        one.redo()
        assert content(one) == state
    assert one.redoable == ""
