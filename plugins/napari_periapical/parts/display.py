"""How the image is put before the eye: sliders and boxes, and one button back to the image as exposed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QCheckBox, QGridLayout, QLabel, QPushButton, QSlider, QVBoxLayout, QWidget

from napari_periapical.controller import Controller
from napari_periapical.parts.folding import Folding
from napari_periapical.parts.section import show_text, text_label
from radio.image.display import Display, grey_window
from radio.image.radiograph import Radiograph

_STEPS = 100
# gamma goes from a third to three, the middle of the slider being 1
_GAMMA_MOST = 3.0
_UNTIL_SET = "taken from the film until it is set"


@dataclass(frozen=True)
class _Aid:
    """One slider: what it is called, how it reads a display, and how its place is a value."""

    name: str
    label: str
    hint: str
    value: Callable[[int], float] = lambda place: place / _STEPS
    place: Callable[[float], int] = lambda value: round(value * _STEPS)
    shown: str = "{:.0%}"


_AIDS = (
    _Aid("low", "Black at", f"Grey that is shown as black; {_UNTIL_SET}"),
    _Aid("high", "White at", f"Grey that is shown as white; {_UNTIL_SET}"),
    _Aid(
        "gamma",
        "Gamma",
        "To the left the dark parts open, to the right the bright ones",
        lambda place: round(_GAMMA_MOST ** (2 * place / _STEPS - 1), 2),
        lambda value: round(_STEPS * (_log(value) + 1) / 2),
        "{:.2f}",
    ),
    _Aid(
        "local_contrast", "Local contrast", "Evens out contrast region by region: faint canals stand out more"
    ),
    _Aid("sharpen", "Sharpen", "Lifts edges of a few pixels; grain is lifted with them"),
)


def _log(gamma: float) -> float:
    return min(max(math.log(gamma) / math.log(_GAMMA_MOST), -1.0), 1.0)


class DisplayPart(QWidget):
    """Sets the display aids; what is measured does not hear of them."""

    def __init__(self, controller: Controller) -> None:
        super().__init__()
        self._controller = controller
        self._window_of: tuple[Radiograph | None, tuple[float, float]] = (None, (0.0, 1.0))
        self.sliders = {one.name: self._slider(one) for one in _AIDS}
        self.values = {one.name: QLabel() for one in _AIDS}
        self.invert = QCheckBox("Invert (radiopaque dark)")
        self.invert.setToolTip("Show bright as dark and dark as bright")
        self.beside = QCheckBox("Beside the original")
        self.beside.setToolTip(
            "Show it to the right of the image as exposed; points and lines stay on the image as exposed"
        )
        self.invert.clicked.connect(
            lambda on: controller.show_display("inverting" if on else "no longer inverting", invert=on)
        )
        self.beside.clicked.connect(
            lambda on: controller.show_display(
                "showing the original beside" if on else "no longer showing the original beside",
                beside_original=on,
            )
        )
        self.reset = QPushButton("As exposed")
        self.reset.setToolTip("Switch every display aid off; nothing measured changes")
        self.reset.clicked.connect(lambda *_: controller.show_as_exposed())
        self.told = text_label()
        self.folding = Folding("Display aids", self._controls())
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(self.folding)
        column.addWidget(self.told)

    def _slider(self, aid: _Aid) -> QSlider:
        slider = QSlider(Qt.Orientation.Horizontal)
        slider.setRange(0, _STEPS)
        slider.setToolTip(aid.hint)
        slider.setMinimumWidth(80)
        slider.valueChanged.connect(lambda place: self._moved(aid, place))
        return slider

    def _controls(self) -> QWidget:
        controls = QWidget()
        grid = QGridLayout(controls)
        grid.setContentsMargins(6, 0, 0, 4)
        grid.setVerticalSpacing(3)
        grid.setColumnStretch(1, 1)
        width = self.fontMetrics().horizontalAdvance("100%  ")
        for row, aid in enumerate(_AIDS):
            label = QLabel(aid.label)
            label.setToolTip(aid.hint)
            label.setBuddy(self.sliders[aid.name])
            value = self.values[aid.name]
            value.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            value.setMinimumWidth(width)
            for column, widget in enumerate((label, self.sliders[aid.name], value)):
                grid.addWidget(widget, row, column)
        for row, widget in enumerate((self.invert, self.beside, self.reset), len(_AIDS)):
            grid.addWidget(widget, row, 0, 1, 3)
        return controls

    def _moved(self, aid: _Aid, place: int) -> None:
        if aid.name in ("low", "high"):
            self._controller.show_window(**{aid.name: aid.value(place)})
        else:
            self._controller.show_display(f"changing {aid.label.lower()}", **{aid.name: aid.value(place)})
        self.refresh()

    def refresh(self) -> None:
        """Show what the controller holds now."""
        session, display = self._controller.session, self._controller.view.display
        self.setEnabled(session is not None)
        low, high = display.window or self._film_window(session.radiograph if session else None)
        values = {"low": low, "high": high} | {
            name: getattr(display, name) for name in ("gamma", "local_contrast", "sharpen")
        }
        for aid in _AIDS:
            slider, value = self.sliders[aid.name], values[aid.name]
            slider.blockSignals(True)  # it shows what was set; it sets nothing
            slider.setValue(aid.place(value))
            slider.blockSignals(False)
            self.values[aid.name].setText(aid.shown.format(value))
        self.invert.setChecked(display.invert)
        self.beside.setChecked(display.beside_original)
        self.beside.setEnabled(display.changes_grey)
        self.reset.setEnabled(display != Display())
        show_text(self.told, _told(display))

    def _film_window(self, radiograph: Radiograph | None) -> tuple[float, float]:
        if radiograph is None:
            return 0.0, 1.0
        if self._window_of[0] is not radiograph:
            self._window_of = radiograph, grey_window(radiograph)
        return self._window_of[1]


def _told(display: Display) -> str:
    """What is on, where a person sees it with everything folded away."""
    if not display.text:
        return ""
    return f"Shown with: {display.text}. Everything is measured on the image as exposed."
