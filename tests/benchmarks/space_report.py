"""Tables of a run on pairs of views."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from radio.measure.methods import QUANTITIES
from tests.benchmarks.bend_report import NUMBER_HEAD, NumberRow, radius_rows, share_told
from tests.benchmarks.bends import NumberFound
from tests.benchmarks.pairs import OWN_PLANE, PairJudged
from tests.benchmarks.rows import INTERVAL_AIM

_LABEL = 48
_RADII = {"smallest_radius_3d_mm"} | {OWN_PLANE + name for name, one in QUANTITIES.items() if one.reciprocal}
_GROUPS = ("in the jaw", "extracted")


def _groups(judged: Sequence[PairJudged]) -> list[list[PairJudged]]:
    return [[one for one in judged if one.extracted == extracted] for extracted in (False, True)]


def rows(judged: Sequence[PairJudged]) -> list[NumberRow]:
    """Every line of the table: what any pair has a number for, those of the own plane last."""
    names = dict.fromkeys(name for one in judged for name in (*one.numbers, *one.missing, *one.without_truth))
    planar = {OWN_PLANE + column: number for number, column in enumerate(QUANTITIES)}
    out = []
    for name in sorted(names, key=lambda name: planar.get(name, -1)):
        if name in _RADII:
            out += radius_rows(name, f"{name}, %")
        else:
            out.append(NumberRow(name, name))
    return out


def number_table(judged: Sequence[PairJudged]) -> list[str]:
    """Lines of the table of numbers."""
    low, high = INTERVAL_AIM
    heads = "".join(f"{group:^{len(NUMBER_HEAD)}}" for group in _GROUPS)
    lines = [
        "",
        "Absolute errors against the same measure on the exact axis in space, share of 95 % intervals that",
        f"hold it (aim {low:.0%} to {high:.0%}). miss: only the axis has a value; extra: only the pair.",
        f"{'':{_LABEL}}{heads}".rstrip(),
        f"{'':{_LABEL}}{NUMBER_HEAD}{NUMBER_HEAD}".rstrip(),
    ]
    for row in rows(judged):
        cells = "".join(row.cells(group) for group in _groups(judged))
        lines.append(f"{row.label:{_LABEL}}{cells}".rstrip())
    return lines


def width_table(judged: Sequence[PairJudged]) -> list[str]:
    """Lines of how wide the intervals are, which a share of 100 % does not tell; radii are left out."""
    lines = [
        "",
        "Half of the width of the 95 % interval, median; in brackets: over the median absolute error",
    ]
    for row in rows(judged):
        if row.radius:
            continue
        cells = ""
        for title, group in zip(_GROUPS, _groups(judged), strict=True):
            numbers = [number for _, number in row.of(group)]
            cells += f"{f'{title}: {_width_told(numbers)}':40}"
        lines.append(f"{row.label:{_LABEL}}{cells}".rstrip())
    return lines


def _width_told(numbers: Sequence[NumberFound]) -> str:
    if not numbers:
        return "-"
    half = float(np.median([(number.high - number.low) / 2 for number in numbers]))
    error = float(np.median([abs(number.error) for number in numbers]))
    return f"{half:.3g} ({half / error:.1f})" if error > 0 else f"{half:.3g}"


def word_table(judged: Sequence[PairJudged]) -> list[str]:
    """Lines of how often words are right, in the canal's own plane."""
    lines = ["", "Words in the canal's own plane, against the same method on the exact axis"]
    for name in dict.fromkeys(name for one in judged for name in one.words):
        told = ""
        for title, group in zip(_GROUPS, _groups(judged), strict=True):
            right = [one.words[name].right for one in group if name in one.words]
            told += f"{share_told(f'{title}: right', right):32}"
        lines.append(f"{name:{_LABEL}}{told}".rstrip())
    return lines


def worst_table(judged: Sequence[PairJudged]) -> list[str]:
    """Lines of the five worst seeds of each number."""
    lines = ["", "Worst pairs: seed (signed error; * outside its interval)"]
    for row in rows(judged):
        worst = sorted(row.of(judged), key=lambda pair: -abs(row.error(pair[1])))[:5]
        told = ", ".join(f"{seed} ({row.error(n):+.3g}{'' if n.held else '*'})" for seed, n in worst)
        lines.append(f"{row.label:{_LABEL}}{told}".rstrip())
    return lines


def space_report(judged: Sequence[PairJudged], *, worst: bool = False) -> str:
    """Everything a run on pairs prints."""
    known = [one for one in judged if not one.failed]
    off = [abs(one.turn_deg - one.stated_deg) for one in known]
    lines = [
        f"{len(judged)} pairs of views, {sum(one.extracted for one in judged)} of extracted teeth, "
        f"{sum(one.with_file for one in judged)} with a file; angle between the views "
        f"{_range([one.stated_deg for one in judged])} degrees as stated, off by "
        f"{np.median(off or [np.nan]):.1f} (median)"
    ]
    refused = [one.seed for one in known if not one.same_canal]
    lines.append(f"falsely refused as not one canal: {len(refused)} {refused or ''}".rstrip())
    lines += number_table(judged)
    lines += width_table(judged)
    lines += word_table(judged)
    if worst:
        lines += worst_table(judged)
    lines += [f"failed, seed {one.seed}: {one.failed}" for one in judged if one.failed]
    return "\n".join(lines)


def _range(values: Sequence[float]) -> str:
    return f"{min(values):.0f} to {max(values):.0f}"
