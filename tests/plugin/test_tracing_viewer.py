"""Tracing on a shown viewer with mouse and keys as Qt delivers them, and the magnifier beside it."""

from __future__ import annotations

import time

import numpy as np
import pytest

from tests.plugin.drawn import case, click
from tests.plugin.waiting import settle

pytest.importorskip("qtpy")


def on_file(share):
    """Point of the true file, (row, col), at a share of its length."""
    axis = case().truth.file_axis_px
    return tuple(float(one) for one in axis[round(share * (len(axis) - 1))])


def lens(hands):
    from tests.plugin.hands import QWidget

    found = hands.canvas.findChildren(QWidget, "periapical_magnifier")
    assert len(found) == 1
    return found[0]


def points(panel, *names):
    return [panel.controller.canal.points(name) for name in names]


def test_a_file_is_traced_by_clicks_and_ended_by_a_right_click(story, qtbot):
    from tests.plugin.hands import RIGHT

    _, panel, hands = story
    controller = panel.controller
    start, pin, tip = click("file_start"), on_file(0.6), click("file_tip")
    hands.click(start)
    assert controller.tracing == "file"
    assert panel.next_step.name.text() == "Tracing the file"
    assert "right click at the file tip" in panel.next_step.instruction.text()
    assert panel.trace.buttons["next"].text() == "End line (Enter)"
    assert panel.trace.buttons["remove"].text() == "Take back (Backspace)"

    hands.move(on_file(0.2), pin)
    layer = panel.binding.layer("live")
    drawn = layer.data[:, 0]
    assert len(drawn) > 20
    gap = np.hypot(*(case().truth.file_axis_px[:, None] - drawn[3:-3]).transpose(2, 0, 1)).min(axis=0)
    assert np.median(gap) * case().truth.mm_per_px < 0.06

    hands.click(pin)
    hands.move(on_file(0.8), tip)
    assert layer.data[-1].sum(axis=0) == pytest.approx(tip, abs=2.0)

    def rests():
        # on a shared screen the real pointer may have come in meanwhile
        hands.leave()
        return np.allclose(layer.data[-1].sum(axis=0), pin, atol=2.0)

    qtbot.waitUntil(rests, timeout=3000)
    hands.click(tip, button=RIGHT)
    assert controller.tracing is None
    assert [len(one) for one in points(panel, "file_start", "file_via", "file_tip")] == [1, 1, 1]
    assert controller.canal.points("file_tip")[0] == pytest.approx(tip, abs=2.0)
    assert len(layer.data) == 0
    assert panel.next_step.name.text() == "Next: Orifice"
    assert panel.trace.buttons["next"].text() == "Pass over (Enter)"
    # the measured line takes the place of the live one
    settle(qtbot, panel)
    assert len(panel.binding.layer("file").data) > 50


def test_keys_end_take_back_give_up_and_nudge(story):
    from qtpy.QtCore import Qt

    viewer, panel, hands = story
    controller = panel.controller
    control, shift = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
    for place in (click("file_start"), on_file(0.3), on_file(0.5), on_file(0.7)):
        hands.click(place)
    hands.key(Qt.Key.Key_Backspace)
    assert len(controller.canal.points("file_via")) == 2
    hands.key(Qt.Key.Key_Escape)
    assert controller.canal.clicks == ()
    assert controller.tracing is None
    hands.key(Qt.Key.Key_Z, control)
    assert len(controller.canal.points("file_via")) == 2
    assert controller.tracing == "file"

    # arrow keys move the pin and neither the view nor the sliders of the viewer
    hands.click(controller.canal.points("file_via")[1])
    (_, before), step = controller.canal.points("file_via"), viewer.dims.current_step
    centre = tuple(viewer.scene.camera.center)
    for key in (Qt.Key.Key_Right, Qt.Key.Key_Right, Qt.Key.Key_Down):
        hands.key(key)
    hands.key(Qt.Key.Key_Left, shift)
    (_, after) = controller.canal.points("file_via")
    assert np.subtract(after, before) == pytest.approx((0.1, -0.8), abs=1e-9)
    assert (viewer.dims.current_step, tuple(viewer.scene.camera.center)) == (step, centre)
    hands.key(Qt.Key.Key_Z, control)
    assert controller.canal.points("file_via")[1] == before

    hands.key(Qt.Key.Key_Return)
    assert controller.tracing is None
    assert controller.canal.points("file_tip") == (before,)
    assert viewer.layers.selection.active == panel.binding.layer("landmarks")


