"""What is shown of the work, and how; the measurements do not hear of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from napari_periapical.actions.core import Core
from napari_periapical.construction import steps_of
from radio.measure.methods import CurvatureMethod, method_named


class Viewing(Core):
    """Actions on the view."""

    @property
    def method(self) -> CurvatureMethod:
        """The curvature method whose construction is drawn."""
        return method_named(self.view.method)

    def choose_method(self, name: str) -> None:
        """Show a curvature method: its numbers in the panel, its construction on the image."""
        self.show_as(f"showing {method_named(name).title}", method=name, step=0)

    @property
    def drawn_methods(self) -> tuple[CurvatureMethod, ...]:
        """Methods whose constructions are drawn: those kept, and last the chosen one."""
        if not self.view.constructions:
            return ()
        names = [name for name in self.view.kept if name != self.view.method]
        return tuple(method_named(name) for name in (*names, self.view.method))

    def show_step(self, step: int) -> None:
        """Draw the first steps of the construction of the chosen method; 0 draws all."""
        self.show_as("showing a step of a construction", step=max(step, 0))

    def step_through(self, by: int) -> None:
        """Go forth or back among the steps of the construction; after the last come all of them."""
        shown = self.shown
        count = len(steps_of(shown.result if shown else None, self.method))
        if count:
            self.show_step((self.view.step + by) % (count + 1))

    def keep_drawn(self, keep: bool) -> None:
        """Keep the construction of the chosen method drawn while another is chosen, or no longer."""
        others = tuple(name for name in self.view.kept if name != self.view.method)
        what = "keeping" if keep else "no longer keeping"
        self.show_as(
            f"{what} {self.method.title} drawn", kept=(*others, self.view.method) if keep else others
        )

    def draw_constructions(self, draw: bool) -> None:
        """Draw constructions on the image, or none."""
        self.show_as("showing constructions" if draw else "hiding constructions", constructions=draw)

    def show_numbers(self, show: bool) -> None:
        """Let the main numbers stand beside the canal on the image, or not."""
        self.show_as("showing numbers on the image" if show else "hiding numbers on the image", numbers=show)

    def hide_canal(self, hide: bool) -> None:
        """Hide lines and points of the canal worked on, or show them again."""
        uid = self.canal.uid
        hidden = self.view.hidden | {uid} if hide else self.view.hidden - {uid}
        self.show_as(f"{'hiding' if hide else 'showing'} canal {self.canal.facts.canal}", hidden=hidden)

    def show_as(self, what: str, **changes: Any) -> None:
        """Change fields of the view as one step of the history; nothing happens where nothing differs."""
        if self.session is None:
            return
        view = replace(self.view, **changes)
        if view != self.view:
            self.session.push(what, replace(self.session.sheet, view=view))
            self.tell("note", "")
            self._after_change()
