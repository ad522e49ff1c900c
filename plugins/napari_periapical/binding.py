"""Between the controller and one viewer: draws what is placed and measured, and hears mouse and keys.

The layers are a drawing. Nothing is ever read back from them; what a person does goes to the controller, and
the layers are drawn anew from what the controller holds.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import numpy as np

from napari_periapical import layers
from napari_periapical.controller import Controller
from napari_periapical.layers import FACTS, LANDMARKS_ROLE, RADIOGRAPH, ROLE, ROLES, Drawing, Frame
from napari_periapical.mouse import MouseTool
from napari_periapical.sheet import Point
from napari_periapical.shortcuts import SHORTCUTS
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult

_ZOOM_STEP = 1.2


def bind(viewer: Any) -> Binding:
    """Give the one binding of a viewer; made at the first call.

    Parameters
    ----------
    viewer : napari.Viewer, napari.components.ViewerModel or a proxy of one
        The viewer.
    """
    for callback in viewer.mouse_drag_callbacks:
        if isinstance(callback, MouseTool):
            binding = callback.target
            assert isinstance(binding, Binding)
            return binding
    return Binding(viewer, Controller())


class Binding:
    """One viewer with its controller; make it with :func:`bind`.

    It lives as long as its mouse tool is among the callbacks of the viewer.
    """

    def __init__(self, viewer: Any, controller: Controller) -> None:
        self.viewer = viewer
        self.controller = controller
        self.frame: Frame | None = None
        self._drawn: dict[str, Drawing] = {}
        self._zoom_drawn = 0.0
        self._busy = False
        self._fresh: Literal["", "inserted", "selected"] = ""
        self._mouse = MouseTool(self)
        viewer.mouse_drag_callbacks.append(self._mouse)
        viewer.layers.events.inserted.connect(self._on_inserted)
        viewer.layers.events.removed.connect(self._on_removed)
        # last, so that what we change in answer is not undone by napari's own answer to the first change
        viewer.layers.selection.events.changed.connect(self._on_selection, position="last")
        viewer.layers.selection.events.active.connect(self._on_active, position="last")
        viewer.scene.camera.events.zoom.connect(self._on_zoom)
        controller.changed.connect(self.draw)
        controller.measured.connect(self.draw)
        self._adopt()

    def disconnect(self) -> None:
        """Let go of the viewer; the layers stay as they are."""
        viewer = self.viewer
        viewer.layers.events.inserted.disconnect(self._on_inserted)
        viewer.layers.events.removed.disconnect(self._on_removed)
        viewer.layers.selection.events.changed.disconnect(self._on_selection)
        viewer.layers.selection.events.active.disconnect(self._on_active)
        viewer.scene.camera.events.zoom.disconnect(self._on_zoom)
        self.controller.changed.disconnect(self.draw)
        self.controller.measured.disconnect(self.draw)
        viewer.mouse_drag_callbacks.remove(self._mouse)

    # -- finding layers -----------------------------------------------------------------------------------

    def layer(self, role: str) -> Any | None:
        """Our layer of one role, known by its metadata and not by its name."""
        return next((one for one in self.viewer.layers if one.metadata.get(ROLE) == role), None)

    def image_layers(self) -> list[Any]:
        """Layers that carry a radiograph."""
        return [one for one in self.viewer.layers if _radiograph(one) is not None]

    @property
    def ready(self) -> bool:
        """Whether a click on the image places a point now: our landmarks are the active layer, and shown."""
        active = self.viewer.layers.selection.active
        return active is not None and active.metadata.get(ROLE) == LANDMARKS_ROLE and active.visible

    def make_ready(self) -> None:
        """Make the landmarks the active layer, drawing it again if it was deleted."""
        if self.controller.session is None:
            return
        self.draw()
        layer = self.layer(LANDMARKS_ROLE)
        layer.visible = True
        self.viewer.layers.selection.active = layer
        self.controller.changed.emit()

    # -- what the viewer does -----------------------------------------------------------------------------

    def _adopt(self) -> None:
        """Take up the radiograph that is in the viewer already: the active one, else the topmost."""
        images = self.image_layers()
        if images:
            active = self.viewer.layers.selection.active
            self._open(next((one for one in images if one == active), images[-1]))
            self.make_ready()

    def _open(self, layer: Any) -> None:
        self.frame = None  # another image: the layers get their frame anew
        self.controller.open(_radiograph(layer), layer.metadata.get(FACTS, ()))
        self._bring_to_top()

    def _on_inserted(self, event: Any) -> None:
        if self._busy:
            return
        if _radiograph(event.value) is not None:
            self._open(event.value)
            self._fresh = "inserted"  # napari is about to select the new layer; ours comes after that
        else:
            self.draw()  # a layer in pixels takes millimetres away from all

    def _on_removed(self, event: Any) -> None:
        self._drawn.pop(event.value.metadata.get(ROLE, ""), None)
        if self._busy or self.controller.session is None:
            return
        if not any(self._is_current(_radiograph(one)) for one in self.image_layers()):
            self.controller.close()
        elif event.value.metadata.get(ROLE):
            self.controller.tell(
                "note",
                f"The layer {event.value.name} is drawn again at the next change: it only shows what is kept "
                "here. Use its eye to hide it.",
            )

    def _on_selection(self, *_: Any) -> None:
        if self._fresh == "inserted" and not self._busy:
            self._fresh = "selected"

    def _on_active(self, event: Any) -> None:
        if self._busy or self._fresh == "inserted":
            return
        radiograph = _radiograph(event.value) if event.value is not None else None
        fresh, self._fresh = self._fresh, ""
        session = self.controller.session
        if radiograph is not None and (session is None or radiograph.sha256 != session.radiograph.sha256):
            self._open(event.value)
        elif radiograph is not None and fresh:
            self.make_ready()
        else:
            self.controller.changed.emit()

    def _on_zoom(self, *_: Any) -> None:
        zoom = self.viewer.scene.camera.zoom
        if self._zoom_drawn and not 1 / _ZOOM_STEP < zoom / self._zoom_drawn < _ZOOM_STEP:
            self._set_widths()

    # -- drawing ------------------------------------------------------------------------------------------

    def draw(self) -> None:
        """Bring every layer of ours in line with the controller."""
        if self._busy:
            return
        self._busy = True
        try:
            if self.controller.session is None:
                self._clear()
            else:
                self._draw_all()
        finally:
            self._busy = False

    def _draw_all(self) -> None:
        session = self.controller.session
        assert session is not None
        shown = self.controller.shown
        result = shown.result if shown else None
        others = [session.shown.get(c.uid) for c in session.sheet.canals if c.uid != session.canal.uid]
        rest = [one.result for one in others if one is not None and one.result is not None]
        self._set_frame(result or next(iter(rest), None))
        active = self.viewer.layers.selection.active
        drawings = [*layers.result_drawings(result, rest), layers.landmarks_drawing(session.canal)]
        made = [self._show(drawing) for drawing in drawings]
        if any(made):
            self._bring_to_top()
            self.viewer.layers.selection.active = active if active in self.viewer.layers else None

    def _clear(self) -> None:
        self._drawn.clear()
        for role in ROLES:
            layer = self.layer(role)
            if layer is not None:
                layer.data = np.zeros((0, 2, 2) if role in layers.LINE_ROLES else (0, 2))
        self._apply_frame(layers.frame_of(1.0, None, millimetres=False))

    def _show(self, drawing: Drawing) -> bool:
        """Show one drawing; True when its layer had to be made."""
        layer = self.layer(drawing.role)
        if layer is not None and drawing.same_as(self._drawn.get(drawing.role)):
            return False
        self._drawn[drawing.role] = drawing
        if layer is None:
            self._make(drawing)
            return True
        layer.data = drawing.data
        _dress(layer, drawing)
        layer.editable = False  # napari makes a layer editable again whenever its data are set
        return False

    def _make(self, drawing: Drawing) -> None:
        assert self.frame is not None
        kwargs = layers.layer_kwargs(drawing, self.frame, self._px_per_screen_px())
        (self.viewer.add_vectors if drawing.kind == "vectors" else self.viewer.add_points)(**kwargs)
        layer = self.layer(drawing.role)
        assert layer is not None
        layer.editable = False  # points are moved by our mouse tool, never by the layer itself
        if drawing.role == LANDMARKS_ROLE:
            self._bind_keys(layer)

    def _bind_keys(self, layer: Any) -> None:
        for shortcut in SHORTCUTS:
            layer.bind_key(shortcut.key, _key_action(shortcut.run, self.controller), overwrite=True)

    def _bring_to_top(self) -> None:
        """Put our layers above everything, in their own order."""
        order = self.viewer.layers
        ours = [self.layer(role) for role in ROLES]
        mine = [layer for layer in ours if layer is not None]
        if [layer for layer in order][len(order) - len(mine) :] == mine:
            return
        busy, self._busy = self._busy, True
        try:
            for layer in mine:
                order.move(order.index(layer), len(order))
        finally:
            self._busy = busy

    # -- frame and zoom -----------------------------------------------------------------------------------

    def _set_frame(self, result: CaseResult | None) -> None:
        """Give all our layers the same scale and units; while a point is held, the frame stays."""
        session = self.controller.session
        assert session is not None
        allowed = self._millimetres_allowed()
        if self.frame is not None and session.drag is not None and (allowed or self.frame.unit == "pixel"):
            return
        frame = layers.frame_of(
            session.radiograph.pixel_aspect, result.scale if result else None, millimetres=allowed
        )
        if frame == self.frame:
            return
        self._apply_frame(frame)

    def _apply_frame(self, frame: Frame) -> None:
        before = self._image_frame()
        for layer in self.viewer.layers:
            radiograph = _radiograph(layer)
            if radiograph is not None and not self._is_current(radiograph):
                # another image in the viewer keeps the shape of its own pixels
                own = Frame(frame.col * radiograph.pixel_aspect, frame.col, frame.unit)
            elif radiograph is not None or ROLE in layer.metadata:
                own = frame
            else:
                continue
            for name, value in layers.spatial_kwargs(own).items():
                setattr(layer, name, value)
        self.frame = frame
        if before is not None:
            self._keep_view(before, frame)
        self.viewer.canvas.overlays.scale_bar.visible = frame.unit == "mm"
        self._set_widths()

    def _is_current(self, radiograph: Radiograph | None) -> bool:
        session = self.controller.session
        return None not in (radiograph, session) and radiograph.sha256 == session.radiograph.sha256  # type: ignore[union-attr]

    def _image_frame(self) -> tuple[float, float] | None:
        """Size of a pixel of the current image as it is shown now."""
        for layer in self.image_layers():
            if self._is_current(_radiograph(layer)):
                row, col = layer.scale
                return float(row), float(col)
        return None

    def _keep_view(self, before: tuple[float, float], frame: Frame) -> None:
        """Let the same part of the image fill the canvas after the size of a pixel changed."""
        camera = self.viewer.scene.camera
        centre = np.array(camera.center, dtype=np.float64)
        centre[-2:] *= np.array([frame.row, frame.col]) / np.array(before)
        camera.center = tuple(centre)
        camera.zoom = camera.zoom * before[1] / frame.col

    def _millimetres_allowed(self) -> bool:
        """False when layers of others are in another unit: napari does not draw mixed units right."""
        for layer in self.viewer.layers:
            if ROLE in layer.metadata or _radiograph(layer) is not None:
                continue
            if {str(unit) for unit in layer.units} != {"millimeter"}:
                return False
        return True

    def _px_per_screen_px(self) -> float:
        assert self.frame is not None
        return 1.0 / (self.viewer.scene.camera.zoom * self.frame.col)

    def _set_widths(self) -> None:
        if self.frame is None:
            return
        self._zoom_drawn = self.viewer.scene.camera.zoom
        for role in layers.LINE_ROLES:
            layer = self.layer(role)
            if layer is not None:
                layer.edge_width = layers.line_width(role, self._px_per_screen_px())

    # -- what the mouse tool asks -------------------------------------------------------------------------

    def point_at(self, position: Any) -> Point:
        """World position to (row, col) of the image, pixels."""
        layer = self.layer(LANDMARKS_ROLE)
        assert layer is not None
        row, col = np.asarray(layer.world_to_data(tuple(position)[-2:]), dtype=np.float64)
        return float(row), float(col)

    def landmark_near(self, point: Point, reach_screen_px: float) -> tuple[str, int] | None:
        """Landmark within reach of a point, the nearest one."""
        drawing = layers.landmarks_drawing(self.controller.canal)
        if self.frame is None or not len(drawing.data):
            return None
        size = np.array([self.frame.row, self.frame.col])
        distance = np.hypot(*((drawing.data - point) * size).T) * self.viewer.scene.camera.zoom
        nearest = int(np.argmin(distance))
        return drawing.keys[nearest] if distance[nearest] <= reach_screen_px else None


def _key_action(run: Callable[[Controller], None], controller: Controller) -> Callable[[Any], None]:
    def act(_layer: Any) -> None:
        run(controller)

    return act


def _radiograph(layer: Any) -> Radiograph | None:
    found = layer.metadata.get(RADIOGRAPH)
    return found if isinstance(found, Radiograph) else None


def _dress(layer: Any, drawing: Drawing) -> None:
    """Give colours and labels again after the data: napari does not keep them in step."""
    if not len(drawing.data):
        return
    if drawing.kind == "vectors":
        layer.edge_color = layers.colour_rows(drawing)
    else:
        for name, value in layers.dress_kwargs(drawing).items():
            setattr(layer, name, value)
