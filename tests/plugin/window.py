"""A shown window with the panel docked, to be photographed."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

from tests.plugin.drawn import register_plugin


@contextmanager
def own_drafts() -> Iterator[None]:
    """Keep drafts in a folder that goes again: those of the person are neither brought back nor added to."""
    with tempfile.TemporaryDirectory() as folder:
        drafts = Path(folder) / "drafts"
        with patch("napari_periapical.drafts.drafts_folder", lambda: drafts):
            yield


def open_window(width_px: int, height_px: int, theme: str = "dark") -> tuple[Any, Any]:
    """Open a viewer of that size with the panel; gives both."""
    import napari

    from napari_periapical.launch import PLUGIN, WIDGET

    register_plugin()
    viewer = napari.Viewer(title="Periapical measurement", show_welcome_screen=False)
    viewer.theme = theme
    viewer.window.resize(width_px, height_px)
    _, panel = viewer.window.add_plugin_dock_widget(PLUGIN, WIDGET)
    return viewer, panel


def settle(panel: Any, seconds: float = 20.0) -> None:
    """Let the window and the measuring thread come to rest, and every part have its room."""
    from qtpy.QtWidgets import QApplication

    end = time.monotonic() + seconds
    rested = time.monotonic() + 0.5
    inner = panel.scroll_area.widget()
    while (
        time.monotonic() < rested
        or not (panel.controller.up_to_date and panel.binding.drawn)
        or inner.height() < inner.minimumSizeHint().height()
    ):
        assert time.monotonic() < end, "the panel did not finish measuring"
        QApplication.processEvents()
        time.sleep(0.01)


def photograph(viewer: Any, panel: Any, out: Path) -> None:
    """Write a picture of the whole window at rest, its image drawn."""
    settle(panel)
    viewer.screenshot(flash=False)
    settle(panel)
    viewer.screenshot(str(out), canvas_only=False, flash=False)
