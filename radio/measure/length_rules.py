"""The subtraction from the radiographic apex, by named rule: a convention that a person chooses."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal, get_args

from radio.errors import PeriapicalError, echoed
from radio.measure.case import CaseFacts
from radio.measure.result import Measurement

Resorption = Literal["none", "bone", "bone+root"]
RESORPTIONS: tuple[str, ...] = get_args(Resorption)
BY_RESORPTION = "resorption"
_OWN = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(?:mm)?\s*:\s*(.*)", re.DOTALL)
LARGEST_MM = 5.0

CONVENTION = (
    "The subtraction is a convention, not a measurement: published means from constriction to apex run from "
    "0.43 to 1.23 mm (Wolf 2017 by micro-CT; Eur J Dent 2018 on sections; abstracts), and where the canal "
    "ends in this root is not known."
)
# how the method of a length ends that no rule was applied to
_UNCUT = "; no subtraction made"
_SLIDES = "verified on lecture slides, not in the book"
_WEINE = "Weine, Endodontic Therapy"
_TWO_SLIDES = "verified on two independent sets of lecture slides, not in the book"


@dataclass(frozen=True)
class LengthRule:
    """How much is taken off the length to the radiographic apex.

    Parameters
    ----------
    name : str
        Short name for tables, e.g. ``"1"``, ``"resorption (bone)"`` or ``"0.7: wide foramen seen"``.
    subtract_mm : float
        What is taken off, mm.
    title : str
        The rule in words.
    source : str
        Where it stands.
    standing : str
        How far that was verified.
    """

    name: str
    subtract_mm: float
    title: str
    source: str
    standing: str

    @property
    def told(self) -> str:
        """Rule, source and standing as one text."""
        return f"{self.title}; {self.source} ({self.standing})"


FIXED_RULES: Mapping[str, LengthRule] = {
    one.name: one
    for one in (
        LengthRule(
            "0.5",
            0.5,
            "apex minus 0.5 mm",
            "near end of the 0.5 to 1 mm short of the apex that Ingle teaches",
            f"{_SLIDES}; a page citing Grossman's Endodontic Practice agrees",
        ),
        LengthRule(
            "1",
            1.0,
            "apex minus 1 mm",
            f"Ingle, length on the image minus 1 mm; {_WEINE}, where nothing is resorbed",
            f"{_SLIDES}; a page citing Grossman's Endodontic Practice agrees with Ingle",
        ),
        LengthRule(
            "1.5",
            1.5,
            "apex minus 1.5 mm",
            f"{_WEINE}, who takes it where bone is resorbed",
            _TWO_SLIDES,
        ),
        LengthRule(
            "2",
            2.0,
            "apex minus 2 mm",
            f"{_WEINE}, who takes it where bone and root are resorbed; far end of the 0.5 to 2 mm in which a "
            "filling counts as adequate (Int J Dent 2015:135120, Table 2)",
            f"{_TWO_SLIDES}; the table verified in open access",
        ),
    )
}
RESORPTION_RULES: Mapping[str, LengthRule] = {
    state: LengthRule(
        f"{BY_RESORPTION} ({state})", mm, f"by resorption: {words}, minus {mm:g} mm", _WEINE, _TWO_SLIDES
    )
    for state, mm, words in (
        ("none", 1.0, "none"),
        ("bone", 1.5, "bone"),
        ("bone+root", 2.0, "bone and root"),
    )
}


def rule_named(text: str, resorption: str | None = None) -> LengthRule | None:
    """Find a rule by what stands in a table or option.

    Parameters
    ----------
    text : str
        ``"0.5"``, ``"1"``, ``"1.5"`` or ``"2"``; ``"resorption"``; or the user's own, mm and the reason with
        a colon between them.
    resorption : {"none", "bone", "bone+root"} or None
        What the rule by resorption goes by.

    Returns
    -------
    LengthRule or None
        None of the rule by resorption where that is not stated.

    Raises
    ------
    PeriapicalError
        Another text, an own rule without a reason or of more than 5 mm, or an unknown resorption.
    """
    if resorption is not None and resorption not in RESORPTIONS:
        raise PeriapicalError(f"given {resorption!r}; allowed is one of {', '.join(RESORPTIONS)}")
    plain = text.strip().casefold()
    if plain == BY_RESORPTION:
        return None if resorption is None else RESORPTION_RULES[resorption]
    own = _OWN.fullmatch(text.strip())
    if own is not None:
        return own_rule(float(own[1].replace(",", ".")), own[2])
    fixed = plain.removesuffix("mm").strip().replace(",", ".")
    # spreadsheets write 1 as 1.0
    for name, rule in FIXED_RULES.items():
        if fixed in (name, f"{name}.0"):
            return rule
    raise PeriapicalError(
        f"given {echoed(text)}; allowed is one of {', '.join(FIXED_RULES)} (mm), {BY_RESORPTION}, or your "
        "own: mm, a colon and the reason, as in '0.7: wide foramen seen'"
    )


def own_rule(subtract_mm: float, reason: str) -> LengthRule:
    """Make a rule of the user's own.

    Raises
    ------
    PeriapicalError
        No reason, or not 0 to 5 mm.
    """
    reason = " ".join(reason.split())
    if not (math.isfinite(subtract_mm) and 0 <= subtract_mm <= LARGEST_MM):
        raise PeriapicalError(f"given {subtract_mm:g} mm; allowed to take off is 0 to {LARGEST_MM:g} mm")
    if not reason:
        raise PeriapicalError(
            f"given {subtract_mm:g} mm without a reason; an own rule is told with one, as in "
            f"'{subtract_mm:g}: wide foramen seen'"
        )
    name = f"{subtract_mm:g}: {reason}"
    return LengthRule(name, subtract_mm, f"apex minus {subtract_mm:g} mm", f"own: {reason}", "the user's own")


def canonical_name(text: str) -> str:
    """One way of writing a rule; the errors are those of :func:`rule_named`."""
    rule = rule_named(text)
    return BY_RESORPTION if rule is None else rule.name


def target_length(working_length: Measurement, rule: LengthRule) -> Measurement:
    """Length to work to: length to the radiographic apex minus what a rule takes off.

    Parameters
    ----------
    working_length : Measurement
        Length to the radiographic apex, mm.
    rule : LengthRule

    Returns
    -------
    Measurement
        ``target_length_mm``; the uncertainty is that of the length, for a convention has none.

    Raises
    ------
    PeriapicalError
        The rule takes off all of the length, or it is not in millimetres.
    """
    if working_length.unit != "mm" or not working_length.value > rule.subtract_mm:
        raise PeriapicalError(
            f"{rule.title} cannot be taken off {working_length}; it needs a longer length in millimetres."
        )
    return replace(
        working_length,
        name="target_length_mm",
        value=working_length.value - rule.subtract_mm,
        method=f"length to radiographic apex minus {rule.subtract_mm:g} mm, by rule",
        basis=f"{rule.told}; {working_length.method.removesuffix(_UNCUT)}; {working_length.basis}",
        notes=(CONVENTION, *working_length.notes),
        interval=None,
    )


def ruled_length(facts: CaseFacts, measurements: Mapping[str, Measurement]) -> Measurement | None:
    """Length that rules are taken off: one that is counted from where a file is set in the mouth.

    A working length counted from the handle of the file is none; the length from the coronal reference
    stands in for it.

    Parameters
    ----------
    facts : CaseFacts
    measurements : mapping of str to Measurement
        The working length goes before the estimate.

    Returns
    -------
    Measurement or None
    """
    if from_handle(facts, measurements):
        return measurements.get("reference_length_mm")
    return measurements.get("working_length_mm") or measurements.get("estimated_length_mm")


def from_handle(facts: CaseFacts, measurements: Mapping[str, Measurement]) -> bool:
    """Whether there is a working length that is counted from the handle of the file."""
    return facts.file_start_at == "handle" and "working_length_mm" in measurements


def why_no_target(facts: CaseFacts, measurements: Mapping[str, Measurement]) -> str:
    """Say why a rule gives no target length; empty where it gives one, or where none is stated.

    Parameters
    ----------
    facts : CaseFacts
    measurements : mapping of str to Measurement
    """
    if not facts.length_rule or target_of(facts, measurements) is not None:
        return ""
    if rule_named(facts.length_rule, facts.resorption) is None:
        return f"resorption is not given; the rule by resorption needs it: {', '.join(RESORPTIONS)}"
    if from_handle(facts, measurements) and ruled_length(facts, measurements) is None:
        return (
            "the working length is counted from the handle, and no coronal reference is marked: "
            "mark it, or set a stop at it and give the length from there"
        )
    return "there is no length to take the rule off"


def target_of(facts: CaseFacts, measurements: Mapping[str, Measurement]) -> Measurement | None:
    """Target length of a canal by the rule stated.

    Parameters
    ----------
    facts : CaseFacts
    measurements : mapping of str to Measurement
        As of :func:`ruled_length`.

    Returns
    -------
    Measurement or None
        None where no rule is stated, the rule by resorption lacks it, or there is no length to take it off;
        :func:`why_no_target` says which.
    """
    rule = rule_named(facts.length_rule, facts.resorption) if facts.length_rule else None
    length = ruled_length(facts, measurements)
    if rule is None or length is None or length.value <= rule.subtract_mm:
        return None
    return target_length(length, rule)
