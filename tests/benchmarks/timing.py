"""Time the plain pipeline and ours on the same images, in turn."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from radio.image.radiograph import Radiograph
from radio.image.synthetic import SyntheticCase, case_of, draw_parameters, make_case
from radio.measure.pipeline import measure_case
from tests.benchmarks.plain import measure_plainly

FloatArray = npt.NDArray[np.float64]

# A receptor of 40 mm by 28 mm at this pitch has 3.0 megapixels.
_LARGE_PITCH_MM = 0.0193
_AIM_RATIO = 20.0
_AIM_SECONDS = (0.05, 0.15)


@dataclass(frozen=True)
class Timed:
    """Seconds for one image, each the median of its repeats.

    Parameters
    ----------
    name : str
    megapixels : float
    with_file : bool
    ours_s, plain_s : float
        Wall clock.
    ours_cpu_s, plain_cpu_s : float
        Of the process; nearer to the truth on a busy machine.
    """

    name: str
    megapixels: float
    with_file: bool
    ours_s: float
    plain_s: float
    ours_cpu_s: float
    plain_cpu_s: float

    @property
    def ratio(self) -> float:
        """How many times faster ours is, by wall clock."""
        return self.plain_s / self.ours_s


def large_case(seed: int, *, with_file: bool) -> SyntheticCase:
    """Draw a case and give it a receptor of 3 megapixels, at the dose drawn."""
    drawn = draw_parameters(seed, file_size=15 if with_file else None)
    return case_of(
        replace(
            drawn,
            pitch_mm=_LARGE_PITCH_MM,
            detector_long_mm=40.0,
            detector_short_mm=28.0,
            photons_per_px=drawn.photons_per_px * (_LARGE_PITCH_MM / drawn.pitch_mm) ** 2,
        )
    )


def _clocked(run: Callable[[], object]) -> tuple[float, float]:
    wall, cpu = time.perf_counter(), time.process_time()
    run()
    return time.perf_counter() - wall, time.process_time() - cpu


def compare(name: str, case: SyntheticCase, repeats: int) -> Timed:
    """Run the plain pipeline and ours in turn on one image.

    Parameters
    ----------
    name : str
        For the table.
    case : SyntheticCase
    repeats : int
        Times for each; medians are kept.
    """
    image, pitch_mm = case.grey, case.parameters.pitch_mm
    ours, plain = [], []
    for _ in range(repeats):
        plain.append(_clocked(partial(measure_plainly, image.grey, case.clicks, case.facts, pitch_mm)))
        ours.append(_clocked(partial(measure_case, image, case.clicks, case.facts)))
    (ours_s, ours_cpu_s), (plain_s, plain_cpu_s) = np.median(ours, axis=0), np.median(plain, axis=0)
    return Timed(
        name=name,
        megapixels=image.grey.size / 1e6,
        with_file=case.facts.file_length_mm is not None,
        ours_s=float(ours_s),
        plain_s=float(plain_s),
        ours_cpu_s=float(ours_cpu_s),
        plain_cpu_s=float(plain_cpu_s),
    )


def warm_up(seed: int) -> None:
    """Run both once, so that their libraries are loaded before a clock runs."""
    compare("warm-up", make_case(seed), 1)


def compare_large(first_seed: int, count: int, repeats: int) -> list[Timed]:
    """Compare on `count` images of 3 megapixels, every other one with a file."""
    timed = []
    for number in range(count):
        seed, with_file = first_seed + number, number % 2 == 0
        timed.append(compare(str(seed), large_case(seed, with_file=with_file), repeats))
        print(f"{number + 1} of {count} images compared", file=sys.stderr, flush=True)
    return timed


def compare_report(timed: list[Timed]) -> str:
    """Table of the comparison, and the medians."""
    heads = zip(
        ("seed", "Mpx", "file", "plain s", "ours s", "ratio", "plain CPU s", "ours CPU s"),
        (8, 6, 6, 10, 9, 8, 14, 12),
        strict=True,
    )
    lines = ["".join(f"{head:>{width}}" for head, width in heads)]
    for one in timed:
        lines.append(
            f"{one.name:>8}{one.megapixels:6.2f}{'yes' if one.with_file else 'no':>6}{one.plain_s:10.3f}"
            f"{one.ours_s:9.3f}{one.ratio:8.1f}{one.plain_cpu_s:14.3f}{one.ours_cpu_s:12.3f}"
        )
    for told, wanted in (("with a file", (True,)), ("without", (False,)), ("all", (True, False))):
        some = [one for one in timed if one.with_file in wanted]
        if some:
            plain, ours = (float(np.median([getattr(one, n) for one in some])) for n in ("plain_s", "ours_s"))
            cpu = np.median([one.plain_cpu_s / one.ours_cpu_s for one in some])
            ratio = float(np.median([one.ratio for one in some]))
            lines.append(
                f"{told}: median plain {plain:.3f} s, ours {ours:.3f} s, median ratio {ratio:.1f} "
                f"(by CPU time {cpu:.1f})"
            )
    met = np.median([one.ratio for one in timed]) >= _AIM_RATIO
    lines.append(f"aim: {_AIM_RATIO:.0f} times faster: {'met' if met else 'NOT met'}")
    return "\n".join(lines)


def seconds_each(cases: list[tuple[Radiograph, SyntheticCase]]) -> list[tuple[bool, float, float]]:
    """Time ours once on each image, after one run to warm up: (with a file, wall, CPU seconds)."""
    first, case = cases[0]
    measure_case(first, case.clicks, case.facts)
    out = []
    for image, case in cases:
        wall, cpu = _clocked(partial(measure_case, image, case.clicks, case.facts))
        out.append((case.facts.file_length_mm is not None, wall, cpu))
    return out


def mixed_cases(first_seed: int, count: int) -> list[tuple[Radiograph, SyntheticCase]]:
    """Images as they are drawn, of any size, with and without a file, ready to be measured."""
    cases = [make_case(seed) for seed in range(first_seed, first_seed + count)]
    return [(case.grey, case) for case in cases]


def _middle_and_tail(seconds: FloatArray) -> tuple[float, float]:
    return float(np.median(seconds)), float(np.percentile(seconds, 95))


def seconds_report(timed: list[tuple[bool, float, float]]) -> str:
    """Distribution of our seconds an image, and whether the aims are met."""
    lines = [
        f"{'':14}{'n':>4}{'least':>8}{'median':>8}{'95 %':>8}{'most':>8}{'median CPU':>12}{'95 % CPU':>10}"
    ]
    for told, wanted in (("with a file", (True,)), ("without", (False,)), ("all", (True, False))):
        some = np.array([(wall, cpu) for with_file, wall, cpu in timed if with_file in wanted])
        if len(some):
            wall, cpu = some.T
            values = (wall.min(), *_middle_and_tail(wall), wall.max(), *_middle_and_tail(cpu))
            lines.append(f"{told:14}{len(some):4d}" + "".join(f"{value:12.3f}" for value in values))
    wall = np.array([wall for _, wall, _ in timed])
    met = [value <= aim for value, aim in zip(_middle_and_tail(wall), _AIM_SECONDS, strict=True)]
    lines.append(
        f"aim: median {_AIM_SECONDS[0]} s, 95th percentile {_AIM_SECONDS[1]} s: "
        + " / ".join("met" if one else "NOT met" for one in met)
    )
    return "\n".join(lines)
