"""The panel in a real viewer, as the plugin gets it: through napari's proxy, warnings being errors."""

from __future__ import annotations

import csv
import json
import time

import numpy as np
import pytest

from napari_periapical.drawings import ROLES
from tests.plugin.drawn import ESSENTIAL, case, click
from tests.plugin.fields import field_of, form_of, type_in
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.pretend import add
from tests.plugin.waiting import settle

pytest.importorskip("qtpy")

WIDGET = "Measure root canals"


@pytest.fixture
def opened(display, make_napari_viewer_proxy):
    """Open the panel as from the menu, with nothing shown on the screen."""
    viewer = make_napari_viewer_proxy(show=False)
    _, panel = viewer.window.add_plugin_dock_widget("napari-periapical", WIDGET)
    return viewer, panel


@pytest.fixture
def at_work(opened, case_path):
    """Open the synthetic case too, and place its points."""
    viewer, panel = opened
    viewer.open(str(case_path), plugin="napari-periapical")
    panel.controller.state_fact("file_length_mm", str(case().facts.file_length_mm))
    panel.controller.state_fact("file_size", str(case().facts.file_size))
    for name in ESSENTIAL:
        panel.controller.place(click(name))
    return viewer, panel


def shown_numbers(panel):
    tables = (panel.scale.table, panel.curve.angles, panel.lengths.table)
    return {t.item(k, 0).text(): t.item(k, 1).text() for t in tables for k in range(t.rowCount())}


def panel_of(viewer):
    (panel,) = viewer.window.dock_widgets.values()
    return panel


def choose(monkeypatch, path):
    from qtpy.QtWidgets import QFileDialog

    for name in ("getOpenFileName", "getSaveFileName"):
        monkeypatch.setattr(QFileDialog, name, lambda *_, **__: (str(path), ""))


def test_an_empty_panel_says_what_to_do_and_shows_the_caution(opened):
    from napari_periapical.shortcuts import SHORTCUTS
    from radio.record.wording import CAUTION

    _, panel = opened
    with_button = [one for one in SHORTCUTS if one.button]
    assert all(one.shown in panel.trace.buttons[one.name].text() for one in with_button)
    # what has no button here stands in the table of keys
    keys = [panel.keys.table.item(row, 1).text() for row in range(panel.keys.table.rowCount())]
    assert {one.shown for one in SHORTCUTS} <= set(keys)
    assert "Open an image" in panel.next_step.name.text()
    assert panel.caution.text() == CAUTION
    assert not panel.caution.isHidden()
    # the caution stands outside of what scrolls
    assert not panel.scroll_area.isAncestorOf(panel.caution)
    assert not panel.keep.tracing_button.isEnabled()
    assert panel.minimumWidth() == 320
    assert panel.scroll_area.widget().minimumSizeHint().width() <= 320 - 30  # margins and bar


def test_numbers_appear_with_unit_uncertainty_method_and_basis(at_work, qtbot):
    from radio.measure.case import LANDMARKS

    viewer, panel = at_work
    settle(qtbot, panel)
    numbers = shown_numbers(panel)
    assert {"Working length", "Gap, tip to apex", "Canal length", "Schneider angle", "Scale"} <= set(numbers)
    assert "±" in numbers["Working length"]
    assert numbers["Working length"].endswith("mm")
    assert numbers["Schneider angle"].endswith("°")
    assert "Method:" in panel.lengths.table.item(0, 1).toolTip()
    assert "Basis:" in panel.lengths.table.item(0, 0).toolTip()
    panel.lengths.table.selectRow(0)
    assert "95 % interval" in panel.lengths.details.text()
    assert numbers["Working length"] in panel.headline.text()

    # the list of points tells what was found, the line above what comes next
    lines = dict(
        zip(LANDMARKS, (panel.trace.list.item(k).text() for k in range(len(LANDMARKS))), strict=True)
    )
    assert lines["file_tip"].startswith("✓ File tip: found")
    assert lines["orifice"] == "✓ Orifice: kept as clicked"
    assert lines["canal_end"] == "Canal end  (optional)"
    assert "All needed points" in panel.next_step.name.text()
    panel.trace.list.itemClicked.emit(panel.trace.list.item(LANDMARKS.index("canal_end")))
    assert panel.next_step.name.text() == "Next: Canal end"

    # and when clicks go to another layer, the panel says so
    assert panel.next_step.wake_button.isHidden()
    viewer.layers.selection.active = viewer.layers[0]
    assert not panel.next_step.wake_button.isHidden()
    panel.next_step.wake_button.click()
    assert panel.next_step.wake_button.isHidden()
    assert viewer.layers.selection.active.name == "Landmarks"


