"""Checks that go by the tooth: usual lengths, what the tip may hide, and what only a person can see."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from radio.measure.check_rules.contract import CheckRule, Found, Withheld
from radio.measure.check_rules.seen import Seen
from radio.measure.length_rules import RESORPTION_RULES

# Mean length of the tooth, crown and root, mm, by jaw ("1": upper, "3": lower) and position: the least and
# greatest of two tables. Wheeler's, verified on web pages but for the lower molars; means of endodontic
# texts, from memory.
MEAN_LENGTHS_MM: Mapping[str, tuple[float, float]] = {
    "11": (22.5, 24.3),
    "12": (22.0, 22.7),
    "13": (26.5, 27.0),
    "14": (20.6, 22.5),
    "15": (21.5, 22.5),
    "16": (19.5, 20.8),
    "17": (18.0, 20.0),
    "18": (17.5, 17.5),
    "31": (20.7, 21.5),
    "32": (21.1, 23.5),
    "33": (25.6, 27.0),
    "34": (21.6, 22.5),
    "35": (22.3, 22.5),
    "36": (21.0, 21.5),
    "37": (19.8, 20.0),
}
WIDE_SHARE = 0.25
"""A length this share below the least or above the greatest mean is unusual: choice of this program."""
LEAST_MM, GREATEST_MM = 10.0, 38.0
"""No length to the apex lies outside of these: choice of this program, wider than any published mean."""
SELDOM_BELOW_MM, SELDOM_ABOVE_MM = 14.0, 32.0
"""Lengths beyond these are warned of."""
_SAME_AS_WHOLE: tuple[tuple[str, str, Withheld], ...] = (
    ("working_length_mm", "working length", "working"),
    ("reference_length_mm", "length from the reference", "reference"),
    ("estimated_length_mm", "estimated length", "estimate"),
)


def usual_lengths_mm(tooth: str) -> tuple[float, float] | None:
    """Wide limits of the length of a permanent tooth, mm; None where no mean is known.

    Parameters
    ----------
    tooth : str
        ISO 3950.
    """
    if len(tooth) != 2 or tooth[0] not in "1234":
        return None
    means = MEAN_LENGTHS_MM.get(("1" if tooth[0] in "12" else "3") + tooth[1])
    return None if means is None else (means[0] * (1 - WIDE_SHARE), means[1] * (1 + WIDE_SHARE))


def kind_of(tooth: str) -> str:
    """Premolar or molar, for a permanent tooth of ISO 3950; else empty."""
    if len(tooth) != 2 or tooth[0] not in "1234":
        return ""
    return "premolar" if tooth[1] in "45" else "molar" if tooth[1] in "678" else ""


def _usual_length(seen: Seen) -> Iterator[Found]:
    there = [
        (seen.measurements[column].value, name, kind)
        for column, name, kind in _SAME_AS_WHOLE
        if column in seen.measurements
    ]
    impossible = [one for one in there if not LEAST_MM <= one[0] <= GREATEST_MM]
    for length, name, kind in impossible:
        yield Found(
            "stop",
            f"The {name} would be {length:.1f} mm; no tooth is worked to less than {LEAST_MM:g} or more than "
            f"{GREATEST_MM:g} mm.",
            _LOOK_AGAIN,
            (kind,),
            final=length <= 0,
        )
    if not impossible and there:
        yield from _unusual(seen, there[0][0])


_LOOK_AGAIN = "Check the clicks of file and apex, the file length, the scale and the tooth."


def _unusual(seen: Seen, length: float) -> Iterator[Found]:
    """A length that few teeth have, or few of this tooth."""
    if not SELDOM_BELOW_MM <= length <= SELDOM_ABOVE_MM:
        yield Found(
            "warn",
            f"{length:.1f} mm is a rare length: usual are {SELDOM_BELOW_MM:g} to {SELDOM_ABOVE_MM:g} mm.",
            _LOOK_AGAIN,
        )
        return
    limits = usual_lengths_mm(seen.facts.tooth)
    from_handle = "working_length_mm" in seen.measurements and seen.facts.file_start_at == "handle"
    if limits is not None and not from_handle and not limits[0] <= length <= limits[1]:
        yield Found(
            "note",
            f"{length:.1f} mm is unusual for tooth {seen.facts.tooth}: {limits[0]:.0f} to {limits[1]:.0f} mm "
            "are wide limits about published means, which say little about one patient.",
            _LOOK_AGAIN,
        )


def _foreshortened(seen: Seen) -> Iterator[Found]:
    if seen.said("P15") == "yes":
        yield Found(
            "warn",
            "The tooth is said to look elongated or foreshortened: lengths and angles are of its shadow.",
            "Use an image made parallel to the tooth where there is one.",
            final=True,
        )


def _ruler(seen: Seen) -> Iterator[Found]:
    if seen.said("P25") == "no" and seen.facts.file_length_mm is not None:
        yield Found(
            "note",
            "The ruler was not checked. ± 0.25 mm for setting the stop are in the uncertainty; an error of "
            "the ruler itself is not.",
            "Measure the ruler against a calliper.",
            final=True,
        )


def _resorption(seen: Seen) -> Iterator[Found]:
    stated, said = seen.facts.resorption, seen.said("P28")
    if stated not in ("bone", "bone+root") and said != "yes":
        return
    states = [stated] if stated in ("bone", "bone+root") else ["bone", "bone+root"]
    taught = " or ".join(RESORPTION_RULES[one].told for one in states)
    rule = seen.facts.length_rule
    chosen = f"chosen is the rule {rule!r}" if rule else "nothing is taken off until length_rule is stated"
    yield Found(
        "note",
        f"Resorption about the apex is stated. Taught is {taught}; {chosen}.",
        "Choose the rule with length_rule, and state what is resorbed with resorption.",
    )


TOOTH_RULES = (
    CheckRule(
        "P15",
        "elongated or foreshortened",
        "warn",
        "a question",
        "Bisecting images distorted more than holders (Forsberg 1987; Kazzi 2007, Int Endod J 40:526)",
        "verified in the abstracts",
        _foreshortened,
        "Does the tooth look longer or shorter than its neighbours, or than on another image?",
        settles=("no",),
        doubts=("yes",),
    ),
    CheckRule(
        "P21",
        "usual length of the tooth",
        "stop",
        f"length against {LEAST_MM:g} to {GREATEST_MM:g} mm, {SELDOM_BELOW_MM:g} to {SELDOM_ABOVE_MM:g} mm, "
        f"and published means of the tooth, {WIDE_SHARE:.0%} to either side",
        "Tables of mean tooth lengths; an average says little about one patient",
        "Wheeler's table verified on web pages but for lower molars; means of endodontic texts from memory; "
        "limits of this program",
        _usual_length,
    ),
    CheckRule(
        "P25",
        "ruler checked",
        "note",
        "a question",
        "Endodontic rulers tested, 100 of them, were neither accurate nor precise (Brazilian study)",
        "verified; the ± 0.25 mm is common practice, no source",
        _ruler,
        "Was the ruler that set the stop checked?",
        settles=("yes",),
        doubts=("no",),
    ),
    CheckRule(
        "P28",
        "resorption about the apex",
        "note",
        "what is stated, and a question",
        "Subtraction of 1, 1.5 or 2 mm by resorption (Weine)",
        "verified on lecture slides, not in the book",
        _resorption,
        "Is bone or root resorbed about the apex?",
        settles=("no",),
        doubts=("yes",),
    ),
)
