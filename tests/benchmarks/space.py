"""How well two views give a canal in space: ``python -m tests.benchmarks.space``.

Prints, for every measure in space and every method in the canal's own plane, median and 95th percentile of
the error against the same measure on the exact axis, and the share of 95 % intervals that hold it. README.md
beside this module says how to read it.
"""

from __future__ import annotations

import argparse
import sys

from tests.benchmarks.one_core import use_one_thread


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    """Options of the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.space", description=__doc__)
    parser.add_argument("--cases", type=int, default=60, help="how many pairs (60)")
    parser.add_argument("--first-seed", type=int, default=5000, help="seed of the first; the rest follow")
    parser.add_argument("--workers", type=int, default=1, help="processes (1: this one)")
    parser.add_argument("--worst", action="store_true", help="list the five worst seeds of every measure")
    options = parser.parse_args(arguments)
    if options.cases < 1 or options.workers < 1 or options.first_seed < 0:
        parser.error("--cases and --workers must be at least 1, --first-seed at least 0")
    return options


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the report."""
    options = parse(arguments)
    threads = use_one_thread()
    # numerical modules only now: BLAS reads its number of threads when it is loaded
    from tests.benchmarks.cases import mapped
    from tests.benchmarks.pairs import judge_pair_seed
    from tests.benchmarks.space_report import space_report

    judged = []
    for one in mapped(
        judge_pair_seed,
        range(options.first_seed, options.first_seed + options.cases),
        options.workers,
    ):
        judged.append(one)
        if len(judged) % 20 == 0:
            print(f"{len(judged)} of {options.cases} pairs", file=sys.stderr, flush=True)
    last = options.first_seed + options.cases - 1
    print(f"Two views on seeds {options.first_seed} to {last}; {options.workers} process(es); {threads}")
    print(space_report(judged, worst=options.worst))


if __name__ == "__main__":
    main()
