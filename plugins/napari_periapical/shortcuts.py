"""The one table of shortcuts; keys are bound on our own layers only, and each button shows its key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from napari_periapical.actions.nudging import FAR_PX, NUDGE_PX
from napari_periapical.controller import Controller

Action = Callable[[Controller], None]


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
    also : tuple of (key, callable)
        Further keys that belong to it.
    tracing : tuple of str
        Text and hint while a line is traced, where they differ.
    button : bool
        Whether the panel has a button for it.
    """

    name: str
    key: str
    shown: str
    text: str
    hint: str
    run: Action
    also: tuple[tuple[str, Action], ...] = ()
    tracing: tuple[str, str] | None = None
    button: bool = True

    @property
    def label(self) -> str:
        """Text of the button with the key."""
        return f"{self.text} ({self.shown})"

    @property
    def keys(self) -> tuple[tuple[str, Action], ...]:
        """Every key of it, as napari binds it, with its action."""
        return ((self.key, self.run), *self.also)

    def now(self, tracing: bool) -> tuple[str, str]:
        """Text of the button with the key, and hint, while a line is traced or not."""
        text, hint = self.tracing if tracing and self.tracing else (self.text, self.hint)
        return f"{text} ({self.shown})", hint


def _nudge(rows: int, cols: int, by_px: float) -> Action:
    return lambda controller: controller.nudge(rows * by_px, cols * by_px)


_WAYS = {"Up": (-1, 0), "Down": (1, 0), "Left": (0, -1), "Right": (0, 1)}
_NUDGES = tuple((key, _nudge(*way, NUDGE_PX)) for key, way in _WAYS.items())
_FAR_NUDGES = tuple((f"Shift-{key}", _nudge(*way, FAR_PX)) for key, way in _WAYS.items())


def _silent(name: str, key: str, shown: str, hint: str, run: Action, *also: tuple[str, Action]) -> Shortcut:
    """Make a shortcut whose button stands with what it belongs to, or that needs none."""
    return Shortcut(name, key, shown, hint, hint, run, also=also, button=False)


_LOOKING = (
    _silent(
        *("landmark", "J", "J, K", "Choose the next, the previous landmark", lambda one: one.choose_near(1)),
        ("K", lambda one: one.choose_near(-1)),
    ),
    _silent("canal", "N", "N", "Work on the next canal", Controller.next_canal),
    _silent("add_canal", "Shift-N", "Shift+N", "Add a canal", Controller.add_canal),
    _silent("hide", "H", "H", "Hide the canal worked on, or show it", Controller.switch_hidden),
    _silent(
        *("method", "U", "U, Shift+U", "Next, previous method of curvature", lambda one: one.near_method(1)),
        ("Shift-U", lambda one: one.near_method(-1)),
    ),
    _silent(
        *("step", ".", ". ,", "Construction one step forth, back", lambda one: one.step_through(1)),
        (",", lambda one: one.step_through(-1)),
    ),
    _silent("numbers", "W", "W", "Numbers on the image, or none", Controller.switch_numbers),
)

SHORTCUTS = (
    Shortcut(
        "next",
        "Enter",
        "Enter",
        "Pass over",
        "Go on to the next landmark; while tracing, end the line at its last pin",
        Controller.confirm,
        tracing=("End line", "End the line at its last pin"),
    ),
    Shortcut(
        "remove",
        "Backspace",
        "Backspace",
        "Remove",
        "Remove the chosen point; while tracing, take the last pin back",
        Controller.back,
        # the viewer's own keys for this would empty the layer, and not the sheet
        also=(("Delete", Controller.back), ("1", Controller.back)),
        tracing=("Take back", "Take the last pin back"),
    ),
    Shortcut(
        "cancel",
        "Escape",
        "Esc",
        "Give up line",
        "Give up the line that is traced; put a held point back",
        Controller.escape,
    ),
    Shortcut(
        "nudge",
        *("Up", "Arrow keys", "Nudge", f"Move the chosen point by {NUDGE_PX} pixel", _NUDGES[0][1]),
        also=_NUDGES[1:],
        button=False,
    ),
    Shortcut(
        "nudge_far",
        *("Shift-Up", "Shift+arrow", "Nudge far", "Move the chosen point by a pixel", _FAR_NUDGES[0][1]),
        also=_FAR_NUDGES[1:],
        button=False,
    ),
    Shortcut(
        "magnifier",
        "M",
        "M",
        "Magnifier",
        "Show the surroundings of the pointer enlarged, or no longer",
        Controller.switch_magnifier,
    ),
    *_LOOKING,
    Shortcut("undo", "Control-Z", "Ctrl+Z", "Undo", "Take the last step back", Controller.undo),
    Shortcut("redo", "Control-Shift-Z", "Ctrl+Shift+Z", "Redo", "Do the step again", Controller.redo),
)
# what the mouse does, for the same table: how, and what happens
MOUSE = (
    ("Click", "Place the next point; while tracing, pin the line"),
    ("Right click", "While tracing, end the line there"),
    ("Drag a point", "Move it"),
    ("Drag elsewhere", "Move the view"),
    ("Wheel", "Zoom"),
    ("Shift+click", "Place a point exactly there, also beside another one"),
)
BY_NAME = {one.name: one for one in SHORTCUTS}
