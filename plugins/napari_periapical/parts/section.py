"""A part of the panel under a heading that folds it away."""

from __future__ import annotations

import re

from qtpy.QtCore import Qt
from qtpy.QtGui import QKeyEvent
from qtpy.QtWidgets import QLabel, QLineEdit, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from napari_periapical.controller import Controller

# as much of a word as surely fits the panel; a label breaks lines between words only
_LONG_WORD = re.compile(r"\S{24}(?=\S)")


class Section(QWidget):
    """A heading with a body below it; subclasses fill the body and bring it up to date.

    Parameters
    ----------
    title : str
        The heading.
    controller : Controller
        What the part shows and works on.
    """

    def __init__(self, title: str, controller: Controller) -> None:
        super().__init__()
        self.controller = controller
        self._head = QToolButton()
        self._head.setText(title)
        self._head.setCheckable(True)
        self._head.setChecked(True)
        self._head.setAutoRaise(True)
        self._head.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self._head.setArrowType(Qt.ArrowType.DownArrow)
        self._head.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        font = self._head.font()
        font.setBold(True)
        self._head.setFont(font)
        self._head.toggled.connect(self._fold)
        self._inner = QWidget()
        self.body = QVBoxLayout(self._inner)
        self.body.setContentsMargins(6, 0, 2, 8)
        self.body.setSpacing(4)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(2)
        outer.addWidget(self._head)
        outer.addWidget(self._inner)

    def _fold(self, opened: bool) -> None:
        self._head.setArrowType(Qt.ArrowType.DownArrow if opened else Qt.ArrowType.RightArrow)
        self._inner.setVisible(opened)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        raise NotImplementedError


class Field(QLineEdit):
    """A line to type into that keeps its keys to itself: Enter in it must not pass over a landmark."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Take every key; Qt hands on what a line leaves unused, and napari would act on it."""
        super().keyPressEvent(event)
        event.accept()


def text_label(text: str = "", *, bold: bool = False) -> QLabel:
    """Make a label that wraps and lets its text be copied."""
    label = QLabel(text)
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
    if bold:
        font = label.font()
        font.setBold(True)
        label.setFont(font)
    return label


def show_text(label: QLabel, text: str) -> None:
    """Show a text, or no label at all when there is none; the name of an image may be longer than a line."""
    label.setText(_LONG_WORD.sub("\\g<0>\u200b", text))
    label.setVisible(bool(text))
