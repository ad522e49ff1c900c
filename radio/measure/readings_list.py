"""A whole list of electronic readings beside radiographic lengths, each mark for itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import get_args

from radio.measure.case import Remark
from radio.measure.chosen_length import choice_remarks
from radio.measure.differences import Differences, Share, describe_differences, share_of
from radio.measure.electronic import (
    TOLERANCES_MM,
    Comparison,
    Verdict,
    compare,
    unstable_notes,
    within,
)
from radio.measure.reading import MARKS, Choice, Reading
from radio.measure.result import Measurement

NOT_STATED = "not stated"
VERDICTS: tuple[Verdict, ...] = get_args(Verdict)


@dataclass(frozen=True)
class ListedReading:
    """One reading of a list, with the length it is compared with.

    Parameters
    ----------
    line : int
        Line of the table it stands in.
    image, subject : str
        Which image, which person or tooth specimen; at least one of them.
    reading : Reading
        With tooth and canal.
    radiographic : Measurement
        Length to the radiographic apex, mm.
    choice : Choice or None
        The length that was chosen, where it is recorded.
    notes : tuple of str
        What must be said of the row.
    """

    line: int
    image: str
    subject: str
    reading: Reading
    radiographic: Measurement
    choice: Choice | None = None
    notes: tuple[str, ...] = ()

    @property
    def whose(self) -> tuple[str, str]:
        """Image and subject, which tell one tooth from another."""
        return self.image, self.subject


@dataclass(frozen=True)
class ComparedReading:
    """One reading of a list, compared; `remarks` are those of its row."""

    listed: ListedReading
    comparison: Comparison
    remarks: tuple[Remark, ...]


@dataclass(frozen=True)
class MarkAgreement:
    """Agreement of the readings taken at one mark with the radiograph.

    Parameters
    ----------
    mark : {"zero", "half", "not stated"}
    compared : tuple of ComparedReading
    canals : int
        Different canals among them.
    differences : Differences
        Electronic minus radiographic, mm.
    shares : mapping of float to Share
        Share of differences within a tolerance, by tolerance in mm.
    verdicts : mapping of str to int
        How often each verdict fell.
    surely_within : int
        Readings whose whole 95 % interval lies within the tolerance.
    notes : tuple of str
    """

    mark: str
    compared: tuple[ComparedReading, ...]
    canals: int
    differences: Differences
    shares: Mapping[float, Share]
    verdicts: Mapping[Verdict, int]
    surely_within: int
    notes: tuple[str, ...]


@dataclass(frozen=True)
class ComparedList:
    """A whole list compared; marks are kept apart."""

    tolerance_mm: float
    compared: tuple[ComparedReading, ...]
    by_mark: tuple[MarkAgreement, ...]


def compare_list(listed: Sequence[ListedReading], tolerance_mm: float = 0.5) -> ComparedList:
    """Compare every reading of a list, and say for each mark how readings and radiographs agree.

    Parameters
    ----------
    listed : sequence of ListedReading
    tolerance_mm : float
        Difference that is accepted, mm.

    Returns
    -------
    ComparedList

    Raises
    ------
    PeriapicalError
        The tolerance is not a positive number.
    """
    compared = tuple(_compared(one, tolerance_mm) for one in listed)
    groups = [(mark, tuple(one for one in compared if _mark(one) == mark)) for mark in (*MARKS, NOT_STATED)]
    by_mark = tuple(_agreement(mark, group, tolerance_mm) for mark, group in groups if group)
    return ComparedList(tolerance_mm, compared, by_mark)


def _mark(one: ComparedReading) -> str:
    return one.listed.reading.mark or NOT_STATED


def _compared(one: ListedReading, tolerance_mm: float) -> ComparedReading:
    comparison = compare(one.radiographic, one.reading, tolerance_mm)
    remarks = [Remark("note", note) for note in one.notes]
    remarks += [Remark("warn", note) for note in unstable_notes(one.reading)]
    if one.choice is not None:
        remarks += choice_remarks(comparison, one.choice)
    return ComparedReading(one, comparison, tuple(remarks))


def _agreement(mark: str, group: tuple[ComparedReading, ...], tolerance_mm: float) -> MarkAgreement:
    values = [one.comparison.difference.value for one in group]
    shares = {
        tolerance: share_of(sum(within(value, tolerance) for value in values), len(values))
        for tolerance in sorted({*TOLERANCES_MM, tolerance_mm})
    }
    fallen = Counter(one.comparison.verdict for one in group)
    canals = len({(*one.listed.whose, one.listed.reading.tooth, one.listed.reading.canal) for one in group})
    return MarkAgreement(
        mark,
        group,
        canals,
        describe_differences(values),
        shares,
        {verdict: fallen[verdict] for verdict in VERDICTS},
        sum(one.comparison.surely_within for one in group),
        tuple(_notes(mark, group, canals, tolerance_mm)),
    )


def _notes(mark: str, group: Sequence[ComparedReading], canals: int, tolerance_mm: float) -> list[str]:
    notes = ["Two methods are compared, neither is the truth: the radiograph does not show the foramen."]
    if mark == "half":
        notes.append("Half mark: the numbers between marks are not millimetres.")
    elif mark == NOT_STATED:
        notes.append("Mark not stated: zero and half may be mixed here.")
    if len(group) == 1:
        notes.append("One reading has no spread: no limits of agreement.")
    elif canals < len(group):
        notes.append(
            f"{len(group)} readings of {canals} canals are counted as independent: intervals are too narrow."
        )
    people = {one.listed.subject for one in group if one.listed.subject}
    if people and len(people) < canals:
        notes.append(
            f"Canals of one subject are counted as independent ({canals} canals of {len(people)} subjects): "
            "intervals may be too narrow."
        )
    if any(one.listed.radiographic.sd is None for one in group):
        notes.append(
            "The uncertainty of some radiographic lengths is not known; their verdicts are too sure."
        )
    halves = [1.96 * (one.comparison.difference.sd or 0.0) for one in group]
    if min(halves) > tolerance_mm:
        notes.append(
            f"No reading can surely lie within {tolerance_mm:g} mm, whatever it is: the narrowest 95 % "
            f"interval is ± {min(halves):.2f} mm."
        )
    return notes
