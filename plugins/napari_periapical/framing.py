"""Size and unit of a pixel in one viewer, the same for every layer of ours; lines as wide at every zoom."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any, ClassVar
from weakref import WeakSet

import numpy as np
from psygnal import Signal

from napari_periapical import layers
from napari_periapical.controller import Controller
from napari_periapical.layers import ASIDE_PX, DISPLAY_ROLE, RADIOGRAPH, ROLE, Frame
from napari_periapical.sheet import Point
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult

_ZOOM_STEP = 1.2
_SAME_WIDTH = 1e-3
# places of two images side by side, in widths of the first
_APART = 1.02
# as pint, which napari keeps units in, writes them
_UNIT_NAMES = {"mm": ("millimeter", "millimeter"), "pixel": ("pixel", "pixel")}


def radiograph_of(layer: Any) -> Radiograph | None:
    """Give the radiograph a layer carries, or None."""
    found = layer.metadata.get(RADIOGRAPH)
    return found if isinstance(found, Radiograph) else None


def layer_of(viewer: Any, role: str) -> Any | None:
    """Find our layer of one role by its metadata; its name is the person's to change."""
    return next((one for one in viewer.layers if one.metadata.get(ROLE) == role), None)


@contextmanager
def told_once(viewer: Any) -> Iterator[None]:
    """Let the viewer measure its layers once, after all are placed, and not after each.

    To the viewer every change of size, unit or place of a layer is a reason to measure all layers, and what
    that changes of its dimensions is one to cut all of them anew: with a dozen of layers that is most of the
    time a change of the frame takes. Layers of two dimensions are never cut, however the world is measured.
    What layers tell others is not held back.
    """
    told_by = [getattr(one.events, name) for one in viewer.layers for name in ("scale", "units", "translate")]
    measured = [held for emitter in told_by for held in _answers(emitter)]
    dims = viewer.dims.events
    flat = all(layer.ndim == 2 for layer in viewer.layers)
    cut = [held for emitter in (dims.point, dims.current_step) for held in _answers(emitter)] if flat else []
    with ExitStack() as cutting:
        for emitter, answer in cut:
            cutting.enter_context(emitter.blocker(answer))
        with ExitStack() as measuring:
            for emitter, answer in measured:
                measuring.enter_context(emitter.blocker(answer))
            yield
        if measured:
            measured[0][1]()


def leave_unmeasured(layer: Any) -> None:
    """Let new data of a layer of ours be no reason for the viewer to measure all layers.

    What is drawn on an image does not make the world larger, and is drawn anew many times.
    """
    for emitter, answer in _answers(layer.events.data):
        emitter.disconnect(answer)


def _answers(emitter: Any) -> list[tuple[Any, Callable[[], None]]]:
    """Find what the viewer itself does when it is told by this emitter."""
    from napari.components import ViewerModel

    # a callback is kept as (weak reference to its owner, name) where it has an owner
    kept = [one for one in emitter.callbacks if isinstance(one, tuple)]
    return [(emitter, getattr(owner(), name)) for owner, name in kept if isinstance(owner(), ViewerModel)]


