"""Between the controller and one viewer: draws what is placed and measured, and hears mouse and keys.

The layers are a drawing. Nothing is ever read back from them; what a person does goes to the controller, and
the layers are drawn anew from what the controller holds.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from napari_periapical import drafts, preferences
from napari_periapical.autosave import Autosave
from napari_periapical.controller import Controller
from napari_periapical.drawings import LANDMARKS_ROLE, ROLES
from napari_periapical.framing import radiograph_of
from napari_periapical.in_view import InView
from napari_periapical.layers import FACTS, ROLE
from napari_periapical.mouse import MouseTool
from napari_periapical.scene import Scene
from napari_periapical.shown_image import ShownImage
from napari_periapical.watch import LayerWatch

_IN_3D = "Points are placed in 2-D: switch the viewer back."
_PUT_BACK = "The image was moved beside its lines; it was put back."


def bind(viewer: Any) -> Binding:
    """Give the one binding of a viewer; made at the first call.

    Parameters
    ----------
    viewer : napari.Viewer, napari.components.ViewerModel or a proxy of one
        The viewer.
    """
    bound = binding_of(viewer)
    if bound is not None:
        return bound
    wanted = preferences.preferences
    autosave = Autosave(drafts.drafts_folder, lambda: wanted().autosave)
    return Binding(viewer, Controller(autosave=autosave, preferences=wanted))


def binding_of(viewer: Any) -> Binding | None:
    """Give the binding of a viewer, or None where none was made."""
    for callback in viewer.mouse_drag_callbacks:
        if isinstance(callback, MouseTool):
            assert isinstance(callback.target, Binding)
            return callback.target
    return None


class Binding(InView):
    """One viewer with its controller; make it with :func:`bind`.

    It lives as long as its mouse tool is among the callbacks of the viewer.
    """

    def __init__(self, viewer: Any, controller: Controller) -> None:
        super().__init__(viewer, controller)
        self.scene = Scene(viewer, controller, self.framing)
        self.shown_image = ShownImage(viewer, controller, self.framing, self.draw)
        self._busy = False
        self._going: Literal["", "going", "missed"] = ""
        self._fresh: Literal["", "inserted", "selected"] = ""
        self._selected: set[int] = set()
        self._waking = False
        self._post: Callable[[Callable[[], None]], None] | None = None
        self._drawing_waits = False
        self._mouse = MouseTool(self)
        self._watch = LayerWatch(self._on_layer_moved, self._on_eye)
        for layer in viewer.layers:
            self._watch.follow(layer)
        viewer.mouse_drag_callbacks.append(self._mouse)
        viewer.mouse_move_callbacks.append(self._mouse.moved)
        for emitter, slot, position in self._slots():
            emitter.connect(slot, position=position)
        self.framing.zoomed.connect(self.scene.fit_boxes)
        controller.changed.connect(self.draw_soon)
        controller.measured.connect(self.draw_soon)
        controller.aimed.connect(self.draw_live)
        self._adopt()

    def disconnect(self) -> None:
        """Let go of the viewer; the layers stay as they are."""
        for emitter, slot, _ in self._slots():
            emitter.disconnect(slot)
        for layer in self.viewer.layers:
            self._watch.leave(layer)
        self.controller.changed.disconnect(self.draw_soon)
        self.controller.measured.disconnect(self.draw_soon)
        self.controller.aimed.disconnect(self.draw_live)
        self.viewer.mouse_drag_callbacks.remove(self._mouse)
        self.viewer.mouse_move_callbacks.remove(self._mouse.moved)

    def _slots(self) -> tuple[tuple[Any, Callable[..., None], Literal["first", "last"]], ...]:
        viewer = self.viewer
        events, selection = viewer.layers.events, viewer.layers.selection.events
        # last, when all of the viewer knows of the change: what we change in answer would else be told first,
        # or undone by napari's own answer to the first change
        return (
            (viewer.events.mouse_over_canvas, self._on_canvas, "first"),
            (events.inserting, self._on_inserting, "first"),
            (events.inserted, self._on_inserted, "last"),
            (events.removing, self._on_going, "first"),
            (events.removed, self._on_removed, "last"),
            (events.moving, self._on_going, "first"),
            (events.moved, self._on_moved, "last"),
            (selection.changed, self._on_selection, "last"),
            (selection.active, self._on_active, "last"),
            (viewer.scene.camera.events.zoom, self._on_zoom, "first"),
            (viewer.dims.events.ndisplay, self._on_dimensions, "last"),
        )

    # -- whether clicks count -----------------------------------------------------------------------------

    def make_ready(self) -> None:
        """Make the landmarks the active layer in a flat view, drawing it again if it was deleted."""
        self.viewer.dims.ndisplay = 2
        self._wake()

    def _wake(self) -> None:
        if self.controller.session is None:
            return
        self.draw()
        layer = self.layer(LANDMARKS_ROLE)
        if layer is None or not self.framing.flat:
            return
        if not layer.visible:  # napari draws a layer anew even when it is shown already
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
            self._wake()

    def _open(self, layer: Any) -> None:
        radiograph = radiograph_of(layer)
        assert radiograph is not None
        self.framing.begin_image()
        self.controller.open(radiograph, layer.metadata.get(FACTS, ()))
        self._quietly(lambda: self.scene.bring_to_top(layer))

    def _on_inserting(self, *_: Any) -> None:
        if not self._busy:
            self.framing.make_room()

    def _on_inserted(self, event: Any) -> None:
        self._watch.follow(event.value)
        if self._busy:
            return
        if radiograph_of(event.value) is not None:
            self._open(event.value)
            self.framing.show_whole()
            self._fresh = "inserted"  # napari is about to select the new layer; ours comes after that
        else:
            self.draw()  # back to millimetres, unless the new layer is in pixels

    def _on_going(self, *_: Any) -> None:
        # a layer that came or moved now would make the viewer take or move another one in its place
        if not self._busy:
            self._going = "going"

    def _on_removed(self, event: Any) -> None:
        self._watch.leave(event.value)
        self.scene.forget(event.value.metadata.get(ROLE, ""))
        if not self._busy:
            self._tell_of_removed(event)
            self._on_moved()

    def _on_moved(self, *_: Any) -> None:
        if not self._busy:
            missed, self._going = self._going == "missed", ""
            if missed:
                self._follow_active()

    def _tell_of_removed(self, event: Any) -> None:
        if self.controller.session is None:
            return
        images = self.image_layers()
        if not images:
            self.controller.close()
        elif not any(self.framing.is_current(radiograph_of(one)) for one in images):
            self._go_on_with(images[-1])
        elif event.value.metadata.get(ROLE):
            self.controller.tell(
                "note",
                f"The layer {event.value.name} is drawn again at the next change: it only shows what is kept "
                "here. Use its eye to hide it.",
            )

    def _go_on_with(self, image: Any) -> None:
        """Work on another image after that worked on was deleted."""
        if all(self.layer(role) is not None for role in ROLES):
            self._open(image)
            self.framing.bring_into_view(image)
            self._wake()
        else:  # all layers are being deleted, and none is to come now
            self._quietly(lambda: self._open(image))

    def _on_selection(self, *_: Any) -> None:
        active = self.viewer.layers.selection.active
        if self._fresh == "inserted" and active is not None and radiograph_of(active) is not None:
            self._fresh = "selected"
        self._selected = set(map(id, self.viewer.layers.selection))
        if self._waking:
            self._waking = False
            self._wake_if_chosen()

    def _on_active(self, *_: Any) -> None:
        if self._going:
            self._going = "missed"
        elif not self._busy and self._fresh != "inserted":
            self._follow_active()

    def _follow_active(self) -> None:
        """Work on the image whose layer is the active one now; any other layer is only told of."""
        active = self.viewer.layers.selection.active
        radiograph = radiograph_of(active) if active is not None else None
        fresh, self._fresh = self._fresh, ""
        session = self.controller.session
        if radiograph is not None and (session is None or radiograph.sha256 != session.radiograph.sha256):
            self._open(active)
            self.framing.bring_into_view(active)
            # a press in the list of layers is told of after this, and would be shown there over our choice
            self._waking = set(map(id, self.viewer.layers.selection)) != self._selected
            if not self._waking:
                self._wake()
        elif radiograph is not None and fresh:
            self._wake()
        else:
            self._quietly(self.controller.changed.emit)  # a layer that was deleted stays so for now

    def _on_zoom(self, *_: Any) -> None:
        self.framing.follow_zoom()

    def _on_dimensions(self, *_: Any) -> None:
        self._quietly(self.scene.follow_dimensions)
        self.framing.follow_zoom()
        if self.controller.session is not None:
            self.controller.tell("note", "")
        self.controller.changed.emit()
        if self.framing.flat:
            self.framing.show_whole()
            self._wake_if_chosen()

    def _wake_if_chosen(self) -> None:
        """Make clicks count again when an image of ours came or was chosen meanwhile."""
        active = self.viewer.layers.selection.active
        if active is not None and radiograph_of(active) is not None:
            self._wake()

    def _on_layer_moved(self, layer: Any) -> None:
        if not self._busy and self.framing.place(layer):
            self.controller.tell("note", _PUT_BACK)

    def _on_eye(self, layer: Any) -> None:
        self.framing.answer_eye(layer)
        if not self.framing.flat:
            self._quietly(self.scene.follow_dimensions)
        elif not self._busy and layer.metadata.get(ROLE) == LANDMARKS_ROLE:
            self._quietly(self.controller.changed.emit)  # the panel says whether clicks place points

    def _on_canvas(self, *_: Any) -> None:
        if not self.viewer.mouse_over_canvas:
            self.controller.rest()

    # -- drawing ------------------------------------------------------------------------------------------

    def draw(self) -> None:
        """Bring every layer of ours in line with the controller."""
        if not self.framing.flat:
            if self.controller.session is not None:
                self.controller.tell("note", _IN_3D)
        elif not self._busy:
            self._quietly(self.scene.clear if self.controller.session is None else self.scene.draw)
            self._quietly(self.shown_image.draw)

    def draw_through(self, post: Callable[[Callable[[], None]], None] | None) -> None:
        """Draw when the window has time, and in parts, so that it is never held for long; None: at once.

        Parameters
        ----------
        post : callable or None
            Has a function called by an event of its own.
        """
        self._post, self._drawing_waits = post, False
        self.scene.later = None if post is None else self._draw_later

    @property
    def drawn(self) -> bool:
        """Whether nothing waits to be drawn."""
        return not self._drawing_waits

    def draw_soon(self) -> None:
        """Draw, once for all that was asked for meanwhile."""
        if self._post is None:
            self.draw()
        elif not self._busy:  # as in drawing at once: what we change ourselves is no reason
            self._draw_later()

    def _draw_later(self) -> None:
        if self._post is not None and not self._drawing_waits:
            self._drawing_waits = True
            self._post(self._draw_waiting)

    def _draw_waiting(self) -> None:
        self._drawing_waits = False
        self.draw()

    def draw_live(self) -> None:
        """Draw what follows the pointer, and nothing else."""
        if not self._busy and self.framing.flat and self.controller.session is not None:
            self._quietly(self.scene.draw_live)

    def _quietly(self, action: Callable[[], None]) -> None:
        """Change layers without answering to what the viewer tells of it."""
        busy, self._busy = self._busy, True
        try:
            action()
        finally:
            self._busy = busy
