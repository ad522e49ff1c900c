"""Checks of the curvature: what one angle and one view cannot say."""

from __future__ import annotations

from collections.abc import Iterator

from radio.measure.check_rules.contract import CheckRule, Found
from radio.measure.check_rules.seen import Seen
from radio.measure.classes import Classified, classes_of

GREATEST_SEEN_DEG = 75.0
"""Greatest Schneider angle among 1163 canals (Schäfer et al. 2002, J Endod 28:211, abstract)."""
_MILD = ("straight", "low")


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


def _classes(seen: Seen) -> tuple[Classified, ...]:
    values = {name: (one.value, one.interval95) for name, one in seen.measurements.items()}
    shaped = seen.findings.get("s_shaped")
    return tuple(classes_of(values, None if shaped is None else shaped.word == "yes", views=1))


def _near_edge(seen: Seen) -> Iterator[Found]:
    told = [
        f"{one.scheme.title}: {' or '.join(dict.fromkeys(one.touched))}"
        for one in _classes(seen)
        if len(one.touched) > 1
    ]
    if told:
        yield Found(
            "note",
            f"The 95 % interval reaches over the edge of a class. {'; '.join(told)}.",
            "Give both classes, or the angle with its interval.",
        )


def _one_view(seen: Seen) -> Iterator[Found]:
    mild = [one for one in _classes(seen) if one.label in _MILD]
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
        "whether the 95 % interval reaches over an edge of a class scheme",
        "A class is no surer than the angle it comes from",
        "reasoning of this program",
        _near_edge,
    ),
    CheckRule(
        "P18",
        "mild in one view",
        "note",
        "a bend called straight or low from a single image",
        "Cunningham and Senia 1992, J Endod 18:294",
        "verified in the abstract",
        _one_view,
    ),
)
