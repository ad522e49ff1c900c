"""The mouse on the image: click to place or pin, drag a point to move it, drag elsewhere to pan.

There is one mode: what a press does follows from where it lands, and a double click is two clicks that do
nothing more than the first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, Protocol

import numpy as np

from napari_periapical.controller import Controller
from napari_periapical.sheet import Point

LEFT, RIGHT = 1, 2
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

    Shift places a point exactly where it is put, and even where another one lies under the pointer. A right
    click ends the line that is traced.
    """

    def __init__(self, target: Target) -> None:
        self.target = target

    def __call__(self, _viewer: Any, event: Any) -> Iterator[None]:
        """Follow one press of a button to its release."""
        target, modifiers = self.target, _modifiers(event)
        if not target.ready or modifiers & {"Alt", "Control", "Meta"}:
            return
        pressed, start = np.array(event.pos, dtype=np.float64), target.point_at(event.position)
        exact = "Shift" in modifiers
        if event.button == RIGHT:
            yield from self._click(event, pressed, lambda: self._end(start, exact))
        elif event.button in (LEFT, None):
            held = None if exact else target.landmark_near(start, GRAB_SCREEN_PX)
            place = partial(target.controller.click, start, exact=exact)
            if held:
                yield from self._hold(event, pressed, start, held, place)
            else:
                yield from self._click(event, pressed, place)

    def moved(self, _viewer: Any, event: Any) -> None:
        """Follow the pointer while no button is down."""
        if self.target.ready:
            straight = "Shift" in _modifiers(event)
            self.target.controller.aim(self.target.point_at(event.position), straight=straight)
        else:
            self.target.controller.rest()

    def _end(self, point: Point, exact: bool) -> None:
        """End the line here, or at its last pin where that is what was clicked."""
        controller = self.target.controller
        if controller.tracing is None:
            controller.tell("note", "A right click ends a line that is traced, and none is now.")
            return
        on_pin = self.target.landmark_near(point, GRAB_SCREEN_PX) == controller.last_traced
        controller.end_line(None if on_pin else point, exact=exact)

    def _click(self, event: Any, pressed: np.ndarray, act: Callable[[], None]) -> Iterator[None]:
        """Act on release unless the press turns into a drag, which pans or zooms as ever."""
        yield
        still = True
        while event.type == "mouse_move":
            still = still and self._is_still(event, pressed)
            yield
        if still and event.type == "mouse_release" and self._is_still(event, pressed):
            act()

    def _hold(
        self,
        event: Any,
        pressed: np.ndarray,
        start: Point,
        held: tuple[str, int],
        place: Callable[[], None],
    ) -> Iterator[None]:
        """Move the point that was pressed; it keeps its distance from the pointer.

        A press that does not become a drag chooses the point, or places another one there where one is due.
        """
        controller = self.target.controller
        placed = controller.canal.points(held[0])[held[1]]
        offset = (placed[0] - start[0], placed[1] - start[1])
        meant = controller.is_meant(held)
        if meant:
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
                controller.aim((row + offset[0], col + offset[1]))
            yield
        if moving:
            controller.end_move()
        elif not meant and event.type == "mouse_release":
            place()

    @staticmethod
    def _is_still(event: Any, pressed: np.ndarray) -> bool:
        way = np.array(event.pos, dtype=np.float64) - pressed
        return float(np.hypot(*way)) <= STILL_SCREEN_PX


def _modifiers(event: Any) -> set[str]:
    """Names of the keys that are held; vispy tells of them as objects."""
    return {str(getattr(one, "name", one)) for one in getattr(event, "modifiers", ())}
