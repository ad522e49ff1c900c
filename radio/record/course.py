"""The lengths of one canal through a treatment, as they were read."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from math import isfinite

from radio.errors import PeriapicalError
from radio.measure.case import CaseFacts
from radio.record.wording import title_of

LENGTH_LIMITS_MM = (5.0, 40.0)
_LARGEST_SD_MM = 5.0


class Stage(StrEnum):
    """Stages of a treatment at which a length is read, in order."""

    ESTIMATE = "estimate"
    SCOUTING = "scouting"
    AFTER_FLARING = "after coronal flaring"
    AFTER_MID_ROOT = "after mid-root shaping"
    FINAL = "final"

    @property
    def rank(self) -> int:
        """Place in the order, from 0."""
        return list(Stage).index(self)

    @property
    def shaped(self) -> bool:
        """Whether the canal has been shaped before it."""
        return self.rank >= Stage.AFTER_FLARING.rank


@dataclass(frozen=True)
class FileUsed:
    """The file in the canal when a length was read.

    Parameters
    ----------
    size : int or None
        ISO 3630-1 size; None without a file or where it is not stated.
    material : str
        Such as "stainless steel"; empty where it is not stated.
    """

    size: int | None = None
    material: str = ""

    def __str__(self) -> str:
        size = "" if self.size is None else f"size {self.size:02d}"
        return ", ".join(part for part in (size, self.material) if part) or "none stated"


@dataclass(frozen=True)
class CourseEntry:
    """One length, with what is needed to compare it with another.

    Parameters
    ----------
    stage : Stage
    length_mm : float
        From the reference, 5 to 40 mm.
    basis : str
        What it rests on, such as "file length plus gap" or "mark zero".
    file : FileUsed
    reference : str
        Coronal reference point by name.
    method : str
        How it was read, such as "radiograph" or "electronic".
    time : str
        ISO 8601 date, or date and time; empty where it is not known.
    note : str
    length_sd_mm : float or None
        Standard uncertainty of the length, mm, where it was stated.

    Raises
    ------
    PeriapicalError
        A length, uncertainty or time that is not allowed.
    """

    stage: Stage
    length_mm: float
    basis: str = ""
    file: FileUsed = field(default_factory=FileUsed)
    reference: str = ""
    method: str = ""
    time: str = ""
    note: str = ""
    length_sd_mm: float | None = None

    def __post_init__(self) -> None:
        low, high = LENGTH_LIMITS_MM
        if not low <= self.length_mm <= high:
            raise PeriapicalError(
                f"The length at {self.stage} is given as {self.length_mm:g} mm; "
                f"allowed is {low:g} to {high:g} mm."
            )
        sd = self.length_sd_mm
        if sd is not None and not (isfinite(sd) and 0 <= sd <= _LARGEST_SD_MM):
            raise PeriapicalError(
                f"The standard uncertainty at {self.stage} is given as {sd:g} mm; "
                f"allowed is 0 to {_LARGEST_SD_MM:g} mm, or leave it out."
            )
        checked_time(self.time)

    def came_before(self, other: CourseEntry) -> bool | None:
        """Whether this one was read first; None where the times do not tell.

        A date without a time of day is compared by the date alone. Times with and without a zone are compared
        as the clock showed them.
        """
        if not self.time or not other.time:
            return None
        ours, theirs = (datetime.fromisoformat(one) for one in (self.time, other.time))
        if (ours.tzinfo is None) != (theirs.tzinfo is None):
            ours, theirs = ours.replace(tzinfo=None), theirs.replace(tzinfo=None)
        if _date_only(self.time) or _date_only(other.time):
            ours, theirs = (datetime.combine(one.date(), datetime.min.time()) for one in (ours, theirs))
        return None if ours == theirs else ours < theirs


def checked_time(text: str) -> str:
    """Return an ISO 8601 date, or date and time; empty is allowed.

    Raises
    ------
    PeriapicalError
        Something else.
    """
    if text:
        try:
            datetime.fromisoformat(text)
        except ValueError as problem:
            raise PeriapicalError(
                f"The time is given as {text!r}; allowed is a date such as 2031-05-14, or with the time of "
                "day 2031-05-14T10:30 (ISO 8601), or leave it out."
            ) from problem
    return text


def plain(text: str) -> str:
    """Text without what does not tell one thing from another: case and runs of spaces."""
    return " ".join(text.casefold().split())


def _date_only(text: str) -> bool:
    return "T" not in text and " " not in text and ":" not in text


@dataclass(frozen=True)
class Course:
    """All lengths of one canal, in the order they were recorded.

    Parameters
    ----------
    tooth : str
        ISO 3950.
    canal : str
    entries : tuple of CourseEntry
    subject : str
        Pseudonym.
    """

    tooth: str
    canal: str
    entries: tuple[CourseEntry, ...] = ()
    subject: str = ""

    def adding(self, entry: CourseEntry) -> Course:
        """Make a new course with one more length; this one stays as it is."""
        return replace(self, entries=(*self.entries, entry))

    def came_before(self, first: CourseEntry, second: CourseEntry) -> bool:
        """Whether one entry was read before another: by their times, else by their place in the course."""
        told = first.came_before(second)
        if told is not None:
            return told
        places = {id(one): place for place, one in enumerate(self.entries)}
        return places[id(first)] < places[id(second)]

    def at(self, stage: Stage) -> tuple[CourseEntry, ...]:
        """The lengths of one stage, in the order they were read."""
        found: list[CourseEntry] = []
        for entry in (one for one in self.entries if one.stage is stage):
            place = next((n for n, other in enumerate(found) if self.came_before(entry, other)), len(found))
            found.insert(place, entry)
        return tuple(found)

    @property
    def stages(self) -> tuple[Stage, ...]:
        """The stages that have a length, in the order of a treatment."""
        return tuple(stage for stage in Stage if any(one.stage is stage for one in self.entries))

    @property
    def title(self) -> str:
        """Name of the canal for people."""
        named = title_of(CaseFacts(self.canal, self.tooth))
        return f"{named} ({self.subject})" if self.subject else named
