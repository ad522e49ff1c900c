from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

os.environ.setdefault("NAPARI_STRICT_QT", "1")


@pytest.fixture(autouse=True)
def drafts(request, tmp_path_factory, monkeypatch):
    """Keep every test out of the person's own drafts and settings; gives the folder drafts go to instead."""
    from napari_periapical import drafts, preferences

    folder = tmp_path_factory.mktemp("own") / "drafts"
    monkeypatch.setattr(drafts, "drafts_folder", lambda: folder)
    monkeypatch.setenv("XDG_DATA_HOME", str(folder.parent))  # for programs a test starts
    if "plugin_settings" not in request.fixturenames:
        monkeypatch.setattr(preferences, "_page", lambda: None)
    return folder


@pytest.fixture(scope="session")
def case_path(tmp_path_factory):
    """Write the synthetic case as an image."""
    from tests.plugin.drawn import write_case

    return write_case(tmp_path_factory.mktemp("case"))


@pytest.fixture(scope="session")
def case_radiograph(case_path):
    from radio.image.radiograph import read_radiograph

    return read_radiograph(case_path)


@pytest.fixture
def display(npe2pm):
    """Ask for a display, and make the plugin known to npe2 as if it were installed."""
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        pytest.skip("needs a display: run with xvfb-run -a")
    from npe2 import PluginManifest

    import napari_periapical

    manifest = Path(napari_periapical.__file__).with_name("napari.yaml")
    npe2pm.register(PluginManifest.from_file(manifest))
    return npe2pm


@pytest.fixture
def story(display, make_napari_viewer, qtbot, tmp_path):
    """Open the synthetic case on a shown viewer with the panel; gives viewer, panel and a person's hands."""
    from tests.plugin.drawn import write_case
    from tests.plugin.hands import Hands

    viewer = make_napari_viewer(show=True)
    viewer.window.resize(1200, 850)
    _, panel = viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    viewer.open(str(write_case(tmp_path)), plugin="napari-periapical")
    qtbot.wait(100)
    hands = Hands(viewer, qtbot)
    hands.see()
    return viewer, panel, hands
