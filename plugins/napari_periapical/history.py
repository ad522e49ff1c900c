"""The one history of a sheet: every step a person took, to be taken back and done again."""

from __future__ import annotations

from dataclasses import replace

from napari_periapical.sheet import Sheet


class History:
    """Every state a sheet went through, with a word for each step.

    Parameters
    ----------
    first : Sheet
        State before anything was done.
    """

    def __init__(self, first: Sheet) -> None:
        self._states: list[tuple[str, Sheet]] = [("", first)]
        self._at = 0

    @property
    def sheet(self) -> Sheet:
        """The present state."""
        return self._states[self._at][1]

    def push(self, what: str, sheet: Sheet, *, amend: bool = False) -> None:
        """Add a step, or let the last one lead here; steps that were undone before are gone."""
        self._at += not amend
        self._states[self._at :] = [(what, sheet)]

    def show(self, active: int) -> None:
        """Work on another canal; looking elsewhere is not a step."""
        what, sheet = self._states[self._at]
        self._states[self._at] = (what, replace(sheet, active=active))

    @property
    def undoable(self) -> str:
        """What would be undone, or empty."""
        return self._states[self._at][0]

    @property
    def redoable(self) -> str:
        """What would be redone, or empty."""
        return self._states[self._at + 1][0] if self._at + 1 < len(self._states) else ""

    def undo(self) -> bool:
        """Go back one step; False at the beginning."""
        if self._at == 0:
            return False
        self._at -= 1
        return True

    def redo(self) -> bool:
        """Go forward one step; False at the end."""
        if self._at + 1 == len(self._states):
            return False
        self._at += 1
        return True
