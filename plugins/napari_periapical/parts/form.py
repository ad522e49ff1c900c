"""Fields for the facts that a person states."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

from qtpy.QtGui import QIcon
from qtpy.QtWidgets import QComboBox, QFormLayout, QSizePolicy, QWidget

from calib.instruments import HandFile
from napari_periapical.controller import Controller
from napari_periapical.fields import CHOICES, LABELS, LINES, TOOLTIPS, text_of
from napari_periapical.parts.section import Field, show_text, swatch, text_label
from napari_periapical.session import Session
from radio.errors import echoed

# the colours ISO 3630-1 names for handles, as a screen shows them
ISO_COLOURS = {
    "pink": "#E78AC3",
    "grey": "#8C8C8C",
    "purple": "#7B3FA0",
    "white": "#FFFFFF",
    "yellow": "#F5D000",
    "red": "#D7191C",
    "blue": "#2C5FB8",
    "green": "#1A8F3C",
    "black": "#000000",
}


class FactsForm(QWidget):
    """Takes in some of the facts; nonsense stays as typed, with the reason below.

    Parameters
    ----------
    controller : Controller
    names : sequence of str
        The facts, in order.
    """

    def __init__(self, controller: Controller, names: Sequence[str]) -> None:
        super().__init__()
        self._controller = controller
        self.lines: dict[str, Field] = {
            name: self._line(name, hint) for name, _, hint in LINES if name in names
        }
        self.choices: dict[str, QComboBox] = {
            name: self._choice(name, choices) for name, _, choices in CHOICES if name in names
        }
        self.problem = text_label(bold=True)
        self._wrong: dict[str, str] = {}
        self._of: tuple[Session | None, int] = (None, -1)
        form = QFormLayout(self)
        form.setContentsMargins(0, 2, 0, 0)
        form.setVerticalSpacing(3)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        for name in names:
            form.addRow(LABELS[name], self.field(name))
        form.addRow(self.problem)

    def field(self, name: str) -> QWidget:
        """Give the widget of one fact."""
        return self.lines[name] if name in self.lines else self.choices[name]

    def _line(self, name: str, hint: str) -> Field:
        line = Field()
        line.setMinimumWidth(60)
        line.setPlaceholderText(hint)
        line.setToolTip(TOOLTIPS.get(name, ""))
        line.editingFinished.connect(lambda: self._entered(name))
        return line

    def _choice(self, name: str, choices: Sequence[tuple[str, str]]) -> QComboBox:
        box = narrow_box()
        for text, value in choices:
            box.addItem(text, value)
            if name == "file_size" and value:
                box.setItemIcon(box.count() - 1, QIcon(swatch(ISO_COLOURS[HandFile(int(value)).colour])))
        box.activated.connect(lambda _: self._state(name, str(box.currentData())))
        return box

    def _entered(self, name: str) -> None:
        line = self.lines[name]
        if line.isModified():
            line.setModified(False)
            self._state(name, line.text())

    def _state(self, name: str, text: str) -> None:
        problem = self._controller.state_fact(name, text)
        self._wrong.pop(name, None)
        if problem:
            self._wrong[name] = problem
        self.refresh()

    def _finish(self, session: Session | None, uid: int) -> None:
        """State what is typed and not entered for the canal it was typed for, and for no other."""
        if session is not None:
            state = partial(self._controller.state_fact_of, session, uid)
            finish_typed(self._controller, self.lines, LABELS, state)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        owner = (self._controller.session, self._controller.canal.uid)
        if owner != self._of:
            before, self._of = self._of, owner
            self._wrong.clear()
            self._finish(*before)
        canal = self._controller.canal
        for name, line in self.lines.items():
            if name not in self._wrong and not line.isModified():
                line.setText(text_of(canal.facts, name))
        for name, box in self.choices.items():
            box.setCurrentIndex(max(box.findData(text_of(canal.facts, name)), 0))
        wrong = [f"! {LABELS[name]}: {why}" for name, why in self._wrong.items()]
        show_text(self.problem, "\n".join(wrong))


def finish_typed(
    controller: Controller,
    lines: Mapping[str, Field],
    labels: Mapping[str, str],
    state: Callable[[str, str], str],
) -> None:
    """State what is typed and not entered; what is refused is dropped, and the person is told."""
    typed = {name: line.text() for name, line in lines.items() if line.isModified()}
    for name in typed:  # before anything is stated: that refreshes the lines
        lines[name].setModified(False)
    dropped = []
    for name, text in typed.items():
        problem = state(name, text)
        if problem:
            dropped.append(f"{labels[name]}: {echoed(text)} was typed and not entered. {problem}")
    if dropped:
        controller.tell("problem", "\n".join(dropped))


def narrow_box() -> QComboBox:
    """Make a box that a long entry does not widen."""
    box = QComboBox()
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    box.setMinimumContentsLength(8)
    box.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
    box.setMinimumWidth(60)
    return box
