"""A table of names and values that is as high as its rows."""

from __future__ import annotations

from qtpy.QtCore import Qt, Signal  # type: ignore[attr-defined]
from qtpy.QtGui import QKeyEvent, QResizeEvent
from qtpy.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from napari_periapical.number_rows import NumberRow
from napari_periapical.parts.section import keep_list_keys

_ROW_PX = 22
_SPACE_PX = 4


class RowTable(QTableWidget):
    """Shows rows; what the chosen one rests on is told through `told`."""

    told = Signal(str)

    def __init__(self) -> None:
        super().__init__(0, 2)
        self.horizontalHeader().hide()
        self.verticalHeader().hide()
        self.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.horizontalHeader().setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)
        self.verticalHeader().setMinimumSectionSize(_ROW_PX)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setShowGrid(False)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click leaves the keys with the image
        self.itemSelectionChanged.connect(lambda: self.told.emit(self.details()))
        self._rows: tuple[NumberRow, ...] = ()

    def show_rows(self, rows: tuple[NumberRow, ...]) -> None:
        """Show these rows; the chosen line stays chosen when nothing changed."""
        if rows == self._rows:
            return
        self._rows = rows
        self.setRowCount(len(rows))
        for k, row in enumerate(rows):
            for column, text in enumerate((row.name, row.value)):
                item = QTableWidgetItem(text)
                item.setToolTip(row.details)
                if column:
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self.setItem(k, column, item)
        self._fit_height()
        self.setVisible(bool(rows))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Take the keys of a table."""
        super().keyPressEvent(event)
        keep_list_keys(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Break long names anew for another width."""
        super().resizeEvent(event)
        self._fit_height()

    def _fit_height(self) -> None:
        for row in range(self.rowCount()):
            self.setRowHeight(row, max(_ROW_PX, self.sizeHintForRow(row) + _SPACE_PX))
        self.setFixedHeight(self.verticalHeader().length() + 2 * self.frameWidth())

    def details(self) -> str:
        """What the chosen row rests on; empty when none is chosen."""
        row = self.currentRow()
        there = 0 <= row < len(self._rows) and bool(self.selectedItems())
        return self._rows[row].details if there else ""
