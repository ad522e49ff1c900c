"""Wait as a person does, and type as one does."""

from __future__ import annotations

from typing import Any


def settle(qtbot: Any, panel: Any) -> None:
    """Wait until all is measured and drawn."""
    qtbot.waitUntil(lambda: panel.controller.up_to_date and panel.binding.drawn, timeout=20000)


def type_into(qtbot: Any, line: Any, text: str) -> None:
    """Type over what a field holds, and press Return."""
    from qtpy.QtCore import Qt

    line.selectAll()
    qtbot.keyClicks(line, text)
    qtbot.keyClick(line, Qt.Key.Key_Return)
