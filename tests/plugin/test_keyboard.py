"""The panel without a mouse: what Tab, arrows, Space and Enter reach."""

from __future__ import annotations

import pytest

from radio.measure.case import LANDMARKS
from tests.plugin.drawn import ESSENTIAL, case, click

pytest.importorskip("qtpy")


def test_checks_numbers_and_landmarks_are_reached_and_answered_by_keys(
    display, make_napari_viewer, qtbot, case_path
):
    from qtpy.QtCore import Qt

    viewer = make_napari_viewer(show=True)
    _, panel = viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    viewer.open(str(case_path), plugin="napari-periapical")
    controller = panel.controller
    controller.state_fact("file_length_mm", str(case().facts.file_length_mm))
    for name in ESSENTIAL:
        controller.place(click(name))
    qtbot.waitUntil(lambda: controller.up_to_date, timeout=15000)

    # a check: choose its row, choose the answer, give it
    checks = panel.image.checks
    checks.table.setFocus(Qt.FocusReason.TabFocusReason)
    row = next(k for k in range(checks.table.rowCount()) if checks.table.item(k, 0).text().startswith("25 "))
    qtbot.keyClick(checks.table, Qt.Key.Key_Home)
    for _ in range(checks.table.rowCount()):
        if checks.table.currentRow() == row:
            break
        qtbot.keyClick(checks.table, Qt.Key.Key_Down)
    assert checks.table.currentRow() == row
    assert checks.details.text()
    qtbot.keyClick(checks.choice, Qt.Key.Key_Down)
    qtbot.keyClick(checks.button, Qt.Key.Key_Space)
    assert [one.check for one in controller.canal.facts.answers] == ["P25"]

    # a landmark of the list
    panel.trace.list.setFocus(Qt.FocusReason.TabFocusReason)
    for _ in range(3):
        qtbot.keyClick(panel.trace.list, Qt.Key.Key_Down)
    row = panel.trace.list.currentRow()
    assert row >= 0
    qtbot.keyClick(panel.trace.list, Qt.Key.Key_Return)
    assert controller.session.landmark == LANDMARKS[row]

    # every button, field and list can be reached by Tab
    from qtpy.QtWidgets import QComboBox, QLineEdit, QPushButton

    widgets = [
        *panel.findChildren(QPushButton),
        *panel.findChildren(QComboBox),
        *panel.findChildren(QLineEdit),
    ]
    assert all(one.focusPolicy() & Qt.FocusPolicy.TabFocus for one in widgets)
