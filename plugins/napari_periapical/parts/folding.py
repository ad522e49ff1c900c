"""A part of a part that is folded away until it is wanted."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QToolButton, QVBoxLayout, QWidget


class Folding(QWidget):
    """A line of text that unfolds what belongs to it.

    Parameters
    ----------
    title : str
    content : QWidget
    """

    def __init__(self, title: str, content: QWidget) -> None:
        super().__init__()
        self.head = QToolButton()
        self.head.setText(title)
        self.head.setCheckable(True)
        self.head.setAutoRaise(True)
        self.head.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.head.setArrowType(Qt.ArrowType.RightArrow)
        self.head.toggled.connect(self._fold)
        self._content = content
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(self.head)
        column.addWidget(content)
        content.hide()

    def _fold(self, opened: bool) -> None:
        self.head.setArrowType(Qt.ArrowType.DownArrow if opened else Qt.ArrowType.RightArrow)
        self._content.setVisible(opened)
