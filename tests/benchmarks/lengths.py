"""How good lengths are: ``python -m tests.benchmarks.lengths``.

Prints, for scale, gap, working length, the estimate without a file and the bounds of straightening, median
and 95th percentile of the error against exact geometry, and the share of 95 % intervals that hold it.
README.md beside this module says how to read it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tests.benchmarks.one_core import use_one_thread

if TYPE_CHECKING:
    from tests.benchmarks.bend_report import NumberRow
    from tests.benchmarks.length_cases import LengthJudged

_LABEL = 66


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    """Options of the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.lengths", description=__doc__)
    parser.add_argument("--cases", type=int, default=60, help="how many teeth (60)")
    parser.add_argument("--first-seed", type=int, default=5000, help="seed of the first; the rest follow")
    parser.add_argument("--workers", type=int, default=1, help="processes (1: this one)")
    parser.add_argument("--worst", action="store_true", help="list the five worst seeds of every length")
    options = parser.parse_args(arguments)
    if options.cases < 1 or options.workers < 1 or options.first_seed < 0:
        parser.error("--cases and --workers must be at least 1, --first-seed at least 0")
    return options


def lengths_report(judged: Sequence[LengthJudged], *, worst: bool = False) -> str:
    """Everything a run prints."""
    from tests.benchmarks.bend_report import NUMBER_HEAD, NumberRow
    from tests.benchmarks.rows import INTERVAL_AIM

    low, high = INTERVAL_AIM
    lines = [
        f"{sum(one.with_file for one in judged)} images with a file, "
        f"{sum(not one.with_file for one in judged)} without",
        "",
        "Absolute errors against exact geometry, mm (of scales %), share of 95 % intervals that hold it (aim",
        f"{low:.0%} to {high:.0%}). miss: not measured.",
        f"{'':{_LABEL}}{NUMBER_HEAD}{'bias':>9}{'rms':>9}".rstrip(),
    ]
    groups = (("with file", True), ("without file", False))
    by_group = {told: [one for one in judged if one.with_file == with_file] for told, with_file in groups}
    rows = []
    for told, group in by_group.items():
        names = dict.fromkeys(name for one in group for name in (*one.numbers, *one.missing))
        rows += [(NumberRow(name, f"{told}: {name}"), group) for name in names]
    for row, group in rows:
        lines.append(f"{row.label:{_LABEL}}{row.cells(group)}{_bias_rms(row, group)}")
    lines += ["", *_beyond(judged)]
    if worst:
        lines += ["", "Worst: seed (signed error; * outside its interval)"]
        for row, group in rows:
            five = sorted(row.of(group), key=lambda pair: -abs(pair[1].error))[:5]
            told = ", ".join(f"{seed} ({n.error:+.3g}{'' if n.held else '*'})" for seed, n in five)
            lines.append(f"{row.label:{_LABEL}}{told}")
    lines += [f"failed, seed {one.seed}: {one.failed}" for one in judged if one.failed]
    return "\n".join(lines)


def _bias_rms(row: NumberRow, group: Sequence[LengthJudged]) -> str:
    import numpy as np

    errors = [number.error for _, number in row.of(group)]
    if not errors:
        return ""
    return f"{np.mean(errors):+9.3f}{np.sqrt(np.mean(np.square(errors))):9.3f}"


def _beyond(judged: Sequence[LengthJudged]) -> list[str]:
    """How often a canal could truly shrink by more than the upper end of a bound."""
    bounds = [n for one in judged for name, n in one.numbers.items() if name.startswith("bound")]
    if not bounds:
        return ["no bounds of straightening"]
    over = sum(number.truth > number.high for number in bounds)
    return [f"true bound above the upper end of the one found: {over} of {len(bounds)}"]


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the report."""
    options = parse(arguments)
    threads = use_one_thread()
    # numerical modules only now: BLAS reads its number of threads when it is loaded
    from tests.benchmarks.cases import mapped
    from tests.benchmarks.length_cases import judge_lengths_seed

    seeds = range(options.first_seed, options.first_seed + options.cases)
    judged: list[LengthJudged] = []
    for count, found in enumerate(mapped(judge_lengths_seed, seeds, options.workers), 1):
        judged += found
        if count % 20 == 0:
            print(f"{count} of {options.cases} teeth", file=sys.stderr, flush=True)
    print(f"Lengths on seeds {seeds[0]} to {seeds[-1]}; {options.workers} process(es); {threads}")
    print(lengths_report(judged, worst=options.worst))


if __name__ == "__main__":
    main()
