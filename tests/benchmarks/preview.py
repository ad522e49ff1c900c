"""How fast the live line follows the pointer: ``python -m tests.benchmarks.preview``.

One process, one core. A made hand traces file and canal of images of 3 megapixels in a viewer without a
window, as a person would: along the line with a little wander, a pin every so often. Each move of the pointer
is one step: finding the line and giving it to the layer of napari; painting is not in it. Then the case is
measured on the same points, and the line seen live is held against the line measured.
"""

from __future__ import annotations

import argparse

from tests.benchmarks.one_core import use_one_core


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    """Options of the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.preview", description=__doc__)
    parser.add_argument("--images", type=int, default=8, help="images of 3 megapixels (8)")
    parser.add_argument("--first-seed", type=int, default=6000)
    options = parser.parse_args(arguments)
    if options.images < 1 or options.first_seed < 0:
        parser.error("--images must be at least 1, --first-seed at least 0")
    return options


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the table."""
    options = parse(arguments)
    print(f"One process, one core: {use_one_core()}", flush=True)
    # numerical modules only now: BLAS reads its number of threads when it is loaded
    from tests.benchmarks import hand_steps

    traced = hand_steps.trace_large(options.first_seed, options.images)
    print(f"\nOne step of the live line over {options.images} images of 3 megapixels, milliseconds")
    print(hand_steps.steps_report(traced))
    print("\nLive line beside the line measured afterwards, millimetres")
    print(hand_steps.apart_report(traced))


if __name__ == "__main__":
    main()
