"""The canals of one image."""

from __future__ import annotations

from qtpy.QtGui import QIcon
from qtpy.QtWidgets import QCheckBox, QGridLayout, QPushButton, QWidget

from napari_periapical.controller import Controller
from napari_periapical.drawings import canal_colour
from napari_periapical.parts.form import narrow_box
from napari_periapical.parts.section import swatch


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
        self.hidden = QCheckBox("Hide its lines and points")
        self.hidden.clicked.connect(controller.hide_canal)
        self.numbers = QCheckBox("Numbers on the image")
        self.numbers.clicked.connect(controller.show_numbers)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        for column, (widget, stretch) in enumerate(
            ((self.box, 2), (self.add_button, 1), (self.remove_button, 1))
        ):
            grid.addWidget(widget, 0, column)
            grid.setColumnStretch(column, stretch)
        grid.addWidget(self.hidden, 1, 0, 1, 3)
        grid.addWidget(self.numbers, 2, 0, 1, 3)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        session = self._controller.session
        sheet = session.sheet if session else None
        names = [f"canal {c.facts.canal}" for c in sheet.canals] if sheet else []
        view = self._controller.view
        self.hidden.setChecked(self._controller.canal.uid in view.hidden)
        self.numbers.setChecked(view.numbers)
        if names != [self.box.itemText(k) for k in range(self.box.count())]:
            self.box.clear()
            self.box.addItems(names)
        if sheet:
            for k, canal in enumerate(sheet.canals):
                self.box.setItemIcon(k, QIcon(swatch(canal_colour(canal.uid))))
            self.box.setCurrentIndex(sheet.active)
