"""What the panel and the viewer do, without either: every action, one history, results as they come."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import ClassVar, Literal

from psygnal import Signal

from napari_periapical.background import Runner, run_now
from napari_periapical.fields import with_fact
from napari_periapical.guide import GUIDE, next_landmark
from napari_periapical.measuring import Measure, Measuring, measure_with_tracer
from napari_periapical.session import Session, Shown
from napari_periapical.sheet import Canal, Point, Sheet
from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph
from radio.measure.case import LANDMARKS, REPEATED_LANDMARKS, CaseFacts
from radio.measure.checks import answer_given
from radio.measure.methods import METHODS, CurvatureMethod, method_named

Level = Literal["good", "note", "problem"]


class Controller:
    """State and actions for one viewer.

    Parameters
    ----------
    runner : Runner
        Where measuring is done; on the spot unless a panel gives a thread.
    measure : callable
        Radiograph, clicks and facts to CaseResult.
    """

    changed: ClassVar[Signal] = Signal()
    """Something placed, stated or chosen is different now."""
    measured: ClassVar[Signal] = Signal()
    """Another result can be shown."""
    told: ClassVar[Signal] = Signal(str, str)
    """A message for the person: level and text."""

    def __init__(self, runner: Runner = run_now, measure: Measure = measure_with_tracer) -> None:
        self.measuring = Measuring(runner, measure, self._arrived)
        self._sessions: dict[str, Session] = {}
        self.session: Session | None = None
        self.method: CurvatureMethod = METHODS[0]

    # -- images -------------------------------------------------------------------------------------------

    def open(self, radiograph: Radiograph, facts: Sequence[CaseFacts] = ()) -> None:
        """Work on an image; one that was open before comes back as it was left."""
        self.cancel_move()
        known = self._sessions.get(radiograph.sha256)
        self.session = known or self._sessions.setdefault(radiograph.sha256, Session.start(radiograph, facts))
        self.tell("note", "")
        self._after_change()

    def close(self) -> None:
        """Work on no image; what was placed on the last one is kept."""
        self.cancel_move()
        self.session = None
        self.tell("note", "")
        self.changed.emit()
        self.measured.emit()

    # -- what is there ------------------------------------------------------------------------------------

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

    # -- placing points -----------------------------------------------------------------------------------

    def place(self, point: Point) -> None:
        """Place the current landmark and go on to the next."""
        session = self.session
        if session is None:
            return
        if session.landmark is None:
            self.tell("note", "Nothing is left to place. Choose a landmark in the list to add or replace it.")
            return
        point = float(point[0]), float(point[1])
        if point != session.clipped(point):
            self.tell("problem", "That is outside the image; click on the image.")
            return
        name = session.landmark
        canal, index = session.canal.with_added(name, point)
        session.selected = (name, index)
        if canal.is_full(name):
            session.landmark = next_landmark(canal, name, session.skipped)
        self._push(f"placing {GUIDE[name].label}", canal)

    def choose(self, landmark: str) -> None:
        """Make a landmark the one the next click places, and select its point if it has one."""
        if self.session is None:
            return
        if landmark not in LANDMARKS:
            raise ValueError(f"unknown landmark {landmark!r}; allowed are {', '.join(LANDMARKS)}")
        self.session.landmark = landmark
        self.session.skipped.discard(landmark)
        points = self.canal.points(landmark)
        self.session.selected = (landmark, len(points) - 1) if points else None
        self.changed.emit()

    def select(self, landmark: str, index: int) -> None:
        """Choose one point, to be removed or moved."""
        if self.session is not None and index < len(self.canal.points(landmark)):
            self.session.selected = (landmark, index)
            self.changed.emit()

    def advance(self) -> None:
        """Pass over the current landmark."""
        session = self.session
        if session is None or session.landmark is None:
            return
        if not session.canal.points(session.landmark):
            session.skipped.add(session.landmark)
        session.landmark = next_landmark(session.canal, session.landmark, session.skipped)
        session.selected = None
        self.changed.emit()

    def remove_selected(self) -> None:
        """Remove the chosen point; its landmark becomes the current one."""
        session = self.session
        if session is None or session.drag is not None:
            return
        if session.selected is None:
            self.tell("note", "Click the point to be removed first, or choose it in the list.")
            return
        name, index = session.selected
        session.selected = None
        session.landmark = name
        self._push(f"removing {GUIDE[name].label}", session.canal.with_removed(name, index))

    # -- moving a point -----------------------------------------------------------------------------------

    def begin_move(self, landmark: str, index: int) -> None:
        """Take hold of a point."""
        if self.session is None or index >= len(self.session.canal.points(landmark)):
            return
        self.session.selected = (landmark, index)
        self.session.drag = self.session.canal
        self.changed.emit()

    def move_to(self, point: Point) -> None:
        """Move the point that is held; it stays on the image."""
        session = self.session
        if session is None or session.drag is None or session.selected is None:
            return
        session.drag = session.drag.with_moved(*session.selected, session.clipped(point))
        self._after_change()

    def end_move(self) -> None:
        """Let go of the point: the move is one step of the history."""
        session = self.session
        if session is None or session.drag is None or session.selected is None:
            return
        canal, session.drag = session.drag, None
        if canal != session.canal:
            self._push(f"moving {GUIDE[session.selected[0]].label}", canal)
        else:
            self._after_change()

    def cancel_move(self) -> None:
        """Let go of the point and put it back where it was."""
        if self.session is not None and self.session.drag is not None:
            self.session.drag = None
            self._after_change()

    # -- stating facts ------------------------------------------------------------------------------------

    def state_fact(self, name: str, text: str) -> str:
        """State one fact as text; empty takes it back.

        Returns
        -------
        str
            What is wrong with the text, or empty when it was taken.
        """
        if self.session is None:
            return ""
        new, problem = with_fact(self.canal.facts, name, text)
        if problem:
            return problem
        others = [c.facts.canal for c in self.session.sheet.canals if c.uid != self.canal.uid]
        if name == "canal" and new.canal in others:
            return f"Another canal is called {new.canal!r} already; give each its own name."
        if new != self.canal.facts:
            canal = replace(self.canal, facts=new)
            after = self.session.landmark
            if after is None or (not canal.points(after) and after not in REPEATED_LANDMARKS):
                self.session.landmark = next_landmark(canal, None, self.session.skipped)
            self._push(f"stating {name.replace('_mm', '').replace('_', ' ')}", canal)
        return ""

    def answer_check(self, check: str, word: str, note: str = "") -> str:
        """Answer a pre-flight check; an empty word takes the answer back.

        Returns
        -------
        str
            What is wrong with the answer, or empty when it was taken.
        """
        if self.session is None:
            return ""
        facts = self.canal.facts
        kept = tuple(one for one in facts.answers if one.check != check)
        try:
            answers = (*kept, answer_given(check, word, note)) if word else kept
        except PeriapicalError as problem:
            return str(problem)
        if answers != facts.answers:
            self._push(
                f"answering check {check[1:]}", replace(self.canal, facts=replace(facts, answers=answers))
            )
        return ""

    def choose_method(self, name: str) -> None:
        """Show a curvature method: its numbers in the panel, its construction on the image."""
        self.method = method_named(name)
        self.changed.emit()

    # -- canals -------------------------------------------------------------------------------------------

    def add_canal(self) -> None:
        """Add a canal to the image; the tooth and what is common to the image are taken over."""
        if self.session is not None:
            sheet = self.session.sheet.with_another_canal()
            self._push_sheet(f"adding canal {sheet.canal.facts.canal}", sheet)

    def remove_canal(self) -> None:
        """Take the canal worked on away; the last one is emptied instead."""
        if self.session is not None:
            sheet = self.session.sheet
            self._push_sheet(f"removing canal {sheet.canal.facts.canal}", sheet.without_canal())

    def choose_canal(self, index: int) -> None:
        """Work on another canal of the image."""
        if self.session is None or not 0 <= index < len(self.session.sheet.canals):
            return
        if index != self.session.sheet.active:
            self.cancel_move()
            self.session.history.show(index)
            self._start_canal()

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
        self.cancel_move()
        if go(self.session):
            self.tell("note", "")
            self._start_canal()
        else:
            self.tell("note", otherwise)

    def replace_canals(self, what: str, canals: Sequence[Canal]) -> None:
        """Put other canals in the place of all that are there, as one step."""
        if self.session is not None:
            self._push_sheet(what, Sheet(tuple(canals), 0))

    def _push(self, what: str, canal: Canal) -> None:
        assert self.session is not None
        self.session.push(what, self.session.sheet.with_canal(canal))
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
            self.measuring.request(self.session)

    def _arrived(self, session: Session) -> None:
        if session is self.session:
            self.measured.emit()
