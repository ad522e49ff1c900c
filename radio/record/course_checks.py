"""What must be said about a course: order, missing stages, blocked comparisons, losses and gains."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from radio.measure.check_rules.contract import Check
from radio.measure.check_rules.course import course_check
from radio.measure.repeatability import Repeatability
from radio.record.course import Course, Stage
from radio.record.course_changes import Change, RepeatabilityFor, changes_of, same_way

# what may lie behind a change, from memory
_LONGER_CAUSES = (
    "Possible causes (from memory): the stop moved or sits on another point, the reference was reduced, "
    "debris or a ledge held the first file back, the file left the canal (perforation), or the first length "
    "was read too short. Look for the cause before working to the longer length."
)
_SHORTER_CAUSES = (
    "Possible causes (from memory): the path has become straighter, debris or a ledge holds the file back, "
    "the stop moved or sits on another point. Check the length again before working on."
)
_READ_ALIKE = "A length read in the same way can be compared; no exposure is made for that alone."
_UNSHAPED = (
    "The canal was not shaped in between: one of the two lengths was read or estimated wrongly, or the file "
    "did not reach as far. Check it again."
)


@dataclass(frozen=True)
class JudgedCourse:
    """A course with its changes and what was found about it.

    Parameters
    ----------
    course : Course
    own : tuple of Repeatability
        The reader's, for the way each entry was read.
    changes : tuple of Change
    checks : tuple of Check
    """

    course: Course
    own: tuple[Repeatability, ...]
    changes: tuple[Change, ...]
    checks: tuple[Check, ...]

    def sd_mm(self, place: int) -> float:
        """Standard uncertainty of an entry, mm: as stated, but not below the repeat error of its reader."""
        return max(self.course.entries[place].length_sd_mm or 0.0, self.own[place].sd_mm)

    @property
    def judged_by(self) -> dict[Repeatability, str]:
        """Each repeatability that a shown number rests on, with the ways of reading it is for."""
        compared = [one for one in self.changes if one.length_change is not None]
        used = {id(end) for one in compared for end in (one.earlier, one.later)}
        ways: dict[Repeatability, list[str]] = {}
        for entry, own in zip(self.course.entries, self.own, strict=True):
            if id(entry) in used or own.sd_mm > (entry.length_sd_mm or 0.0):
                way = ", ".join(part for part in (entry.method, entry.basis) if part)
                ways.setdefault(own, []).append(way or "method not stated")
        return {own: "; ".join(dict.fromkeys(words)) for own, words in ways.items()}


def judge_course(
    course: Course, repeatability_for: RepeatabilityFor, *, across_sizes: bool = False
) -> JudgedCourse:
    """Judge the changes of one canal, and look at its order, gaps, blocked comparisons, losses and gains.

    Parameters
    ----------
    course : Course
    repeatability_for : callable
        The reader's repeatability for the way an entry was read.
    across_sizes : bool
        Compare lengths read with files of different sizes, too.
    """
    changes = changes_of(course, repeatability_for, across_sizes=across_sizes)
    found = [*_stage_checks(course)]
    for one in changes:
        for check in _change_checks(one):
            told_before = any((check.id, check.do) == (other.id, other.do) for other in found)
            again = one.whole and told_before and check.do
            found.append(replace(check, do="Possible causes as above.") if again else check)
    return JudgedCourse(course, tuple(map(repeatability_for, course.entries)), changes, tuple(found))


def _stage_checks(course: Course) -> Iterator[Check]:
    for stage in course.stages:
        for entries in same_way(course, stage):
            if len(entries) > 1:
                lengths = ", ".join(f"{one.length_mm:g}" for one in entries)
                yield course_check(
                    "P22",
                    "note",
                    f"{len(entries)} lengths read in the same way at {stage} ({lengths} mm); the last is "
                    "compared.",
                    "Readings repeated to see your spread belong into the table of repeats.",
                )
    for before, after in pairwise(course.stages):
        missing = list(Stage)[before.rank + 1 : after.rank]
        if missing:
            yield course_check(
                "P22",
                "warn",
                f"No length at {' and '.join(missing)}: what changed between {before} and {after} cannot be "
                "told apart by stage.",
                "Lengths are checked again at scouting, after the glide path and after coronal enlargement "
                "(Appl Sci 2020;10:5824, verified in its text).",
            )


def _change_checks(change: Change) -> Iterator[Check]:
    if change.length_change is None:
        wrong = any(one.startswith("wrong order") for one in change.blocked)
        yield course_check(
            "P22",
            "warn",
            f"{change.stages}: {change.told}.",
            "Check the stage and time of both rows." if wrong else _READ_ALIKE,
        )
        return
    seen = f"{change.stages}: {change.told}"
    if change.length_change.value > 0 and change.later.stage.shaped:
        sure = change.verdict == "longer"
        within = (
            "the stated uncertainty" if change.verdict == "within stated uncertainty" else "your repeat error"
        )
        do = _LONGER_CAUSES if sure else f"Within {within}: no lengthening is shown."
        yield course_check(
            "P24", "warn" if sure else "note", f"{seen}; shaping does not lengthen a canal.", do
        )
    elif change.verdict == "within stated uncertainty":
        yield course_check(
            "P23",
            "note",
            f"{seen}.",
            "Read the length again in the same way, to see whether it changed.",
        )
    elif change.shown:
        yield course_check(
            "P23", "warn", f"{seen}.", _SHORTER_CAUSES if change.later.stage.shaped else _UNSHAPED
        )
