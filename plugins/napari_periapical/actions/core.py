"""The state of one viewer's work: images, one history, results as they come; no Qt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import ClassVar, Literal

from psygnal import Signal

from napari_periapical.autosave import Autosave, take_up
from napari_periapical.background import Runner, run_now
from napari_periapical.drafts import Draft
from napari_periapical.measuring import Measure, Measuring, measure_with_tracer
from napari_periapical.preferences import Preferences
from napari_periapical.session import Session, Shown
from napari_periapical.sheet import Canal, Sheet, View
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseFacts

Level = Literal["good", "note", "problem"]


class Core:
    """What all actions work on.

    Parameters
    ----------
    runner : Runner
        Where measuring is done; on the spot unless a panel gives a thread.
    measure : callable
        Radiograph, clicks, facts and settings to CaseResult.
    autosave : Autosave or None
        Keeps every step; without one nothing is kept by itself.
    preferences : callable
        Gives how the work begins on an image that is opened anew.
    """

    changed: ClassVar[Signal] = Signal()
    """Something placed, stated or chosen is different now."""
    measured: ClassVar[Signal] = Signal()
    """Another result can be shown."""
    told: ClassVar[Signal] = Signal(str, str)
    """A message for the person: level and text."""

    def __init__(
        self,
        runner: Runner = run_now,
        measure: Measure = measure_with_tracer,
        autosave: Autosave | None = None,
        preferences: Callable[[], Preferences] = Preferences,
    ) -> None:
        self.measuring = Measuring(runner, measure, self._arrived)
        self.autosave = autosave or Autosave()
        self.autosave.failed.connect(self._keeping_failed)
        self.preferences = preferences
        self._preferred = Preferences()
        self._sessions: dict[str, Session] = {}
        self.session: Session | None = None
        self.casebook: Path | None = None

    # -- images -------------------------------------------------------------------------------------------

    def open(self, radiograph: Radiograph, facts: Sequence[CaseFacts] = ()) -> None:
        """Work on an image; one that was worked on before, here or in another session, comes back so."""
        self._leave()
        self.tell("note", "")
        known = self._sessions.get(radiograph.sha256)
        self.session = known if known is not None else self._begin(radiograph, facts)
        self._after_change()

    def _begin(self, radiograph: Radiograph, facts: Sequence[CaseFacts]) -> Session:
        view = self._first_view()
        session = Session.start(radiograph, facts, view, self._preferred.settings)
        self._sessions[radiograph.sha256] = session
        damaged, told = self.autosave.bring_back(session)
        if told:
            self.tell("problem" if damaged else "note", told)
        return session

    def take_up(self, draft: Draft) -> None:
        """Go on with another draft of this image, as one step that can be undone."""
        if self.session is None or draft not in self.session.other_drafts:
            return
        self._leave()
        told = take_up(self.session, draft)
        self._after_change()
        self.tell("note", told)

    def _first_view(self) -> View:
        """How an image is shown at first: as the one before it, but for what was set otherwise since."""
        before, now = self._preferred, self.preferences()
        self._preferred = now
        if self.session is None:
            return View(numbers=now.numbers, magnifier=now.magnifier)
        names = ("numbers", "magnifier")
        changed = {one: getattr(now, one) for one in names if getattr(now, one) != getattr(before, one)}
        return replace(self.view.for_another_image(), **changed)

    def close(self) -> None:
        """Work on no image; what was placed on the last one is kept."""
        self._leave()
        self.session = None
        self.tell("note", "")
        self.changed.emit()
        self.measured.emit()

    def _leave(self) -> None:
        self.cancel_move()
        if self.session is not None:
            self.session.live.leave()

    # -- what is there ------------------------------------------------------------------------------------

    @property
    def placed_on(self) -> tuple[Session, ...]:
        """Every image that has points, in the order they were opened."""
        return tuple(one for one in self._sessions.values() if one.sheet.placed)

    @property
    def canal(self) -> Canal:
        """The canal worked on, with a held point where it is held."""
        return self.session.canal if self.session else Canal(0)

    @property
    def shown(self) -> Shown | None:
        """Latest outcome for the canal worked on; None when there is nothing to measure."""
        if self.session is None or not self.canal.can_be_measured():
            return None
        return self.session.shown.get(self.canal.uid)

    @property
    def up_to_date(self) -> bool:
        """Whether the outcome shown belongs to what is placed now."""
        shown = self.shown
        return shown.canal == self.canal if shown else not self.canal.can_be_measured()

    @property
    def undoable(self) -> str:
        """What would be undone, or empty."""
        return self.session.history.undoable if self.session else ""

    @property
    def redoable(self) -> str:
        """What would be redone, or empty."""
        return self.session.history.redoable if self.session else ""

    @property
    def view(self) -> View:
        """What is shown of the image worked on, and how."""
        return self.session.sheet.view if self.session else View()

    def cancel_move(self) -> None:
        """Let go of the point and put it back where it was."""
        if self.session is not None and self.session.drag is not None:
            self.session.drag = None
            self._after_change()

    # -- history ------------------------------------------------------------------------------------------

    def undo(self) -> None:
        """Take the last step back."""
        self._step(lambda session: session.history.undo(), "Nothing to undo.")

    def redo(self) -> None:
        """Do again the step that was taken back."""
        self._step(lambda session: session.history.redo(), "Nothing to redo.")

    def _step(self, go: Callable[[Session], bool], otherwise: str) -> None:
        if self.session is None:
            return
        if self.session.drag is not None:
            self.cancel_move()  # what is under way is what is taken back
        elif go(self.session):
            self.tell("note", "")
            self._start_canal()
        else:
            self.tell("note", otherwise)

    def replace_canals(self, what: str, canals: Sequence[Canal]) -> None:
        """Put other canals in the place of all that are there, as one step."""
        if self.session is not None:
            self._push_sheet(what, replace(self.session.sheet, canals=tuple(canals), active=0))

    def _push(self, what: str, canal: Canal, *, amend: bool = False) -> None:
        assert self.session is not None
        if canal.clicks != self.session.sheet.canal.clicks:
            canal = canal.seen_with(self.view.display.text)
        self.session.push(what, self.session.sheet.with_canal(canal), amend=amend)
        self.tell("note", "")
        self._after_change()

    def _push_sheet(self, what: str, sheet: Sheet) -> None:
        assert self.session is not None
        self.session.push(what, sheet)
        self.tell("note", "")
        self._start_canal()

    def _start_canal(self) -> None:
        assert self.session is not None
        self.session.start_canal()
        self._after_change()

    # -- measuring ----------------------------------------------------------------------------------------

    def result_now(self, canal: Canal) -> Shown:
        """Measure a state on the spot, or look it up."""
        assert self.session is not None
        return self.measuring.now(self.session, canal)

    def tell(self, level: Level, text: str) -> None:
        """Say something to the person; an empty text takes the last message away."""
        self.told.emit(level, text)

    def _after_change(self) -> None:
        self.changed.emit()
        if self.session is not None:
            self.autosave.note(self.session)
            self.measuring.request(self.session)

    def _keeping_failed(self, text: str) -> None:
        self.tell("problem", text)

    def _arrived(self, session: Session) -> None:
        if session is self.session:
            self.measured.emit()
