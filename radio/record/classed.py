"""Classes of what was measured on one canal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from radio.measure.case import CaseResult
from radio.measure.classes import SCHEMES, Classified, Scheme, classes_of

# An S-shape that fewer than this share of the possible traces have may be none.
_SURE = 0.95


def classes_of_result(result: CaseResult, schemes: Sequence[Scheme] = SCHEMES) -> tuple[Classified, ...]:
    """Class of a canal by every scheme that applies to what was measured, from its one view.

    Parameters
    ----------
    result : CaseResult
    schemes : sequence of Scheme
    """
    values = {name: (one.value, one.interval95) for name, one in result.measurements.items()}
    shaped = result.findings.get("s_shaped")
    if shaped is None or shaped.word == "no":
        return tuple(classes_of(values, None if shaped is None else False, views=1, schemes=schemes))
    sure = classes_of(values, True, views=1, schemes=schemes)
    if shaped.share >= _SURE:
        return tuple(sure)
    plain = classes_of(values, False, views=1, schemes=schemes)
    return tuple(_either(one, other, shaped.share) for one, other in zip(sure, plain, strict=True))


def _either(shaped: Classified, plain: Classified, share: float) -> Classified:
    """Both classes of a canal whose S-shape is in doubt."""
    if shaped.label == plain.label:
        return shaped
    touched = tuple(dict.fromkeys((*plain.touched, *shaped.touched)))
    text = f"{shaped.text}; only {share:.0%} of the possible traces are S-shaped, and without that: "
    return replace(shaped, touched=touched, text=text + (plain.label or "no class"))
