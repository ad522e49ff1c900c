"""Keeping by itself in real viewers: closed and opened again, two at once, layers and panels that go."""

from __future__ import annotations

import re
import time

import pytest

from napari_periapical.drafts import read_draft
from napari_periapical.drawings import ROLES
from tests.plugin.drawn import ESSENTIAL, case, click
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.pretend import add
from tests.plugin.sessions import newest_draft
from tests.plugin.waiting import settle

pytest.importorskip("qtpy")

NAME, WIDGET = "napari-periapical", "Measure root canals"


@pytest.fixture
def open_panel(display, make_napari_viewer):
    def open_one():
        viewer = make_napari_viewer(show=True)
        _, panel = viewer.window.add_plugin_dock_widget(NAME, WIDGET)
        return viewer, panel

    return open_one


def on_disk(qtbot, panel, folder):
    """Wait until the draft says what the panel holds."""

    def same():
        draft, _ = newest_draft(folder, panel.controller.session.radiograph.sha256)
        assert draft is not None
        assert draft.sheet == panel.controller.session.sheet

    qtbot.waitUntil(same, timeout=5000)


def test_points_placed_in_a_viewer_that_is_closed_are_back_in_the_next(
    open_panel, qtbot, drafts, case_path, tmp_path, monkeypatch
):
    from qtpy.QtWidgets import QFileDialog

    from tests.plugin.hands import LEFT, RIGHT, Hands

    viewer, panel = open_panel()
    one = panel.controller
    viewer.open(str(case_path), plugin=NAME)
    assert panel.keep.kept.isHidden()
    one.state_fact("file_length_mm", str(case().facts.file_length_mm))
    hands = Hands(viewer, qtbot)
    qtbot.wait(100)
    for name in ESSENTIAL:
        hands.click(click(name), button=RIGHT if name in ("file_tip", "apex") else LEFT)
    one.state_setting("apical_portion_mm", "3,5")
    one.add_canal()
    one.state_fact("canal", "DB")
    one.choose("orifice")
    one.place((200.25, 100.125), exact=True)
    one.choose_method("tangent-circle")
    one.show_display("inverting", invert=True)
    one.hide_canal(True)
    one.choose_canal(0)
    qtbot.waitUntil(lambda: one.up_to_date, timeout=20000)
    numbers = {k: m.value for k, m in one.shown.result.measurements.items()}
    on_disk(qtbot, panel, drafts)
    assert re.fullmatch(r"Kept by itself at \d\d:\d\d:\d\d\.", panel.keep.kept.text())
    assert not panel.keep.kept.isHidden()
    assert str(drafts) in panel.keep.kept.toolTip()
    left = one.session.sheet
    viewer.close()

    again, other = open_panel()
    renamed = tmp_path / "another name.dcm"  # known by its content
    renamed.write_bytes(case_path.read_bytes())
    again.open(str(renamed), plugin=NAME)
    assert other.controller is not one
    assert other.controller.session.sheet == left
    assert re.fullmatch(r"Brought back what was placed on \d\d \w+ \d\d:\d\d\.", other.message.text())
    assert other.keep.kept.text().startswith("Kept by itself on ")
    assert other.curve.settings.lines["apical_portion_mm"].text() == "3.5"
    assert other.image.display.invert.isChecked()
    assert other.trace.canals.box.currentIndex() == 0
    assert len(again.layers["Landmarks"].data) == len(ESSENTIAL)
    qtbot.waitUntil(lambda: other.controller.up_to_date, timeout=20000)
    assert {k: m.value for k, m in other.controller.shown.result.measurements.items()} == numbers
    other.trace.buttons["undo"].click()
    assert [canal.clicks for canal in other.controller.session.sheet.canals] == [()]
    settle(qtbot, other)
    assert len(again.layers["Landmarks"].data) == 0
    other.trace.buttons["redo"].click()
    assert other.controller.session.sheet == left
    # what is saved then is known to be saved in the viewer after that
    qtbot.waitUntil(lambda: other.controller.up_to_date, timeout=20000)
    path = tmp_path / "t.json"
    other.controller.choose_canal(1)
    other.controller.remove_canal()
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(path), ""))
    other.keep.tracing_button.click()
    assert "saved as revision 1" in other.keep.state.text()
    other.controller.autosave.flush()
    state = other.keep.state.text()
    again.close()
    third, last = open_panel()
    third.open(str(case_path), plugin=NAME)
    assert last.keep.state.text() == state


