"""What a person has placed and stated on one image, and how it is shown, as values that never change."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from radio.image.display import Display
from radio.measure.case import AXIS_LANDMARKS, LANDMARKS, REPEATED_LANDMARKS, CaseFacts
from radio.measure.methods import METHODS
from radio.measure.reading import ReadingFacts
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings

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
        What was stated; among it which points stay exactly where they were put, by landmark and index. Those
        follow their points through every change.
    clicks : tuple of (landmark, points)
        In the order of `LANDMARKS`; each point (row, col) in pixels. Landmarks without points are left out.
    settings : CurvatureSettings
        How its curvature is measured; the same for all canals of an image.
    seen : tuple of str
        Display aids, in words, that were on while its points were placed.
    """

    uid: int
    facts: CaseFacts = field(default_factory=CaseFacts)
    clicks: tuple[tuple[str, tuple[Point, ...]], ...] = ()
    settings: CurvatureSettings = DEFAULT_SETTINGS
    seen: tuple[str, ...] = ()

    def seen_with(self, aids: str) -> Canal:
        """Take note of the display aids, in words, that are on while points are placed; none are no note."""
        return self if not aids or aids in self.seen else replace(self, seen=(*self.seen, aids))

    def points(self, landmark: str) -> tuple[Point, ...]:
        """Points of one landmark, (row, col) in pixels; empty when it is not placed."""
        return dict(self.clicks).get(landmark, ())

    def placed(self) -> frozenset[str]:
        """Landmarks that have a point."""
        return frozenset(name for name, _ in self.clicks)

    def clicks_px(self) -> dict[str, FloatArray]:
        """Points by landmark, each float64 of shape (N, 2) as (row, col), pixels."""
        return {name: np.array(points, dtype=np.float64) for name, points in self.clicks}

    def exact_points(self, landmark: str) -> frozenset[int]:
        """Indices of the points of one landmark that stay exactly where they were put."""
        return frozenset(index for name, index in self.facts.exact if name == landmark)

    def with_points(self, landmark: str, points: tuple[Point, ...]) -> Canal:
        """Make the canal with other points of one landmark; what was exact of them is so still."""
        return self._with(landmark, points, self.exact_points(landmark))

    def _with(self, landmark: str, points: tuple[Point, ...], exact: Iterable[int]) -> Canal:
        new = {**dict(self.clicks), landmark: points}
        kept = [one for one in self.facts.exact if one[0] != landmark]
        kept += [(landmark, index) for index in exact if index < len(points)]
        facts = replace(self.facts, exact=tuple(sorted(kept)))
        clicks = tuple((name, new[name]) for name in LANDMARKS if new.get(name))
        return replace(self, facts=facts, clicks=clicks)

    def with_added(self, landmark: str, point: Point, *, exact: bool = False) -> tuple[Canal, int]:
        """Add a point where it belongs: between its neighbours, or for the nearest when it has all it may.

        Parameters
        ----------
        landmark : str
        point : tuple of float
            (row, col), pixels.
        exact : bool
            Whether it stays exactly there.

        Returns
        -------
        Canal, int
            The new canal and the index of the point within its landmark.
        """
        points, others = self.points(landmark), self.exact_points(landmark)
        if self.is_full(landmark):
            at = min(range(len(points)), key=lambda k: np.hypot(*np.subtract(points[k], point)))
            points, others = (*points[:at], point, *points[at + 1 :]), others - {at}
        else:
            at = self._place_between(landmark, point)
            points = (*points[:at], point, *points[at:])
            others = frozenset(index + (index >= at) for index in others)
        return self._with(landmark, points, {*others, at} if exact else others), at

    def with_appended(self, landmark: str, point: Point, *, exact: bool = False) -> tuple[Canal, int]:
        """Add a point after all others of its landmark; gives the new canal and the index of the point."""
        points, there = self.points(landmark), self.exact_points(landmark)
        placed = (float(point[0]), float(point[1]))
        at = len(points)
        return self._with(landmark, (*points, placed), {*there, at} if exact else there), at

    def is_full(self, landmark: str) -> bool:
        """Whether a landmark has all the points it can have."""
        return landmark in _MOST and len(self.points(landmark)) >= _MOST[landmark]

    def with_moved(self, landmark: str, index: int, point: Point) -> Canal:
        """Move one point; an exact one stays exact."""
        points = self.points(landmark)
        return self.with_points(landmark, (*points[:index], point, *points[index + 1 :]))

    def with_removed(self, landmark: str, index: int) -> Canal:
        """Take one point away."""
        points = self.points(landmark)
        exact = {k - (k > index) for k in self.exact_points(landmark) if k != index}
        return self._with(landmark, (*points[:index], *points[index + 1 :]), exact)

    def with_clicks(self, clicks: Mapping[str, npt.ArrayLike]) -> Canal:
        """Make the canal with other points altogether; what was exact is so still where there is a point."""
        canal = self
        for name in LANDMARKS:
            rows = np.asarray(clicks.get(name, ()), dtype=np.float64).reshape(-1, 2).tolist()
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
class View:
    """What is shown of an image and its canals, and how; nothing here touches a measurement.

    Parameters
    ----------
    method : str
        Name of the curvature method whose construction is drawn.
    step : int
        How many steps of its construction are drawn; 0 for all.
    kept : tuple of str
        Methods whose constructions stay drawn beside it.
    constructions : bool
        Whether constructions are drawn at all.
    hidden : frozenset of int
        Canals, by uid, that are not drawn.
    numbers : bool
        Whether the main numbers stand beside the canal on the image.
    magnifier : bool
        Whether the surroundings of the pointer are shown enlarged.
    display : Display
        The display aids that are on.
    second : str
        Hash of the image that is the second view of this tooth; empty where there is none.
    tube_to : str
        Where the tube was moved to for the second view, "mesial" or "distal"; empty where not stated.
    mesial_at : str
        Where mesial lies on both images, "left" or "right"; empty where not stated.
    """

    method: str = METHODS[0].name
    step: int = 0
    kept: tuple[str, ...] = ()
    constructions: bool = True
    hidden: frozenset[int] = frozenset()
    numbers: bool = True
    magnifier: bool = True
    display: Display = field(default_factory=Display)
    second: str = ""
    tube_to: Literal["", "mesial", "distal"] = ""
    mesial_at: Literal["", "left", "right"] = ""

    def for_another_image(self) -> View:
        """Make the view of another image: window, hidden canals and second view belong to one image alone."""
        display = replace(self.display, low=None, high=None)
        return replace(self, display=display, step=0, hidden=frozenset(), second="", tube_to="", mesial_at="")


@dataclass(frozen=True)
class Sheet:
    """All canals of one image, which one is worked on, and how they are shown."""

    canals: tuple[Canal, ...] = (Canal(0),)
    active: int = 0
    view: View = field(default_factory=View)

    @property
    def canal(self) -> Canal:
        """The canal that is worked on."""
        return self.canals[self.active]

    @property
    def placed(self) -> tuple[Canal, ...]:
        """The canals that have points."""
        return tuple(canal for canal in self.canals if canal.clicks)

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
            exact=(),
        )
        canals = (*self.canals, Canal(self.next_uid(), common, settings=self.canal.settings))
        return replace(self, canals=canals, active=len(self.canals))

    def without_canal(self) -> Sheet:
        """Take the canal worked on away; the last one is emptied instead."""
        left = tuple(c for c in self.canals if c.uid != self.canal.uid)
        left = left or (Canal(self.next_uid(), settings=self.canal.settings),)
        return replace(self, canals=left, active=min(self.active, len(left) - 1))

    def next_uid(self) -> int:
        """Give a uid no canal here has."""
        return 1 + max((c.uid for c in self.canals), default=-1)
