"""Size and unit of a pixel in one viewer, the same for every layer of ours; lines as wide at every zoom."""

from __future__ import annotations

from typing import Any

import numpy as np

from napari_periapical import layers
from napari_periapical.controller import Controller
from napari_periapical.layers import RADIOGRAPH, ROLE, Frame
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult

_ZOOM_STEP = 1.2
# as pint, which napari keeps units in, writes them
_UNIT_NAMES = {"mm": ("millimeter", "millimeter"), "pixel": ("pixel", "pixel")}


def radiograph_of(layer: Any) -> Radiograph | None:
    """Give the radiograph a layer carries, or None."""
    found = layer.metadata.get(RADIOGRAPH)
    return found if isinstance(found, Radiograph) else None


def layer_of(viewer: Any, role: str) -> Any | None:
    """Find our layer of one role by its metadata; its name is the person's to change."""
    return next((one for one in viewer.layers if one.metadata.get(ROLE) == role), None)


class Framing:
    """Keeps the frame of our layers in one viewer.

    Parameters
    ----------
    viewer : napari.Viewer, napari.components.ViewerModel or a proxy of one
    controller : Controller
        Says which image is worked on, and whether a point is held.
    """

    def __init__(self, viewer: Any, controller: Controller) -> None:
        self._viewer = viewer
        self._controller = controller
        self._zoom_drawn = 0.0
        self.frame: Frame | None = None

    def forget(self) -> None:
        """Have the frame made anew at the next drawing."""
        self.frame = None

    def fit(self, result: CaseResult | None) -> None:
        """Take the frame from a result; while a point is held it stays, so that nothing moves underneath."""
        session = self._controller.session
        assert session is not None
        allowed = self._millimetres_allowed()
        if self.frame is not None and session.drag is not None and (allowed or self.frame.unit == "pixel"):
            return
        scale = result.scale if result else None
        frame = layers.frame_of(session.radiograph.pixel_aspect, scale, millimetres=allowed)
        if frame != self.frame:
            self.apply(frame)

    def apply(self, frame: Frame) -> None:
        """Give every layer of ours, and every radiograph, this frame; the view stays where it is."""
        before = self._image_size()
        for layer in self._viewer.layers:
            radiograph = radiograph_of(layer)
            if radiograph is not None and not self.is_current(radiograph):
                # another image in the viewer keeps the shape of its own pixels
                own = Frame(frame.col * radiograph.pixel_aspect, frame.col, frame.unit)
            elif radiograph is not None or ROLE in layer.metadata:
                own = frame
            else:
                continue
            _place(layer, own)
        self.frame = frame
        if before is not None:
            self._keep_view(before, frame)
        self._viewer.canvas.overlays.scale_bar.visible = frame.unit == "mm"
        self._set_widths()

    def follow_zoom(self) -> None:
        """Keep the width of lines on the screen, in steps."""
        zoom = self._viewer.scene.camera.zoom
        if self._zoom_drawn and not 1 / _ZOOM_STEP < zoom / self._zoom_drawn < _ZOOM_STEP:
            self._set_widths()

    def px_per_screen_px(self) -> float:
        """Give the image pixels that one screen pixel covers."""
        assert self.frame is not None
        return 1.0 / (float(self._viewer.scene.camera.zoom) * self.frame.col)

    def is_current(self, radiograph: Radiograph | None) -> bool:
        """Say whether this is the image that is worked on."""
        session = self._controller.session
        if radiograph is None or session is None:
            return False
        return radiograph.sha256 == session.radiograph.sha256

    def _image_size(self) -> tuple[float, float] | None:
        """Size of a pixel of the current image as it is shown now."""
        for layer in self._viewer.layers:
            if self.is_current(radiograph_of(layer)):
                row, col = layer.scale
                return float(row), float(col)
        return None

    def _keep_view(self, before: tuple[float, float], frame: Frame) -> None:
        """Let the same part of the image fill the canvas after the size of a pixel changed."""
        camera = self._viewer.scene.camera
        centre = np.array(camera.center, dtype=np.float64)
        centre[-2:] *= np.array([frame.row, frame.col]) / np.array(before)
        camera.center = tuple(centre)
        camera.zoom = camera.zoom * before[1] / frame.col

    def _millimetres_allowed(self) -> bool:
        """Say whether no layer of others has another unit: napari does not draw mixed units right."""
        for layer in self._viewer.layers:
            if ROLE in layer.metadata or radiograph_of(layer) is not None:
                continue
            if set(map(str, layer.units)) != set(_UNIT_NAMES["mm"]):
                return False
        return True

    def _set_widths(self) -> None:
        if self.frame is None:
            return
        self._zoom_drawn = self._viewer.scene.camera.zoom
        for role in layers.LINE_ROLES:
            layer = layer_of(self._viewer, role)
            if layer is not None:
                layer.edge_width = layers.line_width(role, self.px_per_screen_px())
        for role in layers.POINT_ROLES:
            layer = layer_of(self._viewer, role)
            if layer is not None:
                layer.size = layer.current_size = layers.point_size(role, self.px_per_screen_px())


def _place(layer: Any, frame: Frame) -> None:
    """Set what differs only: napari works on the whole scene for each of these."""
    wanted = layers.spatial_kwargs(frame)
    if tuple(str(unit) for unit in layer.units) != _UNIT_NAMES[frame.unit]:
        layer.units = wanted["units"]
    if tuple(layer.axis_labels) != wanted["axis_labels"]:
        layer.axis_labels = wanted["axis_labels"]
    if tuple(layer.scale) != wanted["scale"]:
        layer.scale = wanted["scale"]