NONSENSE = (
    ("file_length_mm", "abc", "10 to 40"),
    ("file_length_mm", "2100", "10 to 40"),
    ("tooth", "99", "ISO 3950"),
    ("mm_per_px", "0,9", "0.002 to 0.5"),
    ("electronic_mm", "∞", "5 to 40"),
)


def test_nonsense_in_a_field_is_named_stays_and_can_be_put_right(at_work):
    _, panel = at_work
    for field, text, told in NONSENSE:
        before = panel.controller.session.sheet
        type_in(panel, field, text)
        assert panel.controller.session.sheet is before
        assert field_of(panel, field).text() == text
        assert told in form_of(panel, field).problem.text()
        assert not form_of(panel, field).problem.isHidden()
        type_in(panel, field, "")
        assert form_of(panel, field).problem.isHidden()


def test_one_field_states_the_canal_of_a_reading_and_chooses_the_causes(at_work):
    _, panel = at_work
    type_in(panel, "electronic", "flooded;bleeding")
    assert field_of(panel, "electronic").text() == "canal state flooded; bleeding yes"
    before = panel.controller.canal.facts
    field_of(panel, "electronic").editingFinished.emit()
    assert panel.controller.canal.facts == before
    type_in(panel, "electronic", "wet")
    assert "Electronic, state: Given 'wet'" in form_of(panel, "electronic").problem.text()
    assert panel.controller.canal.facts == before
    panel.controller.add_canal()
    assert field_of(panel, "electronic").text() == ""


def test_a_decimal_comma_is_understood_and_only_looking_changes_nothing(at_work):
    _, panel = at_work
    type_in(panel, "file_length_mm", "20,75")
    assert panel.controller.canal.facts.file_length_mm == 20.75
    assert field_of(panel, "file_length_mm").text() == "20.75"
    panel.controller.state_fact("mm_per_px", "0.0123456789012")
    before = panel.controller.canal.facts
    field_of(panel, "mm_per_px").editingFinished.emit()
    assert panel.controller.canal.facts == before


def test_the_call_for_a_known_length_goes_when_one_is_stated_and_comes_back(opened):
    from napari_periapical.layers import frame_of, image_layer

    viewer, panel = opened
    data, kwargs, _ = image_layer(plain_radiograph(), frame_of(1.0, None, millimetres=False))
    viewer.add_image(data, **kwargs)
    assert "known length" in panel.image.cautions.text()
    type_in(panel, "file_length_mm", "21")
    assert "known length" not in panel.image.cautions.text()
    panel.trace.canals.add_button.click()  # of another canal nothing is known yet
    assert "known length" in panel.image.cautions.text()
    panel.trace.buttons["undo"].click()
    panel.trace.buttons["undo"].click()
    assert "known length" in panel.image.cautions.text()


def test_choices_are_stated_and_undone(at_work):
    _, panel = at_work
    box = field_of(panel, "file_start_at")
    box.setCurrentIndex(box.findData("handle"))
    box.activated.emit(box.currentIndex())
    assert panel.controller.canal.facts.file_start_at == "handle"
    panel.trace.buttons["undo"].click()
    assert panel.controller.canal.facts.file_start_at == "stop"
    assert box.currentData() == "stop"


def test_two_canals_are_added_switched_and_removed_in_the_panel(at_work, qtbot):
    _, panel = at_work
    settle(qtbot, panel)
    first = shown_numbers(panel)
    panel.trace.canals.add_button.click()
    assert shown_numbers(panel) == {}
    assert [panel.trace.canals.box.itemText(k) for k in range(2)] == ["canal 1", "canal 2"]
    panel.trace.canals.box.activated.emit(0)
    assert shown_numbers(panel) == first
    panel.trace.canals.box.activated.emit(1)
    panel.trace.canals.remove_button.click()
    assert panel.trace.canals.box.count() == 1
    assert shown_numbers(panel) == first


