"""Whole stories with mouse and keys on a shown viewer: a wrong length, two canals, a construction taught."""

from __future__ import annotations

import pytest

from tests.plugin.drawn import ESSENTIAL, case, click
from tests.plugin.fields import field_of
from tests.plugin.waiting import settle, type_into

pytest.importorskip("qtpy")


def trace(hands, qtbot, names):
    """Mark a line: a click at its start, a right click at its end."""
    from qtpy.QtCore import Qt

    hands.click(click(names[0]))
    hands.click(click(names[1]), button=Qt.MouseButton.RightButton)
    qtbot.wait(30)


def rows_of(table):
    return {table.item(k, 0).text(): table.item(k, 1).text() for k in range(table.rowCount())}


def test_a_wrong_file_length_is_caught_where_it_can_be_put_right(story, qtbot):
    _, panel, hands = story
    right = case().facts.file_length_mm
    type_into(qtbot, field_of(panel, "file_length_mm"), f"{right * 25 / 21:.1f}")
    trace(hands, qtbot, ESSENTIAL[:2])
    trace(hands, qtbot, ESSENTIAL[2:])
    settle(qtbot, panel)
    assert "warning" in panel.image.line.text()
    assert panel.image.head.text().endswith("!")
    found = rows_of(panel.image.checks.table)
    assert any(name.startswith(("3 ", "4 ")) and "Warning" in level for name, level in found.items())
    # the number is there, and the image step says to look
    type_into(qtbot, field_of(panel, "file_length_mm"), f"{right:.1f}")
    settle(qtbot, panel)
    found = rows_of(panel.image.checks.table)
    assert not any(name.startswith(("3 ", "4 ")) and "Warning" in level for name, level in found.items())


def test_two_canals_are_named_traced_switched_and_hidden(story, qtbot):
    from qtpy.QtCore import Qt

    _, panel, hands = story
    controller = panel.controller
    type_into(qtbot, field_of(panel, "canal"), "mesio-buccal")
    trace(hands, qtbot, ESSENTIAL[:2])
    trace(hands, qtbot, ESSENTIAL[2:])
    settle(qtbot, panel)
    first = controller.canal
    hands.key(Qt.Key.Key_N, Qt.KeyboardModifier.ShiftModifier)
    type_into(qtbot, field_of(panel, "canal"), "palatal")
    for _ in ("file start", "file tip"):  # no file lies in this one
        hands.key(Qt.Key.Key_Return)
    assert controller.session.landmark == "orifice"
    trace(hands, qtbot, ("orifice", "apex"))
    settle(qtbot, panel)
    assert [one.facts.canal for one in controller.session.sheet.canals] == ["mesio-buccal", "palatal"]
    names = next(one for one in panel._viewer.layers if one.name == "Names of the canals")
    assert [text.strip() for text in names.features["label"]] == ["palatal", "mesio-buccal"]
    hands.key(Qt.Key.Key_N)
    assert controller.canal == first
    hands.key(Qt.Key.Key_H)
    landmarks = next(one for one in panel._viewer.layers if one.name == "Landmarks")
    assert len(landmarks.data) == 0
    hands.key(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(landmarks.data) == len([p for _, points in first.clicks for p in points])


def test_a_construction_is_gone_through_step_by_step(story, qtbot):
    from qtpy.QtCore import Qt

    _, panel, hands = story
    trace(hands, qtbot, ESSENTIAL[:2])
    trace(hands, qtbot, ESSENTIAL[2:])
    settle(qtbot, panel)
    drawn = next(one for one in panel._viewer.layers if one.name == "Curvature construction")
    everything = len(drawn.data)
    assert panel.curve.step.text() == "All 5 steps"
    hands.key(Qt.Key.Key_Period)
    assert panel.curve.step.text().startswith("Step 1 of 5")
    assert len(drawn.data) < everything
    for _ in range(4):
        panel.curve.forth.click()
    settle(qtbot, panel)
    assert panel.curve.step.text().startswith("Step 5 of 5")
    assert len(drawn.data) == everything
    panel.curve.drawn.click()
    settle(qtbot, panel)
    assert len(drawn.data) == 0
    hands.key(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(drawn.data) == everything
    # a tolerance of one's own changes the angle and is printed with it
    before = panel.controller.shown.result.measurements["schneider_deg"]
    panel.curve.settings.lines["departure_tolerance_mm"].setText("0,3")
    panel.curve.settings.lines["departure_tolerance_mm"].setModified(True)
    panel.curve.settings.lines["departure_tolerance_mm"].editingFinished.emit()
    settle(qtbot, panel)
    after = panel.controller.shown.result.measurements["schneider_deg"]
    assert after.value != before.value
    assert "0.3" in " ".join((after.method, after.basis, *after.notes))
    line = panel.curve.settings.lines["departure_tolerance_mm"]
    line.setText("seven")
    line.setModified(True)
    line.editingFinished.emit()
    assert "above 0" in panel.curve.settings.problem.text()
    assert panel.controller.canal.settings.departure_tolerance_mm == 0.3
