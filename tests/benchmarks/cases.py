"""Draw synthetic cases, measure them, judge them."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from multiprocessing import get_context
from typing import Any, TypeVar

import numpy as np

from calib.known_length import NOMINAL_LENGTH_HALF_WIDTH_MM, STOP_SETTING_HALF_WIDTH_MM
from radio.image.radiograph import Radiograph
from radio.image.synthetic import SyntheticCase, make_case
from radio.measure.case import CaseFacts
from radio.measure.pipeline import measure_case
from tests.benchmarks.judge import (
    Errors,
    expected,
    expected_ball,
    expected_plain,
    judge,
    judge_ball,
    judge_plain,
)
from tests.benchmarks.one_core import use_one_thread
from tests.benchmarks.plain import measure_plainly

Out = TypeVar("Out")

# Seeds of further images that are drawn only for their 5 mm balls, far from the seeds of the cases.
_BALL_SEEDS_FROM = 10_000_000


@dataclass(frozen=True)
class Judged:
    """One case after measuring; small enough to send between processes.

    Parameters
    ----------
    seed : int
    noise_pct, pixel_mm : float
        Noise of a pixel in the open beam, percent of that beam; size of a pixel at the canal.
    file_size : int or None
        ISO 3630-1 size.
    ours : Errors
        With the file length stated exactly.
    as_set : Errors or None
        With the file length stated as wrong as a ruler or the maker's tolerance may make it.
    ball, plain : Errors or None
        Scale from the ball, where there is one; the plain pipeline, where it was asked for.
    """

    seed: int
    noise_pct: float
    pixel_mm: float
    file_size: int | None
    ours: Errors
    as_set: Errors | None = None
    ball: Errors | None = None
    plain: Errors | None = None

    def as_record(self) -> dict[str, Any]:
        """The case as plain values, for JSON."""
        return asdict(self)


def _or_failure(measure: Callable[[], Errors], wanted: list[str]) -> Errors:
    """Errors of a measurement; any exception makes the whole case missing and is reported, not raised."""
    try:
        return measure()
    except Exception as error:  # a benchmark of 120 cases must not end at one
        return Errors(missing=wanted, failed=f"{type(error).__name__}: {error}")


def _ours(case: SyntheticCase, image: Radiograph, facts: CaseFacts) -> Errors:
    return _or_failure(lambda: judge(measure_case(image, case.clicks, facts), case), expected(case))


def _plain(case: SyntheticCase, image: Radiograph) -> Errors:
    pitch_mm = case.parameters.pitch_mm
    return _or_failure(
        lambda: judge_plain(measure_plainly(image.grey, case.clicks, case.facts, pitch_mm), case),
        expected_plain(case),
    )


def _ball(case: SyntheticCase, image: Radiograph) -> Errors:
    facts = replace(case.facts, scale_from="ball")
    return _or_failure(lambda: judge_ball(measure_case(image, case.clicks, facts), case), expected_ball(case))


def stated_as_set(case: SyntheticCase, seed: int) -> CaseFacts:
    """Facts with a file length that is off as much as its stated uncertainty allows (triangular)."""
    assert case.facts.file_length_mm is not None
    half = STOP_SETTING_HALF_WIDTH_MM if case.facts.file_start_at == "stop" else NOMINAL_LENGTH_HALF_WIDTH_MM
    off_mm = np.random.default_rng([seed, 1]).triangular(-half, 0.0, half)
    return replace(case.facts, file_length_mm=case.facts.file_length_mm + float(off_mm))


def judge_seed(seed: int, *, with_plain: bool = False) -> Judged:
    """Draw, render, measure and judge the case of one seed.

    Parameters
    ----------
    seed : int
    with_plain : bool
        Run the plain pipeline too.
    """
    case = make_case(seed)
    image, p = case.grey, case.parameters
    with_file = case.facts.file_length_mm is not None
    return Judged(
        seed=seed,
        noise_pct=100 * float(np.hypot(p.photons_per_px**-0.5, p.electronic_noise)),
        pixel_mm=case.truth.mm_per_px,
        file_size=p.file_size,
        ours=_ours(case, image, case.facts),
        as_set=_ours(case, image, stated_as_set(case, seed)) if with_file else None,
        ball=_ball(case, image) if "ball_centre" in case.clicks else None,
        plain=_plain(case, image) if with_plain else None,
    )


def judge_ball_seed(seed: int) -> Errors:
    """Scale from a 5 mm ball on one further image without a file."""
    case = make_case(seed, ball_diameter_mm=5.0, file_size=None, second_file_size=None)
    return _ball(case, case.grey)


def run_cases(
    first_seed: int, count: int, *, plain_count: int = 0, five_mm_balls: int = 20, workers: int = 1
) -> tuple[list[Judged], list[Errors]]:
    """All cases, and as many further images with a 5 mm ball as are wanted in all.

    Parameters
    ----------
    first_seed, count : int
        Seeds are `first_seed` and the following.
    plain_count : int
        On how many of them, from the first, the plain pipeline runs too.
    five_mm_balls : int
        At least this many images with a 5 mm ball.
    workers : int
        Processes; 1 = in this one.
    """
    judged: list[Judged] = []
    plain = list(range(first_seed, first_seed + plain_count))
    rest = range(first_seed + plain_count, first_seed + count)
    for seeds, with_plain in ((plain, True), (rest, False)):
        for one in mapped(partial(judge_seed, with_plain=with_plain), seeds, workers):
            judged.append(one)
            if len(judged) % 20 == 0:
                print(f"{len(judged)} of {count} cases", file=sys.stderr, flush=True)
    have = sum(one.ball is not None and _of_five_mm(one.ball) for one in judged)
    further = range(_BALL_SEEDS_FROM + first_seed, _BALL_SEEDS_FROM + first_seed + five_mm_balls - have)
    return judged, list(mapped(judge_ball_seed, further, workers))


def _of_five_mm(ball: Errors) -> bool:
    return "ball_5mm_pct" in ball.error or "ball_5mm_pct" in ball.missing


def mapped(function: Callable[[int], Out], seeds: Iterable[int], workers: int) -> Iterator[Out]:
    """Outcome of every seed in turn, made in as many processes as are wanted (1: in this one)."""
    if workers == 1:
        yield from map(function, seeds)
        return
    with ProcessPoolExecutor(workers, get_context("spawn"), initializer=_begin_worker) as pool:
        yield from pool.map(function, seeds)


def _begin_worker() -> None:
    # the variables for BLAS come from the parent; what OpenCV uses is set in each process
    use_one_thread()
