"""What a terminal shows of the catalogue of pre-flight checks."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.check_rules.contract import CheckRule
from radio.measure.checks import RULES, rule_of

_LEVELS = {
    "stop": ("STOP", "bold red", "takes the numbers away that rest on it, until answered or put right"),
    "warn": ("Warning", "yellow", "stands beside the numbers"),
    "note": ("Note", "cyan", "is kept in the record"),
}
_WHERE = {
    "canal": "each canal",
    "image": "all canals of an image together",
    "course": "the course of a treatment: periapical course",
}


def rules_named(numbers: Sequence[str]) -> tuple[CheckRule, ...]:
    """Find checks by their numbers; all of them without.

    Raises
    ------
    PeriapicalError
        There is none of a number.
    """
    return tuple(dict.fromkeys(map(rule_of, numbers))) or RULES


def rules_block(rules: Sequence[CheckRule]) -> RenderableType:
    """Lay out checks: what is looked at, the gravest level, what it rests on and how well that is known."""
    return Group(*map(_rule, rules), *_key())


def _rule(rule: CheckRule) -> RenderableType:
    word, style, _ = _LEVELS[rule.level]
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(min_width=10, no_wrap=True, style="dim")
    table.add_column(ratio=1)
    rows = [("Looks at", f"{rule.how} ({_WHERE[rule.where]})")]
    if rule.question:
        rows.append(("Asks", rule.question))
    if rule.where != "course":
        rows.append(("Answers", ", ".join(rule.answers) or "none: it must be put right"))
    rows += [("Basis", rule.basis), ("Standing", rule.standing)]
    for label, text in rows:
        table.add_row(f"  {label}", escape(text))
    head = Text.assemble((f"{rule.id[1:]:>2}  {rule.title}", "bold"), "  ", (word, style))
    return Group(head, table, Text(""))


def _key() -> list[Text]:
    told = [Text.assemble((f"{word}: ", style), text) for word, style, text in _LEVELS.values()]
    return [
        *told,
        Text("A check gives at most the level shown. Answers: columns image, canal, check, answer, note."),
    ]
