"""Step 5: lengths, the length rule and the electronic reading."""

from __future__ import annotations

from napari_periapical.controller import Controller
from napari_periapical.number_rows import length_rows, remark_lines
from napari_periapical.parts.form import FactsForm
from napari_periapical.parts.row_table import RowTable
from napari_periapical.parts.section import Section, show_text, text_label

FACTS = (
    "electronic_mm",
    "electronic_mark",
    "electronic",
    "electronic_tolerance_mm",
    "length_rule",
    "resorption",
)


class LengthsPart(Section):
    """Shows each length with its standard uncertainty; method and basis are told for the chosen one."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("lengths", controller)
        self.form = FactsForm(controller, FACTS)
        self.state = text_label()
        self.table = RowTable()
        self.details = text_label()
        self.table.told.connect(lambda text: show_text(self.details, text))
        self.remarks = text_label()
        for widget in (self.state, self.table, self.details, self.form, self.remarks):
            self.body.addWidget(widget)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        self._inner.setEnabled(self.controller.session is not None)
        self.form.refresh()
        shown = self.controller.shown
        result = shown.result if shown else None
        if not self.controller.up_to_date:
            self.state.setText("Measuring ...")
        elif shown is None:
            self.state.setText("Numbers come as soon as a file, a canal or a ball is marked.")
        elif result is None:
            self.state.setText(f"! {shown.problem}")
        else:
            self.state.setText("Value ± standard uncertainty. Choose a line for method and basis.")
        self.table.show_rows(length_rows(result, self.controller.canal) if result else ())
        show_text(self.remarks, "\n".join(remark_lines(result.remarks)) if result else "")
        show_text(self.details, self.table.details())
