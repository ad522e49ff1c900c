"""An electronic length reading set beside the radiographic length; never averaged with it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from radio.errors import PeriapicalError
from radio.measure.case import Remark
from radio.measure.disagreement import FittingCause, fitting_causes
from radio.measure.reading import Reading
from radio.measure.result import Measurement

# Electronic readings are commonly taken as good to ± 0.5 mm, about a 95 % interval.
# Common practice, no source.
ELECTRONIC_SD_MM = 0.25

# Strict and lenient tolerance, the only ones that can be stated: 0.5 mm by several reviews in open access,
# 1.0 mm from memory. Beyond 1 mm a reading is repeated, so that no larger difference can be accepted.
TOLERANCES_MM = (0.5, 1.0)

# Repeated readings further apart than this are not one length: common practice, no source.
_UNSTABLE_MM = 0.5


@dataclass(frozen=True)
class Advice:
    """What is commonly advised where two lengths differ by more than `over_mm`, with its standing."""

    over_mm: float
    level: Literal["warn", "note"]
    do: str
    standing: str

    @property
    def text(self) -> str:
        """All of it as one sentence."""
        return f"more than {self.over_mm:g} mm: {self.do} ({self.standing})."


# the largest first
ADVICE = (
    Advice(
        1.0,
        "warn",
        "do not average; repeat the reading and check stop, reference and mark before either is used",
        "textbook rule, from memory",
    ),
    Advice(
        0.5,
        "note",
        "check mark, stop and reference, and repeat the reading with a file that fits the canal",
        "a textbook chapter; threshold from memory",
    ),
)

# By the difference itself. The 95 % interval of one reading is ± 0.5 mm and could never lie within that:
# it is told beside, and decides only whether "beyond" is in doubt.
Verdict = Literal["within", "beyond, in doubt", "beyond"]

_NEVER = "The two lengths are compared, never averaged."


@dataclass(frozen=True)
class Comparison:
    """One reading beside one radiographic length.

    Parameters
    ----------
    reading : Reading
    electronic : Measurement
        ``electronic_mm``: mean of the readings themselves.
    radiographic : Measurement
        Length to the radiographic apex.
    difference : Measurement
        ``electronic_difference_mm``: electronic minus radiographic; the last of its notes tells the verdict.
    tolerance_mm : float
        Difference that is accepted.
    verdict : {"within", "beyond, in doubt", "beyond"}
        Whether the difference lies within the tolerance or beyond it; in doubt where its 95 % interval
        reaches back within.
    causes : tuple of FittingCause
        What may be behind the difference, where it is larger than the tolerance.
    """

    reading: Reading
    electronic: Measurement
    radiographic: Measurement
    difference: Measurement
    tolerance_mm: float
    verdict: Verdict
    causes: tuple[FittingCause, ...]

    @property
    def exceeds(self) -> bool:
        """Whether the difference itself, its uncertainty apart, is larger than the tolerance."""
        return self.verdict != "within"

    @property
    def to_be_told(self) -> bool:
        """Whether there is advice to give: beyond the tolerance, or of a size that no tolerance accepts."""
        return self.exceeds or not within(self.difference.value, max(TOLERANCES_MM))

    @property
    def surely_within(self) -> bool:
        """Whether the whole 95 % interval lies within the tolerance."""
        return all(within(end, self.tolerance_mm) for end in _ends(self.difference))


def electronic_length(reading: Reading) -> Measurement:
    """Length by the readings alone: their mean, with their spread and the tolerance of the method.

    Standard uncertainty: 0.25 mm for what repeating does not lessen, with s / sqrt(n) of the repeats
    (JCGM 100:2008, 4.2.3).

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    Measurement
        ``electronic_mm``.
    """
    n, spread = len(reading.all_mm), reading.spread_mm
    sd = ELECTRONIC_SD_MM if spread is None else math.hypot(ELECTRONIC_SD_MM, spread / math.sqrt(n))
    given = ", ".join(f"{length:g}" for length in reading.all_mm)
    return Measurement(
        "electronic_mm",
        reading.mean_mm,
        "mm",
        sd,
        f"electronic reading (mark: {reading.mark or 'not stated'})"
        + ("" if spread is None else f", mean of {n} readings,"),
        f"readings {given} mm" if spread is not None else f"reading {given} mm",
        tuple(_notes_of(reading)),
    )


def _notes_of(reading: Reading) -> list[str]:
    notes = []
    if reading.mark == "half":
        notes.append("Read at the half mark: the numbers between marks are not millimetres.")
    elif reading.mark is None:
        notes.append("Mark not stated: a reading without its mark is ambiguous.")
    return [*notes, *unstable_notes(reading)]


def unstable_notes(reading: Reading) -> list[str]:
    """A sentence on repeated readings that lie far apart, or nothing."""
    if within(reading.range_mm, _UNSTABLE_MM):
        return []
    apart = f"The repeated readings lie {reading.range_mm:g} mm apart, more than {_UNSTABLE_MM:g} mm"
    return [f"{apart}: unstable, read again."]


def electronic_difference(radiographic: Measurement, reading: Reading) -> Measurement:
    """Electronic reading minus radiographic length, with the uncertainty of both.

    Parameters
    ----------
    radiographic : Measurement
        Length to the radiographic apex, mm.
    reading : Reading

    Returns
    -------
    Measurement
        ``electronic_difference_mm``; positive when the electronic length is the longer one.
    """
    electronic = electronic_length(reading)
    notes = [_NEVER, *electronic.notes]
    if radiographic.sd is None:
        notes.append(
            "The uncertainty of the radiographic length is not known: that of the difference is too small."
        )
    return Measurement(
        "electronic_difference_mm",
        electronic.value - radiographic.value,
        "mm",
        math.hypot(electronic.sd or 0.0, radiographic.sd or 0.0),
        f"{electronic.method} minus length to radiographic apex",
        f"{electronic.basis}; {radiographic.basis}",
        tuple(notes),
    )


def compare(radiographic: Measurement, reading: Reading, tolerance_mm: float = 0.5) -> Comparison:
    """Set a reading beside a radiographic length and judge the difference.

    Parameters
    ----------
    radiographic : Measurement
        Length to the radiographic apex, mm.
    reading : Reading
    tolerance_mm : float
        Difference that is accepted, mm; usual are 0.5 and 1.0.

    Returns
    -------
    Comparison

    Raises
    ------
    PeriapicalError
        The tolerance is not a positive number, or the readings are not one length.
    """
    if reading.scattered:
        raise PeriapicalError(reading.scattered)
    difference = electronic_difference(radiographic, reading)
    verdict = judged(difference, tolerance_mm)
    told = judged_text(difference, tolerance_mm)
    difference = replace(difference, notes=(*difference.notes, told))
    causes = () if verdict == "within" else fitting_causes(difference.value, reading)
    return Comparison(
        reading, electronic_length(reading), radiographic, difference, tolerance_mm, verdict, causes
    )


def judged(difference: Measurement, tolerance_mm: float) -> Verdict:
    """Whether a difference lies within ± a tolerance or beyond, and whether "beyond" is in doubt.

    In doubt is a difference whose 95 % interval reaches back within the tolerance.

    Raises
    ------
    PeriapicalError
        The tolerance is not a positive number.
    """
    if not (math.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise PeriapicalError(
            f"tolerance: given {tolerance_mm:g} mm; allowed is a length above 0; usual are 0.5 and 1.0 mm."
        )
    if within(difference.value, tolerance_mm):
        return "within"
    low, high = _ends(difference)
    return "beyond" if low > tolerance_mm or high < -tolerance_mm else "beyond, in doubt"


def judged_text(difference: Measurement, tolerance_mm: float) -> str:
    """Tell where a difference lies and where its 95 % interval reaches, as one sentence."""
    verdict, ends = judged(difference, tolerance_mm), _ends(difference)
    place = "within" if verdict == "within" else "beyond"
    told = f"The difference {difference.value:+.2f} mm lies {place} {tolerance_mm:g} mm"
    interval = f"95 % interval, {ends[0]:+.2f} to {ends[1]:+.2f} mm"
    if verdict == "beyond, in doubt":
        return f"{told}; its {interval}, reaches back within."
    if verdict == "within" and not all(within(end, tolerance_mm) for end in ends):
        return f"{told}; its {interval}, reaches beyond."
    return f"{told}, and so does its whole {interval}."


def _ends(difference: Measurement) -> tuple[float, float]:
    return difference.interval95 or (difference.value, difference.value)


def within(difference_mm: float, tolerance_mm: float) -> bool:
    """Whether a difference is at most a tolerance; one that is equal to it on the ruler counts as within."""
    return abs(difference_mm) <= tolerance_mm + 1e-9


def advice_on(difference_mm: float) -> Advice | None:
    """What is commonly advised at a difference of this size, or None of a small one."""
    return next((one for one in ADVICE if not within(difference_mm, one.over_mm)), None)


def comparison_remarks(one: Comparison) -> tuple[Remark, ...]:
    """What must be said beside a difference: what to do, and what may be behind it."""
    advice = advice_on(one.difference.value)
    remarks = []
    if advice is not None:
        told = f"Electronic reading and radiograph differ by {one.difference.value:+.2f} mm"
        remarks.append(Remark(advice.level, f"{told}, {advice.text}"))
    if one.causes:
        remarks.append(Remark("note", causes_text(one)))
    return tuple(remarks)


def causes_text(one: Comparison) -> str:
    """Name the causes that fit, those that the reading states first, and what was not stated."""
    direction = "longer" if one.difference.value > 0 else "shorter"
    stated = "; ".join(cause.cause.title for cause in one.causes if cause.stated)
    possible = "; ".join(cause.cause.title for cause in one.causes if not cause.stated)
    parts = [f"The electronic length is the {direction} one."]
    if stated:
        parts.append(f"Stated and fitting: {stated}.")
    if possible:
        parts.append(f"{'Also possible' if stated else 'Possible'}: {possible}.")
    if not one.reading.stated_flags:
        parts.append("The state of the canal was not stated: it rules none out.")
    return " ".join(parts)
