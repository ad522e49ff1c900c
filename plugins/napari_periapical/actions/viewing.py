"""What is shown of the work, and how; the measurements do not hear of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from napari_periapical.actions.core import Core
from radio.measure.methods import CurvatureMethod, method_named


class Viewing(Core):
    """Actions on the view."""

    @property
    def method(self) -> CurvatureMethod:
        """The curvature method whose construction is drawn."""
        return method_named(self.view.method)

    def choose_method(self, name: str) -> None:
        """Show a curvature method: its numbers in the panel, its construction on the image."""
        self.show_as(f"showing {method_named(name).title}", method=name)

    def show_as(self, what: str, **changes: Any) -> None:
        """Change fields of the view as one step of the history; nothing happens where nothing differs."""
        if self.session is None:
            return
        view = replace(self.view, **changes)
        if view != self.view:
            self.session.push(what, replace(self.session.sheet, view=view))
            self.tell("note", "")
            self._after_change()
