"""Step 2: the canal and what is known about it."""

from __future__ import annotations

from collections.abc import Sequence

from qtpy.QtWidgets import QComboBox, QFormLayout, QHBoxLayout, QPushButton, QSizePolicy, QWidget

from napari_periapical.controller import Controller
from napari_periapical.fields import CHOICES, LABELS, LINES, ORDER, TOOLTIPS, text_of
from napari_periapical.parts.section import Field, Section, show_text, text_label


class FactsPart(Section):
    """Chooses the canal and takes in what is known; nonsense stays as typed, with the reason below."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("2  Canal and known sizes", controller)
        self.canals = _narrow_box()
        self.canals.setToolTip("Canal that is worked on")
        self.canals.activated.connect(controller.choose_canal)
        self.add_button = QPushButton("Add")
        self.add_button.setToolTip("Add a canal to this image")
        self.add_button.clicked.connect(lambda *_: controller.add_canal())
        self.remove_button = QPushButton("Remove")
        self.remove_button.setToolTip("Remove this canal and its points; can be undone")
        self.remove_button.clicked.connect(lambda *_: controller.remove_canal())
        row = QHBoxLayout()
        for widget, stretch in ((self.canals, 2), (self.add_button, 1), (self.remove_button, 1)):
            row.addWidget(widget, stretch)
        self.body.addLayout(row)
        self.lines: dict[str, Field] = {name: self._line(name, hint) for name, _, hint in LINES}
        self.choices: dict[str, QComboBox] = {name: self._choice(name, c) for name, _, c in CHOICES}
        self.problem = text_label(bold=True)
        self.body.addLayout(self._form())
        self.body.addWidget(self.problem)
        self._wrong: dict[str, str] = {}
        self._of: object = None

    def _form(self) -> QFormLayout:
        form = QFormLayout()
        form.setContentsMargins(0, 2, 0, 0)
        form.setVerticalSpacing(3)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        for name in ORDER:
            widget: QWidget = self.lines[name] if name in self.lines else self.choices[name]
            form.addRow(LABELS[name], widget)
        return form

    def _line(self, name: str, hint: str) -> Field:
        line = Field()
        line.setMinimumWidth(60)
        line.setPlaceholderText(hint)
        line.setToolTip(TOOLTIPS.get(name, ""))
        line.editingFinished.connect(lambda: self._entered(name))
        return line

    def _choice(self, name: str, choices: Sequence[tuple[str, str]]) -> QComboBox:
        box = _narrow_box()
        for text, value in choices:
            box.addItem(text, value)
        box.activated.connect(lambda _: self._state(name, str(box.currentData())))
        return box

    def _entered(self, name: str) -> None:
        line = self.lines[name]
        if line.isModified():
            line.setModified(False)
            self._state(name, line.text())

    def _state(self, name: str, text: str) -> None:
        problem = self.controller.state_fact(name, text)
        self._wrong.pop(name, None)
        if problem:
            self._wrong[name] = problem
        self.refresh()

    def refresh(self) -> None:
        """Show what the controller holds now."""
        session = self.controller.session
        self._inner.setEnabled(session is not None)
        canal = self.controller.canal
        owner = (session, canal.uid)
        if owner != self._of:
            self._of = owner
            self._wrong.clear()
        self._show_canals()
        for name, line in self.lines.items():
            if name not in self._wrong and not line.isModified():
                line.setText(text_of(canal.facts, name))
        for name, box in self.choices.items():
            box.setCurrentIndex(max(box.findData(text_of(canal.facts, name)), 0))
        wrong = [f"! {LABELS[name]}: {why}" for name, why in self._wrong.items()]
        show_text(self.problem, "\n".join(wrong))

    def _show_canals(self) -> None:
        session = self.controller.session
        sheet = session.sheet if session else None
        names = [f"canal {c.facts.canal}" for c in sheet.canals] if sheet else []
        if names != [self.canals.itemText(k) for k in range(self.canals.count())]:
            self.canals.clear()
            self.canals.addItems(names)
        if sheet:
            self.canals.setCurrentIndex(sheet.active)


def _narrow_box() -> QComboBox:
    """Make a box that a long entry does not widen."""
    box = QComboBox()
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    box.setMinimumContentsLength(8)
    box.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
    box.setMinimumWidth(60)
    return box
