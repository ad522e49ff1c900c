"""The lines of the list of checks, as text; no Qt."""

from __future__ import annotations

from dataclasses import dataclass, replace

from napari_periapical.number_rows import NumberRow, in_words
from napari_periapical.session import Session
from radio.measure.case import CaseResult
from radio.measure.check_rules.contract import Check, answer_to
from radio.measure.checks import open_questions, rule_of, with_checks_between

_ORDER = ("stop", "warn", "note")
# a sign beside the word, so that nothing hangs on colour
_LEVELS = {"stop": "!! STOP", "warn": "! Warning", "note": "· Note"}
_ASKED = "? Asked"
_AS_EXPOSED = "P19"


@dataclass(frozen=True)
class CheckRow:
    """One line of the list: what is shown of it, and how it can be answered.

    Parameters
    ----------
    check : str
        Its id.
    row : NumberRow
    answers : tuple of str
        Words it may be answered with.
    answer, note : str
        What was answered; empty where nothing was.
    """

    check: str
    row: NumberRow
    answers: tuple[str, ...]
    answer: str = ""
    note: str = ""


def result_with_neighbours(session: Session, uid: int) -> CaseResult | None:
    """Outcome shown for a canal, with what the other canals of the image say about it."""
    there = {canal.uid for canal in session.sheet.canals}
    shown = {key: one.result for key, one in session.shown.items() if key in there}
    results = {key: result for key, result in shown.items() if result is not None}
    judged = dict(zip(results, with_checks_between(list(results.values())), strict=True))
    return judged.get(uid)


def check_rows(result: CaseResult) -> tuple[CheckRow, ...]:
    """Make the lines: what was found, the gravest first and what is settled last, then what is asked."""
    found = sorted(result.checks, key=lambda one: (one.settled, _ORDER.index(one.level)))
    asked = [rule for rule in open_questions(result) if all(one.id != rule.id for one in found)]
    rows = [_found(one, result) for one in found]
    for rule in asked:
        details = f"{rule.question}\nBasis: {rule.basis} ({rule.standing})"
        rows.append(CheckRow(rule.id, NumberRow(_name(rule.id, rule.title), _ASKED, details), rule.answers))
    return tuple(rows)


def with_display_told(rows: tuple[CheckRow, ...], aids: str) -> tuple[CheckRow, ...]:
    """Tell beside the check of the image as exposed that the eye saw another one; the numbers did not.

    Parameters
    ----------
    rows : tuple of CheckRow
    aids : str
        Display aids that are on, or were while points were placed, in words; empty for none.
    """
    if not aids:
        return rows
    told = (
        f"The eye saw it with: {aids}. Numbers are read from the image as exposed; points placed by eye were "
        "placed on what was shown.\nDo: look once as exposed at every point that the image did not decide."
    )
    there = [k for k, one in enumerate(rows) if one.check == _AS_EXPOSED]
    if not there:
        name = _name(_AS_EXPOSED, rule_of(_AS_EXPOSED).title)
        return (*rows, CheckRow(_AS_EXPOSED, NumberRow(name, _LEVELS["note"], told), ()))
    row = rows[there[0]]
    value = _LEVELS["note"] if row.row.value == _ASKED else row.row.value
    shown = replace(row.row, value=value, details=f"{told}\n{row.row.details}")
    return (*rows[: there[0]], replace(row, row=shown), *rows[there[0] + 1 :])


def _found(one: Check, result: CaseResult) -> CheckRow:
    rule = rule_of(one.id)
    given = answer_to(one.id, result.facts.answers)
    value = f"✓ {one.answer}" if one.settled else _LEVELS[one.level]
    parts = [in_words(one.seen), f"Do: {in_words(one.do)}"]
    parts += [rule.question] if rule.question else []
    parts += [f"Basis: {one.basis}"]
    row = NumberRow(_name(one.id, one.title), value, "\n".join(parts))
    out = CheckRow(one.id, row, rule.answers)
    return out if given is None else replace(out, answer=given.answer, note=given.note)


def _name(check: str, title: str) -> str:
    return f"{check[1:]}  {title}"
