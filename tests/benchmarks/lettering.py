"""How often burnt-in lettering is found, and how often falsely: ``python -m tests.benchmarks.lettering``.

On each synthetic radiograph the detector looks twice: as it is, and with words of one kind or another put on
it (`tests/fixtures/letters.py`: six faces, 12 to 44 pixels, four turns, bright or dark, some through JPEG).
"""

from __future__ import annotations

import argparse

# How far words stand out from the ground on average, shares of the range of the image.
_BANDS = ((0.0, 0.1), (0.1, 0.25), (0.25, 0.5), (0.5, 1.01))
# Found: so much of the letters lies in the places; covered: nearly all does.
_FOUND, _COVERED = 0.15, 0.9


def parse(arguments: list[str] | None = None) -> argparse.Namespace:
    """Options of the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.lettering", description=__doc__)
    parser.add_argument("--images", type=int, default=60, help="synthetic radiographs (60)")
    parser.add_argument("--words", type=int, default=4, help="words put on each, one at a time (4)")
    parser.add_argument("--first-seed", type=int, default=7000)
    options = parser.parse_args(arguments)
    if min(options.images, options.words) < 1 or options.first_seed < 0:
        parser.error("--images and --words must be at least 1, --first-seed at least 0")
    return options


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the table."""
    import numpy as np

    from radio.image.lettering import find_lettering
    from radio.image.synthetic import make_case
    from tests.fixtures.letters import covered, lettered

    options = parse(arguments)
    alarms = 0
    shares: list[tuple[float, float]] = []
    for seed in range(options.first_seed, options.first_seed + options.images):
        grey = np.array(make_case(seed).grey.grey)
        alarms += bool(find_lettering(grey))
        rng = np.random.default_rng(seed)
        for _ in range(options.words):
            one = lettered(grey, rng)
            if one is not None:
                shares.append((one.contrast, covered(find_lettering(one.grey), one.letters)))
    print(f"Lettering suspected on {alarms} of {options.images} radiographs without any")
    for low, high in _BANDS:
        inside = [share for contrast, share in shares if low <= contrast < high]
        found = sum(share > _FOUND for share in inside)
        whole = sum(share > _COVERED for share in inside)
        print(f"contrast {low:.2f} to {high:.2f}: found {found} of {len(inside)}, covered {whole}")


if __name__ == "__main__":
    main()
