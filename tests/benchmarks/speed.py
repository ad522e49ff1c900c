"""How fast measuring is beside the plain pipeline: ``python -m tests.benchmarks.speed``.

One process, one core. The plain pipeline and ours run in turn on images of 3 megapixels; then ours runs once
on each of many mixed images. Images are rendered beforehand: no time includes loading.
"""

from __future__ import annotations

import argparse

from tests.benchmarks.one_core import use_one_core


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    """Options of the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.speed", description=__doc__)
    parser.add_argument("--images", type=int, default=8, help="images of 3 megapixels to compare on (8)")
    parser.add_argument("--repeats", type=int, default=3, help="runs of each pipeline on each (3)")
    parser.add_argument("--mixed", type=int, default=40, help="mixed images for our seconds an image (40)")
    parser.add_argument("--first-seed", type=int, default=6000)
    options = parser.parse_args(arguments)
    if min(options.images, options.repeats, options.mixed) < 1 or options.first_seed < 0:
        parser.error("--images, --repeats and --mixed must be at least 1, --first-seed at least 0")
    return options


def main(arguments: list[str] | None = None) -> None:
    """Run it and print both tables."""
    options = parse(arguments)
    print(f"One process, one core: {use_one_core()}", flush=True)
    # numerical modules only now: BLAS reads its number of threads when it is loaded
    from tests.benchmarks import timing

    timing.warm_up(options.first_seed)
    large = timing.compare_large(options.first_seed, options.images, options.repeats)
    print(f"\nImages of 3 megapixels, median of {options.repeats} runs in turn, loading apart")
    print(timing.compare_report(large))
    mixed = timing.seconds_each(timing.mixed_cases(options.first_seed + 100, options.mixed))
    print(f"\nOurs, seconds an image over {options.mixed} mixed images, one run each, loading apart")
    print(timing.seconds_report(mixed))


if __name__ == "__main__":
    main()
