"""Opens napari with the panel; what ``periapical view`` calls."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from napari_periapical.preferences import PLUGIN
from napari_periapical.readers import read_layer
from radio.errors import PeriapicalError

if TYPE_CHECKING:
    import napari  # type: ignore[import-untyped]

WIDGET = "Measure root canals"


def make_viewer(image: Path | None = None, *, show: bool = True) -> napari.Viewer:
    """Make a viewer with the panel docked, and the image in it if one is given.

    Raises
    ------
    ImageError
        The image cannot be read; no window has been opened then.
    """
    layer = read_layer(image) if image is not None else None
    import napari

    viewer = napari.Viewer(title="Periapical measurement", show=show, show_welcome_screen=False)
    viewer.window.add_plugin_dock_widget(PLUGIN, WIDGET)
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
        Must be None: the panel does not write into a casebook yet; `periapical casebook` does.

    Raises
    ------
    PeriapicalError
        The image cannot be read, or a casebook is given.
    """
    if casebook is not None:
        raise PeriapicalError(
            f"The casebook {casebook} cannot be opened in the panel yet. Leave --casebook out, save the "
            f"tracing there, and add it with: periapical casebook add {casebook} --tracings TRACINGS.json"
        )
    viewer = make_viewer(image)
    import napari

    napari.run()
    del viewer
