"""Checks of file and lines: stop, reference, kinks, straight lines over curves."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from radio.measure.bend import square
from radio.measure.check_rules.contract import CheckRule, Found, Withheld
from radio.measure.check_rules.seen import Seen
from radio.trace.curve import arc_length, project, resample
from radio.trace.line import Line

FloatArray = npt.NDArray[np.float64]

KINK_MM, TIGHT_MM = 2.0, 2.5
"""Radius of the file line below which it is taken for kinked, and below which it is as tight as canals get.

A trace rounds off what is shorter than about 1.6 mm: a sharp kink of 50° has a radius of about 2 mm in it,
and one of less than 40° is not to be told from a bend.
"""
VIA_OFF_MM = 0.8
"""A point placed along a line that lies further off it than a click is wide: cut-off of this program."""
STOP_FROM_REFERENCE_MM = 0.5
STRAIGHT_LOSS_MM = 0.1
# Lengths that count from where stop or reference are.
_COUNTED: tuple[Withheld, ...] = ("working", "reference", "estimate")
_BRIDGED_SHARE = 0.08
UNSEEN_SHARE = {"file": 0.3, "canal": 0.6}
"""Share of a line beyond which it is a guess. Metal is seen almost throughout, canals of fine roots are not;
choice of this program."""
_STEP_MM, _ARM = 0.1, 7


def _stop_seen(seen: Seen) -> Iterator[Found]:
    if seen.said("P10") == "no":
        own = seen.scale is not None and seen.scale.source == "file" and seen.facts.file_start_at == "stop"
        yield Found(
            "stop",
            "Stop or reference are said not to be visible: only a gap can be read from this image"
            + (", and that by another scale than this file's." if own else "."),
            "Take the set length from the record."
            + (" For the gap state a scale that does not rest on the stop." if own else ""),
            ("scale", *_COUNTED) if own else _COUNTED,
            final=True,
        )
        return
    start = seen.traced.landmarks.get("file_start")
    if start is not None and not start.refined:
        yield Found(
            "note",
            f"The face of the {seen.facts.file_start_at} was not found in the image; it stays as clicked.",
            "Look whether it is visible and where it was clicked.",
        )


def _stop_on_reference(seen: Seen) -> Iterator[Found]:
    if seen.said("P11") == "no":
        yield Found(
            "stop",
            "The stop is said not to rest on the named reference: the working length would count from "
            "elsewhere.",
            "Set the stop to the reference, or mark the reference and take the length from there.",
            ("working",),
            final=True,
        )
        return
    file, marks = seen.traced.file_line, seen.traced.landmarks
    if file is None or seen.facts.file_start_at != "stop" or not {"reference", "file_start"} <= set(marks):
        return
    points = square(file.points_px, seen.traced.aspect)
    away_mm = project(points, square(marks["reference"].point_px, seen.traced.aspect))[0] * seen.mm_per_px
    sd_px = np.hypot(marks["reference"].sd_along_px, marks["file_start"].sd_along_px)
    sd_mm = float(sd_px) * seen.mm_per_px
    if abs(away_mm) <= max(STOP_FROM_REFERENCE_MM, 1.96 * sd_mm):
        return
    side = "apical to" if away_mm > 0 else "coronal to"
    yield Found(
        "warn",
        f"The reference lies {abs(away_mm):.1f} ± {sd_mm:.1f} mm {side} the stop, along the file.",
        "Check both clicks. If the stop had moved, the length from the reference holds, not the set length.",
    )


def smallest_radius_mm(points_mm: FloatArray) -> float:
    """Smallest radius of circles through points 0.7 mm apart along a line, mm; infinite for a short line."""
    even = resample(points_mm, _STEP_MM)
    if len(even) <= 2 * _ARM:
        return float("inf")
    a, b, c = even[: -2 * _ARM], even[_ARM:-_ARM], even[2 * _ARM :]
    sides = np.hypot(*(b - a).T) * np.hypot(*(c - b).T) * np.hypot(*(c - a).T)
    first, second = b - a, c - a
    area = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
    return float((sides / np.maximum(2 * area, 1e-12)).min())


def _kink(seen: Seen) -> Iterator[Found]:
    yield from _off_the_clicks(seen)
    if seen.traced.file_line is None:
        return
    radius = smallest_radius_mm(seen.line_mm(seen.traced.file_line))
    if radius < TIGHT_MM:
        kinked = radius < KINK_MM
        yield Found(
            "warn" if kinked else "note",
            f"The traced file bends with a radius of {radius:.1f} mm"
            + (
                ": kinked, or two files taken for one."
                if kinked
                else ", as tight as the tightest canal published."
            ),
            "Look at the line of the file; place file_via where it went astray.",
        )


def _off_the_clicks(seen: Seen) -> Iterator[Found]:
    """Points placed along a line that it does not pass."""
    for line, via in _vias(seen):
        if line is None or via not in seen.clicked:
            continue
        points = square(line.points_px, seen.traced.aspect)
        clicked = square(seen.clicked[via], seen.traced.aspect)
        away_mm = max(float(np.hypot(*(points - one).T).min()) for one in clicked) * seen.mm_per_px
        if away_mm > VIA_OFF_MM:
            yield Found(
                "warn",
                f"A point {via} lies {away_mm:.1f} mm off the {line.kind} that was found: the image does not "
                "lead the line through it.",
                f"Look at the line; move {via} onto the {line.kind}, or add points on both sides of it.",
            )


def _vias(seen: Seen) -> tuple[tuple[Line | None, str], ...]:
    return (seen.traced.file_line, "file_via"), (seen.traced.canal_line, "canal_via")


def _straight(seen: Seen) -> Iterator[Found]:
    for line, via in _vias(seen):
        if line is None or line.confident.all():
            continue
        bridged = float((~line.confident).mean())
        if bridged > UNSEEN_SHARE[line.kind] and not (line.kind == "canal" and via in seen.clicked):
            yield _unseen(seen, line, bridged)
            continue
        if via in seen.clicked:
            continue
        loss_mm = _straight_loss_mm(seen, line)
        if bridged > _BRIDGED_SHARE and loss_mm > STRAIGHT_LOSS_MM:
            yield Found(
                "warn",
                f"The {line.kind} has clicks at its ends only, is curved, and the image supports "
                f"{1 - bridged:.0%} of it; straight between the clicks it would be {loss_mm:.1f} mm shorter.",
                f"Place {via} along the curve; three clicks did as well as six (J Isfahan Dent Sch).",
            )


def _unseen(seen: Seen, line: Line, bridged: float) -> Found:
    """A line that is hardly more than a guess between the clicks."""
    own = seen.scale is not None and seen.scale.source == "file"
    of_file: tuple[Withheld, ...] = ("tip", "working", "reference", *(("scale",) if own else ()))
    do = "Look whether there is a file where it was clicked, and correct file_start, file_via and file_tip."
    if line.kind == "canal":
        do = "Place canal_via where you see the canal, or use an image that shows it."
    return Found(
        "stop",
        f"The image supports only {1 - bridged:.0%} of the {line.kind}; the rest is a guess.",
        do,
        of_file if line.kind == "file" else ("canal", "tip"),
    )


def _straight_loss_mm(seen: Seen, line: Line) -> float:
    points = seen.line_mm(line)
    return arc_length(points) - float(np.hypot(*(points[-1] - points[0])))


LINE_RULES = (
    CheckRule(
        "P10",
        "stop and reference visible",
        "stop",
        "whether the face of the stop was found, and a question",
        "A length counts from where the stop rests",
        "reasoning of this program",
        _stop_seen,
        "Are stop and reference visible on the image?",
        settles=("yes",),
        doubts=("no",),
    ),
    CheckRule(
        "P11",
        "stop on the reference",
        "stop",
        f"distance between stop and reference along the file, {STOP_FROM_REFERENCE_MM:g} mm, and a question",
        "A stop that moved makes the set length wrong by as much",
        "reasoning of this program; the cut-off is its own",
        _stop_on_reference,
        "Does the stop rest on the named reference?",
        settles=("yes",),
        doubts=("no",),
    ),
    CheckRule(
        "P12",
        "lines as clicked and without kinks",
        "warn",
        f"smallest radius of the traced file: {KINK_MM:g} and {TIGHT_MM:g} mm; file_via and canal_via more "
        f"than {VIA_OFF_MM:g} mm off their line",
        "The smallest published radius is about 2 mm, in a canal of 75° (Schäfer 2002, J Endod 28:211)",
        "verified in the abstract; the cut-offs are this program's",
        _kink,
    ),
    CheckRule(
        "P13",
        "lines the image supports",
        "stop",
        f"share of a line that the image does not support: beyond {UNSEEN_SHARE['file']:.0%} of a file, or "
        f"{UNSEEN_SHARE['canal']:.0%} of a canal without canal_via; curves clicked at their ends only",
        f"A straight line over a curve is too short; {STRAIGHT_LOSS_MM:g} mm is warned of",
        "arithmetic; three clicks as good as six, verified (J Isfahan Dent Sch)",
        _straight,
    ),
)
