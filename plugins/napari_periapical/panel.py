"""The dock panel: its parts in the order of the work, messages above, the caution always below."""

from __future__ import annotations

import threading
import weakref
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from qtpy.QtCore import QObject, Qt, Signal  # type: ignore[attr-defined]
from qtpy.QtGui import QShowEvent
from qtpy.QtWidgets import QFileDialog, QFrame, QMessageBox, QScrollArea, QVBoxLayout, QWidget

from napari_periapical import keeping
from napari_periapical.background import EachInTurn, LatestWins, run_now
from napari_periapical.binding import Binding, bind
from napari_periapical.controller import Controller
from napari_periapical.live import load_ahead
from napari_periapical.number_rows import headline
from napari_periapical.parts.curve import CurvePart
from napari_periapical.parts.image import ImagePart
from napari_periapical.parts.keep import KeepPart
from napari_periapical.parts.keys import KeysPart
from napari_periapical.parts.lengths import LengthsPart
from napari_periapical.parts.magnifier import show_magnifier
from napari_periapical.parts.next_step import NextStep
from napari_periapical.parts.scale import ScalePart
from napari_periapical.parts.second_view import SecondViewPart
from napari_periapical.parts.section import Section, show_text, text_label
from napari_periapical.parts.trace import TracePart
from napari_periapical.readers import LayerData, read_layer
from napari_periapical.steps import steps_of_work
from radio.errors import PeriapicalError
from radio.record.kept_tracings import image_of
from radio.record.wording import CAUTION

WIDTH_PX = 320
_Outcome = TypeVar("_Outcome")
_IMAGES = "Radiographs (*.dcm *.dicom *.png *.tif *.tiff *.jpg *.jpeg *.DCM *.PNG *.TIF *.JPG);;Anything (*)"
_SIGNS = {"good": "✓ ", "note": "", "problem": "! "}


class _Post(QObject):
    """Calls a function on the thread this object lives in, whichever thread asks."""

    call = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.call.connect(self._run, Qt.ConnectionType.QueuedConnection)

    def __call__(self, function: Callable[[], None]) -> None:
        """Have `function` called; may be used from any thread."""
        self.call.emit(function)

    def _run(self, function: Callable[[], None]) -> None:
        function()


