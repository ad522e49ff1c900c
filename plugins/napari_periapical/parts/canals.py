"""The canals of one image."""

from __future__ import annotations

from qtpy.QtWidgets import QHBoxLayout, QPushButton, QWidget

from napari_periapical.controller import Controller
from napari_periapical.parts.form import narrow_box


class CanalChoice(QWidget):
    """Chooses the canal that is worked on, adds one and removes one."""

    def __init__(self, controller: Controller) -> None:
        super().__init__()
        self._controller = controller
        self.box = narrow_box()
        self.box.setToolTip("Canal that is worked on")
        self.box.activated.connect(controller.choose_canal)
        self.add_button = QPushButton("Add")
        self.add_button.setToolTip("Add a canal to this image")
        self.add_button.clicked.connect(lambda *_: controller.add_canal())
        self.remove_button = QPushButton("Remove")
        self.remove_button.setToolTip("Remove this canal and its points; can be undone")
        self.remove_button.clicked.connect(lambda *_: controller.remove_canal())
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        for widget, stretch in ((self.box, 2), (self.add_button, 1), (self.remove_button, 1)):
            row.addWidget(widget, stretch)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        session = self._controller.session
        sheet = session.sheet if session else None
        names = [f"canal {c.facts.canal}" for c in sheet.canals] if sheet else []
        if names != [self.box.itemText(k) for k in range(self.box.count())]:
            self.box.clear()
            self.box.addItems(names)
        if sheet:
            self.box.setCurrentIndex(sheet.active)
