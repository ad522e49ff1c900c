"""Step 4: the numbers."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from napari_periapical.controller import Controller
from napari_periapical.number_rows import NumberRow, number_rows, remark_lines
from napari_periapical.parts.section import Section, show_text, text_label


class NumbersPart(Section):
    """Shows each number with its standard uncertainty; method and basis are told for the chosen one."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("4  Numbers", controller)
        self.state = text_label()
        self.table = QTableWidget(0, 2)
        self.table.horizontalHeader().hide()
        self.table.verticalHeader().hide()
        self.table.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.table.horizontalHeader().setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)
        self.table.verticalHeader().setDefaultSectionSize(22)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.table.setShowGrid(False)
        self.table.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.table.itemSelectionChanged.connect(self._tell_details)
        self.details = text_label()
        self.remarks = text_label()
        for widget in (self.state, self.table, self.details, self.remarks):
            self.body.addWidget(widget)
        self._rows: tuple[NumberRow, ...] = ()

    def refresh(self) -> None:
        """Show what the controller holds now."""
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
        rows = number_rows(result, self.controller.canal) if result else ()
        if rows != self._rows:
            self._rows = rows
            self._fill()
        show_text(self.remarks, "\n".join(remark_lines(result.remarks)) if result else "")
        self._tell_details()

    def _fill(self) -> None:
        self.table.setRowCount(len(self._rows))
        for k, row in enumerate(self._rows):
            for column, text in enumerate((row.name, row.value)):
                item = QTableWidgetItem(text)
                item.setToolTip(row.details)
                if column:
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self.table.setItem(k, column, item)
        self.table.setFixedHeight(22 * len(self._rows) + 2 * self.table.frameWidth())
        self.table.setVisible(bool(self._rows))

    def _tell_details(self) -> None:
        row = self.table.currentRow()
        there = 0 <= row < len(self._rows) and bool(self.table.selectedItems())
        show_text(self.details, self._rows[row].details if there else "")