class Framing:
    """Keeps the frame of our layers in one viewer.

    Parameters
    ----------
    viewer : napari.Viewer, napari.components.ViewerModel or a proxy of one
    controller : Controller
        Says which image is worked on, and whether a point is held.
    """

    zoomed: ClassVar[Signal] = Signal()
    """What has a size on the screen needs to be drawn anew."""

    def __init__(self, viewer: Any, controller: Controller) -> None:
        self._viewer = viewer
        self._controller = controller
        self._zoom_drawn = 0.0
        self._px_drawn = 1.0
        self._another_image = False
        self._beside: tuple[str, float] | None = None
        self._put_away: WeakSet[Any] = WeakSet()
        self.frame: Frame | None = None

    @property
    def flat(self) -> bool:
        """Whether the viewer shows two dimensions; in three nothing of ours can be drawn."""
        return int(self._viewer.dims.ndisplay) == 2

    def begin_image(self) -> None:
        """Have every layer given its frame at the next drawing: another image is worked on."""
        self._another_image = True

    def fit(self, result: CaseResult | None) -> bool:
        """Take the frame from a result; True when it changed.

        While a point is held it stays, so that nothing moves underneath.
        """
        session = self._controller.session
        assert session is not None
        allowed = self._millimetres_allowed()
        if self.frame is not None and session.drag is not None and (allowed or self.frame.unit == "pixel"):
            return False
        scale = result.scale if result else None
        frame = layers.frame_of(session.radiograph.pixel_aspect, scale, millimetres=allowed)
        beside = self._second_view()
        if frame == self.frame and not self._another_image and beside == self._beside:
            return False
        paired = beside is not None and beside != self._beside
        self._another_image, self._beside = False, beside
        self._show_worked_on()
        self.apply(frame)
        if paired:
            self.show_whole()  # both images, or nothing seems to have happened
        return True

    def apply(self, frame: Frame) -> None:
        """Give every layer of ours, and every radiograph, this frame; the view stays where it is."""
        before = self.frame.col if self.frame else self._image_col()
        self.frame = frame
        with told_once(self._viewer):
            for layer in self._viewer.layers:
                self.place(layer)
        self._keep_view(frame.col / before)
        self._viewer.canvas.overlays.scale_bar.visible = frame.unit == "mm"
        self._set_widths()

    def place(self, layer: Any) -> bool:
        """Give one layer of ours the present frame; True when it stood elsewhere."""
        radiograph = radiograph_of(layer)
        if self.frame is None or (radiograph is None and ROLE not in layer.metadata):
            return False
        own = self.frame
        if radiograph is not None and not self.is_current(radiograph):
            # another image in the viewer keeps the shape of its own pixels
            own = Frame(own.col * radiograph.pixel_aspect, own.col, own.unit)
        return _place(layer, own, self._aside_cols(radiograph))

    def _show_worked_on(self) -> None:
        """Hide the images that are not worked on, and show those again that were hidden so.

        Each image that is seen is painted, and measured by napari at every change of a layer.
        """
        for layer in self._viewer.layers:
            radiograph = radiograph_of(layer)
            if radiograph is None:
                continue
            if self._is_worked_on(radiograph):
                if layer in self._put_away:
                    layer.visible = True
                self._put_away.discard(layer)
            elif layer.visible:
                layer.visible = False
                self._put_away.add(layer)

    def _is_worked_on(self, radiograph: Radiograph) -> bool:
        """Say whether an image is worked on, or is of the pair of views that is."""
        pair = self._controller.pair
        sessions = (pair.first, pair.second) if pair else ()
        return self.is_current(radiograph) or radiograph.sha256 in [one.radiograph.sha256 for one in sessions]

    def answer_eye(self, layer: Any) -> None:
        """Have a layer that was shown drawn where it was placed meanwhile; the person has the last word."""
        if layer.visible:
            self._put_away.discard(layer)
            if not self.place(layer):
                _announce(layer)

    def _second_view(self) -> tuple[str, float] | None:
        """Name the image that stands beside another as its second view, and how far to the right, columns."""
        pair = self._controller.pair
        if pair is None:
            return None
        display = pair.first.sheet.view.display
        images = 2 if display.beside_original and display.changes_grey else 1
        return pair.second.radiograph.sha256, _APART * images * pair.first.radiograph.grey.shape[1]

    def _aside_cols(self, radiograph: Radiograph | None) -> float:
        """How far to the right an image stands, columns; None for what is drawn on the image worked on."""
        session = self._controller.session
        shown = radiograph or (session.radiograph if session else None)
        there = shown is not None and self._beside is not None and shown.sha256 == self._beside[0]
        return self._beside[1] if there and self._beside is not None else 0.0

    def make_room(self) -> None:
        """Go back to pixels before a layer comes: nearly all are in pixels, and napari warns of two units."""
        session = self._controller.session
        if session is not None and self.frame is not None and self.frame.unit == "mm":
            self.apply(layers.frame_of(session.radiograph.pixel_aspect, None, millimetres=False))

    def bring_into_view(self, layer: Any) -> None:
        """Show an image whole, unless the middle of the view lies on it."""
        middle = layer.world_to_data(tuple(self._viewer.scene.camera.center)[-2:])
        if not all(0 <= at < size for at, size in zip(middle, layer.data.shape, strict=True)):
            self.show_whole()

    def show_whole(self) -> None:
        """Fit the view to the images that are seen."""
        seen = [one for one in self._viewer.layers if one.visible and _is_image(one)]
        if seen and self.flat:
            self._viewer.reset_view(layers=seen)

    def follow_zoom(self) -> None:
        """Keep the width of lines on the screen, in steps."""
        zoom = self._viewer.scene.camera.zoom
        if self.flat and self._zoom_drawn and not 1 / _ZOOM_STEP < zoom / self._zoom_drawn < _ZOOM_STEP:
            self._set_widths()

    def px_per_screen_px(self) -> float:
        """Give the image pixels that one screen pixel covers."""
        assert self.frame is not None
        return 1.0 / (float(self._viewer.scene.camera.zoom) * self.frame.col)

    def screen_px_per_px(self) -> tuple[float, float]:
        """Give the screen pixels that one image pixel takes, down and across."""
        assert self.frame is not None
        zoom = float(self._viewer.scene.camera.zoom)
        return self.frame.row * zoom, self.frame.col * zoom

    def on_canvas(self, point: Point, canvas_px: tuple[int, int]) -> tuple[float, float]:
        """Give the place (x, y) of an image point on a canvas of that width and height, screen pixels."""
        assert self.frame is not None
        camera = self._viewer.scene.camera
        row, col = np.multiply(point, (self.frame.row, self.frame.col)) - camera.center[-2:]
        return canvas_px[0] / 2 + float(col) * camera.zoom, canvas_px[1] / 2 + float(row) * camera.zoom

    def is_current(self, radiograph: Radiograph | None) -> bool:
        """Say whether this is the image that is worked on."""
        session = self._controller.session
        if radiograph is None or session is None:
            return False
        return radiograph.sha256 == session.radiograph.sha256

    def _image_col(self) -> float:
        """Size of a pixel along the columns of the current image, before a frame was given to it."""
        for layer in self._viewer.layers:
            if self.is_current(radiograph_of(layer)):
                return float(layer.scale[-1])
        return 1.0

    def _keep_view(self, growth: float) -> None:
        """Let the same part of the images fill the canvas after the world grew.

        The world is measured by the frame given last and not by the layer of an image: one that has just
        come is in pixels still, whatever the view was set to. Rows grow like columns: pixels keep their form.
        """
        camera = self._viewer.scene.camera
        centre = np.array(camera.center, dtype=np.float64)
        centre[-2:] *= growth
        camera.center = tuple(centre)
        camera.zoom = camera.zoom / growth

    def _millimetres_allowed(self) -> bool:
        """Say whether no layer of others has another unit: napari does not draw mixed units right."""
        for layer in self._viewer.layers:
            if ROLE in layer.metadata or radiograph_of(layer) is not None:
                continue
            if set(map(str, layer.units)) != set(_UNIT_NAMES["mm"]):
                return False
        return True

    def _set_widths(self) -> None:
        if self.frame is None or not self.flat:
            return
        self._zoom_drawn = self._viewer.scene.camera.zoom
        px = self.px_per_screen_px()
        if abs(px / self._px_drawn - 1) < _SAME_WIDTH:
            return  # the world and the zoom changed together: what is drawn looks the same
        self._px_drawn = px
        for role in layers.LINE_ROLES:
            layer = layer_of(self._viewer, role)
            if layer is not None:
                layer.edge_width = layers.line_width(role, px)
        for role in layers.POINT_ROLES:
            layer = layer_of(self._viewer, role)
            if layer is not None:
                layer.size = layer.current_size = layers.point_size(role, px)
        self.zoomed.emit()


