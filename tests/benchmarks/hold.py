"""How long the panel holds the window at a stretch: ``xvfb-run -a python -m tests.benchmarks.hold``.

A shown viewer with the panel, images of 3 megapixels, and the actions of a sitting, each done several times.
Every event that Qt delivers is timed by itself, by the processor time of the window's thread, which a busy
machine lengthens little: while one event is handled, no click and no key gets through. Painting is kept
apart, for it depends on the graphics card; with the software OpenGL of a virtual screen it is slow. What
napari alone takes for the same is measured in the same run.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.one_core import use_one_thread

AIM_MS = 50.0


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    """Options of the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.hold", description=__doc__)
    parser.add_argument("--first-seed", type=int, default=6800)
    parser.add_argument("--rounds", type=int, default=3, help="how often the sitting is gone through (3)")
    parser.add_argument("--profile", metavar="ACTION", help="print where the time of one action goes")
    options = parser.parse_args(arguments)
    if options.rounds < 1 or options.first_seed < 0:
        parser.error("--rounds must be at least 1, --first-seed at least 0")
    return options


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the table."""
    options = parse(arguments)
    print(use_one_thread(), flush=True)
    # Qt and numerical modules only now
    from tests.benchmarks import sitting

    with tempfile.TemporaryDirectory() as folder:
        held = sitting.held_by_action(Path(folder), options.first_seed, options.rounds, options.profile)
    print(f"\nLongest time one event holds the window, milliseconds of processor time; aim {AIM_MS:.0f}")
    print(sitting.report(held, AIM_MS))


if __name__ == "__main__":
    main(sys.argv[1:])
