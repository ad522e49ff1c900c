"""Keeps every step by itself, off the thread of the screen, and brings the last one back; no Qt."""

from __future__ import annotations

import atexit
import threading
import weakref
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import ClassVar
from uuid import uuid4

from psygnal import Signal

from napari_periapical.background import Runner, run_now
from napari_periapical.drafts import (
    BegunLine,
    Continued,
    Draft,
    SavedAs,
    drafts_of,
    not_in,
    remove_draft,
    write_draft,
)
from napari_periapical.fields import LABELS, text_of
from napari_periapical.live import LINES
from napari_periapical.session import Session
from napari_periapical.sheet import Canal, Sheet
from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseFacts
from radio.record.kept_tracings import every_tracing
from radio.record.tracing import Tracing

_FAILED = "Not kept by itself: {}. Work goes on; save the tracing to be safe."
_AT = "%H:%M:%S"
_NOTHING = "not stated"


@dataclass(frozen=True, eq=False)
class _Page:
    """What waits to be written of one image; no sheet where nothing is to be kept any more."""

    radiograph: Radiograph
    given: tuple[CaseFacts, ...]
    sheet: Sheet | None
    saved_as: tuple[SavedAs, ...]
    continues: tuple[Continued, ...]
    begun: tuple[BegunLine, ...]


@dataclass(frozen=True)
class _Outcome:
    at: datetime | None
    problem: str = ""
    brought_back: bool = False


