"""Checks of the curvature: what one angle and one view cannot say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import erf, sqrt

from radio.measure.check_rules.contract import CheckRule, Found
from radio.measure.check_rules.seen import Seen
from radio.measure.classes import Band, Classified, classes_of

GREATEST_SEEN_DEG = 75.0
"""Greatest Schneider angle among 1163 canals (Schäfer et al. 2002, J Endod 28:211, abstract)."""
_MILD = ("straight", "low")
_SHOWN = "schneider_deg"
LEAST_CHANCE = 0.2
"""A class the angle lies in with a smaller chance is not named: choice of this program. The words of a class
name every class its 95 % interval reaches; a check that repeated that would always speak."""


def _one_angle(seen: Seen) -> Iterator[Found]:
    shaped = seen.findings.get("s_shaped")
    if shaped is not None and shaped.word == "yes":
        both = [seen.measurements.get(f"{which}_curve_deg") for which in ("primary", "secondary")]
        told = f" First curve {both[0]}, second curve {both[1]}." if all(both) else ""
        yield Found(
            "warn",
            f"The canal bends to both sides (S-shape; {shaped.share:.0%} of the possible traces agree): one "
            f"angle does not describe it.{told}",
            "Give both angles.",
        )
    schneider = seen.value("schneider_deg")
    if schneider is not None and schneider > GREATEST_SEEN_DEG:
        yield Found(
            "warn",
            f"An angle of {schneider:.0f} degrees is more than the greatest published one "
            f"({GREATEST_SEEN_DEG:g} degrees).",
            "Check orifice, canal end and line.",
        )


@dataclass(frozen=True)
class _Likely:
    """A class that is shown, and the others the angle may well be in."""

    shown: Classified
    others: tuple[str, ...]


def _likely(seen: Seen) -> Iterator[_Likely]:
    """Classes by the angle that is shown of every canal, each with what else may well be one."""
    shaped = seen.findings.get("s_shaped")
    s_shaped = None if shaped is None else shaped.word == "yes"
    one = seen.measurements.get(_SHOWN)
    if one is None:
        return
    for classified in classes_of({_SHOWN: (one.value, one.interval95)}, s_shaped, views=1):
        by_form = bool(s_shaped) and classified.scheme.s_shaped_label is not None
        others = () if by_form else _others(classified, one.value, one.sd or 0.0)
        if classified.label is not None:
            yield _Likely(classified, others)


def _others(classified: Classified, value: float, sd: float) -> tuple[str, ...]:
    bands = [band for band in classified.scheme.bands if band.label != classified.label]
    return tuple(band.label for band in bands if chance_within(band, value, sd) >= LEAST_CHANCE)


def chance_within(band: Band, value: float, sd: float) -> float:
    """Share of a normal distribution about an angle that lies in a band; what is below 0 counts as 0.

    Parameters
    ----------
    band : Band
    value, sd : float
        The angle and its standard uncertainty, in the band's unit.
    """
    if sd <= 0:
        return float(band.touches(value, value))
    below = 0.0 if band.low <= 0 else _normal_below((band.low - value) / sd)
    return _normal_below((band.high - value) / sd) - below


def _normal_below(z: float) -> float:
    return 0.5 * (1 + erf(z / sqrt(2)))


def _near_edge(seen: Seen) -> Iterator[Found]:
    told = [
        f"{one.shown.scheme.title}: {one.shown.label}, or {' or '.join(one.others)}"
        for one in _likely(seen)
        if one.others
    ]
    if told:
        yield Found(
            "note",
            f"Another class has at least one chance in five. {'; '.join(told)}.",
            "Give both classes, or the angle with its interval.",
        )


def _one_view(seen: Seen) -> Iterator[Found]:
    mild = [one.shown for one in _likely(seen) if one.shown.label in _MILD and not one.others]
    if mild:
        named = "; ".join(f"{one.scheme.title}: {one.label}" for one in mild)
        yield Found(
            "note",
            f"From one view only ({named}). Of 100 mesial roots every canal was curved in both views, the "
            "views did not go together, and the proximal one had the greater bend in 38 %.",
            "Do not call the canal mild from this view; use a second view where there is one.",
        )


CURVE_RULES = (
    CheckRule(
        "P16",
        "one angle for the bend",
        "warn",
        f"S-shape, and angles above {GREATEST_SEEN_DEG:g}°",
        "An S-shaped canal has two angles (Dobó-Nagy 2002); 75° was the greatest of 1163 canals (Schäfer "
        "2002, J Endod 28:211)",
        "verified in the abstracts",
        _one_angle,
    ),
    CheckRule(
        "P17",
        "near the edge of a class",
        "note",
        f"whether the Schneider angle lies in another class with a chance of {LEAST_CHANCE:g} or more",
        "A class is no surer than the angle it comes from",
        "reasoning of this program",
        _near_edge,
    ),
    CheckRule(
        "P18",
        "mild in one view",
        "note",
        "a bend surely called straight or low from a single image",
        "Cunningham and Senia 1992, J Endod 18:294",
        "verified in the abstract",
        _one_view,
    ),
)
