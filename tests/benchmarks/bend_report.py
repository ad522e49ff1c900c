"""Tables of a coverage run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np

from radio.measure.methods import QUANTITIES
from tests.benchmarks.bends import UNSMOOTHED, BendJudged, NumberFound, WordFound
from tests.benchmarks.rows import INTERVAL_AIM

_LABEL = 48
# A share of fewer cases than this says little.
_FEW = 20
# Above this true radius a canal is all but straight, and its radius all but undetermined.
STRAIGHT_FROM_MM = 40.0
# A file that reaches this near shows where the canal goes to its end; one set to a working length does
# (0.5 to 1 mm short of the apex, common practice, no source).
NEAR_APEX_MM = 1.0


class HasNumbers(Protocol):
    """A judged case: its seed, its numbers by column, and columns that only one side has a value for."""

    seed: int
    numbers: dict[str, NumberFound]
    missing: list[str]
    without_truth: list[str]


@dataclass(frozen=True)
class NumberRow:
    """One line of a table of numbers: a column, and which cases of it."""

    column: str
    label: str
    radius: bool = False
    nearly_straight: bool = False

    def of(self, judged: Sequence[HasNumbers]) -> list[tuple[int, NumberFound]]:
        """Seeds and numbers that belong in this line."""
        found = [(one.seed, one.numbers[self.column]) for one in judged if self.column in one.numbers]
        if not self.radius:
            return found
        return [pair for pair in found if (pair[1].truth > STRAIGHT_FROM_MM) == self.nearly_straight]

    def error(self, number: NumberFound) -> float:
        """Signed error; percent for a radius."""
        return number.relative_pct if self.radius else number.error

    def summary(self, judged: Sequence[HasNumbers]) -> tuple[int, float, float, float]:
        """How many, median and 95th percentile of the absolute error, share of intervals that hold."""
        numbers = [number for _, number in self.of(judged)]
        if not numbers:
            return 0, float("nan"), float("nan"), float("nan")
        absolute = np.abs([self.error(number) for number in numbers])
        held = float(np.mean([number.held for number in numbers]))
        return len(numbers), float(np.median(absolute)), float(np.percentile(absolute, 95)), held

    def cells(self, judged: Sequence[HasNumbers]) -> str:
        """Cells of the line for one group of cases, under `NUMBER_HEAD`."""
        n, median, p95, held = self.summary(judged)
        missing = "" if self.nearly_straight else sum(self.column in one.missing for one in judged)
        extra = "" if self.nearly_straight else sum(self.column in one.without_truth for one in judged)
        told = f"{median:9.3f}{p95:9.3f}{held:6.0%}" if n else f"{'-':>9}{'':15}"
        return f"{n:5d}{missing:>6}{extra:>6}{told} {interval_verdict(n, held):6}"


NUMBER_HEAD = f"{'n':>5}{'miss':>6}{'extra':>6}{'median':>9}{'95 %':>9}{'held':>6} {'met':6}"


def rows() -> list[NumberRow]:
    """Every line of the table of numbers."""
    out = []
    for column, quantity in QUANTITIES.items():
        if quantity.unit == "word":
            continue
        if not quantity.reciprocal:
            unit = "" if quantity.unit == "ratio" else f", {quantity.unit}"
            out.append(NumberRow(column, f"{quantity.title}{unit}"))
            continue
        out += radius_rows(column, f"{quantity.title}, %")
        if column == "smallest_radius_mm":
            out += radius_rows(UNSMOOTHED, "  the same against the unsmoothed axis, %")
    return out


def radius_rows(column: str, label: str) -> list[NumberRow]:
    """Lines of a radius: where the canal bends, and where it is all but straight."""
    nearly = f"    truth above {STRAIGHT_FROM_MM:g} mm, %"
    return [
        NumberRow(column, label, radius=True),
        NumberRow(column, nearly, radius=True, nearly_straight=True),
    ]


def _groups(judged: Sequence[BendJudged]) -> list[list[BendJudged]]:
    """Cases with and without a file."""
    return [[one for one in judged if one.with_file == with_file] for with_file in (True, False)]


def interval_verdict(n: int, share: float) -> str:
    """Whether a share of intervals that hold the truth lies in its aim."""
    low, high = INTERVAL_AIM
    if n < _FEW:
        return "few" if n else ""
    return "narrow" if share < low else "wide" if share > high else "yes"


def number_table(judged: Sequence[BendJudged]) -> list[str]:
    """Lines of the table of numbers."""
    low, high = INTERVAL_AIM
    lines = [
        "",
        "Absolute errors against the same method on the exact canal axis, share of 95 % intervals that hold",
        f"its value (aim {low:.0%} to {high:.0%}). miss: only the axis has a value; extra: only the trace.",
        f"{'':{_LABEL}}{'with file':>28}{'without':>46}",
        f"{'':{_LABEL}}{NUMBER_HEAD}{NUMBER_HEAD}".rstrip(),
    ]
    for row in rows():
        cells = "".join(row.cells(group) for group in _groups(judged))
        lines.append(f"{row.label:{_LABEL}}{cells}".rstrip())
    return lines


def share_told(told: str, flags: Sequence[bool]) -> str:
    """A share in words, a dash where there is nothing to count."""
    return f"{told} {np.mean(flags):.0%} of {len(flags)}" if flags else f"{told} -"


def s_shape_counts(
    judged: Sequence[BendJudged], is_s: Callable[[BendJudged], bool]
) -> tuple[list[bool], list[bool]]:
    """Whether an S was reported, for the canals that are S-shaped and for those that are not."""
    known = [one for one in judged if "s_shaped" in one.words]
    said = [(is_s(one), one.words["s_shaped"].word == "yes") for one in known]
    return [yes for true, yes in said if true], [yes for true, yes in said if not true]


def _by_drawing(one: BendJudged) -> bool:
    return one.drawn_s


def _by_axis(one: BendJudged) -> bool:
    return one.words["s_shaped"].truth == "yes"


def word_table(judged: Sequence[BendJudged]) -> list[str]:
    """Lines about the words."""
    lines = ["", "Words (against the same method on the exact canal axis, unless said otherwise)"]
    for told, group in zip(("with file", "without", "all"), (*_groups(judged), list(judged)), strict=True):
        for against, is_s in (("as drawn", _by_drawing), ("by the axis", _by_axis)):
            found, false = s_shape_counts(group, is_s)
            shares = f"{share_told('found', found):22}{share_told('false', false)}"
            lines.append(f"{'S-shaped, ' + against:24}{told:12}{shares}")
        for column in ("canal_form", "bend_side"):
            words = [one.words[column] for one in group if column in one.words]
            line = f"{QUANTITIES[column].title:24}{told:12}{share_told('right', [w.right for w in words]):22}"
            if column == "bend_side":
                both = [w for w in words if "none" not in (w.word, w.truth)]
                line += share_told("right where both have a side", [w.right for w in both])
            lines.append(line.rstrip())
    return lines


def calibration_table(judged: Sequence[BendJudged]) -> list[str]:
    """Lines that set the stated share of a word beside how often it is right."""
    edges = (0.0, 0.6, 0.8, 0.95, 1.01)
    lines = ["", "Stated share of a word (mean), and how often it is right, by stated share"]
    titles = ("below 0.6", "0.6 to 0.8", "0.8 to 0.95", "above 0.95")
    lines.append(f"{'':24}{'all':>24}" + "".join(f"{title:>22}" for title in titles))
    for column, quantity in QUANTITIES.items():
        if quantity.unit != "word":
            continue
        words = [one.words[column] for one in judged if column in one.words]
        parts = [words]
        for low, high in pairwise(edges):
            parts.append([word for word in words if low <= word.share < high])
        cells = "".join(f"{_calibration(part):>{24 if k == 0 else 22}}" for k, part in enumerate(parts))
        lines.append(f"{quantity.title:24}{cells}")
    return lines


def _calibration(words: Sequence[WordFound]) -> str:
    if not words:
        return "-"
    share, right = np.mean([word.share for word in words]), np.mean([word.right for word in words])
    return f"{share:.0%}, {right:.0%} of {len(words)}"


def aim_table(judged: Sequence[BendJudged]) -> list[str]:
    """Lines of aims: what was wanted, what was found, whether met."""
    with_file, _ = _groups(judged)
    by_column = {row.column: row for row in rows() if not row.nearly_straight}
    lines = ["", f"{'Aims':78}{'found':>20}   met"]

    def line(label: str, told: str, met: bool) -> None:
        lines.append(f"{label:78}{told:>20}   {'yes' if met else 'NO'}")

    near = [one for one in with_file if one.gap_mm is not None and one.gap_mm <= NEAR_APEX_MM]
    reaching = f"file within {NEAR_APEX_MM:g} mm of the apex"
    for column in ("weine_deg", "tangent_circle_deg"):
        for told, group in (("file", with_file), (reaching, near)):
            n, median, p95, _ = by_column[column].summary(group)
            if n:
                label = f"{QUANTITIES[column].title}, {told} ({n}): 1.5 median, 5 at 95 %"
                line(label, f"{median:.2f} / {p95:.2f}", median <= 1.5 and p95 <= 5)
    for column, told in (("smallest_radius_mm", "same method on the axis"), (UNSMOOTHED, "unsmoothed axis")):
        n, median, _, _ = by_column[column].summary(judged)
        if n:
            line(f"smallest radius, all, against the {told}: 15 % median", f"{median:.1f} %", median <= 15)
    for told, is_s in (("drawn so", _by_drawing), ("so by their axis", _by_axis)):
        found, false = s_shape_counts(judged, is_s)
        if found and false:
            seen, alarms = float(np.mean(found)), float(np.mean(false))
            label = f"S-shape found in 90 % of canals {told}, falsely in 5 % of others"
            line(label, f"{seen:.0%} / {alarms:.0%}", seen >= 0.9 and alarms <= 0.05)
    return lines


def worst_table(judged: Sequence[BendJudged]) -> list[str]:
    """Lines of the five worst seeds of each number, and of the words that are wrong."""
    lines = ["", "Worst cases: seed (signed error; * outside its interval)"]
    for row in rows():
        worst = sorted(row.of(judged), key=lambda pair: -abs(row.error(pair[1])))[:5]
        told = ", ".join(f"{seed} ({row.error(n):+.3g}{'' if n.held else '*'})" for seed, n in worst)
        lines.append(f"{row.label:{_LABEL}}{told}".rstrip())
    for one in judged:
        wrong = [f"{c} {w.word}, is {w.truth} ({w.share:.0%})" for c, w in one.words.items() if not w.right]
        if wrong:
            lines.append(f"{one.seed}{' S' if one.drawn_s else ''}: {'; '.join(wrong)}")
    return lines


def coverage_report(judged: Sequence[BendJudged], *, worst: bool = False) -> str:
    """Everything a coverage run prints."""
    lines = [
        f"{len(judged)} synthetic cases, {sum(one.with_file for one in judged)} with a file, "
        f"{sum(one.drawn_s for one in judged)} drawn S-shaped; "
        f"{sum(not one.calibrated and not one.failed for one in judged)} without a scale; all methods take "
        f"{np.nanmedian([one.methods_ms for one in judged] or [np.nan]):.1f} ms (median)"
    ]
    lines += number_table(judged)
    lines += word_table(judged)
    lines += calibration_table(judged)
    lines += aim_table(judged)
    if worst:
        lines += worst_table(judged)
    lines += [f"failed, seed {one.seed}: {one.failed}" for one in judged if one.failed]
    return "\n".join(lines)
