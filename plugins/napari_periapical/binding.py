"""Between the controller and one viewer: draws what is placed and measured, and hears mouse and keys.

The layers are a drawing. Nothing is ever read back from them; what a person does goes to the controller, and
the layers are drawn anew from what the controller holds.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import numpy as np

from napari_periapical import drawings, layers
from napari_periapical.controller import Controller
from napari_periapical.drawings import LANDMARKS_ROLE, ROLES, Drawing
from napari_periapical.framing import Framing, layer_of, radiograph_of
from napari_periapical.layers import FACTS, ROLE
from napari_periapical.mouse import MouseTool
from napari_periapical.sheet import Point
from napari_periapical.shortcuts import SHORTCUTS


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
        self.framing = Framing(viewer, controller)
        self._drawn: dict[str, Drawing] = {}
        self._busy = False
        self._fresh: Literal["", "inserted", "selected"] = ""
        self._mouse = MouseTool(self)
        viewer.mouse_drag_callbacks.append(self._mouse)
        viewer.layers.events.inserting.connect(self._on_inserting)
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
        viewer.layers.events.inserting.disconnect(self._on_inserting)
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
        return layer_of(self.viewer, role)

    def image_layers(self) -> list[Any]:
        """Layers that carry a radiograph."""
        return [one for one in self.viewer.layers if radiograph_of(one) is not None]

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
        assert layer is not None
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
        radiograph = radiograph_of(layer)
        assert radiograph is not None
        self.framing.begin_image()
        self.controller.open(radiograph, layer.metadata.get(FACTS, ()))
        self._bring_to_top(layer)

    def _on_inserting(self, *_: Any) -> None:
        if not self._busy:
            self.framing.make_room()

    def _on_inserted(self, event: Any) -> None:
        if self._busy:
            return
        if radiograph_of(event.value) is not None:
            self._open(event.value)
            self.framing.bring_into_view(event.value)
            self._fresh = "inserted"  # napari is about to select the new layer; ours comes after that
        else:
            self.draw()  # back to millimetres, unless the new layer is in pixels

    def _on_removed(self, event: Any) -> None:
        self._drawn.pop(event.value.metadata.get(ROLE, ""), None)
        if self._busy or self.controller.session is None:
            return
        if not any(self.framing.is_current(radiograph_of(one)) for one in self.image_layers()):
            self.controller.close()
        elif event.value.metadata.get(ROLE):
            self.controller.tell(
                "note",
                f"The layer {event.value.name} is drawn again at the next change: it only shows what is kept "
                "here. Use its eye to hide it.",
            )

    def _on_selection(self, *_: Any) -> None:
        active = self.viewer.layers.selection.active
        if self._fresh == "inserted" and active is not None and radiograph_of(active) is not None:
            self._fresh = "selected"

    def _on_active(self, event: Any) -> None:
        if self._busy or self._fresh == "inserted":
            return
        radiograph = radiograph_of(event.value) if event.value is not None else None
        fresh, self._fresh = self._fresh, ""
        session = self.controller.session
        if radiograph is not None and (session is None or radiograph.sha256 != session.radiograph.sha256):
            self._open(event.value)
        elif radiograph is not None and fresh:
            self.make_ready()
        else:
            self.controller.changed.emit()

    def _on_zoom(self, *_: Any) -> None:
        self.framing.follow_zoom()

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
        self.framing.fit(result or next(iter(rest), None))
        active = self.viewer.layers.selection.active
        wanted = [
            *drawings.result_drawings(
                result, rest, method=self.controller.method, aspect=session.radiograph.pixel_aspect
            ),
            drawings.landmarks_drawing(session.canal),
        ]
        made = [self._show(drawing) for drawing in wanted]
        if any(made):
            self._bring_to_top()
            there = active is not None and active in self.viewer.layers
            self.viewer.layers.selection.active = active if there else self.layer(LANDMARKS_ROLE)

    def _clear(self) -> None:
        self._drawn.clear()
        for role in ROLES:
            layer = self.layer(role)
            if layer is not None:
                layer.data = np.zeros((0, 2, 2) if role in layers.LINE_ROLES else (0, 2))
        self.framing.apply(layers.frame_of(1.0, None, millimetres=False))

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
        frame = self.framing.frame
        assert frame is not None
        kwargs = layers.layer_kwargs(drawing, frame, self.framing.px_per_screen_px())
        (self.viewer.add_vectors if drawing.kind == "vectors" else self.viewer.add_points)(**kwargs)
        layer = self.layer(drawing.role)
        assert layer is not None
        layer.editable = False  # points are moved by our mouse tool, never by the layer itself
        if drawing.role == LANDMARKS_ROLE:
            self._bind_keys(layer)

    def _bind_keys(self, layer: Any) -> None:
        for shortcut in SHORTCUTS:
            layer.bind_key(shortcut.key, _key_action(shortcut.run, self.controller), overwrite=True)

    def _bring_to_top(self, image: Any = None) -> None:
        """Put our layers above everything, in their own order, on the image they are of when it is given."""
        order = self.viewer.layers
        ours = [image, *(self.layer(role) for role in ROLES)]
        mine = [layer for layer in ours if layer is not None]
        if list(order)[len(order) - len(mine) :] == mine:
            return
        busy, self._busy = self._busy, True
        try:
            for layer in mine:
                order.move(order.index(layer), len(order))
        finally:
            self._busy = busy

    # -- what the mouse tool asks -------------------------------------------------------------------------

    def point_at(self, position: Any) -> Point:
        """World position to (row, col) of the image, pixels."""
        layer = self.layer(LANDMARKS_ROLE)
        assert layer is not None
        row, col = np.asarray(layer.world_to_data(tuple(position)[-2:]), dtype=np.float64)
        return float(row), float(col)

    def landmark_near(self, point: Point, reach_screen_px: float) -> tuple[str, int] | None:
        """Landmark within reach of a point, the nearest one."""
        drawing = drawings.landmarks_drawing(self.controller.canal)
        frame = self.framing.frame
        if frame is None or not len(drawing.data):
            return None
        size = np.array([frame.row, frame.col])
        distance = np.hypot(*((drawing.data - point) * size).T) * self.viewer.scene.camera.zoom
        nearest = int(np.argmin(distance))
        return drawing.keys[nearest] if distance[nearest] <= reach_screen_px else None


def _key_action(run: Callable[[Controller], None], controller: Controller) -> Callable[[Any], None]:
    def act(_layer: Any) -> None:
        run(controller)

    return act


def _dress(layer: Any, drawing: Drawing) -> None:
    """Give colours and labels again after the data, where napari did not keep them in step.

    Each of these draws the layer once more, so that what is right already is left alone.
    """
    if not len(drawing.data):
        return
    colours = layers.colour_rows(drawing)
    name = layers.COLOURED[drawing.role]
    if not np.allclose(getattr(layer, name), colours, atol=1e-3):
        setattr(layer, name, colours)
    if drawing.labels and list(layer.features["label"]) != list(drawing.labels):
        layer.features = layers.label_features(drawing)