class PeriapicalPanel(QWidget):
    """Everything a person needs beside the image.

    Parameters
    ----------
    napari_viewer : napari.Viewer or its proxy
        The viewer the panel is docked to; panels of one viewer share one controller.
    """

    def __init__(self, napari_viewer: Any) -> None:
        super().__init__()
        self._viewer = napari_viewer
        self.binding = bind(napari_viewer)
        self.controller: Controller = self.binding.controller
        self.message = text_label(bold=True)
        self.next_step = NextStep(self.binding)
        self.headline = text_label(bold=True)
        self.image = ImagePart(self.controller, self.open_image)
        self.scale = ScalePart(self.controller)
        self.trace = TracePart(self.binding)
        self.curve = CurvePart(self.controller)
        self.lengths = LengthsPart(self.controller)
        self.keep = KeepPart(
            self.controller, self.save_table, self.save_common_table, self.save_tracing, self.reopen
        )
        self.second = SecondViewPart(self.controller)
        self.keys = KeysPart(self.controller)
        self.steps: tuple[Section, ...] = (
            self.image,
            self.scale,
            self.trace,
            self.curve,
            self.lengths,
            self.keep,
        )
        self._lay_out()
        self._connect()
        # while the person looks at the image; it takes longer than the thread of the screen may wait
        threading.Thread(target=load_ahead, name="periapical-load", daemon=True).start()
        self.refresh()
        self.refresh_numbers()

    def _lay_out(self) -> None:
        inner = QWidget()
        column = QVBoxLayout(inner)
        column.setContentsMargins(2, 4, 2, 4)
        column.setSpacing(4)
        for part in (*self.steps, self.second, self.keys):
            column.addWidget(part)
        column.addStretch(1)
        self.scroll_area = QScrollArea()
        self.scroll_area.setWidgetResizable(True)
        self.scroll_area.setFrameShape(QFrame.Shape.NoFrame)
        self.scroll_area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.scroll_area.setWidget(inner)
        self.caution = text_label(CAUTION)
        font = self.caution.font()
        font.setPointSizeF(max(font.pointSizeF() * 0.85, 7.0))
        self.caution.setFont(font)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(4, 4, 4, 4)
        outer.addWidget(self.next_step)
        outer.addWidget(self.message)
        outer.addWidget(self.scroll_area, 1)
        outer.addWidget(self.headline)
        outer.addWidget(self.caution)
        self.message.hide()
        self.setMinimumWidth(WIDTH_PX)

    def _connect(self) -> None:
        for signal, slot in self._slots():
            signal.connect(slot)
        self._post, self._reading, self._saving = _Post(), EachInTurn(_Post()), EachInTurn(_Post())
        owners = (self.controller.measuring, self.binding.shown_image, self.controller.autosave)
        runners = tuple((owner, LatestWins(_Post())) for owner in owners)
        for owner, runner in runners:
            owner.runner = runner
        # what hears of the end must not itself keep the panel
        self.binding.draw_through(self._post)
        workers = (self._reading, self._saving)
        self.destroyed.connect(partial(_let_go, weakref.ref(self), self.binding, runners, workers))

    def _slots(self) -> tuple[tuple[Any, Callable[..., None]], ...]:
        controller = self.controller
        return (
            (controller.changed, self.refresh),
            (controller.measured, self.refresh_numbers),
            (controller.told, self.tell),
            (controller.autosave.kept, self.keep.refresh),
        )

    def disconnect_controller(self) -> None:
        """Hear no more of the controller."""
        for signal, slot in self._slots():
            signal.disconnect(slot, missing_ok=True)

    def showEvent(self, event: QShowEvent) -> None:
        """Put the magnifier into the window once the panel is part of it."""
        super().showEvent(event)
        show_magnifier(self.binding, self)

    # -- showing ------------------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show what is placed, stated and chosen."""
        self.next_step.refresh()
        for part in (*self.steps, self.second):
            part.refresh()
        self._show_steps()
        if not self.controller.up_to_date or self.controller.shown is None:
            self.refresh_numbers()

    def refresh_numbers(self) -> None:
        """Show what is measured."""
        self.next_step.refresh()
        self.image.checks.refresh()
        for part in (self.scale, self.trace, self.curve, self.lengths, self.second):
            part.refresh()
        self._show_steps()
        shown = self.controller.shown
        rows = headline(shown.result) if shown else ()
        show_text(self.headline, "\n".join(f"{row.name}  {row.value}" for row in rows))
        self.headline.setToolTip("\n\n".join(row.details for row in rows))

    def _show_steps(self) -> None:
        for part, step in zip(self.steps, steps_of_work(self.controller).values(), strict=True):
            part.show_step(step)

    def tell(self, level: str, text: str) -> None:
        """Show a message above the parts; an empty one takes the last away."""
        show_text(self.message, f"{_SIGNS[level]}{text}" if text else "")

    # -- what the buttons do ------------------------------------------------------------------------------

    def open_image(self) -> None:
        """Ask for an image and open it."""
        path, _ = QFileDialog.getOpenFileName(self, "Open a radiograph", "", _IMAGES)
        if path:
            self.controller.tell("note", f"Opening {Path(path).name} ...")
            self._reading(lambda: _caught(lambda: read_layer(Path(path))), self._show_read)

    def _show_read(self, read: LayerData | PeriapicalError) -> None:
        """Show an image that was read meanwhile, with a breath between what takes the window's time."""
        self.controller.tell("note", "")
        self.binding.framing.make_room()
        self._post(lambda: self._try(lambda: self._show_image(_raised(read))))

    def save_table(self) -> None:
        """Ask where, and write the results table."""
        path = self._ask_where("Save the table", "_results.csv", "Table (*.csv)", add_to=False)
        if path:
            self._try(lambda: keeping.keep_table(self.controller, path))

    def save_common_table(self) -> None:
        """Ask where, and write one table of all images in the background, unless it is stopped."""
        path = self._ask_where(
            "Save one table of all images", "_all_results.csv", "Table (*.csv)", add_to=False
        )
        if not path:
            return
        self.controller.end_move()
        stopped = threading.Event()

        def told_of(done: int, of: int) -> bool:
            self._post(lambda: self.keep.show_progress(done, of, stopped.set))
            return not stopped.is_set()

        def tell(outcome: str | PeriapicalError) -> None:
            self.keep.show_progress(0, 0, stopped.set)
            self._try(lambda: _raised(outcome))

        save = partial(keeping.keep_common_table, self.controller, path, told_of)
        self._saving(lambda: _caught(save), tell)

    def save_tracing(self) -> None:
        """Add the present state as a revision, to the open casebook or where the person says."""
        path = self.controller.casebook or self._ask_where(
            "Save the tracing", "_tracing.json", "Tracing (*.json)", add_to=True
        )
        if path:
            self._try(lambda: keeping.keep_tracing(self.controller, path, self._reader()))
            self.keep.refresh()

    def use_casebook(self, path: Path) -> None:
        """Save tracings into a casebook, and bring them back from it, from now on."""
        self.controller.casebook = path
        self.keep.refresh()

    def reopen(self) -> None:
        """Bring back what the open casebook or a document the person names has, with its image if need be."""
        path = self.controller.casebook
        if path is None:
            chosen, _ = QFileDialog.getOpenFileName(
                self, "Reopen a tracing", "", "Tracing or casebook (*.json *.casebook);;Anything (*)"
            )
            if not chosen:
                return
            path = Path(chosen)

        def bring_back() -> str:
            if self.controller.session is None and (image := image_of(path)) is not None:
                self._show_image(read_layer(image))
            return keeping.reopen(self.controller, path, self._reader())

        self._try(bring_back)

    def _reader(self) -> str:
        return self.keep.reader.text().strip()

    def _show_image(self, layer: LayerData) -> str:
        data, kwargs, _ = layer
        self._viewer.add_image(data, **kwargs)
        return ""

    def _ask_where(self, title: str, ending: str, kind: str, *, add_to: bool) -> Path | None:
        session = self.controller.session
        if session is None:
            return None
        options = QFileDialog.Option.DontConfirmOverwrite if add_to else QFileDialog.Option(0)
        suggested = str(keeping.suggested_name(session.radiograph, ending))
        chosen, _ = QFileDialog.getSaveFileName(self, title, suggested, kind, options=options)
        if not chosen:
            return None
        path = Path(chosen)
        if path.suffix:
            return path
        # the dialog asked about the name as it was typed
        path = path.with_suffix(Path(ending).suffix)
        return path if add_to or not path.exists() or self._may_replace(path) else None

    def _may_replace(self, path: Path) -> bool:
        """Ask whether a file is written over."""
        text = f"{path.name} exists already. Write over it?"
        return QMessageBox.question(self, "Save the table", text) == QMessageBox.StandardButton.Yes

    def _try(self, action: Callable[[], str]) -> None:
        """Do something and say what came of it; what is wrong is said in words."""
        try:
            told = action()
        except PeriapicalError as error:
            self.controller.tell("problem", str(error))
        else:
            if told:
                self.controller.tell("good", told)


def _caught(act: Callable[[], _Outcome]) -> _Outcome | PeriapicalError:
    """Do something on another thread; what is wrong is given back, to be told where people see it."""
    try:
        return act()
    except PeriapicalError as problem:
        return problem


def _raised(outcome: _Outcome | PeriapicalError) -> _Outcome:
    """Give what came of it, or raise what was wrong."""
    if isinstance(outcome, PeriapicalError):
        raise outcome
    return outcome


def _let_go(
    panel: weakref.ref[PeriapicalPanel],
    binding: Binding,
    runners: Sequence[tuple[Any, LatestWins]],
    workers: Sequence[EachInTurn],
    *_: object,
) -> None:
    """Leave controller and binding able to work when their panel is gone."""
    binding.draw_through(None)
    for worker in workers:
        worker.stop()
    gone = panel()
    if gone is not None:
        gone.disconnect_controller()
    for owner, runner in runners:
        runner.stop()
        if owner.runner is runner:
            owner.runner = run_now
