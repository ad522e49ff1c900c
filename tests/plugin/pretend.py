"""A made hand on ViewerModel: mouse events as the canvas hands them to callbacks, without a display."""

from __future__ import annotations

from dataclasses import dataclass, field

import wrapt
from napari.components import ViewerModel
from napari.utils.interactions import (
    mouse_move_callbacks,
    mouse_press_callbacks,
    mouse_release_callbacks,
)
from vispy.util.keys import Key

from napari_periapical import layers
from napari_periapical.binding import bind
from radio.measure.case import CaseFacts
from tests.plugin.made import plain_radiograph, straight_length

RIGHT = 2


@dataclass
class Mouse:
    """One mouse event as napari hands it to callbacks."""

    type: str
    position: tuple[float, float]
    pos: tuple[float, float]
    is_dragging: bool = False
    button: int = 1
    modifiers: tuple[Key, ...] = ()
    handled: bool = False
    dims_displayed: list[int] = field(default_factory=lambda: [0, 1])
    view_direction: None = None
    up_direction: None = None


class Hand:
    """Moves the mouse over the image, in pixels of the image."""

    def __init__(self, viewer, layer):
        self.viewer, self.layer = viewer, layer

    def _event(self, kind, point, **more):
        world = self.layer.data_to_world(point)
        zoom = self.viewer.scene.camera.zoom
        # as vispy tells of keys that are held
        more["modifiers"] = tuple(Key(name) for name in more.get("modifiers", ()))
        return Mouse(kind, tuple(world), (world[1] * zoom, world[0] * zoom), **more)

    def _send(self, callbacks, made):
        event = wrapt.ObjectProxy(made)  # as the canvas does: a drag sees later events through the first one
        callbacks(self.viewer, event)
        active = self.viewer.layers.selection.active
        if active is not None:
            callbacks(active, event)
        return made

    def move(self, point, **more):
        """Move the pointer with no button down."""
        self._send(mouse_move_callbacks, self._event("mouse_move", point, **more))

    def drag(self, *points, **more):
        """Press at the first point, move over the others, release at the last; gives the move events."""
        self._send(mouse_press_callbacks, self._event("mouse_press", points[0], **more))
        moves = [
            self._send(mouse_move_callbacks, self._event("mouse_move", p, is_dragging=True, **more))
            for p in points[1:]
        ]
        self._send(mouse_release_callbacks, self._event("mouse_release", points[-1], **more))
        return moves

    def click(self, point, **more):
        self.drag(point, **more)


NO_SCALE = CaseFacts(scale_from="none")


def add(viewer, radiograph, facts=(NO_SCALE,)):
    frame = layers.frame_of(radiograph.pixel_aspect, None, millimetres=False)
    data, kwargs, _ = layers.image_layer(radiograph, frame, facts)
    return viewer.add_image(data, **kwargs)


def plain_viewer(radiograph=None):
    viewer = ViewerModel()
    binding = bind(viewer)
    binding.controller.measuring.measure = straight_length
    add(viewer, radiograph or plain_radiograph())
    viewer.scene.camera.zoom = 8.0
    return viewer, binding, Hand(viewer, binding.layer("landmarks"))
