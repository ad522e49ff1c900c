"""What a person has placed and stated on one image, as values that never change, and their history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from radio.measure.case import AXIS_LANDMARKS, LANDMARKS, REPEATED_LANDMARKS, CaseFacts
from radio.measure.reading import ReadingFacts

Point = tuple[float, float]
FloatArray = npt.NDArray[np.float64]

# The ends a repeated landmark lies between; either canal end will do.
_ENDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "file_via": (("file_start",), ("file_tip",)),
    "canal_via": (("orifice",), ("canal_end", "apex")),
    "coronal_axis": (("orifice",), ()),
    "tooth_axis": (("orifice",), ()),
}
# How many points a landmark has at most; no limit for the others that repeat.
_MOST = {
    **dict.fromkeys(AXIS_LANDMARKS, 2),
    **{name: 1 for name in LANDMARKS if name not in REPEATED_LANDMARKS},
}


@dataclass(frozen=True)
class Canal:
    """One canal: what was stated and what was clicked.

    Parameters
    ----------
    uid : int
        Tells the canals of one image apart, whatever they are called.
    facts : CaseFacts
        What was stated.
    clicks : tuple of (landmark, points)
        In the order of `LANDMARKS`; each point (row, col) in pixels. Landmarks without points are left out.
    """

    uid: int
    facts: CaseFacts = field(default_factory=CaseFacts)
    clicks: tuple[tuple[str, tuple[Point, ...]], ...] = ()

    def points(self, landmark: str) -> tuple[Point, ...]:
        """Points of one landmark, (row, col) in pixels; empty when it is not placed."""
        return dict(self.clicks).get(landmark, ())

    def placed(self) -> frozenset[str]:
        """Landmarks that have a point."""
        return frozenset(name for name, _ in self.clicks)

    def clicks_px(self) -> dict[str, FloatArray]:
        """Points by landmark, each float64 of shape (N, 2) as (row, col), pixels."""
        return {name: np.array(points, dtype=np.float64) for name, points in self.clicks}

    def with_points(self, landmark: str, points: tuple[Point, ...]) -> Canal:
        """Make the canal with other points of one landmark."""
        new = {**dict(self.clicks), landmark: points}
        return replace(self, clicks=tuple((name, new[name]) for name in LANDMARKS if new.get(name)))

    def with_added(self, landmark: str, point: Point) -> tuple[Canal, int]:
        """Add a point where it belongs: between its neighbours, or for the nearest when it has all it may.

        Returns
        -------
        Canal, int
            The new canal and the index of the point within its landmark.
        """
        points = self.points(landmark)
        if self.is_full(landmark):
            at = min(range(len(points)), key=lambda k: np.hypot(*np.subtract(points[k], point)))
            return self.with_moved(landmark, at, point), at
        at = self._place_between(landmark, point)
        return self.with_points(landmark, (*points[:at], point, *points[at:])), at

    def is_full(self, landmark: str) -> bool:
        """Whether a landmark has all the points it can have."""
        return landmark in _MOST and len(self.points(landmark)) >= _MOST[landmark]

    def with_moved(self, landmark: str, index: int, point: Point) -> Canal:
        """Move one point."""
        points = self.points(landmark)
        return self.with_points(landmark, (*points[:index], point, *points[index + 1 :]))

    def with_removed(self, landmark: str, index: int) -> Canal:
        """Take one point away."""
        points = self.points(landmark)
        return self.with_points(landmark, (*points[:index], *points[index + 1 :]))

    def with_clicks(self, clicks: Mapping[str, npt.ArrayLike]) -> Canal:
        """Make the canal with other points altogether."""
        canal = replace(self, clicks=())
        for name, points in clicks.items():
            rows = np.asarray(points, dtype=np.float64).reshape(-1, 2).tolist()
            canal = canal.with_points(name, tuple((row, col) for row, col in rows))
        return canal

    def can_be_measured(self) -> bool:
        """Whether there is a file, a canal or a ball to trace."""
        there = self.placed()
        file = "file_tip" in there and bool(there & {"file_start", "file_via"})
        canal = "orifice" in there and bool(there & {"apex", "canal_end"})
        return file or canal or "ball_centre" in there

    def _place_between(self, landmark: str, point: Point) -> int:
        """Index at which the way past all points of the line grows least."""
        first, last = (self._first_of(names) for names in _ENDS.get(landmark, ((), ())))
        points = list(self.points(landmark))
        line = np.array([*first, *points, *last], dtype=np.float64).reshape(-1, 2)
        slots = range(len(points) + 1)
        offset = len(first)

        def growth(slot: int) -> float:
            before, after = offset + slot - 1, offset + slot
            legs = [float(np.hypot(*(line[k] - point))) for k in (before, after) if 0 <= k < len(line)]
            both = before >= 0 and after < len(line)
            return sum(legs) - (float(np.hypot(*(line[after] - line[before]))) if both else 0.0)

        return min(slots, key=growth)

    def _first_of(self, names: tuple[str, ...]) -> list[Point]:
        for name in names:
            if self.points(name):
                return [self.points(name)[0]]
        return []


@dataclass(frozen=True)
class Sheet:
    """All canals of one image, and which one is worked on."""

    canals: tuple[Canal, ...] = (Canal(0),)
    active: int = 0

    @property
    def canal(self) -> Canal:
        """The canal that is worked on."""
        return self.canals[self.active]

    def with_canal(self, canal: Canal) -> Sheet:
        """Put another state of one canal, known by its uid, in the place of the old one."""
        return replace(self, canals=tuple(canal if c.uid == canal.uid else c for c in self.canals))

    def with_another_canal(self) -> Sheet:
        """Add a canal and work on it; the tooth and what is common to the image are taken over."""
        names = {c.facts.canal for c in self.canals}
        name = next(str(k) for k in range(1, len(names) + 2) if str(k) not in names)
        common = replace(
            self.canal.facts,
            canal=name,
            file_length_mm=None,
            file_size=None,
            electronic_mm=None,
            electronic_mark=None,
            electronic=ReadingFacts(),
            answers=(),
        )
        return Sheet((*self.canals, Canal(self.next_uid(), common)), len(self.canals))

    def without_canal(self) -> Sheet:
        """Take the canal worked on away; the last one is emptied instead."""
        left = tuple(c for c in self.canals if c.uid != self.canal.uid)
        left = left or (Canal(self.next_uid(), CaseFacts()),)
        return Sheet(left, min(self.active, len(left) - 1))

    def next_uid(self) -> int:
        """Give a uid no canal here has."""
        return 1 + max((c.uid for c in self.canals), default=-1)


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

    def push(self, what: str, sheet: Sheet) -> None:
        """Add a step; steps that were undone before are gone."""
        self._states[self._at + 1 :] = [(what, sheet)]
        self._at += 1

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
