"""What is shown of the work, and how; the measurements do not hear of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from napari_periapical.actions.core import Core
from napari_periapical.construction import steps_of
from radio.image.display import Display, grey_window
from radio.measure.methods import METHODS, CurvatureMethod, method_named

# a window narrower than this shows black and white only
_LEAST_WINDOW = 0.01


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
        elif self.session is not None:
            self.tell(
                "note", f"There is nothing of {self.method.title} to go through: no canal is measured yet."
            )

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

    def switch_magnifier(self) -> None:
        """Show the surroundings of the pointer enlarged, or no longer."""
        on = not self.view.magnifier
        self.show_as("showing the magnifier" if on else "hiding the magnifier", magnifier=on)

    def hide_canal(self, hide: bool) -> None:
        """Hide lines and points of the canal worked on, or show them again."""
        uid = self.canal.uid
        hidden = self.view.hidden | {uid} if hide else self.view.hidden - {uid}
        self.show_as(f"{'hiding' if hide else 'showing'} canal {self.canal.facts.canal}", hidden=hidden)

    def show_display(self, what: str, **changes: Any) -> None:
        """Change fields of the display; changes by the same word that follow each other are one step."""
        self.show_as(what, further=True, display=replace(self.view.display, **changes))

    def show_window(self, low: float | None = None, high: float | None = None) -> None:
        """Choose the grey shown as black or as white; the other end stays, a little away at least."""
        if self.session is None:
            return
        black, white = self.view.display.window or grey_window(self.session.radiograph)
        if low is not None:
            black = max(min(low, white - _LEAST_WINDOW), 0.0)
        if high is not None:
            white = min(max(high, black + _LEAST_WINDOW), 1.0)
        self.show_display("changing the window", low=black, high=white)

    def show_as_exposed(self) -> None:
        """Switch every display aid off."""
        self.show_as("showing the image as exposed", display=Display())

    def show_as(self, what: str, *, further: bool = False, **changes: Any) -> None:
        """Change fields of the view as one step of the history; nothing happens where nothing differs.

        Parameters
        ----------
        what : str
            Word for the step.
        further : bool
            Whether this goes on with the step just made by the same word, as a slider that is drawn does.
        **changes
            Fields of the view.
        """
        session, view = self.session, replace(self.view, **changes)
        if session is not None and view != self.view:
            amend = further and session.slid is not None
            amend = amend and session.slid[0] is session.sheet and session.slid[1] == what
            session.push(what, replace(session.sheet, view=view), amend=amend)
            session.slid = (session.sheet, what) if further else None
            self.tell("note", "")
            self._after_change()

    def near_method(self, by: int) -> None:
        """Show the method that many places further in the list."""
        names = [one.name for one in METHODS]
        self.choose_method(names[(names.index(self.view.method) + by) % len(names)])

    def switch_numbers(self) -> None:
        """Show numbers on the image where there are none, and none where there are."""
        self.show_numbers(not self.view.numbers)

    def switch_hidden(self) -> None:
        """Hide the canal worked on, or show it when it is hidden."""
        self.hide_canal(self.canal.uid not in self.view.hidden)
