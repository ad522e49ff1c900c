"""What the panel and the viewer do, without either: every action, one history, results as they come."""

from __future__ import annotations

from napari_periapical.actions.canals import Canals
from napari_periapical.actions.core import Level
from napari_periapical.actions.nudging import Nudging
from napari_periapical.actions.stating import Stating
from napari_periapical.actions.viewing import Viewing

__all__ = ["Controller", "Level"]


class Controller(Nudging, Stating, Canals, Viewing):
    """State and actions for one viewer; see :class:`napari_periapical.actions.core.Core`."""
