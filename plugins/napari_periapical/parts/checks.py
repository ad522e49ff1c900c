"""The list of pre-flight checks: level, what was seen, what to do, and the answer."""

from __future__ import annotations

from qtpy.QtCore import QSignalBlocker
from qtpy.QtWidgets import QComboBox, QGridLayout, QPushButton, QVBoxLayout, QWidget

from napari_periapical.check_rows import (
    CheckRow,
    check_rows,
    result_with_neighbours,
    with_display_told,
)
from napari_periapical.controller import Controller
from napari_periapical.parts.row_table import RowTable
from napari_periapical.parts.section import Field, show_text, text_label

_NO_ANSWER = "no answer"


class ChecksList(QWidget):
    """Shows what the checks found and asks; takes the answer to the chosen one."""

    def __init__(self, controller: Controller) -> None:
        super().__init__()
        self._controller = controller
        self._rows: tuple[CheckRow, ...] = ()
        self._filled_for: object = None
        self.title = text_label("Checks: choose a line for what was seen and what to do.", bold=True)
        self.table = RowTable()
        self.details = text_label()
        self.choice = QComboBox()
        self.note = Field()
        self.note.setPlaceholderText("Note (optional)")
        self.note.returnPressed.connect(self._answer)
        self.button = QPushButton("Answer")
        self.button.setToolTip("Keep the answer with the canal; it can be undone")
        self.button.clicked.connect(lambda *_: self._answer())
        self.problem = text_label()
        self.answering = QWidget()
        grid = QGridLayout(self.answering)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.addWidget(self.choice, 0, 0)
        grid.addWidget(self.button, 0, 1)
        grid.addWidget(self.note, 1, 0, 1, 2)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        for widget in (self.title, self.table, self.details, self.answering, self.problem):
            column.addWidget(widget)
        self.table.told.connect(self._chosen)
        self.refresh()

    def refresh(self) -> None:
        """Show what the controller holds now."""
        session, shown = self._controller.session, self._controller.shown
        result = None
        if session is not None and shown is not None and shown.result is not None:
            result = result_with_neighbours(session, shown.canal.uid)
        chosen = self._current()
        self._rows = () if result is None else with_display_told(check_rows(result), self._aids())
        self.setVisible(bool(self._rows))
        with QSignalBlocker(self.table):
            self.table.show_rows(tuple(one.row for one in self._rows))
            # a line may have moved: the check stays chosen, not the place
            places = [k for k, one in enumerate(self._rows) if chosen and one.check == chosen.check]
            if places and places[0] != self.table.currentRow():
                self.table.selectRow(places[0])
        self._chosen(self.table.details())

    def _aids(self) -> str:
        """Display aids that are on, or were while the points of the canal were placed."""
        words = (*self._controller.canal.seen, self._controller.view.display.text)
        return "; ".join(dict.fromkeys(filter(None, words)))

    def _current(self) -> CheckRow | None:
        row = self.table.currentRow()
        return self._rows[row] if self.table.details() and 0 <= row < len(self._rows) else None

    def _chosen(self, details: str) -> None:
        """Show one check, with the answers it may have; what is half typed stays until another is chosen."""
        show_text(self.details, details)
        row = self._current()
        self.answering.setVisible(row is not None and bool(row.answers))
        if row is None:
            self._filled_for = None
            show_text(self.problem, "")
            return
        owner = (self._controller.session, self._controller.canal.uid)
        chosen = (owner, row.check, row.answers, row.answer, row.note)
        if chosen == self._filled_for:
            return
        self._filled_for = chosen
        show_text(self.problem, "")
        self.choice.clear()
        self.choice.addItems([_NO_ANSWER, *row.answers])
        self.choice.setCurrentText(row.answer or _NO_ANSWER)
        self.note.setText(row.note)

    def _answer(self) -> None:
        row = self._current()
        if row is None:
            return
        word, note = self.choice.currentText(), self.note.text()
        if word != _NO_ANSWER:
            problem = self._controller.answer_check(row.check, word, note)
        elif note and not row.answer:
            problem = "! A note is kept with an answer: choose one above."
        else:
            problem = self._controller.answer_check(row.check, "")
        show_text(self.problem, problem)
