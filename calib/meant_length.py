"""Which file length was really meant: a stated length against what else is known of the image's scale.

A wrong file length makes the whole scale wrong by a ratio, such as 25/21. The detector pitch, or another
scale, says independently what the scale can be, within the limits of magnification and tilt.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, isfinite, log
from typing import Literal

from calib.errors import CalibrationError
from calib.evidence import Evidence, Expected
from calib.instruments import STANDARD_LENGTHS_MM
from calib.pitch import MM_PER_INCH
from calib.scale import Scale

NOMINAL_LENGTHS_MM = (18.0, 19.0, 21.0, 23.0, 25.0, 27.0, 28.0, 29.0, 31.0)
"""Lengths files are sold in. 21, 25 and 31 are verified, the others from memory of the trade."""
ALARM_LEVEL = 0.02
"""Share of right lengths that is called suspicious where the model holds: the false alarms accepted."""

_GREATEST_ODDS = 1000.0
# Slips are named where their odds are within this factor of the best.
_NAMED_WITHIN = 0.1
# Lengths a file can have, for slips of the decimal point or the unit.
_SHORTEST_MM, _LONGEST_MM = 10.0, 40.0


@dataclass(frozen=True)
class OtherLength:
    """A length that may have been meant instead of the stated one.

    Parameters
    ----------
    length_mm : float
    slip : str
        How the stated one would have come about.
    odds : float
        How many times likelier the image is with this length than with the stated one. What was likelier
        beforehand is not in it.
    noticed : float
        Share of such slips that would be called suspicious with evidence as good as this; where it is far
        from 1, the two lengths cannot be told apart.
    """

    length_mm: float
    slip: str
    odds: float
    noticed: float


@dataclass(frozen=True)
class MeantLength:
    """Whether a stated file length fits the image, and which other would.

    Parameters
    ----------
    stated_mm : float
    verdict : {"consistent", "suspicious"}
    ratio : float
        Evidence over scale: the implied magnification, where the evidence is the pitch.
    p_value : float
        Share of images with the stated length that would fit as badly or worse; below
        :data:`ALARM_LEVEL` the length is suspicious.
    fits_mm : tuple of float
        File lengths that would not be suspicious.
    others : tuple of OtherLength
        Slips, the likeliest first. Where the length is consistent, those that would fit as well.
    could_be : tuple of OtherLength
        Every slip looked at, in order of length.
    basis : str
    """

    stated_mm: float
    verdict: Literal["consistent", "suspicious"]
    ratio: float
    p_value: float
    fits_mm: tuple[float, float]
    others: tuple[OtherLength, ...]
    could_be: tuple[OtherLength, ...]
    basis: str

    @property
    def suspicious(self) -> bool:
        """Whether the stated length does not fit."""
        return self.verdict == "suspicious"

    @property
    def words(self) -> str:
        """The judgement in one or two sentences."""
        low, high = self.fits_mm
        fits = f"a file of {low:.1f} to {high:.1f} mm would fit the image"
        named = "; ".join(f"{one.length_mm:g} mm ({one.slip}) {_odds_words(one.odds)}" for one in self.others)
        if self.suspicious:
            rest = f"{named}." if named else "No usual slip explains it."
            return f"The stated file length of {self.stated_mm:g} mm does not fit: {fits}. {rest}"
        doubt = f" Not to be told from it: {named}." if named else ""
        return f"The stated file length of {self.stated_mm:g} mm fits: {fits}.{doubt}"


def _odds_words(odds: float) -> str:
    if odds >= _GREATEST_ODDS:
        return f"is more than {_GREATEST_ODDS:g} times likelier"
    return f"is {odds:.2g} times as likely" if odds < 10 else f"is {odds:.0f} times likelier"


def meant_length(
    stated_mm: float, scale: Scale, evidence: Evidence, *, start_at: Literal["stop", "handle"] = "stop"
) -> MeantLength:
    """Judge a stated file length by what else is known of the scale.

    Were the stated length right, the ratio of the evidence to the scale could only be what magnification,
    lean and measuring allow. A ratio in the outer 2 % of that is suspicious. Other lengths are weighed by the
    likelihood of the ratio under each. Only slips that have a name are looked at: another standard length
    (where the length counts from the handle, any length files are sold in), a decimal point, inches. A
    length set by a stop may be anything, so `fits_mm` tells more than any list.

    Lengths closer than the range of magnification cannot be told apart for certain: with a pitch alone
    25 mm and 28 mm differ by 12 %, no more than magnification and lean do. `OtherLength.noticed` says how
    often such a slip would be noticed.

    Parameters
    ----------
    stated_mm : float
        Stated length of the file.
    scale : Scale
        Made from it.
    evidence : PitchEvidence or ScaleEvidence
        Independent of it.
    start_at : {"stop", "handle"}
        Where the stated length begins.

    Returns
    -------
    MeantLength

    Raises
    ------
    CalibrationError
        The stated length is not positive, or `start_at` another word.
    """
    if not (stated_mm > 0 and isfinite(stated_mm)):
        raise CalibrationError(f"The stated file length is {stated_mm:g} mm; it must be above 0.")
    if start_at not in ("stop", "handle"):
        raise CalibrationError(f"The length is counted from {start_at!r}; allowed are 'stop' and 'handle'.")
    expected = Expected.of(evidence, scale.relative_sd)
    seen = log(evidence.mm_per_px / scale.mm_per_px)
    low, high = expected.quantile(ALARM_LEVEL / 2), expected.quantile(1 - ALARM_LEVEL / 2)
    suspicious = not low <= seen <= high
    could_be = []
    for length_mm, slip in sorted(_slips(stated_mm, start_at)):
        shift = log(stated_mm / length_mm)
        odds = expected.density(seen + shift) / expected.density(seen)
        noticed = 1 - (expected.below(high + shift) - expected.below(low + shift))
        could_be.append(OtherLength(length_mm, slip, odds, noticed))
    best = max((one.odds for one in could_be), default=0.0)
    least = max(best * _NAMED_WITHIN, 1.0) if suspicious else _NAMED_WITHIN
    return MeantLength(
        stated_mm,
        "suspicious" if suspicious else "consistent",
        exp(seen),
        min(1.0, 2 * min(expected.below(seen), 1 - expected.below(seen))),
        (stated_mm * exp(seen - high), stated_mm * exp(seen - low)),
        tuple(sorted((one for one in could_be if one.odds > least), key=lambda one: -one.odds)),
        tuple(could_be),
        evidence.basis,
    )


def _slips(stated_mm: float, start_at: str) -> Iterator[tuple[float, str]]:
    """Lengths that may have been meant, each once, with what would have happened."""
    sold = NOMINAL_LENGTHS_MM if start_at == "handle" else STANDARD_LENGTHS_MM
    if start_at == "handle" or stated_mm in sold:
        for length_mm in sold:
            if length_mm != stated_mm:
                yield length_mm, f"{stated_mm:g} mm entered for {length_mm:g} mm"
    for factor, words in (
        (10.0, "decimal point one place too far left"),
        (0.1, "decimal point one place too far right"),
        (MM_PER_INCH, "inches entered as millimetres"),
        (1 / MM_PER_INCH, "millimetres multiplied by 25.4"),
    ):
        if _SHORTEST_MM <= stated_mm * factor <= _LONGEST_MM:
            yield stated_mm * factor, words
