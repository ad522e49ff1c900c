"""The radiograph as shown with display aids: a layer of our own over the person's, seen while an aid is on.

The person's layer stays as it is, with whatever contrast, gamma and colours were set on it by hand, and its
data are those that are measured. Beside the original, our layer stands one image width to the right; the
lines are drawn on the original, which is what they were traced on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from napari_periapical import layers
from napari_periapical.background import Runner, run_now
from napari_periapical.controller import Controller
from napari_periapical.framing import Framing, layer_of, radiograph_of
from napari_periapical.layers import DISPLAY_ROLE
from radio.image.display import Display, GreyImage, displayed

# which image, by its hash, and how it is shown
_Key = tuple[str, Display]


class ShownImage:
    """Keeps the layer that shows the radiograph with the aids that are on.

    Parameters
    ----------
    viewer : napari.Viewer, napari.components.ViewerModel or a proxy of one
    controller : Controller
        Says which image is worked on, and how it is shown.
    framing : Framing
        Size and unit of a pixel in that viewer.
    redraw : callable
        Called when an image that was asked for has come.
    """

    def __init__(
        self,
        viewer: Any,
        controller: Controller,
        framing: Framing,
        redraw: Callable[[], None],
    ) -> None:
        self._viewer, self._controller, self._framing = viewer, controller, framing
        self._redraw = redraw
        self._runner: Runner = run_now
        self._asked: _Key | None = None
        self._made: tuple[_Key, GreyImage] | None = None
        self._beside = False
        self._hidden = False

    @property
    def runner(self) -> Runner:
        """Where the work is done; on the spot unless a panel gives a thread."""
        return self._runner

    @runner.setter
    def runner(self, runner: Runner) -> None:
        self._runner = runner
        self._asked = None  # what the other runner was asked for may never come

    def draw(self) -> None:
        """Bring the layer in line with the view: made, filled, moved or hidden."""
        session, display = self._controller.session, self._controller.view.display
        if session is None or not display.changes_grey:
            self._asked = self._made = None
            self._hide()
            return
        sha = session.radiograph.sha256
        self._ask((sha, replace(display, beside_original=False)))
        # what came last is shown until what is wanted comes, so that a slider is followed
        if self._made is not None and self._made[0][0] == sha:
            self._show(self._made[1], beside=display.beside_original)
        else:
            self._hide()

    def _ask(self, key: _Key) -> None:
        if self._asked == key:
            return
        self._asked = key
        assert self._controller.session is not None
        radiograph = self._controller.session.radiograph
        self._runner(lambda: (key, displayed(radiograph, key[1])), self._arrived)

    def _arrived(self, made: tuple[_Key, GreyImage]) -> None:
        # of another image, or of a time before all was switched off: nobody waits for it
        if self._asked is not None and made[0][0] == self._asked[0]:
            self._made = made
            self._redraw()

    def _show(self, image: GreyImage, *, beside: bool) -> None:
        assert self._framing.frame is not None
        aside = image.shape[1] if beside else 0
        layer = layer_of(self._viewer, DISPLAY_ROLE)
        if layer is None:
            active = self._viewer.layers.selection.active
            self._viewer.add_image(image, **layers.display_kwargs(self._framing.frame, aside))
            layer = layer_of(self._viewer, DISPLAY_ROLE)
            assert layer is not None
            layer.editable = False
            if active is not None:
                self._viewer.layers.selection.active = active
        elif layer.data is not image:
            layer.data = image
        if self._hidden:
            self._hidden, layer.visible = False, True
        layer.metadata[layers.ASIDE_PX] = aside
        self._framing.place(layer)
        self._put_over_the_image(layer)
        if beside and not self._beside:
            self._framing.show_whole()  # both images, or nothing seems to have happened
        self._beside = beside

    def _put_over_the_image(self, layer: Any) -> None:
        """Put the layer just above the image it shows: whatever else lies above that stays in sight."""
        order = self._viewer.layers
        below = [one for one in order if self._framing.is_current(radiograph_of(one))]
        if below and order.index(layer) != order.index(below[-1]) + 1:
            order.move(order.index(layer), order.index(below[-1]) + 1)

    def _hide(self) -> None:
        """Hide the layer; taking one away holds napari up for a quarter of a second."""
        self._beside = False
        layer = layer_of(self._viewer, DISPLAY_ROLE)
        if layer is None:
            self._hidden = False
        elif not self._hidden:
            self._hidden, layer.visible = True, False
