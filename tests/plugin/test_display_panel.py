"""The display aids in a real viewer, through napari's proxy, warnings being errors."""

from __future__ import annotations

import hashlib
import statistics
import time

import numpy as np
import pytest

from napari_periapical import layers
from napari_periapical.layers import DISPLAY_ROLE
from radio.image.display import Display, displayed
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.waiting import settle

pytest.importorskip("qtpy")


@pytest.fixture
def opened(display, make_napari_viewer_proxy):
    """Open the panel as from the menu, with an image."""
    viewer = make_napari_viewer_proxy(show=False)
    _, panel = viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    panel.controller.measuring.measure = straight_length
    add(viewer, plain_radiograph((120, 90)))
    return viewer, panel


def add(viewer, radiograph):
    data, kwargs, _ = layers.image_layer(radiograph, layers.frame_of(1.0, None, millimetres=False))
    viewer.add_image(data, **kwargs)


def aids(panel):
    return panel.image.display


def drawn(panel):
    return panel.binding.layer(DISPLAY_ROLE)


def wait_for(qtbot, panel, wanted):
    radiograph = panel.controller.session.radiograph
    expected = displayed(radiograph, wanted)
    qtbot.waitUntil(
        lambda: drawn(panel) is not None and np.array_equal(drawn(panel).data, expected), timeout=10000
    )


def test_aids_are_folded_away_and_fit_the_panel(opened):
    _, panel = opened
    part = aids(panel)
    assert not part.sliders["gamma"].isVisibleTo(part)
    assert part.told.isHidden()
    part.folding.head.setChecked(True)
    assert part.sliders["gamma"].isVisibleTo(part)
    assert part.minimumSizeHint().width() <= 320 - 40
    widgets = (*part.sliders.values(), part.invert, part.beside, part.reset)
    assert all(widget.toolTip() for widget in widgets)


def test_sliders_show_the_image_otherwise_in_the_background_and_say_so(opened, qtbot):
    _, panel = opened
    part, controller = aids(panel), panel.controller
    image = panel.binding.image_layers()[0]
    before = hashlib.sha256(np.asarray(image.data).tobytes()).hexdigest()
    part.sliders["gamma"].setValue(20)
    part.sliders["gamma"].setValue(25)
    gamma = controller.view.display.gamma
    assert gamma == pytest.approx(3.0**-0.5, abs=0.01)  # a quarter of the way from a third to three
    assert part.values["gamma"].text() == f"{gamma:.2f}"
    assert "gamma 0.58" in part.told.text()
    assert not part.told.isHidden()
    wait_for(qtbot, panel, Display(gamma=gamma))
    part.invert.click()
    part.sliders["sharpen"].setValue(50)
    part.sliders["local_contrast"].setValue(30)
    wait_for(qtbot, panel, Display(gamma=gamma, invert=True, sharpen=0.5, local_contrast=0.3))
    assert hashlib.sha256(np.asarray(image.data).tobytes()).hexdigest() == before
    assert image.data is controller.session.radiograph.grey
    for _ in range(4):
        controller.undo()
    assert controller.view.display == Display()
    assert part.sliders["gamma"].value() == 50
    settle(qtbot, panel)
    assert not drawn(panel).visible
    assert part.told.isHidden()


def test_the_window_stays_open_however_the_sliders_are_drawn(opened):
    _, panel = opened
    part = aids(panel)
    part.sliders["high"].setValue(30)
    part.sliders["low"].setValue(80)
    low, high = panel.controller.view.display.window
    assert (low, high) == (pytest.approx(0.29), 0.3)
    assert part.sliders["low"].value() == 29  # the slider stands where the window is


def test_as_exposed_switches_all_off_and_beside_needs_an_aid(opened, qtbot):
    _, panel = opened
    part = aids(panel)
    assert not part.beside.isEnabled()
    assert not part.reset.isEnabled()
    part.invert.click()
    assert part.beside.isEnabled()
    part.beside.click()
    wait_for(qtbot, panel, Display(invert=True))
    columns = panel.controller.session.radiograph.grey.shape[1]
    assert tuple(drawn(panel).translate)[1] == columns * drawn(panel).scale[1]
    part.reset.click()
    assert panel.controller.view.display == Display()
    qtbot.waitUntil(lambda: not drawn(panel).visible, timeout=10000)
    assert not part.beside.isChecked()


def test_the_check_of_the_image_as_exposed_hears_of_the_aids(opened, qtbot):
    _, panel = opened
    controller, table = panel.controller, panel.image.checks.table
    controller.state_fact("scale_from", "none")

    def row():
        places = (k for k in range(table.rowCount()) if table.item(k, 0).text().startswith("19 "))
        return next(places, None)

    def value():
        return None if row() is None else table.item(row(), 1).text()

    for name, point in (("orifice", (10.0, 20.0)), ("apex", (100.0, 50.0))):
        controller.choose(name)
        controller.place(point)
    qtbot.waitUntil(lambda: controller.up_to_date and table.rowCount() > 0, timeout=10000)
    before = value()
    aids(panel).invert.click()
    qtbot.waitUntil(lambda: value() == "· Note", timeout=10000)
    table.selectRow(row())
    assert "The eye saw it with: inverted." in panel.image.checks.details.text()
    aids(panel).reset.click()
    qtbot.waitUntil(lambda: value() == before, timeout=10000)  # no point was placed with it
    controller.undo()
    assert controller.view.display == Display(invert=True)
    controller.choose("apex")
    controller.place((101.0, 50.0))
    aids(panel).reset.click()
    qtbot.waitUntil(lambda: value() == "· Note", timeout=10000)  # this one was


def test_closing_and_opening_the_panel_keeps_the_aids(opened, qtbot):
    viewer, panel = opened
    aids(panel).invert.click()
    wait_for(qtbot, panel, Display(invert=True))
    viewer.window.remove_dock_widget(panel)
    _, again = viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    assert again.image.display.invert.isChecked()
    again.image.display.sliders["gamma"].setValue(80)
    panel.deleteLater()
    qtbot.wait(20)
    wait_for(qtbot, again, again.controller.view.display)


def test_a_step_of_a_slider_on_three_megapixels_does_not_hold_up_the_person(opened, qtbot):
    """Nothing on the thread of the window takes longer than 50 ms; the image comes from another thread."""
    viewer, panel = opened
    add(viewer, plain_radiograph((2000, 1500), seed=3))
    part = aids(panel)
    part.sliders["local_contrast"].setValue(10)
    wait_for(qtbot, panel, Display(local_contrast=0.1))
    took = []
    for place in range(11, 24):
        start = time.thread_time()  # of this thread alone, however busy the machine is
        part.sliders["local_contrast"].setValue(place)
        took.append(time.thread_time() - start)
    assert statistics.median(took) < 0.05
    wait_for(qtbot, panel, Display(local_contrast=0.23))
