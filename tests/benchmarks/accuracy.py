"""How accurate measuring is on synthetic radiographs: ``python -m tests.benchmarks.accuracy``.

Prints, for every measure, median and 95th percentile of the absolute error beside the aim, and the share of
95 % intervals that hold the truth. README.md beside this module says how to read it.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from tests.benchmarks.one_core import use_one_thread


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    """Options of the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.accuracy", description=__doc__)
    parser.add_argument("--cases", type=int, default=120, help="how many (120)")
    parser.add_argument("--first-seed", type=int, default=5000, help="seed of the first; the rest follow")
    parser.add_argument("--workers", type=int, default=1, help="processes (1: this one; times need 1)")
    parser.add_argument(
        "--plain",
        type=int,
        nargs="?",
        const=30,
        default=0,
        metavar="N",
        help="run the plain pipeline too, on the first N cases (30)",
    )
    parser.add_argument("--balls", type=int, default=20, help="images with a 5 mm ball, at least (20)")
    parser.add_argument("--worst", action="store_true", help="list the five worst seeds of every measure")
    parser.add_argument("--json", type=Path, metavar="OUT", help="write summary and all cases there")
    options = parser.parse_args(arguments)
    if options.cases < 1 or options.workers < 1 or options.first_seed < 0:
        parser.error("--cases and --workers must be at least 1, --first-seed at least 0")
    if not 0 <= options.plain <= options.cases:
        parser.error(f"--plain is {options.plain}; it must lie between 0 and --cases ({options.cases})")
    return options


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the report."""
    options = parse(arguments)
    threads = use_one_thread()
    # numerical modules only now: BLAS reads its number of threads when it is loaded
    from tests.benchmarks.cases import run_cases
    from tests.benchmarks.report import as_record, full_report

    judged, balls = run_cases(
        options.first_seed,
        options.cases,
        plain_count=options.plain,
        five_mm_balls=options.balls,
        workers=options.workers,
    )
    last = options.first_seed + options.cases - 1
    print(f"Accuracy on seeds {options.first_seed} to {last}; {options.workers} process(es); {threads}")
    print(full_report(judged, balls, worst=options.worst))
    if options.json:
        options.json.write_text(json.dumps(as_record(judged, balls), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
