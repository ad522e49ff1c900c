"""What is set for this program on napari's settings page, and the usual where nothing is; no Qt."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Any

from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings

PLUGIN = "napari-periapical"


@dataclass(frozen=True)
class Preferences:
    """How the work begins on an image that is opened anew; the usual values unless set.

    Parameters
    ----------
    autosave : bool
        Whether every step is kept by itself, and brought back when the image is opened again.
    reader : str
        Who places the points, as saved with a tracing.
    departure_tolerance_mm, apical_portion_mm : float
        As in :class:`radio.measure.settings.CurvatureSettings`.
    numbers, magnifier : bool
        Whether numbers stand on the image, and the magnifier is shown, at first.
    """

    autosave: bool = True
    reader: str = ""
    departure_tolerance_mm: float = DEFAULT_SETTINGS.departure_tolerance_mm
    apical_portion_mm: float = DEFAULT_SETTINGS.apical_portion_mm
    numbers: bool = True
    magnifier: bool = True

    @property
    def settings(self) -> CurvatureSettings:
        """How curvature is measured at first."""
        return CurvatureSettings(
            departure_tolerance_mm=self.departure_tolerance_mm, apical_portion_mm=self.apical_portion_mm
        )


def preferences() -> Preferences:
    """Read the settings page as it is now; without one, everything is as usual."""
    page = _page()
    if page is None:
        return Preferences()
    return Preferences(
        autosave=page.keeping.autosave,
        reader=page.keeping.reader,
        departure_tolerance_mm=page.curvature.departure_tolerance_mm,
        apical_portion_mm=page.curvature.apical_portion_mm,
        numbers=page.view.numbers,
        magnifier=page.view.magnifier,
    )


def _page() -> Any | None:
    """Give napari's settings of this plugin; None where napari does not run or does not know the plugin."""
    if "napari" not in sys.modules:
        return None
    from napari.settings import get_plugin_settings  # type: ignore[import-untyped]

    try:
        return get_plugin_settings(PLUGIN)
    except KeyError:
        return None
