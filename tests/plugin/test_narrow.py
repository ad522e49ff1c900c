"""Nothing is cut off where the panel is as narrow as it gets, in either theme, with the longest contents."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from radio.measure.case import CaseFacts
from radio.measure.methods import METHODS, QUANTITIES
from radio.measure.result import Measurement
from radio.record.wording import MEASURE_NAMES, main_measurements
from tests.fixtures.made_case import made_case, made_radiograph

pytest.importorskip("qtpy")

NARROW_PX = 320
LONG_NAME = "IMG_20250101_101500_exported_once_more_from_the_archive_0001.png"
LONGEST = {"mm": (-22.22, 2.22), "px": (2222.2, 222.2), "deg": (122.2, 22.2)}


def everything_measured(_radiograph, _clicks, facts, _settings=None):
    """Give every number there is, each as long as it gets, and landmarks found far away."""
    _, _, result = made_case()
    numbers = {}
    for name in MEASURE_NAMES:
        unit = name.rpartition("_")[2]
        if unit in LONGEST:
            value, sd = LONGEST[unit]
            value = abs(value) if name in QUANTITIES else value
            numbers[name] = Measurement(name, value, unit, sd, "method", "basis")
    found = {k: replace(fix, click_row=fix.row - 123.4) for k, fix in result.landmarks.items()}
    return replace(result, facts=facts, measurements=numbers, landmarks=found)


@pytest.fixture(params=["dark", "light"])
def narrow(request, display, make_napari_viewer, qtbot):
    from qtpy.QtCore import Qt

    from napari_periapical.layers import frame_of, image_layer

    viewer = make_napari_viewer(show=True)
    viewer.theme = request.param
    viewer.window.resize(1200, 900)
    dock, panel = viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    panel.controller.measuring.measure = everything_measured
    radiograph = made_radiograph(path=Path(LONG_NAME))
    data, kwargs, _ = image_layer(radiograph, frame_of(1.0, None, millimetres=False))
    viewer.add_image(data, **kwargs)
    _, clicks, _ = made_case()
    panel.controller.replace_canals("placing all", [panel.controller.canal.with_clicks(clicks)])
    panel.controller.state_fact("canal", "mesiobuccal, the second one")
    viewer.window._qt_window.resizeDocks([dock], [NARROW_PX], Qt.Orientation.Horizontal)
    qtbot.waitUntil(lambda: panel.controller.up_to_date, timeout=5000)
    qtbot.wait(50)
    assert panel.width() == NARROW_PX
    return panel


def _every_number_has_room_for_name_and_value(narrow):
    tables = (narrow.scale.table, narrow.curve.angles, narrow.lengths.table)
    everything = main_measurements(everything_measured(None, None, CaseFacts()))
    assert sum(table.rowCount() for table in tables) == len(everything)
    for table in tables:
        for row in range(table.rowCount()):
            for column in (0, 1):
                needed = table.sizeHintForIndex(table.model().index(row, column)).width()
                assert needed <= table.columnWidth(column), table.item(row, column).text()


def _every_number_of_every_method_is_read_whole(narrow, qtbot):
    from qtpy.QtCore import QRect, Qt

    table, key = narrow.curve.table, narrow.curve.key
    # all in one window: opening one for each method would take minutes
    for method in METHODS:
        narrow.controller.choose_method(method.name)
        qtbot.wait(20)
        assert table.rowCount() == len(method.quantities)
        assert table.height() >= table.verticalHeader().length()
        for row in range(table.rowCount()):
            value = table.sizeHintForIndex(table.model().index(row, 1)).width()
            assert value <= table.columnWidth(1), table.item(row, 1).text()
            room = QRect(0, 0, table.columnWidth(0) - 8, 1000)
            text = table.item(row, 0).text()
            needed = table.fontMetrics().boundingRect(room, int(Qt.TextFlag.TextWordWrap), text)
            assert needed.width() <= room.width(), text
            assert needed.height() <= table.rowHeight(row), text
        assert key.isVisible()
        qtbot.waitUntil(lambda: key.heightForWidth(key.width()) <= key.height() + 1, timeout=3000)


def _every_landmark_with_its_state_has_room(narrow):
    points = narrow.trace.list
    assert "123 px away" in points.item(6).text()
    for row in range(points.count()):
        needed = points.sizeHintForIndex(points.model().index(row, 0)).width()
        assert needed <= points.viewport().width(), points.item(row).text()


def _buttons_choices_and_hints_have_room(narrow):
    from qtpy.QtWidgets import QComboBox, QLineEdit, QPushButton, QStyle, QStyleOptionComboBox

    buttons = [one for one in narrow.findChildren(QPushButton) if one.isVisible()]
    assert len(buttons) >= 10
    for button in buttons:
        assert button.sizeHint().width() <= button.width(), button.text()
    wake = narrow.next_step.wake_button
    assert wake.sizeHint().width() <= narrow.next_step.width()
    for box in [*narrow.scale.form.choices.values(), *narrow.lengths.form.choices.values()]:
        assert isinstance(box, QComboBox)
        option = QStyleOptionComboBox()
        box.initStyleOption(option)
        part = QStyle.SubControl.SC_ComboBoxEditField
        room = box.style().subControlRect(QStyle.ComplexControl.CC_ComboBox, option, part, box).width()
        for text in (box.itemText(k) for k in range(box.count())):
            assert box.fontMetrics().horizontalAdvance(text) <= room, text
    for line in narrow.findChildren(QLineEdit):
        hint = line.placeholderText()
        assert line.fontMetrics().horizontalAdvance(hint) <= line.width() - 12, hint


def _texts_break_into_lines_that_fit_even_a_long_name(narrow):
    from qtpy.QtCore import Qt
    from qtpy.QtGui import QTextDocumentFragment
    from qtpy.QtWidgets import QLabel

    assert LONG_NAME in narrow.image.facts.text().replace("\u200b", "")
    narrow.lengths.table.selectRow(0)
    narrow.tell("problem", f"{LONG_NAME} cannot be read.")
    labels = [one for one in narrow.findChildren(QLabel) if one.isVisible() and one.text()]
    assert len(labels) > 15
    for label in labels:
        text = label.text()
        if label.textFormat() == Qt.TextFormat.RichText:
            text = QTextDocumentFragment.fromHtml(text).toPlainText()
        words = text.replace("\u200b", " ").split() if label.wordWrap() else [text]
        widest = max(label.fontMetrics().horizontalAdvance(word) for word in words)
        assert widest <= label.width(), label.text()


def _a_long_name_of_a_canal_does_not_widen_the_panel(narrow):
    inner = narrow.scroll_area.widget()
    assert inner.minimumSizeHint().width() <= narrow.scroll_area.viewport().width()


def test_nothing_is_cut_off(narrow, qtbot):
    """All in one window: opening one for each question takes minutes."""
    _every_number_has_room_for_name_and_value(narrow)
    _every_number_of_every_method_is_read_whole(narrow, qtbot)
    _every_landmark_with_its_state_has_room(narrow)
    _buttons_choices_and_hints_have_room(narrow)
    _texts_break_into_lines_that_fit_even_a_long_name(narrow)
    _a_long_name_of_a_canal_does_not_widen_the_panel(narrow)
