"""What a person states of an electronic length reading, and the length they chose in the end."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Literal, get_args

from radio.errors import PeriapicalError, echoed

Mark = Literal["zero", "half"]
CanalState = Literal["dry", "moist", "flooded"]
Resorption = Literal["none", "internal", "external"]
Basis = Literal["radiographic", "electronic", "other"]

MARKS: tuple[str, ...] = get_args(Mark)
CANAL_STATES: tuple[str, ...] = get_args(CanalState)
RESORPTIONS: tuple[str, ...] = get_args(Resorption)
BASES: tuple[str, ...] = get_args(Basis)

# Lengths of a file at which a reading can stand, mm: from a short deciduous canal to beyond the longest file
SHORTEST_MM, LONGEST_MM = 5.0, 40.0

# Repeats further apart are not readings of one length: common practice, no source. It is the difference at
# which textbooks have a reading repeated (from memory); none was found that averages such readings.
MOST_APART_MM = 1.0

# Name of the flag and what a yes means.
YES_NO_FLAGS = {
    "bleeding": "bleeding or exudate in the canal",
    "metal_contact": "contact with a metal restoration, or caries that lets saliva in",
    "previous_filling": "remains of a previous root filling",
    "open_apex": "open or immature apex",
    "suspected_perforation": "suspected perforation",
    "patency": "a small file passes freely to the end of the canal",
}
# Every fact on the state of the canal; None is "not stated".
FLAGS = ("canal_state", "resorption", *YES_NO_FLAGS)


@dataclass(frozen=True, kw_only=True)
class ReadingFacts:
    """What may be stated of an electronic reading besides its length and mark.

    Parameters
    ----------
    repeats_mm : tuple of float
        Further readings at the same mark with the same file, mm; the first is not given again.
    file_size : int or None
        ISO 3630-1 size of the file the reading was taken with.
    canal_state : {"dry", "moist", "flooded"} or None
    resorption : {"none", "internal", "external"} or None
    bleeding, metal_contact, previous_filling, open_apex, suspected_perforation, patency : bool or None
        See :data:`YES_NO_FLAGS`. None means that it was not stated, which is not the same as no.
    time : str
        When, as ISO 8601 text, or empty.

    Raises
    ------
    PeriapicalError
        A length outside the limits, an unknown word, a size below 1, or a time that is not ISO 8601.
    """

    repeats_mm: tuple[float, ...] = ()
    file_size: int | None = None
    canal_state: CanalState | None = None
    resorption: Resorption | None = None
    bleeding: bool | None = None
    metal_contact: bool | None = None
    previous_filling: bool | None = None
    open_apex: bool | None = None
    suspected_perforation: bool | None = None
    patency: bool | None = None
    time: str = ""

    def __post_init__(self) -> None:
        for length in self.repeats_mm:
            _check_length("electronic reading", length)
        _check_word("canal state", self.canal_state, CANAL_STATES)
        _check_word("resorption", self.resorption, RESORPTIONS)
        for name in YES_NO_FLAGS:
            given = getattr(self, name)
            if given not in (None, True, False):
                raise PeriapicalError(f"{name}: given {given!r}; allowed is True, False or None.")
        if self.file_size is not None and self.file_size < 1:
            raise PeriapicalError(
                f"file size: given {self.file_size}; allowed is a size of ISO 3630-1, from 6 to 140."
            )
        check_time(self.time)

    @property
    def stated_flags(self) -> tuple[str, ...]:
        """Names of the facts on the canal that were stated."""
        return tuple(name for name in FLAGS if getattr(self, name) is not None)


@dataclass(frozen=True)
class Reading(ReadingFacts):
    """One electronic length reading of one canal; what else was stated of it stands in its base.

    Parameters
    ----------
    mm : float
        Length of the file at which the reading stood, mm; 5 to 40.
    mark : {"zero", "half"} or None
        The mark it was taken at; None where it was not noted.
    tooth, canal : str
        Labels.

    Raises
    ------
    PeriapicalError
        As of :class:`ReadingFacts`, or the length or the mark is none.
    """

    mm: float
    mark: Mark | None = None
    tooth: str = ""
    canal: str = "1"

    def __post_init__(self) -> None:
        super().__post_init__()
        _check_length("electronic reading", self.mm)
        _check_word("electronic mark", self.mark, MARKS)

    @classmethod
    def of(
        cls, mm: float, mark: Mark | None, stated: ReadingFacts, *, tooth: str = "", canal: str = "1"
    ) -> Reading:
        """Make a reading from its length and mark and what else was stated of it."""
        more = {one.name: getattr(stated, one.name) for one in fields(ReadingFacts)}
        return cls(mm, mark, tooth, canal, **more)

    @property
    def all_mm(self) -> tuple[float, ...]:
        """All readings, the first one first."""
        return (self.mm, *self.repeats_mm)

    @property
    def mean_mm(self) -> float:
        """Mean of the readings themselves; nothing of the radiograph is in it."""
        return statistics.fmean(self.all_mm)

    @property
    def spread_mm(self) -> float | None:
        """Standard deviation of the repeated readings (n - 1), or None of one."""
        return statistics.stdev(self.all_mm) if self.repeats_mm else None

    @property
    def range_mm(self) -> float:
        """Longest minus shortest of the readings; 0 of one."""
        return max(self.all_mm) - min(self.all_mm)

    @property
    def scattered(self) -> str:
        """Why the readings are not one length, as one sentence; empty where they are."""
        if self.range_mm <= MOST_APART_MM + 1e-9:
            return ""
        given = ", ".join(f"{length:g}" for length in self.all_mm)
        return (
            f"The repeated readings {given} mm lie {self.range_mm:.2f} mm apart, more than "
            f"{MOST_APART_MM:g} mm: they are not one length and are not compared. Look for a "
            "mistyped one, or read again."
        )


@dataclass(frozen=True)
class Choice:
    """The length that a person chose, with what it rests on and why; the tool never makes one.

    Parameters
    ----------
    mm : float
        Length chosen, mm; 5 to 40.
    basis : {"radiographic", "electronic", "other"}
        Which length it was taken from.
    reason : str
        Why; not empty.
    reader, time : str
        Who chose and when (ISO 8601), or empty.

    Raises
    ------
    PeriapicalError
        A length outside the limits, an unknown basis, no reason, or a time that is not ISO 8601.
    """

    mm: float
    basis: Basis
    reason: str
    reader: str = ""
    time: str = ""

    def __post_init__(self) -> None:
        _check_length("chosen length", self.mm)
        if self.basis not in BASES:
            told = f"basis of the chosen length: given {echoed(self.basis)}"
            raise PeriapicalError(f"{told}; allowed is one of {_or(BASES)}.")
        if not self.reason.strip():
            raise PeriapicalError(
                "The chosen length has no reason; write in a few words why this length was taken."
            )
        check_time(self.time)


def _check_length(name: str, mm: float) -> None:
    if not (math.isfinite(mm) and SHORTEST_MM <= mm <= LONGEST_MM):
        raise PeriapicalError(
            f"{name}: given {mm:g} mm; allowed is {SHORTEST_MM:g} to {LONGEST_MM:g} mm, the length of the "
            "file from stop to tip."
        )


def _check_word(name: str, word: str | None, allowed: Sequence[str]) -> None:
    if word is not None and word not in allowed:
        raise PeriapicalError(f"{name}: given {echoed(word)}; allowed is one of {_or(allowed)}, or nothing.")


def _or(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


def check_time(text: str) -> None:
    """Refuse a time that is not ISO 8601; empty means not stated.

    Raises
    ------
    PeriapicalError
        It is not; the text shows how it may be written.
    """
    if not text:
        return
    try:
        datetime.fromisoformat(text)
    except ValueError as problem:
        raise PeriapicalError(
            f"time: given {echoed(text)}; allowed is a date or date and time as 2026-03-14 or "
            "2026-03-14T09:30."
        ) from problem