def test_two_viewers_on_one_image_at_once_keep_apart(open_panel, qtbot, drafts):
    radiograph = plain_radiograph()
    panels = []
    for _ in range(2):
        viewer, panel = open_panel()
        panel.controller.measuring.measure = straight_length
        add(viewer, radiograph)
        panels.append(panel)
    for step in range(6):
        for side, panel in enumerate(panels):
            panel.controller.choose("canal_via")
            panel.controller.place((10.0 + side, 1.0 + step))
    for panel in panels:
        panel.controller.autosave.flush()
    there = {read_draft(path).session: read_draft(path).sheet for path in drafts.glob("*.json")}
    assert there == {one.controller.autosave.uuid: one.controller.session.sheet for one in panels}
    assert panels[0].controller.session.sheet != panels[1].controller.session.sheet


def test_a_slow_disk_never_holds_the_screen(open_panel, qtbot, drafts, monkeypatch):
    from napari_periapical import autosave
    from napari_periapical.drafts import write_draft

    viewer, panel = open_panel()
    panel.controller.measuring.measure = straight_length
    add(viewer, plain_radiograph())
    plain = []
    for step in range(8):
        start = time.perf_counter()
        panel.controller.state_fact("tooth", str(11 + step % 2))
        plain.append(time.perf_counter() - start)

    def slow(*args, **given):
        time.sleep(0.3)
        return write_draft(*args, **given)

    panel.controller.autosave.flush()
    monkeypatch.setattr(autosave, "write_draft", slow)
    held = []
    for step in range(8):
        start = time.perf_counter()
        panel.controller.state_fact("tooth", str(21 + step % 2))
        held.append(time.perf_counter() - start)
    assert sorted(held)[4] < sorted(plain)[4] + 0.1
    on_disk(qtbot, panel, drafts)


def test_a_place_that_cannot_be_written_is_said_in_the_panel_and_work_goes_on(open_panel, qtbot, drafts):
    viewer, panel = open_panel()
    panel.controller.measuring.measure = straight_length
    drafts.write_text("in the way")
    add(viewer, plain_radiograph())
    panel.controller.place((10.0, 20.0))
    qtbot.waitUntil(lambda: "Not kept by itself" in panel.message.text(), timeout=5000)
    said = panel.message.text().replace("\u200b", "")
    assert said.startswith(f"! Not kept by itself: {drafts} cannot be written")
    assert panel.keep.kept.text().replace("\u200b", "") == said[2:]
    panel.controller.place((40.0, 20.0))
    qtbot.wait(100)
    assert panel.message.isHidden()  # said once
    assert "Not kept by itself" in panel.keep.kept.text()
    assert len(panel.controller.canal.clicks) == 2
    drafts.unlink()
    panel.controller.state_fact("tooth", "36")
    qtbot.waitUntil(lambda: "Kept by itself at" in panel.keep.kept.text(), timeout=5000)


def test_closing_the_panel_keeps_on_keeping_and_a_new_one_takes_over(open_panel, qtbot, drafts):
    viewer, panel = open_panel()
    controller = panel.controller
    controller.measuring.measure = straight_length
    add(viewer, plain_radiograph())
    controller.place((10.0, 20.0))
    viewer.window.remove_dock_widget(panel)
    panel.deleteLater()
    qtbot.wait(50)
    controller.place((40.0, 20.0))
    on_disk(qtbot, panel, drafts)
    _, again = viewer.window.add_plugin_dock_widget(NAME, WIDGET)
    assert again.controller is controller
    again.controller.state_fact("tooth", "36")
    on_disk(qtbot, again, drafts)
    qtbot.waitUntil(lambda: again.keep.kept.text().startswith("Kept by itself at"), timeout=5000)
    assert len(list(drafts.glob("*.json"))) == 1