def test_saving_table_and_tracing_and_reopening(at_work, qtbot, monkeypatch, tmp_path):
    _, panel = at_work
    settle(qtbot, panel)
    numbers = shown_numbers(panel)
    choose(monkeypatch, tmp_path / "out.csv")
    panel.keep.table_button.click()
    with (tmp_path / "out.csv").open(newline="") as stream:
        assert len(list(csv.DictReader(stream))) == 1
    choose(monkeypatch, tmp_path / "out")  # the ending is added
    panel.keep.reader.setText("R7")
    panel.keep.tracing_button.click()
    assert "revision 1" in panel.message.text()
    assert "saved as revision 1" in panel.keep.state.text()
    assert json.loads((tmp_path / "out.json").read_text())["tracings"][0]["reader"] == "R7"
    for name in ("apex", "orifice"):
        panel.controller.choose(name)
        panel.trace.buttons["remove"].click()
    assert "changed since revision 1" in panel.keep.state.text()
    assert shown_numbers(panel) != numbers
    choose(monkeypatch, tmp_path / "out.json")
    panel.keep.reopen_button.click()
    settle(qtbot, panel)
    assert shown_numbers(panel) == numbers
    assert "Opened 1 canal" in panel.message.text()


def test_reopening_into_an_empty_viewer_opens_the_image_beside(
    opened, qtbot, monkeypatch, tmp_path, case_path
):
    from napari_periapical import keeping
    from napari_periapical.controller import Controller
    from radio.image.radiograph import read_radiograph

    image = tmp_path / "case.dcm"
    image.write_bytes(case_path.read_bytes())
    saved = Controller()
    saved.open(read_radiograph(image), [case().facts])
    for name in ESSENTIAL:
        saved.place(click(name))
    keeping.keep_tracing(saved, tmp_path / "t.json")
    viewer, panel = opened
    choose(monkeypatch, tmp_path / "t.json")
    panel.keep.reopen_button.click()
    settle(qtbot, panel)
    assert panel.controller.canal.clicks == saved.canal.clicks
    assert viewer.layers[0].name == "case"
    now = panel.controller.shown.result.measurements
    was = saved.shown.result.measurements
    assert {k: m.value for k, m in now.items()} == {k: m.value for k, m in was.items()}


def test_a_document_that_is_no_tracing_is_told_in_words(at_work, monkeypatch, tmp_path):
    _, panel = at_work
    before = panel.controller.session.sheet
    path = tmp_path / "bad.json"
    choose(monkeypatch, path)
    for content in ("", "{", '{"schema": "other"}', "[1, 2]"):
        path.write_text(content)
        panel.controller.tell("note", "")
        panel.keep.reopen_button.click()
        assert panel.message.text().startswith("! ")
        assert "bad.json" in panel.message.text()
        panel.keep.tracing_button.click()  # nor is it overwritten
        assert path.read_text() == content
    assert panel.controller.session.sheet is before


def test_a_bad_image_is_told_in_words(opened, monkeypatch, tmp_path, qtbot):
    viewer, panel = opened
    path = tmp_path / "bad.png"
    path.write_bytes(b"no image")
    choose(monkeypatch, path)
    panel.image.open_button.click()
    assert panel.message.text() == "Opening bad.png ..."
    qtbot.waitUntil(lambda: panel.message.text().startswith("! bad.png"))
    assert len(viewer.layers) == 0


def test_a_place_that_cannot_be_written_and_a_cancelled_dialog_change_nothing(at_work, monkeypatch, tmp_path):
    from qtpy.QtWidgets import QFileDialog

    _, panel = at_work
    before = panel.controller.session.sheet
    choose(monkeypatch, tmp_path / "no such folder" / "out.json")
    panel.keep.tracing_button.click()
    assert panel.message.text().startswith("! ")
    assert "no such folder" in panel.message.text().replace("\u200b", "")
    panel.controller.tell("note", "")
    for name in ("getOpenFileName", "getSaveFileName"):
        monkeypatch.setattr(QFileDialog, name, lambda *_, **__: ("", ""))
    for button in (panel.image.open_button, panel.keep.reopen_button, panel.keep.tracing_button):
        button.click()
    assert panel.controller.session.sheet is before
    assert panel.message.isHidden()


