"""The mouse on the image: click to place, press on a point and drag to move it, drag elsewhere to pan."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol

import numpy as np

from napari_periapical.controller import Controller
from napari_periapical.sheet import Point

GRAB_SCREEN_PX = 9.0
# a press that travels no further than this is a click
STILL_SCREEN_PX = 3.0


class Target(Protocol):
    """What the tool works on."""

    controller: Controller

    @property
    def ready(self) -> bool:
        """Whether the mouse is ours now."""

    def point_at(self, position: Any) -> Point:
        """World position to (row, col), pixels."""

    def landmark_near(self, point: Point, reach_screen_px: float) -> tuple[str, int] | None:
        """Landmark within reach."""


class MouseTool:
    """A drag callback of the viewer; does nothing unless the landmarks are the active layer.

    Shift places a point even where another one lies under the pointer.
    """

    def __init__(self, target: Target) -> None:
        self.target = target

    def __call__(self, _viewer: Any, event: Any) -> Iterator[None]:
        """Follow one press of the left button to its release."""
        target, modifiers = self.target, {str(m) for m in getattr(event, "modifiers", ())}
        if not target.ready or event.button not in (1, None) or modifiers & {"Alt", "Control", "Meta"}:
            return
        pressed, start = np.array(event.pos, dtype=np.float64), target.point_at(event.position)
        held = None if "Shift" in modifiers else target.landmark_near(start, GRAB_SCREEN_PX)
        yield from self._hold(event, pressed, start, held) if held else self._click(event, pressed, start)

    def _click(self, event: Any, pressed: np.ndarray, start: Point) -> Iterator[None]:
        """Place a point unless the press turns into a drag, which pans as ever."""
        yield
        still = True
        while event.type == "mouse_move":
            still = still and self._is_still(event, pressed)
            yield
        if still and event.type == "mouse_release" and self._is_still(event, pressed):
            self.target.controller.place(start)

    def _hold(self, event: Any, pressed: np.ndarray, start: Point, held: tuple[str, int]) -> Iterator[None]:
        """Move the point that was pressed; it keeps its distance from the pointer."""
        controller = self.target.controller
        placed = controller.canal.points(held[0])[held[1]]
        offset = (placed[0] - start[0], placed[1] - start[1])
        controller.select(*held)
        event.handled = True
        yield
        moving = False
        while event.type == "mouse_move":
            event.handled = True  # the view stays where it is
            if moving or not self._is_still(event, pressed):
                if not moving:
                    controller.begin_move(*held)
                    moving = True
                row, col = self.target.point_at(event.position)
                controller.move_to((row + offset[0], col + offset[1]))
            yield
        if moving:
            controller.end_move()

    @staticmethod
    def _is_still(event: Any, pressed: np.ndarray) -> bool:
        way = np.array(event.pos, dtype=np.float64) - pressed
        return float(np.hypot(*way)) <= STILL_SCREEN_PX
