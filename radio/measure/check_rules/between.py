"""Checks that look at all canals of one image together."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import combinations

from calib.several import DIFFERENT_BEYOND, NamedScale, compare_scales
from radio.measure.case import CaseResult
from radio.measure.check_rules.contract import Check, CheckRule, Found
from radio.measure.check_rules.image import tells_shift

_SIDES = {"buccal": ("bucc", "vestib", "facial"), "lingual": ("lingu", "palat")}
_SHORT = re.compile(r"[md]?[ -]?([blp])[ -]?\d*")


def _scales(one: CaseResult, other: CaseResult) -> Iterator[Found]:
    """Scales by two files in one image, as a finding on `one`."""
    if one.scale is None or other.scale is None or {one.scale.source, other.scale.source} != {"file"}:
        return
    named = [
        NamedScale("This file", one.scale),
        NamedScale(f"that of canal {other.facts.canal}", other.scale),
    ]
    judged = compare_scales(named)
    (pair,) = judged.pairs
    if pair.apart:
        yield Found(
            "warn" if pair.distinguishable else "note",
            f"{judged.words} (15° of lean make 3.4 %, 25° make 9.4 %.)",
            "Check both lengths, and which file is in which canal.",
        )


def _sides(one: CaseResult, other: CaseResult) -> Iterator[Found]:
    """Canals told apart as buccal and lingual in a view that does not say from where it was taken."""
    sides = side_of(one.facts.canal), side_of(other.facts.canal)
    if not all(sides) or sides[0] == sides[1] or tells_shift(one.facts.view):
        return
    view = f"the view is stated as {one.facts.view!r}" if one.facts.view else "no view is stated"
    yield Found(
        "warn",
        f"Canals {one.facts.canal} and {other.facts.canal} are told apart as buccal and lingual, and "
        f"{view}: without the direction of the shift the names may be interchanged. The numbers hold, "
        "the name may not.",
        "State from where the image was taken, e.g. '20 degrees from mesial'; what moves with the tube "
        "lies lingually.",
    )


def side_of(canal: str) -> str:
    """Side that the name of a canal tells: ``"buccal"``, ``"lingual"``, or empty.

    Names are written out, as "mesiobuccal", or short, as "MB2", "DL" or "P".
    """
    name = canal.casefold()
    for side, words in _SIDES.items():
        if any(word in name for word in words):
            return side
    short = _SHORT.fullmatch(name)
    return "" if short is None else "buccal" if short[1] == "b" else "lingual"


BETWEEN_RULES = (
    CheckRule(
        "P5",
        "files agree in scale",
        "warn",
        f"scales by two files of one image, {DIFFERENT_BEYOND:.0%} apart; a note within their uncertainty",
        "A lean of 15° shortens by 3.4 %, of 20° by 6.0 %, of 25° by 9.4 %",
        "arithmetic; the cut-off is this program's",
        where="image",
    ),
    CheckRule(
        "P27",
        "buccal or lingual",
        "warn",
        "canals named by side in a view without a stated shift",
        "Which canal is which shows only from the direction of the shift",
        "verified in teaching slides; the numbers are kept, so it is no stop here",
        where="image",
    ),
)
_LOOKS = dict(zip((rule.id for rule in BETWEEN_RULES), (_scales, _sides), strict=True))


def checks_between(results: Sequence[CaseResult]) -> list[tuple[Check, ...]]:
    """What the canals of one image say about each other.

    Parameters
    ----------
    results : sequence of CaseResult

    Returns
    -------
    list of tuple of Check
        For each canal, in the same order.
    """
    found: list[list[Check]] = [[] for _ in results]
    for first, second in combinations(range(len(results)), 2):
        for here, there in ((first, second), (second, first)):
            one, other = results[here], results[there]
            for rule in BETWEEN_RULES:
                found[here] += rule.made(_LOOKS[rule.id](one, other), one.facts.answers)
    return [tuple(one) for one in found]
