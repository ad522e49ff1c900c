"""Opens napari with the panel; what ``periapical view`` calls."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from napari_periapical.preferences import PLUGIN
from napari_periapical.readers import read_layer
from radio.record.casebook import Casebook

if TYPE_CHECKING:
    import napari  # type: ignore[import-untyped]

WIDGET = "Measure root canals"


def make_viewer(
    image: Path | None = None, *, casebook: Path | None = None, show: bool = True
) -> napari.Viewer:
    """Make a viewer with the panel docked, and the image in it if one is given.

    Parameters
    ----------
    image : pathlib.Path or None
    casebook : pathlib.Path or None
        Where the panel saves tracings and brings them back from.
    show : bool
        Whether the window is shown.

    Raises
    ------
    PeriapicalError
        The image or the casebook cannot be opened; no window has been opened then.
    """
    if casebook is not None:
        Casebook.open(casebook).close()
    layer = read_layer(image) if image is not None else None
    import napari

    viewer = napari.Viewer(title="Periapical measurement", show=show, show_welcome_screen=False)
    _, panel = viewer.window.add_plugin_dock_widget(PLUGIN, WIDGET)
    if casebook is not None:
        panel.use_casebook(casebook.resolve())
    if layer is not None:
        data, kwargs, _ = layer
        viewer.add_image(data, **kwargs)
    return viewer


def open_viewer(image: Path | None, casebook: Path | None) -> None:
    """Open napari with the panel and stay until its window is closed.

    Parameters
    ----------
    image : pathlib.Path or None
        Radiograph to open at once.
    casebook : pathlib.Path or None
        Where the panel saves tracings and brings them back from.

    Raises
    ------
    PeriapicalError
        The image or the casebook cannot be opened.
    """
    viewer = make_viewer(image, casebook=casebook)
    import napari

    napari.run()
    del viewer
