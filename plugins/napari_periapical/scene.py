"""The layers of ours in one viewer: made, filled, put on top; nothing is ever read back from them."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any
from weakref import WeakSet

import numpy as np

from napari_periapical import drawings, layers
from napari_periapical.controller import Controller
from napari_periapical.drawings import LANDMARKS_ROLE, LIVE_ROLE, ROLES, CanalShown, Drawing
from napari_periapical.framing import Framing, layer_of, leave_unmeasured
from napari_periapical.layers import DISPLAY_ROLE
from napari_periapical.sheet import Canal
from napari_periapical.shortcuts import SHORTCUTS

# so long may filling layers take before others have their time
_BREATH_S = 0.02


class Scene:
    """Draws what a controller holds into a viewer.

    Parameters
    ----------
    viewer : napari.Viewer, napari.components.ViewerModel or a proxy of one
    controller : Controller
    framing : Framing
        Size and unit of a pixel in that viewer.
    """

    def __init__(self, viewer: Any, controller: Controller, framing: Framing) -> None:
        self._viewer = viewer
        self._controller = controller
        self._framing = framing
        self._drawn: dict[str, Drawing] = {}
        self._put_away: WeakSet[Any] = WeakSet()
        self.later: Callable[[], None] | None = None
        """Has everything drawn once more, when the window had time for others; None draws all at once."""

    def layer(self, role: str) -> Any | None:
        """Our layer of one role, known by its metadata and not by its name."""
        return layer_of(self._viewer, role)

    def follow_dimensions(self) -> None:
        """Hide what cannot be painted in three dimensions, and show it again in two."""
        for role in ROLES:
            layer = self.layer(role)
            if layer is None:
                continue
            if self._framing.flat and layer in self._put_away:
                self._put_away.discard(layer)
                layer.visible = True
            elif not self._framing.flat and layer.visible:
                self._put_away.add(layer)
                layer.visible = False

    def forget(self, role: str) -> None:
        """Take note that the layer of a role is gone."""
        self._drawn.pop(role, None)

    def draw(self) -> None:
        """Draw what the controller holds of its session."""
        session = self._controller.session
        assert session is not None
        shown = self._controller.shown
        result = shown.result if shown else None
        others = [
            (c.uid, session.shown.get(c.uid)) for c in session.sheet.canals if c.uid != session.canal.uid
        ]
        rest = [
            CanalShown(uid, one.result) for uid, one in others if one is not None and one.result is not None
        ]
        framed = self._framing.fit(result or next((one.result for one in rest), None))
        if framed and self.later is not None and self.layer(LANDMARKS_ROLE) is not None:
            self.later()  # that took its time; the rest when others had theirs
            return
        active = self._viewer.layers.selection.active
        view, uid = self._controller.view, session.canal.uid
        seen = uid not in view.hidden
        wanted = [
            *drawings.result_drawings(
                CanalShown(uid, result) if result is not None and seen else None,
                [one for one in rest if one.uid not in view.hidden],
                methods=self._controller.drawn_methods,
                upto=view.step,
                aspect=session.radiograph.pixel_aspect,
                numbers=self._controller.method if view.numbers else None,
                size=session.radiograph.grey.shape,
            ),
            self._live(),
            drawings.landmarks_drawing(session.canal if seen else Canal(uid)),
        ]
        missing = [one for one in reversed(wanted) if self.layer(one.role) is None]
        if missing:
            self._make_some(missing, active)
        self._fill_some(wanted)

    def _make_some(self, missing: Sequence[Drawing], active: Any) -> None:
        """Make layers that are not there: one at a time where there is a later, for napari takes its time."""
        for drawing in missing if self.later is None else missing[:1]:
            self._make(drawing)
        self.bring_to_top()
        there = active is not None and active in self._viewer.layers
        self._viewer.layers.selection.active = active if there else self.layer(LANDMARKS_ROLE)
        if self.later is not None and len(missing) > 1:
            self.later()

    def _fill_some(self, wanted: Sequence[Drawing]) -> None:
        """Fill layers whose drawing changed, landmarks first: as many at once as the window can wait for."""
        start = time.perf_counter()
        for drawing in reversed(wanted):
            if self.later is not None and time.perf_counter() - start > _BREATH_S:
                self.later()
                return
            self._show(drawing)

    def draw_live(self) -> None:
        """Draw the live line alone, which follows every move of the pointer.

        Given new data, a layer makes its thumbnail anew and the viewer measures all layers: that takes longer
        than to find the line; so data of the same number and colour are changed in place.
        """
        layer, drawing, before = self.layer(LIVE_ROLE), self._live(), self._drawn.get(LIVE_ROLE)
        if layer is None:
            return
        if before is None or not len(drawing.data) or before.colours != drawing.colours:
            self._show(drawing)
        elif not drawing.same_as(before):
            layer.data[:] = drawing.data
            layer.refresh(thumbnail=False, extent=False)
            self._drawn[LIVE_ROLE] = drawing

    def _live(self) -> Drawing:
        session = self._controller.session
        assert session is not None
        return drawings.live_drawing(session.live.line, session.tracing, session.canal.uid)

    def clear(self) -> None:
        """Show nothing on the layers that are there."""
        self._drawn.clear()
        for role in ROLES:
            layer = self.layer(role)
            if layer is not None:
                layer.data = _NOTHING[role] if role in _NOTHING else np.zeros((0, 2))
        self._framing.apply(layers.frame_of(1.0, None, millimetres=False))

    def _show(self, drawing: Drawing) -> None:
        """Show one drawing on its layer, if that is there."""
        layer = self.layer(drawing.role)
        if layer is None or drawing.same_as(self._drawn.get(drawing.role)):
            return
        self._drawn[drawing.role] = drawing
        self._fill(layer, drawing)
        layer.editable = False  # napari makes a layer editable again whenever its data are set

    def _fill(self, layer: Any, drawing: Drawing) -> None:
        if drawing.kind != "box":
            layer.data = drawing.data
            _dress(layer, drawing)
            return
        assert self._framing.frame is not None
        boxes = layers.text_boxes(drawing, self._framing.frame, self._framing.px_per_screen_px())
        layer.data = (boxes, ["rectangle"] * len(boxes)) if boxes else []
        layer.features = layers.label_features(drawing)

    def fit_boxes(self) -> None:
        """Give boxes their size on the screen again."""
        for role in layers.BOX_ROLES:
            layer, drawing = self.layer(role), self._drawn.get(role)
            if layer is not None and drawing is not None and len(drawing.data):
                self._fill(layer, drawing)
                layer.editable = False

    def _make(self, drawing: Drawing) -> None:
        from napari.layers import Points, Shapes, Vectors

        frame = self._framing.frame
        assert frame is not None
        self._drawn[drawing.role] = drawing
        kinds = {"vectors": Vectors, "box": Shapes, "points": Points}
        layer = kinds[drawing.kind](**layers.layer_kwargs(drawing, frame, self._framing.px_per_screen_px()))
        # at its own place, so that nothing has to be moved
        above = [self.layer(role) for role in ROLES[ROLES.index(drawing.role) + 1 :]]
        order = self._viewer.layers
        order.insert(min((order.index(one) for one in above if one is not None), default=len(order)), layer)
        layer.editable = False  # points are moved by our mouse tool, never by the layer itself
        leave_unmeasured(layer)
        layer._update_thumbnail = _as_it_is
        layer.thumbnail = layers.swatch(drawing.role)
        self._framing.place(layer)
        if drawing.role == LANDMARKS_ROLE:
            self._bind_keys(layer)

    def _bind_keys(self, layer: Any) -> None:
        for shortcut in SHORTCUTS:
            for key, run in shortcut.keys:
                layer.bind_key(key, _key_action(run, self._controller), overwrite=True)

    def bring_to_top(self, image: Any = None) -> None:
        """Put our layers above everything, in their own order, on the image they are of when it is given."""
        order = self._viewer.layers
        under = [] if image is None else [image, self.layer(DISPLAY_ROLE)]
        ours = [*under, *(self.layer(role) for role in ROLES)]
        mine = [layer for layer in ours if layer is not None]
        if list(order)[len(order) - len(mine) :] == mine:
            return
        order.move_multiple([order.index(layer) for layer in mine], len(order))


# a layer without anything on it, where that is not shape (0, 2)
_NOTHING: dict[str, Any] = {
    **{role: np.zeros((0, 2, 2)) for role in layers.LINE_ROLES},
    **{role: [] for role in layers.BOX_ROLES},
}


def _as_it_is() -> None:
    """Leave the picture in the list of layers as it is."""


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
    if drawing.symbols and [str(one) for one in layer.symbol] != list(drawing.symbols):
        layer.symbol = list(drawing.symbols)
    if drawing.labels and list(layer.features["label"]) != list(drawing.labels):
        layer.features = layers.label_features(drawing)
