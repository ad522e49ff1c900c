"""The list of checks: its lines, its answers, and both in the panel."""

from __future__ import annotations

from dataclasses import replace

import pytest

from napari_periapical.check_rows import check_rows, result_with_neighbours
from napari_periapical.controller import Controller
from napari_periapical.keeping import keep_table
from radio.measure.case import CaseFacts
from radio.measure.check_rules.contract import Answer
from radio.measure.checks import rule_of
from tests.plugin.made import plain_radiograph, straight_length


def found(identifier, level, seen="seen", answers=()):
    from radio.measure.check_rules.contract import Found

    (check,) = rule_of(identifier).made([Found(level, seen, "do")], answers)
    return check


def with_checks(radiograph, clicks, facts, _settings):
    """Measure as the stand-in does, and find three things."""
    levels = (("P29", "note"), ("P3", "warn"), ("P9", "stop"))
    checks = tuple(found(one, level, "file_tip is near", facts.answers) for one, level in levels)
    return replace(straight_length(radiograph, clicks, facts), checks=checks)


@pytest.fixture
def controller():
    one = Controller(measure=with_checks)
    one.open(plain_radiograph(), [CaseFacts(scale_from="none")])
    one.place((10.0, 20.0))
    one.place((40.0, 50.0))
    return one


def rows(controller):
    return check_rows(controller.shown.result)


def test_the_gravest_stand_first_with_a_word_and_a_sign_and_questions_last(controller):
    lines = rows(controller)
    assert [(one.check, one.row.value) for one in lines[:3]] == [
        ("P9", "!! STOP"),
        ("P3", "! Warning"),
        ("P29", "· Note"),
    ]
    assert {one.row.value for one in lines[3:]} == {"? Asked"}
    assert {one.check for one in lines[3:]} >= {"P10", "P11", "P25"}
    assert "“File tip” is near" in lines[0].row.details
    assert "Do: do" in lines[0].row.details
    assert "Basis:" in lines[0].row.details


def test_an_answer_is_kept_with_the_canal_shown_and_undone(controller):
    assert controller.answer_check("P9", "accepted", "seen enlarged") == ""
    assert controller.canal.facts.answers == (Answer("P9", "accepted", "seen enlarged"),)
    last = next(one for one in rows(controller) if one.check == "P9")
    assert (last.row.value, last.note) == ("✓ accepted", "seen enlarged")
    assert [one.check for one in rows(controller)[:3]] == ["P3", "P29", "P9"]
    assert controller.undoable == "answering check 9"
    controller.undo()
    assert rows(controller)[0].row.value == "!! STOP"
    controller.redo()
    controller.answer_check("P9", "")
    assert controller.canal.facts.answers == ()


def test_a_wrong_answer_is_told_and_not_taken(controller):
    assert "allowed is yes or no" in controller.answer_check("P10", "perhaps")
    assert controller.canal.facts.answers == ()
    assert Controller().answer_check("P10", "yes") == ""


def test_canals_of_one_image_are_looked_at_together(controller, tmp_path):
    controller.state_fact("canal", "MB")
    controller.answer_check("P10", "yes")
    controller.add_canal()
    assert controller.canal.facts.answers == ()
    controller.state_fact("canal", "ML")
    controller.place((12.0, 20.0))
    controller.place((42.0, 50.0))
    result = result_with_neighbours(controller.session, controller.canal.uid)
    assert "P27" in {one.id for one in result.checks}
    keep_table(controller, tmp_path / "results.csv")
    assert (tmp_path / "results.csv").read_text().count("P27 warn") == 2
    controller.remove_canal()
    result = result_with_neighbours(controller.session, controller.canal.uid)
    assert "P27" not in {one.id for one in result.checks}


def test_a_check_is_read_and_answered_in_the_panel(display, make_napari_viewer_proxy):
    pytest.importorskip("qtpy")
    viewer = make_napari_viewer_proxy(show=False)
    _, panel = viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    checks = panel.image.checks
    assert checks.isHidden()
    controller = panel.controller
    controller.measuring.measure = with_checks
    controller.measuring.runner = lambda job, done: done(job())
    controller.open(plain_radiograph(seed=3), [CaseFacts(scale_from="none")])
    controller.place((10.0, 20.0))
    controller.place((40.0, 50.0))
    assert not checks.isHidden()
    assert checks.table.item(0, 1).text() == "!! STOP"
    assert checks.answering.isHidden()
    checks.table.selectRow(0)
    assert "Do: do" in checks.details.text()
    checks.choice.setCurrentText("accepted")
    checks.note.setText("looked at it")
    checks.button.click()
    assert controller.canal.facts.answers == (Answer("P9", "accepted", "looked at it"),)
    values = [checks.table.item(k, 1).text() for k in range(checks.table.rowCount())]
    assert "!! STOP" not in values
    assert "✓ accepted" in values
    assert panel.scroll_area.widget().minimumSizeHint().width() <= 320 - 30
