"""Step 4: the bend by each published method."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QPushButton

from napari_periapical.construction import construction_key
from napari_periapical.controller import Controller
from napari_periapical.number_rows import (
    angle_rows,
    key_html,
    method_missing,
    method_rows,
    method_story,
    step_text,
)
from napari_periapical.parts.folding import Folding
from napari_periapical.parts.row_table import RowTable
from napari_periapical.parts.section import Section, show_text, text_label
from napari_periapical.parts.settings import SettingsForm
from radio.measure.methods import METHODS


class CurvePart(Section):
    """Chooses a method; shows its numbers here and its construction on the image, step by step if wanted."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("curvature", controller)
        self.angles, self.angle_details = RowTable(), text_label()
        self.angles.told.connect(lambda text: show_text(self.angle_details, text))
        self.choice = QComboBox()
        self.choice.setToolTip("Method whose construction is drawn on the image")
        for method in METHODS:
            self.choice.addItem(method.title, method.name)
        self.choice.activated.connect(lambda index: controller.choose_method(self.choice.itemData(index)))
        self.table, self.details = RowTable(), text_label()
        self.table.told.connect(lambda text: show_text(self.details, text))
        self.missing, self.step, self.key, self.story = (text_label() for _ in range(4))
        self.key.setTextFormat(Qt.TextFormat.RichText)
        self.drawn = QCheckBox("Draw the construction")
        self.drawn.clicked.connect(controller.draw_constructions)
        self.kept = QCheckBox("Keep it drawn beside others")
        self.kept.clicked.connect(controller.keep_drawn)
        self.back, self.forth = QPushButton("◀"), QPushButton("▶")
        self.back.setToolTip("One step of the construction back")
        self.forth.setToolTip("One step of the construction forth")
        self.back.clicked.connect(lambda *_: controller.step_through(-1))
        self.forth.clicked.connect(lambda *_: controller.step_through(1))
        self.settings = SettingsForm(controller)
        self._lay_out()

    def _lay_out(self) -> None:
        steps = QHBoxLayout()
        for widget, stretch in ((self.back, 0), (self.step, 1), (self.forth, 0)):
            steps.addWidget(widget, stretch)
        for button in (self.back, self.forth):
            button.setFixedWidth(34)
        for widget in (self.angles, self.angle_details, self.choice, self.table, self.missing, self.details):
            self.body.addWidget(widget)
        for widget in (self.drawn, self.kept):
            self.body.addWidget(widget)
        self.body.addLayout(steps)
        self.body.addWidget(self.key)
        self.body.addWidget(Folding("How this number is made", self.story))
        self.body.addWidget(Folding("What no source fixes, and you choose", self.settings))

    def refresh(self) -> None:
        """Show what the controller holds now."""
        controller, method, view = self.controller, self.controller.method, self.controller.view
        self._inner.setEnabled(controller.session is not None)
        self.choice.setCurrentIndex(self.choice.findData(method.name))
        shown = controller.shown
        result = shown.result if shown else None
        self.angles.show_rows(angle_rows(result, controller.canal) if result else ())
        show_text(self.angle_details, self.angles.details())
        self.table.show_rows(method_rows(result, method) if result else ())
        show_text(self.missing, method_missing(result, method))
        show_text(self.details, self.table.details())
        self.drawn.setChecked(view.constructions)
        self.kept.setChecked(method.name in view.kept)
        self._show_steps(step_text(result, method, view.step), drawn=view.constructions)
        key = key_html(construction_key(result, method))
        self.key.setText(key)
        self.key.setVisible(bool(key))
        self.story.setText(method_story(result, method))
        self.settings.refresh()

    def _show_steps(self, text: str, *, drawn: bool) -> None:
        self.step.setText(text)
        for widget in (self.back, self.step, self.forth):
            widget.setVisible(bool(text))
            widget.setEnabled(drawn)
