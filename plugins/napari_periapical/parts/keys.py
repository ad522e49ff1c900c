"""Every key, in one table."""

from __future__ import annotations

from napari_periapical.controller import Controller
from napari_periapical.number_rows import NumberRow
from napari_periapical.parts.row_table import RowTable
from napari_periapical.parts.section import Section, text_label
from napari_periapical.shortcuts import MOUSE, SHORTCUTS


class KeysPart(Section):
    """Lists what keys and mouse do; keys act while the landmarks are the active layer."""

    def __init__(self, controller: Controller) -> None:
        super().__init__("keys", controller)
        self.table = RowTable()
        rows = [NumberRow(one.hint, one.shown, one.hint) for one in SHORTCUTS]
        rows += [NumberRow(what, how, what) for how, what in MOUSE]
        self.table.show_rows(tuple(rows))
        self.body.addWidget(text_label("Keys act while the landmarks are the active layer."))
        self.body.addWidget(self.table)
        self.fold_away()

    def refresh(self) -> None:
        """Nothing here changes."""
