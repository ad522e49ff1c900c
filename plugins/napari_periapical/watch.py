"""Hears of single layers of ours: moved by the person, or hidden and shown by its eye."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from napari_periapical.framing import radiograph_of
from napari_periapical.layers import ROLE

_MOVES = ("scale", "translate", "rotate", "shear", "affine", "units")


class LayerWatch:
    """Connects to every layer of ours as long as it is in the viewer.

    Parameters
    ----------
    moved : callable
        Called with a layer when its place, size or unit was set.
    eye : callable
        Called with a layer when it was hidden or shown.
    """

    def __init__(self, moved: Callable[[Any], None], eye: Callable[[Any], None]) -> None:
        self._moved, self._eye = moved, eye

    def follow(self, layer: Any) -> None:
        """Hear of a layer, if it is one of ours."""
        if radiograph_of(layer) is None and ROLE not in layer.metadata:
            return
        for name in _MOVES:
            layer.events[name].connect(self._on_moved)
        layer.events.visible.connect(self._on_eye, position="last")

    def leave(self, layer: Any) -> None:
        """Hear no more of a layer."""
        for name in _MOVES:
            layer.events[name].disconnect(self._on_moved)
        layer.events.visible.disconnect(self._on_eye)

    def _on_moved(self, event: Any) -> None:
        self._moved(event.source)

    def _on_eye(self, event: Any) -> None:
        self._eye(event.source)