def test_shift_double_click_and_drag_while_tracing(story):
    from tests.plugin.hands import Qt

    _, panel, hands = story
    controller, shift = panel.controller, Qt.KeyboardModifier.ShiftModifier
    hands.click(click("file_start"))
    aside = (on_file(0.3)[0], on_file(0.3)[1] + 12.0)
    hands.move(aside, modifier=shift)
    ways = panel.binding.layer("live").data[:, 1]
    np.testing.assert_allclose(ways, np.broadcast_to(ways[0], ways.shape), atol=1e-6)
    hands.click(aside, modifier=shift)
    assert controller.canal.facts.exact == (("file_via", 0),)
    assert controller.canal.points("file_via")[0] == pytest.approx(aside, abs=1.5)

    hands.drag(aside, (aside[0] + 5, aside[1] - 4), on_file(0.32))
    assert controller.tracing == "file"
    assert controller.canal.points("file_via")[0] == pytest.approx(on_file(0.32), abs=2.0)
    assert controller.canal.facts.exact == (("file_via", 0),)

    hands.double_click(on_file(0.6))
    assert controller.tracing == "file"
    assert len(controller.canal.points("file_via")) == 2


def test_the_magnifier_follows_the_pointer_and_is_switched_off_and_on(story, qtbot):
    from tests.plugin.hands import Qt

    viewer, panel, hands = story
    controller = panel.controller
    inset = lens(hands)
    assert not inset.isVisible()
    place = on_file(0.4)
    hands.move(place)
    assert inset.isVisible()
    # the pixel under the pointer is in the middle, in the grey it is displayed in, and four times as large
    image = panel.binding.seen_image()
    at = controller.session.live.pointer
    low, high = image.contrast_limits
    grey = np.clip((image.data[tuple(np.round(at).astype(int))] - low) / (high - low), 0, 1)
    shot = inset.grab().toImage()
    middle = shot.pixelColor(shot.width() // 2, shot.height() // 2)
    assert middle.red() == pytest.approx(255 * grey, abs=2)
    assert inset._lens.col_px == pytest.approx(4 * image.scale[-1] * viewer.scene.camera.zoom)
    # mouse and keys go through it
    assert inset.testAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    # it goes with the pointer, beside it, and stays on the canvas on every side
    def beside(x, y):
        middle = np.array([hands.canvas.height(), hands.canvas.width()]) / 2
        way = (np.array([y, x]) - middle) / viewer.scene.camera.zoom
        world = np.array(viewer.scene.camera.center[-2:]) + way
        controller.session.live.pointer = tuple(viewer.layers[0].world_to_data(world))
        controller.aimed.emit()
        box = inset.geometry()
        assert hands.canvas.rect().contains(box)
        assert not box.adjusted(-20, -20, 20, 20).contains(round(x), round(y))
        assert min(abs(box.left() - x), abs(box.right() - x)) < 30
        assert min(abs(box.top() - y), abs(box.bottom() - y)) < 30

    width, height = hands.canvas.width(), hands.canvas.height()
    for x, y in ((5, 5), (width - 5, 5), (5, height - 5), (width - 5, height - 5), (width / 2, height / 2)):
        beside(x, y)

    # while a line is traced downwards, what lies ahead of it stays in sight
    hands.click(click("file_start"))
    hands.move(place)
    assert inset.geometry().bottom() < hands.on_screen(place).y()
    hands.key(Qt.Key.Key_Escape)

    hands.key(Qt.Key.Key_M)
    hands.move(place)
    assert not inset.isVisible()
    assert controller.undoable == "hiding the magnifier"
    hands.key(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    hands.move(place)
    assert inset.isVisible()

    def gone():
        # on a shared screen the real pointer may have come in meanwhile
        hands.leave()
        return not inset.isVisible()

    qtbot.waitUntil(gone, timeout=3000)

    # it is there while a point is dragged, and gone when nothing is left to place
    for name in ("file_start", "file_tip", "orifice", "apex"):
        controller.place(click(name))
    hands.move(place)
    assert not inset.isVisible()
    controller.begin_move("apex", 0)
    controller.aim(click("apex"))
    assert inset.isVisible()
    controller.cancel_move()


def test_a_second_panel_brings_no_second_magnifier(story, qtbot):
    viewer, _, hands = story
    viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    qtbot.wait(50)
    hands.move(on_file(0.4))
    assert lens(hands).isVisible()


def test_one_step_of_the_pointer_is_quick_on_a_shown_viewer(story):
    """Nothing near the 50 ms the Qt thread may be held; how quick it is, the benchmark tells."""
    _, panel, hands = story
    hands.click(click("file_start"))
    took = []
    for share in np.linspace(0.05, 0.9, 30):
        begun = time.perf_counter()
        panel.controller.aim(on_file(share))
        took.append(time.perf_counter() - begun)
    assert np.median(took) < 0.05
