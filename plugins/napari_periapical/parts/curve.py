"""Step 4: the bend by each published method."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QComboBox

from napari_periapical.construction import construction_key
from napari_periapical.controller import Controller
from napari_periapical.number_rows import angle_rows, key_html, method_missing, method_rows, method_story
from napari_periapical.parts.row_table import RowTable
from napari_periapical.parts.section import Section, show_text, text_label
from radio.measure.methods import METHODS


class CurvePart(Section):
    """Chooses a method; shows its numbers here and its construction on the image."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("curvature", controller)
        self.angles = RowTable()
        self.angle_details = text_label()
        self.angles.told.connect(lambda text: show_text(self.angle_details, text))
        self.choice = QComboBox()
        self.choice.setToolTip("Method whose construction is drawn on the image")
        for method in METHODS:
            self.choice.addItem(method.title, method.name)
        self.choice.activated.connect(lambda index: controller.choose_method(self.choice.itemData(index)))
        self.table = RowTable()
        self.missing = text_label()
        self.key = text_label()
        self.key.setTextFormat(Qt.TextFormat.RichText)
        self.story = text_label()
        self.details = text_label()
        self.table.told.connect(lambda text: show_text(self.details, text))
        for widget in (self.angles, self.angle_details, self.choice, self.table, self.missing, self.details):
            self.body.addWidget(widget)
        for widget in (self.key, self.story):
            self.body.addWidget(widget)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        method = self.controller.method
        self.choice.setCurrentIndex(self.choice.findData(method.name))
        shown = self.controller.shown
        result = shown.result if shown else None
        self.angles.show_rows(angle_rows(result, self.controller.canal) if result else ())
        show_text(self.angle_details, self.angles.details())
        self.table.show_rows(method_rows(result, method) if result else ())
        show_text(self.missing, method_missing(result, method))
        show_text(self.details, self.table.details())
        key = key_html(construction_key(result, method))
        self.key.setText(key)
        self.key.setVisible(bool(key))
        show_text(self.story, method_story(result, method))