class Autosave:
    """Keeps every image of one controller; each has one draft of its own, beside those of other sessions.

    Parameters
    ----------
    folder : callable or None
        Gives the folder of the drafts; without one nothing is kept.
    wanted : callable
        Whether the person wants this.
    """

    kept: ClassVar[Signal] = Signal()
    """What can be told of the keeping is different now."""
    failed: ClassVar[Signal] = Signal(str)
    """Keeping failed, for the first time since it last went well; in words."""

    def __init__(
        self, folder: Callable[[], Path] | None = None, wanted: Callable[[], bool] = lambda: True
    ) -> None:
        self.uuid = uuid4()
        self._folder, self._wanted = folder, wanted
        self._runner: Runner = run_now
        self._noted: dict[str, object] = {}  # by image: the state that was noted last; none at the beginning
        self._outcomes: dict[str, _Outcome] = {}
        self._fails = False
        self._pages: dict[str, _Page] = {}
        self._lock, self._writing = threading.Lock(), threading.Lock()
        if folder is not None:
            _ALL.add(self)

    @property
    def runner(self) -> Runner:
        """Where the writing is done; on the spot unless a panel gives a thread."""
        return self._runner

    @runner.setter
    def runner(self, runner: Runner) -> None:
        self._runner = runner
        self.flush()  # what the other runner was asked for may never come

    # -- keeping ------------------------------------------------------------------------------------------

    def note(self, session: Session) -> None:
        """Keep the committed state of a session, where it is another than was kept before."""
        if self._folder is None or not self._wanted():
            return
        sha, state = session.radiograph.sha256, _state(session)
        if self._noted.get(sha) == state:
            return
        self._noted[sha] = state
        sheet = session.sheet if state is not None else None
        page = _Page(
            session.radiograph, session.given, sheet, _saved_as(session), session.continues, _begun(session)
        )
        with self._lock:
            self._pages[sha] = page
        self._runner(self.write_all, self._take)

    def flush(self) -> None:
        """Write on the spot what waits, and wait for what is being written."""
        self._take(self.write_all())

    def write_all(self) -> dict[str, _Outcome]:
        """Write what waits, of every image; may be called from any thread, and tells nobody."""
        # a runner may drop a job for a newer one; each job therefore writes whatever waits, of every image
        outcomes = {}
        with self._writing:
            with self._lock:
                pages = dict(self._pages)
            for sha, page in pages.items():
                outcomes[sha] = self._write(page)
                with self._lock:
                    if self._pages.get(sha) is page:
                        del self._pages[sha]
        return outcomes

    def _write(self, page: _Page) -> _Outcome:
        assert self._folder is not None
        try:
            folder = self._folder()
            if page.sheet is None:
                remove_draft(folder, page.radiograph.sha256, self.uuid)
                return _Outcome(None)
            at = write_draft(
                folder,
                page.radiograph,
                self.uuid,
                given=page.given,
                sheet=page.sheet,
                saved_as=page.saved_as,
                continues=page.continues,
                begun=page.begun,
            )
        except PeriapicalError as error:
            cause = error.__cause__
            reason = cause.strerror if isinstance(cause, OSError) else str(error)
            return _Outcome(None, _FAILED.format(f"{folder} cannot be written ({reason})"))
        except Exception as error:  # keeping must not end the work, whatever goes wrong
            return _Outcome(None, _FAILED.format(f"{type(error).__name__}: {error}"))
        return _Outcome(at)

    def _take(self, outcomes: Mapping[str, _Outcome]) -> None:
        if not outcomes:
            return
        self._outcomes |= outcomes
        problem = next((one.problem for one in outcomes.values() if one.problem), "")
        fails, self._fails = self._fails, bool(problem)
        if problem and not fails:
            self.failed.emit(problem)
        self.kept.emit()

    @property
    def place(self) -> Path | None:
        """The folder of the drafts; None where nothing is kept."""
        return self._folder() if self._folder is not None and self._wanted() else None

    def told(self, session: Session) -> str:
        """Say when the work on an image was kept last, or why it is not."""
        if self._folder is None:
            return ""
        if not self._wanted():
            return "Not kept by itself: switched off in the settings."
        outcome = self._outcomes.get(session.radiograph.sha256)
        if outcome is None or (outcome.at is None and not outcome.problem):
            return ""
        if outcome.problem or outcome.at is None:
            return outcome.problem
        when = f"on {_day(outcome.at)}" if outcome.brought_back else f"at {outcome.at.astimezone():{_AT}}"
        return f"Kept by itself {when}."

    # -- bringing back ------------------------------------------------------------------------------------

    def bring_back(self, session: Session) -> tuple[bool, str]:
        """Make the newest draft of an image the state of a session that begins, as one step.

        What was stated with the image stays the state before it.

        Returns
        -------
        bool, str
            Whether a draft was passed over, and what to tell the person; empty where there is nothing.
        """
        if self._folder is None or not self._wanted():
            return False, ""
        drafts, told = drafts_of(self._folder(), session.radiograph.sha256)
        damaged = bool(told)
        drafts = tuple(one for one in drafts if one.session != self.uuid)
        newest = next(iter(drafts), None)
        if newest is not None and not _says_the_same(session.sheet, newest.sheet):
            told = (_taken(newest, "Brought back"), *_bring(session, newest), *told)
            sha = session.radiograph.sha256
            self._noted[sha] = _state(session)
            self._outcomes[sha] = _Outcome(newest.saved, brought_back=True)
            drafts = not_in(drafts, newest)
        session.other_drafts = _worth_offering(drafts, session.sheet)
        return damaged, " ".join(filter(None, told))


def take_up(session: Session, draft: Draft) -> str:
    """Make another draft of an image its state, as one step, and offer the one it replaces no less.

    Returns
    -------
    str
        What to tell the person.
    """
    told = (_taken(draft, "Took up"), *_bring(session, draft))
    session.other_drafts = tuple(one for one in session.other_drafts if one is not draft)
    return " ".join(filter(None, (*told, "Undo goes back to what was here.")))


def described(draft: Draft) -> str:
    """Say of a draft when it was kept and how much is in it."""
    canals = draft.sheet.placed
    points = sum(len(points) for canal in canals for _, points in canal.clicks)
    several = "canal" if len(canals) == 1 else "canals"
    return f"{_day(draft.saved)}: {len(canals)} {several}, {points} points"


def _worth_offering(drafts: Sequence[Draft], here: Sheet) -> tuple[Draft, ...]:
    """Keep drafts with points that say neither what is here nor the same as another."""
    kept: list[Draft] = []
    for one in drafts:
        sheets = (here, *(other.sheet for other in kept))
        if one.sheet.placed and not any(_says_the_same(one.sheet, other) for other in sheets):
            kept.append(one)
    return tuple(kept)


