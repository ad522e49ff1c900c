"""Step 3: the canals of the image and their points."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtGui import QIcon
from qtpy.QtWidgets import QGridLayout, QListWidgetItem, QPushButton

from napari_periapical.binding import Binding
from napari_periapical.drawings import GROUP_COLOURS
from napari_periapical.guide import GUIDE, essential
from napari_periapical.parts.canals import CanalChoice
from napari_periapical.parts.form import FactsForm
from napari_periapical.parts.section import KeyList, Section, swatch, text_label
from napari_periapical.shortcuts import BY_NAME, SHORTCUTS
from radio.measure.case import LANDMARKS

FACTS = ("canal", "tooth")


class TracePart(Section):
    """Chooses the canal, lists its landmarks and their state, and removes, undoes and redoes."""

    def __init__(self, binding: Binding) -> None:
        super().__init__("trace", binding.controller)
        self._binding = binding
        self.canals = CanalChoice(binding.controller)
        self.form = FactsForm(binding.controller, FACTS)
        self.list = KeyList()
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for name in LANDMARKS:
            self.list.addItem(self._item(name))
        height = self.list.sizeHintForRow(0) * len(LANDMARKS) + 2 * self.list.frameWidth()
        self.list.setFixedHeight(height)
        self.list.itemClicked.connect(self._chosen)
        self.list.itemActivated.connect(self._chosen)
        with_button = [one for one in SHORTCUTS if one.button]
        self.buttons = {one.name: QPushButton(one.label) for one in with_button}
        grid = QGridLayout()
        grid.setSpacing(4)
        for k, one in enumerate(with_button):
            self.buttons[one.name].setToolTip(one.hint)
            self.buttons[one.name].clicked.connect(lambda *_, run=one.run: run(self.controller))
            grid.addWidget(self.buttons[one.name], k // 2, k % 2)
        for widget in (self.canals, self.form, self.list):
            self.body.addWidget(widget)
        self.body.addLayout(grid)
        self.body.addWidget(
            text_label(
                "Click to place, drag a point to move it, drag elsewhere to pan. A click at the start of "
                "file or canal begins its line: click to pin it, right click to end it. Shift+click places "
                "exactly there, without snapping."
            )
        )

    @staticmethod
    def _item(name: str) -> QListWidgetItem:
        item = QListWidgetItem(QIcon(swatch(GROUP_COLOURS[GUIDE[name].group])), GUIDE[name].label)
        item.setData(Qt.ItemDataRole.UserRole, name)
        return item

    def _chosen(self, item: QListWidgetItem) -> None:
        self.controller.choose(item.data(Qt.ItemDataRole.UserRole))
        self._binding.make_ready()

    def refresh(self) -> None:
        """Show what the controller holds now."""
        controller, session = self.controller, self.controller.session
        self._inner.setEnabled(session is not None)
        self.canals.refresh()
        self.form.refresh()
        current = session.landmark if session else None
        wanted = essential(controller.canal)
        for row, name in enumerate(LANDMARKS):
            self.list.item(row).setText(self._line(name, name in wanted))
        self.list.setCurrentRow(LANDMARKS.index(current) if current else -1)
        self._refresh_buttons()

    def _line(self, name: str, wanted: bool) -> str:
        """Name a landmark with its state."""
        canal = self.controller.canal
        count, exact = len(canal.points(name)), len(canal.exact_points(name))
        if not count:
            return GUIDE[name].label if wanted else f"{GUIDE[name].label}  (optional)"
        shown = self.controller.shown
        fix = shown.result.landmarks.get(name) if shown and shown.result else None
        if exact == count:
            state = "exactly as placed" if count == 1 else f"{count}, exactly as placed"
        elif exact:
            state = f"{count} placed, {exact} of them exactly"
        elif fix is None or not self.controller.up_to_date:
            state = "placed" if count == 1 else f"{count} placed"
        elif fix.refined:
            state = f"found, {fix.moved_px:.{0 if fix.moved_px >= 100 else 1}f} px away"
        else:
            state = "kept as clicked"
        return f"✓ {GUIDE[name].label}: {state}"

    def _refresh_buttons(self) -> None:
        controller, session = self.controller, self.controller.session
        tracing = controller.tracing is not None
        for name, button in self.buttons.items():
            text, hint = BY_NAME[name].now(tracing)
            button.setText(text)
            button.setToolTip(hint)
        self.buttons["next"].setEnabled(session is not None and session.landmark is not None)
        self.buttons["remove"].setEnabled(tracing or (session is not None and session.selected is not None))
        self.buttons["cancel"].setEnabled(tracing)
        for name, what in (("undo", controller.undoable), ("redo", controller.redoable)):
            self.buttons[name].setEnabled(bool(what))
            hint = BY_NAME[name].hint
            self.buttons[name].setToolTip(f"{hint}: {what}" if what else hint)