def test_closing_and_reopening_the_panel_doubles_nothing(at_work, qtbot):
    viewer, panel = at_work
    settle(qtbot, panel)
    callbacks = len(viewer.mouse_drag_callbacks)
    numbers = shown_numbers(panel)
    viewer.window.remove_dock_widget(panel)
    from napari_periapical.panel import PeriapicalPanel

    _, again = viewer.window.add_plugin_dock_widget("napari-periapical", WIDGET)
    assert isinstance(again, PeriapicalPanel)
    assert again is not panel
    assert again.controller is panel.controller
    assert len(viewer.mouse_drag_callbacks) == callbacks
    assert shown_numbers(again) == numbers
    steps = again.controller.undoable
    again.controller.state_fact("tooth", "24")
    again.trace.buttons["undo"].click()
    assert again.controller.undoable == steps
    panel.deleteLater()
    qtbot.wait(20)
    row, col = click("apex")
    again.controller.begin_move("apex", 0)
    again.controller.move_to((row + 4, col))
    again.controller.end_move()
    settle(qtbot, again)
    assert shown_numbers(again) != numbers


def test_measuring_never_holds_the_screen(opened, qtbot, case_path):
    """With a tracer that takes half a second, no action takes a tenth of that on the thread of the screen."""
    viewer, panel = opened
    viewer.open(str(case_path), plugin="napari-periapical")

    def slow(*given):
        time.sleep(0.5)
        return straight_length(*given)

    panel.controller.measuring.measure = slow
    for name in ("orifice", "apex"):
        panel.controller.choose(name)
        panel.controller.place(click(name))
    row, col = click("apex")
    panel.controller.begin_move("apex", 0)
    held = []
    for step in range(8):
        start = time.perf_counter()
        panel.controller.move_to((row + step + 0.5, col))
        held.append(time.perf_counter() - start)
        qtbot.wait(5)
    panel.controller.end_move()
    assert np.median(held) < 0.1
    assert max(held) < 0.3
    settle(qtbot, panel)
    there = panel.controller.shown.result.measurements["canal_length_px"].value
    end = np.array([row + 7.5, col])
    assert there == pytest.approx(np.hypot(*(end - click("orifice"))))


def test_launch_makes_a_viewer_with_panel_and_image(
    display, make_napari_viewer, monkeypatch, case_path, tmp_path, qtbot
):
    from napari_periapical import launch
    from radio.errors import ImageError, PeriapicalError

    monkeypatch.setattr("napari.Viewer", lambda **given: make_napari_viewer(show=given["show"]))
    viewer = launch.make_viewer(case_path, show=False)
    qtbot.waitUntil(lambda: len(viewer.layers) == 1 + len(ROLES))
    assert len(viewer.window.dock_widgets) == 1
    with pytest.raises(ImageError, match=r"gone\.png"):
        launch.open_viewer(tmp_path / "gone.png", None)
    with pytest.raises(PeriapicalError, match=r"book\.sqlite"):
        launch.open_viewer(None, tmp_path / "book.sqlite")


def test_launch_with_a_casebook_saves_into_it_and_reopens_from_it(
    display, make_napari_viewer, monkeypatch, case_path, tmp_path, qtbot
):
    from napari_periapical import launch
    from radio.record.casebook import Casebook

    monkeypatch.setattr("napari.Viewer", lambda **given: make_napari_viewer(show=given["show"]))
    book = tmp_path / "practice.casebook"
    Casebook.make(book).close()
    viewer = launch.make_viewer(case_path, casebook=book, show=False)
    qtbot.waitUntil(lambda: len(viewer.layers) == 1 + len(ROLES))
    panel = panel_of(viewer)
    assert panel.keep.tracing_button.text() == "Save into practice.casebook"
    for name in ESSENTIAL:
        panel.controller.place(click(name))
    settle(qtbot, panel)
    panel.keep.reader.setText("R1")
    panel.keep.tracing_button.click()
    assert panel.message.text() == "✓ Tracing saved in practice.casebook: canal 1 revision 1."
    # another sitting, no image open: the book knows where the image is
    again = launch.make_viewer(casebook=book, show=False)
    other = panel_of(again)
    assert other.keep.reopen_button.text() == "Reopen from practice.casebook"
    other.keep.reopen_button.click()
    settle(qtbot, other)
    assert other.message.text().startswith("✓ Opened 1 canal from practice.casebook."), other.message.text()
    assert other.controller.canal.clicks == panel.controller.canal.clicks


def test_panels_of_two_viewers_work_apart(display, make_napari_viewer_proxy):
    from napari_periapical.layers import Frame
    from napari_periapical.panel import PeriapicalPanel
    from napari_periapical.readers import image_layer

    panels = []
    for seed in (1, 2):
        viewer = make_napari_viewer_proxy(show=False)
        panel = PeriapicalPanel(viewer)
        viewer.window.add_dock_widget(panel)
        data, kwargs, _ = image_layer(plain_radiograph(seed=seed), Frame(1.0, 1.0, "pixel"))
        viewer.add_image(data, **kwargs)
        panels.append(panel)
    panels[0].controller.place((10.0, 10.0))
    assert panels[1].controller.canal.clicks == ()
    assert panels[1].controller is not panels[0].controller


