"""What the panel and the viewer do, without either: every action, one history, results as they come."""

from __future__ import annotations

from napari_periapical.actions.canals import Canals
from napari_periapical.actions.core import Level
from napari_periapical.actions.nudging import Nudging
from napari_periapical.actions.pairing import Pairing
from napari_periapical.actions.stating import Stating

__all__ = ["Controller", "Level"]


class Controller(Nudging, Stating, Canals, Pairing):
    """State and actions for one viewer; see :class:`napari_periapical.actions.core.Core`."""
