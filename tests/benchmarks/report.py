"""Tables of an accuracy run, as text and as plain values."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.benchmarks.cases import Judged
from tests.benchmarks.judge import Errors
from tests.benchmarks.rows import DIFFICULTY, ERRORS, INTERVAL_AIM, INTERVALS, PARTS, Row

FloatArray = npt.NDArray[np.float64]
_LABEL = 66
# A share of fewer intervals than this says little.
_FEW = 20


class Pool:
    """Errors of many cases, looked up by measure.

    Parameters
    ----------
    entries : iterable of (int or None, Errors)
        Seed (None for a further image with a ball) and errors.
    """

    def __init__(self, entries: Iterable[tuple[int | None, Errors | None]]) -> None:
        self._entries = [(seed, errors) for seed, errors in entries if errors is not None]

    def absolute(self, name: str) -> FloatArray:
        """Absolute errors of one measure, shape (n,)."""
        return np.abs([errors.error[name] for _, errors in self._entries if name in errors.error])

    def missing(self, name: str) -> int:
        """In how many cases a measure is missing."""
        return sum(name in errors.missing for _, errors in self._entries)

    def held(self, name: str) -> tuple[int, float, float]:
        """How many intervals were stated, the share that holds the truth, and the RMS error in sd."""
        z = np.array([errors.in_sd[name] for _, errors in self._entries if name in errors.in_sd])
        if not len(z):
            return 0, float("nan"), float("nan")
        return len(z), float(np.mean(np.abs(z) <= 1.96)), float(np.sqrt(np.mean(z**2)))

    def worst(self, name: str, count: int = 5) -> list[tuple[int | None, float]]:
        """Seeds and signed errors of the largest errors of one measure."""
        found = [(seed, errors.error[name]) for seed, errors in self._entries if name in errors.error]
        return sorted(found, key=lambda one: -abs(one[1]))[:count]

    def failures(self) -> list[tuple[int | None, str]]:
        """Seeds without any result, and why."""
        return [(seed, errors.failed) for seed, errors in self._entries if errors.failed]


def pool_ours(judged: Sequence[Judged], balls: Sequence[Errors]) -> Pool:
    """Our errors, balls among them."""
    own = [(one.seed, errors) for one in judged for errors in (one.ours, one.ball)]
    return Pool([*own, *((None, errors) for errors in balls)])


def pool_as_set(judged: Sequence[Judged]) -> Pool:
    """Our errors with file lengths stated as wrong as a ruler may set them."""
    return Pool((one.seed, one.as_set) for one in judged)


def _summary(absolute: FloatArray) -> tuple[float, float]:
    return float(np.median(absolute)), float(np.percentile(absolute, 95))


def _verdict(row: Row, found: tuple[float, float]) -> str:
    if row.aim is None:
        return ""
    return " / ".join("yes" if value <= aim else "NO" for value, aim in zip(found, row.aim, strict=True))


def error_table(title: str, rows: Sequence[Row], pool: Pool) -> list[str]:
    """Lines of a table of errors: n, missing, median, 95th percentile, aim, whether met."""
    lines = [
        "",
        title,
        f"{'absolute error':{_LABEL}}{'n':>5}{'missing':>9}{'median':>9}{'95 %':>9}   {'aim':13}met",
    ]
    for row in rows:
        absolute, missing = pool.absolute(row.name), pool.missing(row.name)
        if not len(absolute):
            lines.append(f"{row.label:{_LABEL}}{0:5d}{missing:9d}")
            continue
        found = _summary(absolute)
        aim = "" if row.aim is None else f"{row.aim[0]:g} / {row.aim[1]:g}"
        lines.append(
            f"{row.label:{_LABEL}}{len(absolute):5d}{missing:9d}{found[0]:9.3f}{found[1]:9.3f}   {aim:13}"
            f"{_verdict(row, found)}".rstrip()
        )
    return lines


def _interval_verdict(n: int, share: float) -> str:
    low, high = INTERVAL_AIM
    if n < _FEW:
        return "few"
    return "too narrow" if share < low else "too wide" if share > high else "yes"


def interval_table(pool: Pool, as_set: Pool) -> list[str]:
    """Lines of the table of 95 % intervals, with exact and with realistic stated file lengths."""
    low, high = INTERVAL_AIM
    lines = [
        "",
        f"Share of 95 % intervals (value ± 1.96 sd) that hold the truth; aim {low:.0%} to {high:.0%}",
        f"{'':{_LABEL}}{'file length exact':>24}{'file length as set':>26}",
        f"{'':{_LABEL}}" + f"{'n':>6}{'share':>8}{'rms/sd':>8}" * 2 + "   met",
    ]
    for row in INTERVALS:
        held = [one.held(row.name) for one in (pool, as_set)]
        cells = [f"{n:6d}{share:8.0%}{rms:8.2f}" if n else f"{'-':>6}{'':16}" for n, share, rms in held]
        # the stated length carries its setting error only in the second column
        met = next((_interval_verdict(n, share) for n, share, _ in reversed(held) if n), "")
        lines.append(f"{row.label:{_LABEL}}{''.join(cells)}   {met}".rstrip())
    return lines


def difficulty_tables(judged: Sequence[Judged]) -> list[str]:
    """Lines of median / 95th percentile by terciles of noise, pixel size and file size."""
    by: dict[str, Callable[[Judged], float | None]] = {
        "noise of a pixel, % of the open beam": lambda one: one.noise_pct,
        "pixel size at the canal, mm": lambda one: one.pixel_mm,
        "file size, ISO 3630-1": lambda one: one.file_size,
    }
    lines = ["", "By difficulty: median / 95th percentile of the absolute error in each third of the cases"]
    for title, key in by.items():
        known = [(value, one) for one in judged if (value := key(one)) is not None]
        if len(known) < 3:
            continue
        known.sort(key=lambda pair: pair[0])
        thirds = [known[i * len(known) // 3 : (i + 1) * len(known) // 3] for i in range(3)]
        heads = "".join(f"{f'{third[0][0]:.3g} to {third[-1][0]:.3g}':>20}" for third in thirds)
        lines += [f"{title:{_LABEL}}{heads}"]
        for row in DIFFICULTY:
            found = [Pool((one.seed, one.ours) for _, one in third).absolute(row.name) for third in thirds]
            if any(len(absolute) for absolute in found):
                cells = "".join(
                    f"{'{:.3f} / {:.3f}'.format(*_summary(a)) if len(a) else '-':>20}" for a in found
                )
                lines.append(f"  {row.label:{_LABEL - 2}}{cells}")
    return lines


def plain_table(judged: Sequence[Judged]) -> list[str]:
    """Lines of ours beside the plain pipeline, on the cases both measured."""
    both = [one for one in judged if one.plain is not None]
    ours = Pool((one.seed, one.ours) for one in both)
    plain = Pool((one.seed, one.plain) for one in both)
    lines = ["", f"Beside the plain pipeline, on the first {len(both)} cases: median / 95th percentile"]
    lines.append(f"{'':{_LABEL}}{'n':>5}{'ours':>20}{'plain':>20}{'missing there':>15}")
    for row in ERRORS:
        left, right = ours.absolute(row.name), plain.absolute(row.name)
        if len(left):
            cells = "".join(
                f"{'{:.3f} / {:.3f}'.format(*_summary(a)) if len(a) else '-':>20}" for a in (left, right)
            )
            missing = plain.missing(row.name) if len(right) else ""
            lines.append(f"{row.label:{_LABEL}}{len(left):5d}{cells}{missing:>15}")
    return lines


def worst_table(pool: Pool) -> list[str]:
    """Lines of the five worst seeds of each measure, with signed errors."""
    lines = ["", "Worst cases: seed (signed error)"]
    for row in (*ERRORS, *PARTS):
        seeds = ", ".join(
            f"{'further image' if seed is None else seed} ({error:+.3f})"
            for seed, error in pool.worst(row.name)
        )
        lines.append(f"{row.label:{_LABEL}}{seeds}")
    return lines


def full_report(judged: Sequence[Judged], balls: Sequence[Errors], *, worst: bool = False) -> str:
    """Everything an accuracy run prints."""
    ours = pool_ours(judged, balls)
    with_file = sum(one.file_size is not None for one in judged)
    lines = [
        f"{len(judged)} synthetic cases, {with_file} with a file; {len(balls)} further images for 5 mm balls"
    ]
    lines += error_table("Errors", ERRORS, ours)
    lines += error_table("What they are made of", PARTS, ours)
    lines += interval_table(ours, pool_as_set(judged))
    lines += difficulty_tables(judged)
    if any(one.plain is not None for one in judged):
        lines += plain_table(judged)
    if worst:
        lines += worst_table(ours)
    plain = Pool((one.seed, one.plain) for one in judged)
    for told, pool in (("ours", ours), ("plain pipeline", plain)):
        lines += [f"failed ({told}), seed {seed}: {why}" for seed, why in pool.failures()]
    return "\n".join(lines)


def as_record(judged: Sequence[Judged], balls: Sequence[Errors]) -> dict[str, Any]:
    """Everything as plain values, for JSON: the summary by measure, and every case."""
    ours, as_set = pool_ours(judged, balls), pool_as_set(judged)
    summary = {}
    for row in (*ERRORS, *PARTS):
        absolute = ours.absolute(row.name)
        if len(absolute):
            median, p95 = _summary(absolute)
            summary[row.name] = {
                "label": row.label,
                "n": len(absolute),
                "missing": ours.missing(row.name),
                "median": median,
                "p95": p95,
                "aim": row.aim,
            }
    intervals = {
        row.name: {
            told: dict(zip(("n", "share", "rms_in_sd"), held, strict=True))
            for told, pool in (("file length exact", ours), ("file length as set", as_set))
            if (held := pool.held(row.name))[0]
        }
        for row in INTERVALS
    }
    return {
        "summary": summary,
        "intervals": intervals,
        "cases": [one.as_record() for one in judged],
        "further_balls": [{"error": one.error, "in_sd": one.in_sd} for one in balls],
    }
