"""Step 6: keeping."""

from __future__ import annotations

from collections.abc import Callable

from qtpy.QtWidgets import QComboBox, QProgressBar, QPushButton

from napari_periapical.autosave import described
from napari_periapical.controller import Controller
from napari_periapical.keeping import saved_state
from napari_periapical.parts.section import Field, Section, show_text, text_label


class KeepPart(Section):
    """Saves the table and the tracing, opens a tracing again, and says what is saved.

    Parameters
    ----------
    controller : Controller
    save_table, save_common_table, save_tracing, reopen : callable
        Ask for the place and do it.
    """

    def __init__(
        self,
        controller: Controller,
        save_table: Callable[[], None],
        save_common_table: Callable[[], None],
        save_tracing: Callable[[], None],
        reopen: Callable[[], None],
    ) -> None:
        super().__init__("keep", controller)
        self.kept = text_label()
        self.state = text_label()
        self._opened: object = None
        self.reader = Field()
        self.reader.setPlaceholderText("Reader: initials or number (optional)")
        self.table_button = QPushButton("Save table ...")
        self.table_button.setToolTip("CSV, one row a canal")
        self.table_button.clicked.connect(lambda *_: save_table())
        self.common_button = QPushButton("Save one table of all images ...")
        self.common_button.setToolTip("CSV, one row a canal, of every image with points in this sitting")
        self.common_button.clicked.connect(lambda *_: save_common_table())
        self.progress = QProgressBar()
        self.progress.setFormat("%v of %m images")
        self.stop_button = QPushButton("Stop")
        self.stop_button.clicked.connect(lambda *_: self._stop())
        self._stop: Callable[[], None] = lambda: None
        for widget in (self.progress, self.stop_button):
            widget.hide()
        self.tracing_button = QPushButton()
        self.tracing_button.clicked.connect(lambda *_: save_tracing())
        self.reopen_button = QPushButton()
        self.reopen_button.setToolTip("Points, facts and numbers as they were saved")
        self.reopen_button.clicked.connect(lambda *_: reopen())
        self.others_line = text_label(
            "Other work on this image, from another window or sitting, that is not in what you see:"
        )
        self.others = QComboBox()
        self.others_button = QPushButton("Go on with that")
        self.others_button.setToolTip("In place of what is here; one undo goes back")
        self.others_button.clicked.connect(self._take_up)
        tables = (self.table_button, self.common_button, self.progress, self.stop_button)
        buttons = (self.tracing_button, *tables, self.reopen_button)
        others = (self.others_line, self.others, self.others_button)
        for widget in (self.kept, *others, self.state, self.reader, *buttons):
            self.body.addWidget(widget)

    def show_progress(self, done: int, of: int, stop: Callable[[], None]) -> None:
        """Show how many images of how many are done, and let them be stopped; nothing of 0."""
        self._stop = stop
        self.progress.setRange(0, max(of, 1))
        self.progress.setValue(done)
        for widget in (self.progress, self.stop_button):
            widget.setVisible(of > 0)
        self.common_button.setEnabled(of == 0)

    def _name_buttons(self) -> None:
        """Say where tracings go: into a casebook that is open, or where the person is asked for."""
        book = self.controller.casebook
        self.tracing_button.setText("Save tracing ..." if book is None else f"Save into {book.name}")
        self.reopen_button.setText("Reopen tracing ..." if book is None else f"Reopen from {book.name}")
        self.tracing_button.setToolTip(
            "JSON; adds a revision and leaves earlier ones as they are"
            if book is None
            else f"{book}; adds a revision and leaves earlier ones, and those of other readers, as they are"
        )

    def _take_up(self, *_: object) -> None:
        draft = self.others.currentData()
        if draft is not None:
            self.controller.take_up(draft)

    def _refresh_others(self) -> None:
        session = self.controller.session
        drafts = session.other_drafts if session is not None else ()
        if [self.others.itemData(k) for k in range(self.others.count())] != list(drafts):
            self.others.clear()
            for draft in drafts:
                self.others.addItem(described(draft), draft)
        for widget in (self.others_line, self.others, self.others_button):
            widget.setVisible(bool(drafts))

    def refresh(self) -> None:
        """Show what the controller holds now."""
        session = self.controller.session
        placed = session is not None and bool(session.sheet.placed)
        self.table_button.setEnabled(placed)
        self.common_button.setVisible(len(self.controller.placed_on) > 1)
        self.tracing_button.setEnabled(placed)
        self._name_buttons()
        self.state.setText(saved_state(session) if session and placed else "Nothing to save yet.")
        autosave = self.controller.autosave
        show_text(self.kept, autosave.told(session) if session else "")
        self._refresh_others()
        self.kept.setToolTip(f"In {autosave.place}" if autosave.place else "")
        if session is not self._opened:
            self._opened = session
            if not self.reader.isModified():
                self.reader.setText(self.controller.preferences().reader)
