"""Step 2: millimetres."""

from __future__ import annotations

from napari_periapical.controller import Controller
from napari_periapical.number_rows import scale_rows
from napari_periapical.parts.form import FactsForm
from napari_periapical.parts.row_table import RowTable
from napari_periapical.parts.section import Section, show_text, text_label

FACTS = (
    "file_length_mm",
    "file_start_at",
    "file_size",
    "ball_diameter_mm",
    "mm_per_px",
    "detector_pitch_mm",
    "scale_from",
)


class ScalePart(Section):
    """Takes in the lengths that are known, and shows the scale that follows with what it rests on."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("scale", controller)
        self.form = FactsForm(controller, FACTS)
        self.table = RowTable()
        self.details = text_label()
        self.table.told.connect(lambda text: show_text(self.details, text))
        for widget in (self.form, self.table, self.details):
            self.body.addWidget(widget)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        self._inner.setEnabled(self.controller.session is not None)
        self.form.refresh()
        shown = self.controller.shown
        result = shown.result if shown else None
        self.table.show_rows(scale_rows(result, self.controller.canal) if result else ())
        show_text(self.details, self.table.details())