def test_a_curvature_method_is_chosen_read_and_drawn(at_work, qtbot):
    from radio.measure.methods import METHODS

    viewer, panel = at_work
    settle(qtbot, panel)
    before = viewer.layers["Curvature construction"].data.copy()
    choice = panel.curve.choice
    assert [choice.itemData(k) for k in range(choice.count())] == [method.name for method in METHODS]
    index = choice.findData("tangent-circle")
    choice.setCurrentIndex(index)
    choice.activated.emit(index)
    settle(qtbot, panel)
    rows = {panel.curve.table.item(k, 0).text(): panel.curve.table.item(k, 1).text() for k in range(3)}
    assert set(rows) == {"Angle", "Radius", "Asymmetry"}
    assert rows["Angle"].endswith("°")
    assert "Source: Pruett" in panel.curve.story.text()
    assert "1. Trace the middle of the canal" in panel.curve.story.text()
    after = viewer.layers["Curvature construction"].data
    assert len(after) != len(before)
    assert len(viewer.layers["Points of the construction"].data) > 0
    assert "arc or circle" in panel.curve.key.text()
    panel.curve.table.selectRow(1)
    assert "95 % interval" in panel.curve.details.text()


def test_a_table_whose_name_is_completed_to_one_that_is_there_is_asked_for(at_work, monkeypatch, tmp_path):
    from qtpy.QtWidgets import QMessageBox

    _, panel = at_work
    asked, answers = [], [QMessageBox.StandardButton.No, QMessageBox.StandardButton.Yes]
    monkeypatch.setattr(QMessageBox, "question", lambda *given: asked.append(given[2]) or answers.pop(0))
    there = tmp_path / "out.csv"
    there.write_text("kept")
    choose(monkeypatch, tmp_path / "out")  # the dialog saw no file of this name
    panel.save_table()
    assert there.read_text() == "kept"
    assert "out.csv exists already" in asked[0]
    panel.save_table()
    assert len(asked) == 2
    assert "schneider_deg" in there.read_text()
    # the dialog itself asks about a whole name, and a new one needs no question
    choose(monkeypatch, there)
    panel.save_table()
    choose(monkeypatch, tmp_path / "new")
    panel.save_table()
    assert (tmp_path / "new.csv").exists()
    assert len(asked) == 2


def test_one_table_of_all_images_is_saved_in_the_background(at_work, qtbot, monkeypatch, tmp_path):
    viewer, panel = at_work
    settle(qtbot, panel)
    keep = panel.keep
    assert not keep.common_button.isVisibleTo(panel)  # one image: its own table is all there is
    add(viewer, plain_radiograph())
    panel.controller.place((10.0, 20.0))
    assert keep.common_button.isVisibleTo(panel)
    path = tmp_path / "all.csv"
    choose(monkeypatch, path)
    keep.common_button.click()
    qtbot.waitUntil(
        lambda: panel.message.text().startswith("✓ Table saved: 1 canal of 1 image"), timeout=20000
    )
    assert "Left out: unsaved image" in panel.message.text()
    assert keep.progress.isHidden()
    assert len(path.read_text().splitlines()) == 2
    # while it is written, there is a bar and a way to stop
    stopped = []
    keep.show_progress(1, 2, lambda: stopped.append(True))
    assert keep.progress.isVisibleTo(panel)
    assert (keep.progress.value(), keep.progress.maximum()) == (1, 2)
    assert not keep.common_button.isEnabled()
    keep.stop_button.click()
    assert stopped == [True]


def test_images_opened_one_after_the_other_are_all_opened(opened, qtbot, monkeypatch, case_path, tmp_path):
    import shutil

    viewer, panel = opened
    names = ("one.dcm", "two.dcm", "three.dcm")
    for name in names:
        choose(monkeypatch, shutil.copy(case_path, tmp_path / name))
        panel.image.open_button.click()
    qtbot.waitUntil(lambda: len(panel.binding.image_layers()) == 3, timeout=20000)
    settle(qtbot, panel)
    assert {layer.name for layer in panel.binding.image_layers()} == {"one", "two", "three"}
    assert len(viewer.layers) == 3 + len(ROLES)
