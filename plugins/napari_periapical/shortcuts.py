"""The one table of shortcuts; keys are bound on our own layers only, and each button shows its key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from napari_periapical.controller import Controller


@dataclass(frozen=True)
class Shortcut:
    """A key and what it does.

    Parameters
    ----------
    name : str
        Name of the action.
    key : str
        As napari binds it.
    shown : str
        As people write it.
    text : str
        Text of the button, without the key.
    hint : str
        What it does, in one line.
    run : callable
        The action.
    """

    name: str
    key: str
    shown: str
    text: str
    hint: str
    run: Callable[[Controller], None]

    @property
    def label(self) -> str:
        """Text of the button with the key."""
        return f"{self.text} ({self.shown})"


SHORTCUTS = (
    Shortcut("next", "Enter", "Enter", "Pass over", "Go on to the next landmark", Controller.advance),
    Shortcut(
        "remove", "Backspace", "Backspace", "Remove", "Remove the chosen point", Controller.remove_selected
    ),
    Shortcut("undo", "Control-Z", "Ctrl+Z", "Undo", "Take the last step back", Controller.undo),
    Shortcut("redo", "Control-Shift-Z", "Ctrl+Shift+Z", "Redo", "Do the step again", Controller.redo),
)
# what the mouse does, for the same table: how, and what happens
MOUSE = (
    ("Click", "Place the next point"),
    ("Drag a point", "Move it"),
    ("Drag elsewhere", "Move the view"),
    ("Wheel", "Zoom"),
    ("Shift+click", "Place a point beside another one"),
)
BY_NAME = {one.name: one for one in SHORTCUTS}
