"""Check of where file tip and radiographic apex lie to each other."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from radio.measure.bend import square
from radio.measure.check_rules.contract import CheckRule, Found, Withheld
from radio.measure.check_rules.seen import Seen
from radio.measure.check_rules.tooth import kind_of

FloatArray = npt.NDArray[np.float64]

FAR_SHORT_MM, FAR_BEYOND_MM = 3.0, 2.0
"""A tip this far short of the apex, or beyond it, is looked at again: cut-offs of this program."""
_NEAR_MM = (0.0, 2.0)
# of teeth whose tip lay 0 to 2 mm short of the radiographic apex, how many were beyond the foramen
_BEYOND = {"premolar": "51 %", "molar": "22 %"}
_OF_FILE: tuple[Withheld, ...] = ("tip", "working", "reference")


def _tip_to_apex(seen: Seen) -> Iterator[Found]:
    if _is_turned(seen):
        own = seen.scale is not None and seen.scale.source == "file"
        yield Found(
            "stop",
            "The start of the file lies nearer to the apex than its tip.",
            "Look whether file_start and file_tip, or orifice and apex, were clicked the wrong way round.",
            ("scale", *_OF_FILE) if own else _OF_FILE,
            final=True,
        )
        return
    gap = seen.measurements.get("gap_mm")
    if gap is None:
        return
    if gap.value > FAR_SHORT_MM or gap.value < -FAR_BEYOND_MM:
        side = "short of" if gap.value > 0 else "beyond"
        yield Found(
            "warn",
            f"The tip lies {abs(gap.value):.1f} mm {side} the radiographic apex.",
            "Check the clicks of tip and apex, the file length and the scale. A working length across so "
            "far a gap is no more than an estimate.",
        )
    yield from _beyond_foramen(seen)


def _is_turned(seen: Seen) -> bool:
    """Whether the file was marked against the course of the canal, or away from the apex without one."""
    marks = {name: square(one.point_px, seen.traced.aspect) for name, one in seen.traced.landmarks.items()}
    if not {"file_start", "file_tip"} <= set(marks):
        return False
    start, tip = marks["file_start"], marks["file_tip"]
    end = next((marks[name] for name in ("canal_end", "apex") if name in marks), None)
    if end is None:
        return False
    if "orifice" in marks:
        return bool((tip - start) @ (end - marks["orifice"]) < 0)
    return bool(np.hypot(*(start - end)) < np.hypot(*(tip - end)))


def _beyond_foramen(seen: Seen) -> Iterator[Found]:
    kind, gap = kind_of(seen.facts.tooth), seen.measurements["gap_mm"]
    low, high = gap.interval95 or (gap.value, gap.value)
    if not kind or high < _NEAR_MM[0] or low > _NEAR_MM[1]:
        return
    within = _NEAR_MM[0] <= gap.value <= _NEAR_MM[1]
    may = "" if within else f" (95 % interval {low:+.1f} to {high:+.1f} mm, which reaches 0 to 2 mm short)"
    side = "short of" if gap.value >= 0 else "beyond"
    yield Found(
        "note",
        f"The tip lies {abs(gap.value):.1f} mm {side} the radiographic apex of a {kind}{may}. With the tip "
        f"0 to 2 mm short, files were beyond the foramen in {_BEYOND[kind]} of {kind}s.",
        "Do not take this image as proof that the file is inside; compare with an electronic reading.",
    )


TIP_RULES = (
    CheckRule(
        "P29",
        "tip and apex",
        "stop",
        f"which end of the file is apical; a tip more than {FAR_SHORT_MM:g} mm short or {FAR_BEYOND_MM:g} mm "
        "beyond; premolars and molars whose tip may lie 0 to 2 mm short",
        "A file marked the wrong way round gives a gap and a length of nothing; 169 canals: beyond the "
        "foramen in 51 % of premolars, 22 % of molars, 0 % of anteriors (ElAyouti 2001, J Endod 27)",
        "the percentages verified in the abstract, the authors' names from memory; the cut-offs are this "
        "program's",
        _tip_to_apex,
    ),
)