def _is_image(layer: Any) -> bool:
    """Say whether a layer shows a radiograph, as it is or with display aids."""
    return radiograph_of(layer) is not None or layer.metadata.get(ROLE) == DISPLAY_ROLE


def _place(layer: Any, frame: Frame, cols: float) -> bool:
    """Set what differs, and tell of it once: napari works on the whole scene each time it is told."""
    wanted = layers.spatial_kwargs(frame, cols + layer.metadata.get(ASIDE_PX, 0.0))
    units = tuple(str(unit) for unit in layer.units) != _UNIT_NAMES[frame.unit]
    upright = _is_upright(layer)
    if not units and upright and _has(layer, wanted):
        return False
    with layer.events.blocker_all():
        if units:
            layer.units = wanted["units"]
        if not upright:
            layer.affine, layer.rotate, layer.shear = np.eye(layer.ndim + 1), 0.0, np.zeros(1)
        for name in ("axis_labels", "scale", "translate"):
            if tuple(getattr(layer, name)) != wanted[name]:
                setattr(layer, name, wanted[name])
    if layer.visible or radiograph_of(layer) is None:
        _announce(layer)
    return True


def _has(layer: Any, wanted: dict[str, Any]) -> bool:
    numbers = all(np.allclose(getattr(layer, name), wanted[name], 1e-9, 0) for name in ("scale", "translate"))
    return numbers and tuple(layer.axis_labels) == wanted["axis_labels"]


def _is_upright(layer: Any) -> bool:
    """Say whether a layer is neither turned nor sheared nor moved by napari's transform mode."""
    turned = np.allclose(layer.rotate, np.eye(layer.ndim)) and not np.any(np.abs(layer.shear) > 1e-12)
    return bool(turned and np.allclose(layer.affine.affine_matrix, np.eye(layer.ndim + 1)))


def _announce(layer: Any) -> None:
    """Have the viewer take up size, unit and place of a layer."""
    layer.events.extent()
    layer.events.units()
    layer.events.scale()
