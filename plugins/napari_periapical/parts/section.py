"""A part of the panel under a heading that folds it away."""

from __future__ import annotations

import re

from qtpy.QtCore import Qt
from qtpy.QtGui import QColor, QKeyEvent, QPainter, QPixmap
from qtpy.QtWidgets import QLabel, QLineEdit, QListWidget, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from napari_periapical.controller import Controller
from napari_periapical.steps import NAMES, Step

# parts of the panel that are no step of the work
OTHER_PARTS = {"second": "Second view of the tooth", "keys": "Keys and mouse"}

# as much of a word as surely fits the panel; a label breaks lines between words only
_LONG_WORD = re.compile(r"\S{24}(?=\S)")


class Section(QWidget):
    """A step of the work: a heading that folds it away, one line that says what to do, and a body below.

    Parameters
    ----------
    name : str
        The step, as in `steps.NAMES`, or another part of the panel.
    controller : Controller
        What the part shows and works on.
    """

    def __init__(self, name: str, controller: Controller) -> None:
        super().__init__()
        self.controller = controller
        self.name = name
        self.head = QToolButton()
        self.head.setText(_title(name))
        self.head.setCheckable(True)
        self.head.setChecked(True)
        self.head.setAutoRaise(True)
        self.head.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.head.setArrowType(Qt.ArrowType.DownArrow)
        self.head.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        font = self.head.font()
        font.setBold(True)
        self.head.setFont(font)
        self.head.toggled.connect(self._fold)
        self.line = text_label()
        self.line.setContentsMargins(6, 0, 2, 2)
        self.line.hide()
        self._inner = QWidget()
        self.body = QVBoxLayout(self._inner)
        self.body.setContentsMargins(6, 0, 2, 8)
        self.body.setSpacing(4)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(2)
        for widget in (self.head, self.line, self._inner):
            outer.addWidget(widget)

    def show_step(self, step: Step) -> None:
        """Show how far the step is; the line stays in view when the part is folded away."""
        self.head.setText(f"{_title(self.name)}   {step.sign}")
        show_text(self.line, step.line)

    def fold_away(self) -> None:
        """Show the heading only."""
        self.head.setChecked(False)

    def unfold(self) -> None:
        """Show the body."""
        self.head.setChecked(True)

    def _fold(self, opened: bool) -> None:
        self.head.setArrowType(Qt.ArrowType.DownArrow if opened else Qt.ArrowType.RightArrow)
        self._inner.setVisible(opened)

    def refresh(self) -> None:
        """Show what the controller holds now."""
        raise NotImplementedError


def _title(name: str) -> str:
    steps = list(NAMES)
    return f"{steps.index(name) + 1}  {NAMES[name]}" if name in steps else OTHER_PARTS[name]


class Field(QLineEdit):
    """A line to type into that keeps its keys to itself: Enter in it must not pass over a landmark."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Take every key; Qt hands on what a line leaves unused, and napari would act on it."""
        super().keyPressEvent(event)
        event.accept()


# what a list or table is worked with by keys; the viewer would act on those it leaves unused
_LIST_KEYS = {
    *(Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space, Qt.Key.Key_Up, Qt.Key.Key_Down),
    *(Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Home, Qt.Key.Key_End),
}


def keep_list_keys(event: QKeyEvent) -> None:
    """Keep the keys a list or table is worked with from going on to the viewer."""
    if event.key() in _LIST_KEYS:
        event.accept()


class KeyList(QListWidget):
    """A list that keyboards reach by Tab, and that keeps its keys; a click leaves them with the image."""

    def __init__(self) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Take the keys of a list."""
        super().keyPressEvent(event)
        keep_list_keys(event)


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


def swatch(colour: str) -> QPixmap:
    """Make a square of a colour with an edge, so that white is seen on white."""
    swatch = QPixmap(12, 12)
    swatch.fill(QColor("#606060"))
    with QPainter(swatch) as painter:
        painter.fillRect(1, 1, 10, 10, QColor(colour))
    return swatch
