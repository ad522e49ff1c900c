"""How the lengths of one canal change from stage to stage, judged by the reader's own repeat error."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Literal

from radio.measure.published_change import FIXED_FIGURES
from radio.measure.repeatability import LSC_FACTOR, Repeatability
from radio.measure.result import Measurement
from radio.record.course import Course, CourseEntry, Stage, plain

Verdict = Literal["shorter", "longer", "within stated uncertainty", "not distinguishable", "not compared"]
# two-sided 95 % point of the normal distribution
_NORMAL = LSC_FACTOR / sqrt(2.0)
RepeatabilityFor = Callable[[CourseEntry], Repeatability]


@dataclass(frozen=True)
class Change:
    """Two lengths of one canal set against each other.

    Parameters
    ----------
    earlier, later : CourseEntry
        By stage.
    repeatability : Repeatability
        Of the reader, for the way the later length was read.
    verdict : {"shorter", "longer", "within stated uncertainty", "not distinguishable", "not compared"}
        A change counts only beyond both the least significant change and 1.96 times its own uncertainty;
        where it is beyond the first alone, it is within the stated uncertainty.
    blocked : tuple of str
        Why they are not compared; empty where they are.
    length_change : Measurement or None
        ``length_change_mm``, later minus earlier; None where they are not compared.
    whole : bool
        Whether it spans stages that are also compared one by one.
    """

    earlier: CourseEntry
    later: CourseEntry
    repeatability: Repeatability
    verdict: Verdict
    blocked: tuple[str, ...] = ()
    length_change: Measurement | None = None
    whole: bool = False

    @property
    def stages(self) -> str:
        """From which stage to which."""
        return f"{'whole, ' if self.whole else ''}{self.earlier.stage} to {self.later.stage}"

    @property
    def shown(self) -> bool:
        """Whether a change is shown."""
        return self.verdict in ("shorter", "longer")

    @property
    def across_sizes(self) -> str:
        """The two file sizes where they differ and were compared all the same; else empty."""
        if self.length_change is None or self.earlier.file.size == self.later.file.size:
            return ""
        return f"file sizes {_size(self.earlier)} / {_size(self.later)}"

    @property
    def told(self) -> str:
        """The verdict with its numbers, or why there is none."""
        if self.length_change is None:
            return f"not compared: {'; '.join(self.blocked)}"
        lsc = f"{self.repeatability.whose} least significant change {self.repeatability.lsc_mm:.2f} mm"
        if self.verdict == "not distinguishable":
            return f"{self.length_change.value:+.2f} mm, not distinguishable from no change ({lsc})"
        if self.verdict == "within stated uncertainty":
            stated = _NORMAL * (self.length_change.sd or 0.0)
            return (
                f"{self.length_change.value:+.2f} mm, beyond {lsc}, but within the stated uncertainty of the "
                f"two lengths (95 %: ± {stated:.2f} mm): no change is shown"
            )
        return f"{self.verdict} by {abs(self.length_change.value):.2f} mm, more than {lsc}"

    @property
    def beside_fixed(self) -> str:
        """The size of the change beside fixed figures; empty where there is none."""
        if self.length_change is None:
            return ""
        size = abs(self.length_change.value)
        return ", ".join(f"{'over' if _over(size, one.mm) else 'within'} {one.mm:g}" for one in FIXED_FIGURES)


def changes_of(
    course: Course, repeatability_for: RepeatabilityFor, *, across_sizes: bool = False
) -> tuple[Change, ...]:
    """Every change from stage to stage, and the whole change where it spans more.

    Each length is set against the stage recorded before it: against the last length there that was read in
    the same way. Where there is none, the comparison is blocked, and the length is set against the nearest
    earlier stage that has one. The lengths of the last stage are also set against the first they can be
    compared with.

    Parameters
    ----------
    course : Course
    repeatability_for : callable
        The reader's repeatability for the way an entry was read.
    across_sizes : bool
        Compare lengths read with files of different sizes, too.

    Returns
    -------
    tuple of Change
        In the order of the stages; the whole changes last.
    """
    pairs: list[tuple[CourseEntry, CourseEntry]] = []
    whole: list[tuple[CourseEntry, CourseEntry]] = []
    stages = course.stages
    for place, stage in enumerate(stages[1:], start=1):
        for later in _last_of_each(course, stage):
            found = (_alike(course, before, later, across_sizes) for before in stages[:place])
            alike = [one for one in found if one is not None]
            if not alike or alike[-1].stage is not stages[place - 1]:
                pairs.append((_nearest(course, stages[place - 1], later), later))
            if alike:
                pairs.append((alike[-1], later))
            if len(alike) > 1 and stage is stages[-1]:
                whole.append((alike[0], later))
    made = (
        _change(course, *pair, repeatability_for(pair[1]), across_sizes=across_sizes)
        for pair in (*pairs, *whole)
    )
    return tuple(replace(one, whole=place >= len(pairs)) for place, one in enumerate(made))


def _alike(course: Course, stage: Stage, later: CourseEntry, across_sizes: bool) -> CourseEntry | None:
    """The length of a stage that a later one can be compared with, of the same file size if there is one."""
    alike = [
        one
        for one in _last_of_each(course, stage)
        if not differences(course, one, later, across_sizes=across_sizes)
    ]
    return max(alike, key=lambda one: one.file.size == later.file.size, default=None)


def differences(
    course: Course, earlier: CourseEntry, later: CourseEntry, *, across_sizes: bool = False
) -> tuple[str, ...]:
    """Why two lengths cannot be compared; empty where they can.

    Reference, method and basis must be stated for both and be the same, whatever the case of their letters;
    size and material of the file must be the same.
    """
    found = []
    for what in ("reference", "method", "basis"):
        ours, theirs = getattr(earlier, what), getattr(later, what)
        if not ours or not theirs:
            stages = [str(one.stage) for one in (earlier, later) if not getattr(one, what)]
            found.append(f"{what} not stated at {' and '.join(stages)}")
        elif plain(ours) != plain(theirs):
            found.append(f"{what} differs ({ours} / {theirs})")
    if not across_sizes and earlier.file.size != later.file.size:
        found.append(f"file size differs ({_size(earlier)} / {_size(later)})")
    if plain(earlier.file.material) != plain(later.file.material):
        materials = " / ".join(one.file.material or "none stated" for one in (earlier, later))
        found.append(f"file material differs ({materials})")
    if course.came_before(later, earlier):
        found.append(f"wrong order: {later.stage} was recorded before {earlier.stage}")
    return tuple(found)


def _size(entry: CourseEntry) -> str:
    return "none stated" if entry.file.size is None else f"{entry.file.size:02d}"


def _last_of_each(course: Course, stage: Stage) -> list[CourseEntry]:
    """Of the lengths of a stage that were read in the same way, the last."""
    return [entries[-1] for entries in same_way(course, stage)]


def same_way(course: Course, stage: Stage) -> list[list[CourseEntry]]:
    """The lengths of a stage, those read in the same way together, in the order they were read."""
    ways: dict[tuple[object, ...], list[CourseEntry]] = {}
    for one in course.at(stage):
        texts = (one.reference, one.method, one.basis, one.file.material)
        ways.setdefault((*map(plain, texts), one.file.size), []).append(one)
    return list(ways.values())


def _nearest(course: Course, stage: Stage, later: CourseEntry) -> CourseEntry:
    """The length of a stage that differs from a later one in the fewest things."""
    return min(_last_of_each(course, stage), key=lambda one: len(differences(course, one, later)))


def _change(
    course: Course, earlier: CourseEntry, later: CourseEntry, own: Repeatability, *, across_sizes: bool
) -> Change:
    blocked = differences(course, earlier, later, across_sizes=across_sizes)
    if blocked:
        return Change(earlier, later, own, "not compared", blocked)
    value = later.length_mm - earlier.length_mm
    # a stated uncertainty below the repeat error of the reader cannot be all of it
    sd = hypot(*(max(one.length_sd_mm or 0.0, own.sd_mm) for one in (earlier, later)))
    verdict: Verdict = "not distinguishable"
    if _over(abs(value), own.lsc_mm):
        verdict = "within stated uncertainty"
        if _over(abs(value), _NORMAL * sd):
            verdict = "longer" if value > 0 else "shorter"
    measured = Measurement(
        "length_change_mm",
        value,
        "mm",
        sd,
        f"length at {later.stage} minus length at {earlier.stage}",
        f"{own.basis}; {later.method}, {later.basis}, from {later.reference}, file {later.file}",
        tuple(_notes(earlier, later, value, verdict, own)),
    )
    return Change(earlier, later, own, verdict, (), measured)


def _over(size: float, limit: float) -> bool:
    # lengths come in hundredths: a difference that equals the limit must not pass it by rounding
    return size > limit + 1e-9


def _notes(
    earlier: CourseEntry, later: CourseEntry, value: float, verdict: Verdict, own: Repeatability
) -> Iterator[str]:
    size = abs(value)
    if own.lsc_mm < size <= own.sure_lsc_mm:
        yield (
            f"The SD rests on {own.repeats} repeats only; allowing for that by Student's t, a change would "
            f"have to exceed {own.sure_lsc_mm:.2f} mm."
        )
    if verdict == "within stated uncertainty":
        yield (
            "More than the repeat error, but within the uncertainties stated for the two lengths; errors "
            "that both share, as of one scale, cancel in a change. Read the length again."
        )
    if earlier.file.size != later.file.size:
        sizes = f"{_size(earlier)} / {_size(later)}"
        yield f"File sizes differ ({sizes}): compared across file sizes because you asked for it."
    if earlier.file.size is None and later.file.size is None:
        yield "The file is stated for neither length; whether it was the same cannot be seen."