def _taken(draft: Draft, verb: str) -> str:
    word = "placed" if draft.sheet.placed else "set"
    return f"{verb} what was {word} on {_day(draft.saved)}."


def _bring(session: Session, draft: Draft) -> tuple[str, ...]:
    """Push the state of a draft; gives what to say of it beside."""
    session.history.push("bringing back what was placed", draft.sheet)
    session.continues += (Continued(session=draft.session, saved=draft.saved),)
    session.begun = {(one.uid, one.kind): one.before for one in draft.begun}
    session.start_canal()
    documents: dict[str, Sequence[Tracing]] = {}
    gone = []
    for one in draft.saved_as:
        if one.document not in documents:
            documents[one.document] = _tracings(Path(one.document))
        tracing = next((t for t in documents[one.document] if t.uuid == one.uuid), None)
        if tracing is not None:
            session.saved[one.uid], session.kept_in[one.uid] = tracing, Path(one.document)
        else:
            gone.append(one.document)
    lost = [f"The tracing that was saved in {path} is not there any more." for path in dict.fromkeys(gone)]
    return (_changed_facts(draft, session.given), *lost)


def _tracings(path: Path) -> Sequence[Tracing]:
    try:
        return every_tracing(path)
    except PeriapicalError:
        return ()


def _changed_facts(draft: Draft, given: tuple[CaseFacts, ...]) -> str:
    """Say what is stated with the image otherwise than when the draft was made, and differs from it."""
    if given == draft.given:
        return ""
    mine = {canal.facts.canal: canal.facts for canal in draft.sheet.canals}
    told = []
    for facts in given:
        if facts.canal not in mine:
            told.append(f"canal {facts.canal} is new")
        else:
            told += [f"canal {facts.canal}: {what}" for what in _differences(facts, mine[facts.canal])]
    if not told:
        return ""
    return f"What is stated with the image has changed since ({'; '.join(told)}); Undo goes back to it."


def _differences(given: CaseFacts, mine: CaseFacts) -> list[str]:
    names = [one.name for one in fields(CaseFacts) if one.name not in ("answers", "exact")]
    return [
        f"{LABELS.get(name, name)} {text_of(given, name) or _NOTHING}, here {text_of(mine, name) or _NOTHING}"
        for name in names
        if getattr(given, name) != getattr(mine, name)
    ]


def _state(session: Session) -> object:
    """Give all that is kept of a session, to be compared; None before anything was done."""
    if not session.history.undoable:
        return None
    return session.sheet, dict(session.saved), dict(session.kept_in)


def _saved_as(session: Session) -> tuple[SavedAs, ...]:
    return tuple(
        SavedAs(uid=uid, document=str(session.kept_in[uid].absolute()), uuid=one.uuid, revision=one.revision)
        for uid, one in session.saved.items()
        if uid in session.kept_in
    )


def _begun(session: Session) -> tuple[BegunLine, ...]:
    """Give the lines that are being traced."""
    canals = {canal.uid: canal for canal in session.sheet.canals}
    return tuple(
        BegunLine(uid=uid, kind=kind, before=before)
        for (uid, kind), before in session.begun.items()
        if uid in canals and LINES[kind].is_open(canals[uid])
    )


def _says_the_same(one: Sheet, other: Sheet) -> bool:
    """Whether two sheets differ in nothing a person placed, stated or set."""

    def content(canal: Canal) -> object:
        return canal.facts, canal.clicks, canal.settings

    return one.view == other.view and [*map(content, one.canals)] == [*map(content, other.canals)]


def _day(at: datetime) -> str:
    """Write a day and time as the person's clock shows it; the year where it is another."""
    here = at.astimezone()
    year = "" if here.year == datetime.now().year else f" {here.year}"
    return f"{here:%d %b}{year} {here:%H:%M}"


_ALL: weakref.WeakSet[Autosave] = weakref.WeakSet()


@atexit.register
def _flush_all() -> None:
    """Write what still waits when the program ends: the threads of runners end with it."""
    for one in list(_ALL):
        one.write_all()