def test_renaming_hiding_and_deleting_layers_loses_nothing_and_doubles_nothing(open_panel, qtbot, drafts):
    viewer, panel = open_panel()
    controller = panel.controller
    controller.measuring.measure = straight_length
    image = add(viewer, plain_radiograph())
    controller.place((10.0, 20.0))
    controller.place((40.5, 20.25))
    placed = controller.session.sheet
    settle(qtbot, panel)
    for layer in list(viewer.layers):
        layer.name = f"mine {layer.name}"
    controller.state_fact("tooth", "36")
    settle(qtbot, panel)
    assert len(viewer.layers) == 1 + len(ROLES)
    ours = [one for one in viewer.layers if one is not image]
    theirs = viewer.add_points([[1.0, 2.0]], name="theirs")
    for layer in ours:
        viewer.layers.remove(layer)
        assert layer not in viewer.layers
    qtbot.wait(50)
    assert list(viewer.layers) == [image, theirs]  # until there is something new to show
    controller.state_fact("tooth", "37")
    settle(qtbot, panel)
    assert len(viewer.layers) == 2 + len(ROLES)
    assert len(viewer.layers["Landmarks"].data) == 2
    viewer.layers.selection = {one for one in viewer.layers if one not in (image, theirs)}
    viewer.layers.remove_selected()
    qtbot.wait(50)
    assert list(viewer.layers) == [image, theirs]
    controller.undo()
    controller.redo()
    settle(qtbot, panel)
    assert len(viewer.layers["Landmarks"].data) == 2
    viewer.layers.remove(image)
    assert controller.session is None
    data, kwargs, _ = image.as_layer_data_tuple()
    viewer.add_image(data, **{key: kwargs[key] for key in ("name", "metadata", "contrast_limits")})
    assert controller.canal.clicks == placed.canal.clicks
    assert controller.canal.facts.tooth == "37"
    assert controller.undoable == "stating tooth"
    viewer.layers.clear()
    assert controller.session is None
    controller.autosave.flush()
    other, fresh = open_panel()
    fresh.controller.measuring.measure = straight_length
    add(other, plain_radiograph())
    assert fresh.controller.canal.clicks == placed.canal.clicks
    assert fresh.controller.canal.facts.tooth == "37"
    assert len(list(drafts.glob("*.json"))) == 1


def test_only_the_layer_that_is_deleted_goes_whatever_else_becomes_active(open_panel, qtbot):
    """The viewer names another active layer before the old one is gone; nothing may come or move then."""
    viewer, panel = open_panel()
    panel.controller.measuring.measure = straight_length
    first = add(viewer, plain_radiograph())
    panel.controller.place((10.0, 20.0))
    theirs = viewer.add_points([[1.0, 2.0]], name="theirs")
    second = add(viewer, plain_radiograph(seed=1))
    panel.controller.place((30.0, 20.0))
    for layer in [one for one in viewer.layers if one not in (first, second, theirs)]:
        viewer.layers.remove(layer)
    viewer.layers.selection.active = second
    viewer.layers.remove(second)
    assert second not in viewer.layers
    assert {first, theirs} <= set(viewer.layers)
    viewer.layers.selection.active = first
    assert panel.controller.canal.points("orifice") == ((10.0, 20.0),)
    viewer.layers.clear()
    assert len(viewer.layers) == 0


def test_another_windows_work_is_offered_and_taken_up_by_a_button(open_panel, qtbot, drafts, case_path):
    def placed(panel, name, point):
        panel.controller.choose(name)
        panel.controller.place(point)
        on_disk(qtbot, panel, drafts)

    first, one = open_panel()
    first.open(str(case_path), plugin=NAME)
    assert not one.keep.others.isVisibleTo(one)
    placed(one, "orifice", click("orifice"))
    second, two = open_panel()
    second.open(str(case_path), plugin=NAME)
    assert two.controller.session.sheet == one.controller.session.sheet
    placed(one, "apex", click("apex"))
    placed(two, "file_tip", click("file_tip"))
    mine = one.controller.session.sheet

    third, three = open_panel()
    third.open(str(case_path), plugin=NAME)
    keep = three.keep
    assert keep.others.isVisibleTo(three)
    assert keep.others_line.isVisibleTo(three)
    assert [keep.others.itemText(k).split(": ")[1] for k in range(keep.others.count())] == [
        "1 canal, 2 points"
    ]
    keep.others_button.click()
    assert three.controller.session.sheet == mine
    assert not keep.others.isVisibleTo(three)
    assert "Undo goes back" in three.message.text()
