"""One canal from opening to saved, with mouse and keys on a shown viewer."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from radio.record.colours import CANAL_COLOUR
from tests.plugin.drawn import ESSENTIAL, case, click
from tests.plugin.fields import field_of
from tests.plugin.waiting import settle, type_into

pytest.importorskip("qtpy")


def numbers(panel):
    return {k: (m.value, m.sd) for k, m in panel.controller.shown.result.measurements.items()}


def test_one_canal_from_opening_to_reopened(story, qtbot, monkeypatch, tmp_path):
    from qtpy.QtCore import Qt
    from qtpy.QtWidgets import QFileDialog

    from tests.plugin.hands import LEFT, RIGHT

    viewer, panel, hands = story
    controller = panel.controller
    control, shift = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier

    # state the file, with a decimal comma
    known = case().facts.file_length_mm
    type_into(qtbot, field_of(panel, "file_length_mm"), f"{known:.2f}".replace(".", ","))
    assert controller.canal.facts.file_length_mm == pytest.approx(known, abs=0.01)

    # place the points with the mouse, as the panel asks for them; a right click ends a line
    for name in ESSENTIAL:
        assert controller.session.landmark == name
        hands.click(click(name), button=RIGHT if name in ("file_tip", "apex") else LEFT)
        assert controller.canal.points(name)[0] == pytest.approx(click(name), abs=2.0)
    settle(qtbot, panel)
    first = numbers(panel)
    truth = case().truth
    assert first["working_length_mm"][0] == pytest.approx(truth.working_length_mm, abs=1.0)
    assert "Working length" in panel.headline.text()
    assert viewer.canvas.overlays.scale_bar.visible

    # drag the apex: lines and numbers follow, the view does not
    placed = controller.canal
    centre = np.array(viewer.scene.camera.center)
    start = np.array(placed.points("apex")[0])
    away = [tuple(start + np.array([d, 0.0])) for d in (0, 8, 16, 24, 32, 40)]
    hands.drag(*away)
    settle(qtbot, panel)
    moved = controller.canal.points("apex")[0]
    assert moved[0] - start[0] == pytest.approx(40, abs=3)
    assert moved[0] != round(moved[0])
    assert numbers(panel)["gap_mm"] != first["gap_mm"]
    after = np.array(viewer.scene.camera.center) / np.array([1, *viewer.layers[0].scale])
    before = centre / np.array([1, *viewer.layers[0].scale])
    np.testing.assert_allclose(after, before, rtol=0.01)

    # undo restores exactly, redo goes forth again
    hands.key(Qt.Key.Key_Z, control)
    settle(qtbot, panel)
    assert controller.canal == placed
    assert numbers(panel) == first
    hands.key(Qt.Key.Key_Z, control | shift)
    settle(qtbot, panel)
    assert controller.canal.points("apex") == (moved,)
    hands.key(Qt.Key.Key_Z, control)

    # a point is removed by key and brought back
    hands.click(placed.points("orifice")[0])
    hands.key(Qt.Key.Key_Backspace)
    assert controller.canal.points("orifice") == ()
    assert controller.session.landmark == "orifice"
    hands.key(Qt.Key.Key_Z, control)
    assert controller.canal == placed

    # save both, then bring the tracing back into a cleared sheet
    def answer(path):
        for dialog in ("getOpenFileName", "getSaveFileName"):
            monkeypatch.setattr(QFileDialog, dialog, lambda *_, **__: (str(path), ""))

    settle(qtbot, panel)
    answer(tmp_path / "results.csv")
    qtbot.mouseClick(panel.keep.table_button, Qt.MouseButton.LeftButton)
    with (tmp_path / "results.csv").open(newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert float(row["gap_mm"]) == pytest.approx(first["gap_mm"][0], rel=1e-6)
    answer(tmp_path / "tracing.json")
    qtbot.mouseClick(panel.keep.tracing_button, Qt.MouseButton.LeftButton)
    controller.remove_canal()
    assert controller.canal.clicks == ()
    qtbot.mouseClick(panel.keep.reopen_button, Qt.MouseButton.LeftButton)
    settle(qtbot, panel)
    assert controller.canal.clicks == placed.clicks
    assert controller.canal.facts == placed.facts
    assert numbers(panel) == first


def test_dragging_over_empty_image_pans_and_wheel_and_clicks_still_hit(story, qtbot):
    viewer, panel, hands = story
    before = np.array(viewer.scene.camera.center)
    hands.drag((300.0, 300.0), (330.0, 330.0), (400.0, 380.0))
    assert panel.controller.canal.clicks == ()
    assert not np.allclose(viewer.scene.camera.center, before)
    viewer.scene.camera.zoom *= 2.5
    qtbot.wait(50)
    row, col = (c for c in np.array(viewer.scene.camera.center)[-2:])
    hands.click((row + 20.0, col - 30.0))
    assert panel.controller.canal.points("file_start")[0] == pytest.approx((row + 20.0, col - 30.0), abs=1.0)


def test_what_is_drawn_is_where_it_was_placed(story, qtbot):
    """The rings on the screen lie where the points were clicked."""
    viewer, panel, hands = story
    target = click("orifice")
    panel.controller.choose("orifice")
    empty = viewer.screenshot(canvas_only=True, flash=False).astype(int)
    hands.click(target)
    qtbot.wait(100)
    drawn = viewer.screenshot(canvas_only=True, flash=False).astype(int)
    colour = [int(CANAL_COLOUR[k : k + 2], 16) for k in (1, 3, 5)]
    ring = (np.abs(drawn[..., :3] - colour).sum(axis=-1) < 60) & (np.abs(drawn - empty).sum(axis=-1) > 60)
    rows, cols = np.nonzero(ring)
    ratio = drawn.shape[1] / hands.canvas.width()
    where = hands.on_screen(panel.controller.canal.points("orifice")[0])
    assert len(rows) > 10
    assert np.mean(cols) == pytest.approx(where.x() * ratio, abs=3)
    assert np.mean(rows) == pytest.approx(where.y() * ratio, abs=3)
