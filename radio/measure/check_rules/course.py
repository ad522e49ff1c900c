"""Checks of a treatment's course; they look at several lengths and are judged where the course is."""

from __future__ import annotations

from radio.measure.check_rules.contract import Check, CheckRule, Found, Level

COURSE_RULES = (
    CheckRule(
        "P22",
        "stages that can be compared",
        "warn",
        "order of the stages, and reference, method, basis and file of each length",
        "Lengths read in different ways do not show a change",
        "reasoning of this program",
        where="course",
    ),
    CheckRule(
        "P23",
        "change against repeat error",
        "warn",
        "change from stage to stage against 2.77 times the reader's own standard deviation",
        "Least significant change, as for bone levels (Hildebolt 2009, Oral Surg 108:e96)",
        "the idea verified; the factor follows by arithmetic",
        where="course",
    ),
    CheckRule(
        "P24",
        "longer after shaping",
        "warn",
        "sign of the change",
        "Shaping does not lengthen a canal: reference, stop or perforation",
        "reasoning of this program; the causes from memory",
        where="course",
    ),
)
_BY_ID = {rule.id: rule for rule in COURSE_RULES}


def course_check(identifier: str, level: Level, seen: str, do: str) -> Check:
    """A finding about a course, by one of its rules."""
    (check,) = _BY_ID[identifier].made([Found(level, seen, do)], ())
    return check
