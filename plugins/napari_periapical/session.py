"""Everything that belongs to one open image, kept as long as the viewer lives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from napari_periapical.guide import next_landmark
from napari_periapical.history import History
from napari_periapical.live import LINES, Live
from napari_periapical.sheet import Canal, Point, Sheet, View
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
from radio.record.tracing import Tracing
from radio.trace.line import LineKind

if TYPE_CHECKING:
    from napari_periapical.drafts import Continued, Draft

_LARGEST_CACHE = 64


@dataclass(frozen=True, eq=False)
class Shown:
    """What was last measured on a canal, and on which state of it.

    Parameters
    ----------
    canal : Canal
        The state that was measured.
    result : CaseResult or None
        None when it could not be measured.
    problem : str
        Why not; empty when it could.
    """

    canal: Canal
    result: CaseResult | None
    problem: str = ""


@dataclass(eq=False)
class Session:
    """One image with its history, its results and what was saved of it.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    history : History
        All states of its sheet.
    landmark : str or None
        What the next click places.
    selected : tuple of (landmark, index) or None
        The point chosen last.
    chosen : bool
        Whether that landmark was chosen in the list, and not named by the guide.
    skipped : set of str
        Landmarks passed over.
    tracing : {"file", "canal"} or None
        The line that is traced: clicks pin it.
    live : Live
        What follows the pointer.
    begun : dict of (uid, kind) to Canal
        Lines that were begun by tracing, with the canal as it was before.
    drag : Canal or None
        State of the canal while a point is held.
    slid : tuple of (Sheet, str) or None
        The state a slider led to, and which: moving it further amends that step.
    nudged : tuple of (Sheet, selected) or None
        The state a nudge led to, and of which point: a further nudge of it amends that step.
    shown : dict of int to Shown
        Latest outcome for each canal, by uid.
    saved : dict of int to Tracing
        Latest saved revision for each canal, by uid.
    kept_in : dict of int to pathlib.Path
        The document that revision is in.
    given : tuple of CaseFacts
        What was stated with the image when it was opened.
    continues : tuple of Continued
        Drafts of other sessions that were taken up in this one.
    other_drafts : tuple of Draft
        Drafts of the image whose work is not in what was brought back.
    """

    radiograph: Radiograph
    history: History
    landmark: str | None = None
    selected: tuple[str, int] | None = None
    slid: tuple[Sheet, str] | None = None
    chosen: bool = False
    skipped: set[str] = field(default_factory=set)
    tracing: LineKind | None = None
    live: Live = field(default_factory=Live)
    begun: dict[tuple[int, LineKind], Canal] = field(default_factory=dict)
    drag: Canal | None = None
    nudged: tuple[Sheet, tuple[str, int]] | None = None
    shown: dict[int, Shown] = field(default_factory=dict)
    saved: dict[int, Tracing] = field(default_factory=dict)
    kept_in: dict[int, Path] = field(default_factory=dict)
    given: tuple[CaseFacts, ...] = ()
    continues: tuple[Continued, ...] = ()
    other_drafts: tuple[Draft, ...] = ()
    _cache: dict[object, Shown] = field(default_factory=dict)

    @classmethod
    def start(
        cls,
        radiograph: Radiograph,
        facts: Sequence[CaseFacts] = (),
        view: View | None = None,
        settings: CurvatureSettings = DEFAULT_SETTINGS,
    ) -> Session:
        """Begin with an image and what is stated about its canals, shown and measured in a given way."""
        # facts of a table may call points exact; those points are not placed here
        stated = tuple(replace(one, exact=()) for one in facts)
        canals = tuple(Canal(k, one, settings=settings) for k, one in enumerate(stated or (CaseFacts(),)))
        session = cls(radiograph, History(Sheet(canals, view=view or View())), given=stated)
        session.start_canal()
        return session

    @property
    def sheet(self) -> Sheet:
        """The committed state."""
        return self.history.sheet

    @property
    def canal(self) -> Canal:
        """The canal worked on, as it looks now: with the point that is held where it is held."""
        return self.drag or self.sheet.canal

    def push(self, what: str, sheet: Sheet, *, amend: bool = False) -> None:
        """Make another sheet the present one, as a step of the history or of the last one; let a point go."""
        self.drag = None
        self.nudged = self.slid = None
        self.history.push(what, sheet, amend=amend)

    def clipped(self, point: Point) -> Point:
        """Bring a point onto the image: (row, col) from half a pixel before the first centre on."""
        rows, cols = self.radiograph.grey.shape
        row, col = float(point[0]), float(point[1])
        return min(max(row, -0.5), rows - 0.5), min(max(col, -0.5), cols - 0.5)

    def start_canal(self) -> None:
        """Begin with the canal worked on: nothing chosen, nothing passed over."""
        self.selected = None
        self.skipped.clear()
        self.go_on(self.canal, None)

    def go_on(self, canal: Canal, after: str | None) -> None:
        """Let the guide name the landmark that comes after one; an open line comes before all."""
        self.landmark = next_landmark(canal, after, self.skipped)
        self.chosen = False
        self.trace_on(canal)

    def trace_on(self, canal: Canal) -> None:
        """Trace the line that was begun by tracing and has no end yet; none where there is no such line."""
        mine = (kind for kind, parts in LINES.items() if parts.is_open(canal))
        self.tracing = next((kind for kind in mine if (canal.uid, kind) in self.begun), None)
        if self.tracing is not None:
            self.landmark = LINES[self.tracing].ends[0]
        else:
            self.live.forget()

    def stop_tracing(self, landmark: str) -> None:
        """Trace nothing; a landmark is placed next."""
        self.tracing, self.landmark, self.chosen = None, landmark, False
        self.live.forget()

    def known(self, canal: Canal) -> Shown | None:
        """Look up what was measured on exactly this state."""
        return self._cache.get((canal.facts, canal.clicks, canal.settings))

    def remember(self, shown: Shown) -> None:
        """Keep an outcome; the oldest ones are let go."""
        self._cache[shown.canal.facts, shown.canal.clicks, shown.canal.settings] = shown
        while len(self._cache) > _LARGEST_CACHE:
            self._cache.pop(next(iter(self._cache)))

    def unmeasured(self) -> Canal | None:
        """Name a canal whose present state was not measured yet, the one worked on first."""
        for canal in (self.canal, *self.sheet.canals):
            if canal.uid == self.canal.uid and canal is not self.canal:
                continue
            there = self.shown.get(canal.uid)
            if canal.can_be_measured() and (there is None or there.canal != canal):
                return canal
        return None
