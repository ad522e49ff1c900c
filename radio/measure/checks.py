"""Pre-flight checks of one canal: the catalogue, what it finds, and what a stop takes away.

A stop withholds the numbers that rest on what is in doubt, until it is answered or put right; a warning and a
note stand beside them. Angles are given without a scale.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from radio.errors import PeriapicalError, echoed
from radio.measure.case import CaseResult
from radio.measure.check_rules.between import BETWEEN_RULES, checks_between
from radio.measure.check_rules.contract import Answer, Check, CheckRule, Withheld, answer_to
from radio.measure.check_rules.course import COURSE_RULES
from radio.measure.check_rules.curves import CURVE_RULES
from radio.measure.check_rules.image import IMAGE_RULES
from radio.measure.check_rules.lines import LINE_RULES
from radio.measure.check_rules.scale import SCALE_RULES
from radio.measure.check_rules.seen import Seen
from radio.measure.check_rules.tip import TIP_RULES
from radio.measure.check_rules.tooth import TOOTH_RULES

RULES: tuple[CheckRule, ...] = tuple(
    sorted(
        (
            *SCALE_RULES,
            *IMAGE_RULES,
            *LINE_RULES,
            *CURVE_RULES,
            *TOOTH_RULES,
            *TIP_RULES,
            *COURSE_RULES,
            *BETWEEN_RULES,
        ),
        key=lambda rule: int(rule.id[1:]),
    )
)
"""Every check, in order of its number."""
_BY_ID = {rule.id: rule for rule in RULES}
LEVELS = ("stop", "warn", "note")


def rule_of(text: str) -> CheckRule:
    """Find a check by its number, with or without the letter: ``"P9"``, ``"9"``.

    Raises
    ------
    PeriapicalError
        There is none of that number.
    """
    number = text.strip().upper().removeprefix("P")
    rule = _BY_ID.get(f"P{int(number)}") if number.isascii() and number.isdigit() else None
    if rule is None:
        raise PeriapicalError(
            f"There is no check {text!r}; they are numbered 1 to {len(RULES)} (P1 to P{len(RULES)}). "
            "`periapical checks` lists them."
        )
    return rule


def answer_given(check: str, word: str, note: str = "") -> Answer:
    """Make an answer of what a person wrote.

    Raises
    ------
    PeriapicalError
        There is no such check, or it is not answered with that word; the text lists those it is.
    """
    rule = rule_of(check)
    if not rule.answers:
        raise PeriapicalError(f"Check {rule.id[1:]} ({rule.title}) is not answered: it must be put right.")
    said = word.strip().casefold()
    if said not in rule.answers:
        raise PeriapicalError(
            f"given {echoed(word)} to check {rule.id[1:]} ({rule.question or rule.title}); allowed is "
            f"{' or '.join(rule.answers)}"
        )
    return Answer(rule.id, said, " ".join(note.split()))


def run_checks(seen: Seen) -> tuple[Check, ...]:
    """Everything the checks of one canal find, in order of their numbers."""
    return tuple(check for rule in RULES if rule.where == "canal" for check in rule.checks(seen))


def withheld_by(checks: Iterable[Check], what: Withheld) -> Check | None:
    """Find a stop that is not settled and puts `what` in doubt."""
    return next(
        (one for one in checks if one.level == "stop" and not one.settled and what in one.withholds), None
    )


def open_questions(result: CaseResult) -> tuple[CheckRule, ...]:
    """Checks that ask a person and were not answered for a canal."""
    return tuple(rule for rule in RULES if rule.question and answer_to(rule.id, result.facts.answers) is None)


def with_checks_between(results: Sequence[CaseResult]) -> list[CaseResult]:
    """Results of one image, each with what the others say about it."""
    return [
        replace(one, checks=ordered((*one.checks, *more))) if more else one
        for one, more in zip(results, checks_between(results), strict=True)
    ]


def ordered(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Checks by their numbers."""
    return tuple(sorted(checks, key=lambda one: int(one.id[1:])))
