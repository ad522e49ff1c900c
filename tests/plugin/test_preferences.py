"""The settings page: registered, kept by napari, and in effect on what is opened next."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest
from npe2 import PluginManifest

import napari_periapical
from napari_periapical.preferences import PLUGIN, Preferences, preferences
from radio.measure.settings import LIMITS, CurvatureSettings
from tests.plugin.made import plain_radiograph
from tests.plugin.pretend import add, plain_viewer
from tests.plugin.sessions import IMAGE, NO_SCALE, controller

MANIFEST = Path(napari_periapical.__file__).with_name("napari.yaml")


@pytest.fixture
def page(plugin_settings, npe2pm):
    """Give the settings of this plugin as napari holds them, kept in a folder of the test."""
    from napari.settings import get_plugin_settings

    if PLUGIN not in npe2pm:
        npe2pm.register(PluginManifest.from_file(MANIFEST))
    return get_plugin_settings(PLUGIN)


def test_the_page_is_registered_and_its_first_values_are_the_usual_ones(page):
    assert preferences() == Preferences()
    names = {name for group in ("keeping", "curvature", "view") for name in getattr(page, group).model_dump()}
    assert names == {one.name for one in fields(Preferences)}
    assert page.config_path.name == "napari-periapical.yaml"


@pytest.mark.parametrize("name", ["departure_tolerance_mm", "apical_portion_mm"])
def test_the_page_allows_what_the_methods_allow(page, name):
    from pydantic import ValidationError

    limits = LIMITS[name]
    for value in (limits.low, limits.low + 0.01, limits.high, limits.high + 0.1, -1.0):
        if limits.hold(value):
            setattr(page.curvature, name, value)
            assert getattr(preferences().settings, name) == value
        else:
            with pytest.raises(ValidationError):
                setattr(page.curvature, name, value)


def test_without_the_page_everything_is_as_usual(plugin_settings):
    assert preferences() == Preferences()


def test_what_is_set_is_kept_and_holds_for_the_image_that_is_opened_next(page):
    viewer, binding, _ = plain_viewer()
    first = binding.controller.canal.settings
    page.curvature.departure_tolerance_mm = 0.3
    page.curvature.apical_portion_mm = 3.5
    page.view.numbers = page.view.magnifier = False
    assert "apical_portion_mm: 3.5" in page.config_path.read_text()
    assert binding.controller.canal.settings == first == CurvatureSettings()
    add(viewer, plain_radiograph(seed=1))
    assert binding.controller.canal.settings == CurvatureSettings(
        departure_tolerance_mm=0.3, apical_portion_mm=3.5
    )
    assert (binding.controller.view.numbers, binding.controller.view.magnifier) == (False, False)
    other = plain_viewer(plain_radiograph(seed=2))[1]
    assert (other.controller.view.numbers, other.controller.view.magnifier) == (False, False)


def test_keeping_by_itself_can_be_switched_off_and_on(page, drafts):
    page.keeping.autosave = False
    _, binding, hand = plain_viewer()
    hand.click((10.0, 20.0))
    assert binding.controller.canal.clicks
    assert not list(drafts.glob("*"))
    page.keeping.autosave = True
    hand.click((40.0, 20.0))
    assert len(list(drafts.glob("*.json"))) == 1


def test_the_reader_stands_in_the_panel_until_another_is_typed(display, page, make_napari_viewer_proxy):
    page.keeping.reader = "R7"
    viewer = make_napari_viewer_proxy(show=False)
    _, panel = viewer.window.add_plugin_dock_widget(PLUGIN, "Measure root canals")
    add(viewer, plain_radiograph())
    assert panel.keep.reader.text() == "R7"
    page.keeping.reader = "R8"
    panel.refresh()
    assert panel.keep.reader.text() == "R7"
    add(viewer, plain_radiograph(seed=1))
    assert panel.keep.reader.text() == "R8"
    panel.keep.reader.selectAll()
    panel.keep.reader.insert("X")
    page.keeping.reader = "R9"
    add(viewer, plain_radiograph(seed=2))
    assert panel.keep.reader.text() == "X"


def test_preferences_are_how_an_image_begins(tmp_path):
    wanted = [Preferences(departure_tolerance_mm=0.25, apical_portion_mm=3.0, numbers=False, magnifier=False)]
    one = controller(tmp_path, preferences=lambda: wanted[0])
    assert one.canal.settings == CurvatureSettings(departure_tolerance_mm=0.25, apical_portion_mm=3.0)
    assert (one.view.numbers, one.view.magnifier) == (False, False)
    one.add_canal()
    assert one.canal.settings.apical_portion_mm == 3.0
    # what is chosen in the panel holds for the next image too, until the settings say otherwise
    one.show_numbers(True)
    one.open(plain_radiograph(seed=2), [NO_SCALE])
    assert (one.view.numbers, one.view.magnifier) == (True, False)
    wanted[0] = Preferences(magnifier=True, numbers=False)
    one.open(plain_radiograph(seed=3), [NO_SCALE])
    assert (one.view.numbers, one.view.magnifier) == (True, True)
    assert one.canal.settings == CurvatureSettings()
    # an image that is open keeps what it has
    one.open(IMAGE, [NO_SCALE])
    assert one.canal.settings.apical_portion_mm == 3.0
