"""What is in one viewer, and where: layers of ours, the image that is seen, points under the pointer."""

from __future__ import annotations

from typing import Any

import numpy as np

from napari_periapical import drawings
from napari_periapical.controller import Controller
from napari_periapical.drawings import LANDMARKS_ROLE
from napari_periapical.framing import Framing, layer_of, radiograph_of
from napari_periapical.layers import ASIDE_PX, DISPLAY_ROLE, ROLE
from napari_periapical.sheet import Point


class InView:
    """Finds what mouse, magnifier and panel ask for; changes nothing.

    Parameters
    ----------
    viewer : napari.Viewer, napari.components.ViewerModel or a proxy of one
    controller : Controller
        Says what is worked on.
    """

    def __init__(self, viewer: Any, controller: Controller) -> None:
        self.viewer = viewer
        self.controller = controller
        self.framing = Framing(viewer, controller)

    def layer(self, role: str) -> Any | None:
        """Our layer of one role, known by its metadata and not by its name."""
        return layer_of(self.viewer, role)

    def image_layers(self) -> list[Any]:
        """Layers that carry a radiograph."""
        return [one for one in self.viewer.layers if radiograph_of(one) is not None]

    def seen_image(self) -> Any | None:
        """Layer in which the radiograph that is worked on is seen; with display aids, ours over it."""
        ours = layer_of(self.viewer, DISPLAY_ROLE)
        if ours is not None and ours.visible and not ours.metadata[ASIDE_PX]:
            return ours
        shown = [one for one in self.image_layers() if self.framing.is_current(radiograph_of(one))]
        return next((one for one in reversed(shown) if one.visible), None)

    @property
    def ready(self) -> bool:
        """Whether a click on the image places a point now: our landmarks are the active layer, and shown."""
        active = self.viewer.layers.selection.active
        ours = active is not None and active.metadata.get(ROLE) == LANDMARKS_ROLE and active.visible
        return bool(ours and self.framing.flat)

    def point_at(self, position: Any) -> Point:
        """World position to (row, col) of the image, pixels."""
        layer = self.layer(LANDMARKS_ROLE)
        assert layer is not None
        row, col = np.asarray(layer.world_to_data(tuple(position)[-2:]), dtype=np.float64)
        return float(row), float(col)

    def landmark_near(self, point: Point, reach_screen_px: float) -> tuple[str, int] | None:
        """Landmark within reach of a point, the nearest one."""
        drawing = drawings.landmarks_drawing(self.controller.canal)
        if self.framing.frame is None or not len(drawing.data):
            return None
        distance = np.hypot(*((drawing.data - point) * self.framing.screen_px_per_px()).T)
        nearest = int(np.argmin(distance))
        return drawing.keys[nearest] if distance[nearest] <= reach_screen_px else None
