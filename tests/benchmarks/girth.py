"""Scale from the diameters of the file: ``python -m tests.benchmarks.girth``.

Files of size 15 and above on images with pixels of 20 and 25 micrometres, traced from scattered clicks.
Prints, by size and by pixel, median and 95th percentile of the absolute error of the scale against the size
of a pixel at the canal, beside the aim (median within 5 %), and the share of 95 % intervals that hold it;
then the same without the stated length of the file, which tells how far from the tip a diameter is.

Files of the synthetic images have exactly their nominal diameter, but intervals allow for the maker's
tolerance. For the column "as made" the result is what a file whose tip diameter is off by a draw from that
tolerance would have given: its diameters in the image grow in the same proportion. That column judges the
intervals; the errors are of exact files.

A second table has teeth that lean out of the image plane by known angles: how often a hint at a lean is
given, and whether its interval holds what the file is foreshortened by. Files are as made here too.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from tests.benchmarks.one_core import use_one_thread

SIZES = (15, 20, 25, 30, 35, 40)
PIXELS_MM = (0.020, 0.025)
AIM_PCT = 5.0
LEANS_DEG = (0.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)
SMALL = 25
"""Up to this size a file counts as thin in the table of leans."""
UPRIGHT = 0.99


@dataclass(frozen=True)
class Outcome:
    """One file; errors relative, `None` where nothing came of it."""

    seed: int
    size: int
    pixel_mm: float
    section: str
    error: float | None = None
    relative_sd: float | None = None
    made_error: float | None = None
    alone_error: float | None = None
    found_section: str = ""
    lean_deg: float | None = None
    shortened: float = 1.0
    hint: bool = False
    hint_holds: bool = False
    why: str = ""
    seconds: float = 0.0


def judge(seed: int, first_seed: int, *, leaning: bool = False) -> Outcome:
    """Draw, trace and measure one file; sizes, pixels and leans take turns."""
    import time

    import numpy as np

    from calib.instruments import HandFile
    from radio.errors import CalibrationError, PeriapicalError
    from radio.image.synthetic import make_case
    from radio.measure.file_scale import girth_of
    from radio.measure.girth_lean import compare_with
    from radio.measure.pipeline import measure_case

    number = seed - first_seed
    size, pixel = SIZES[number % len(SIZES)], PIXELS_MM[number // len(SIZES) % len(PIXELS_MM)]
    lean = LEANS_DEG[number // len(SIZES) % len(LEANS_DEG)] if leaning else None
    rng = np.random.default_rng([seed, 2])
    drawn = {"file_size": size, "pitch_mm": pixel}
    if lean is not None:
        drawn |= {"vertical_tilt_deg": float(rng.choice([-1.0, 1.0]) * lean)}
    case = make_case(seed, **drawn)
    image, truth, file = case.grey, case.truth, HandFile(size)
    out = partial(Outcome, seed, size, pixel, case.parameters.file_section, lean_deg=lean)
    try:
        result = measure_case(image, case.clicks, case.facts)
        others = [measure_case(image, one.clicks, one.facts) for one in case.others]
        began = time.process_time()
        found = girth_of(image, result, others)
    except (PeriapicalError, CalibrationError) as error:
        return out(why=str(error))
    if found is None or found.along is None:
        return out(why="no file traced")
    seconds = time.process_time() - began
    # as if the file were thicker by so much all along: that much larger its diameters, and smaller the scale
    half = file.diameter_tolerance_mm
    counts = (found.budget.rows[0].sensitivity or 0.0) / found.mm_per_px
    thicker = 1 + counts * rng.uniform(-half, half)
    girth = replace(found.girth, diameter_px=found.girth.diameter_px * thicker)
    beside = compare_with(replace(found, girth=girth), found.along)
    shortened = truth.mm_per_px / truth.file_mm_per_px
    lean_cos = None if beside.lean_interval_deg is None else np.cos(np.radians(beside.lean_interval_deg))
    return out(
        error=found.mm_per_px / truth.mm_per_px - 1,
        relative_sd=found.relative_sd,
        made_error=found.mm_per_px / truth.mm_per_px / thicker - 1,
        alone_error=found.independent().mm_per_px / truth.mm_per_px - 1,
        found_section=found.girth.section,
        shortened=shortened,
        hint=lean_cos is not None,
        hint_holds=lean_cos is not None and lean_cos[1] <= shortened <= lean_cos[0],
        seconds=seconds,
    )


def report_of_leans(outcomes: Sequence[Outcome]) -> str:
    """Table of hints by the angle the tooth leans by."""
    import numpy as np

    lines = [
        f"{'tooth leans by':18}{'files':>6}{'seen short by %':>17}{'hints':>8}{'up to 25':>10}{'above':>8}"
        f"{'holds':>8}{'scale off %':>13}"
    ]
    for lean in LEANS_DEG:
        done = [o for o in outcomes if o.lean_deg == lean and o.error is not None]
        if not done:
            continue
        short = 100 * (1 - np.array([o.shortened for o in done]))
        thin, thick = ([o for o in done if (o.size <= SMALL) == small] for small in (True, False))
        hints = [o for o in done if o.hint]
        lines.append(
            f"{lean:14.0f} deg{len(done):6d}{short.min():8.0f} to {short.max():3.0f}  {_of(hints, done):>8}"
            f"{_of([o for o in thin if o.hint], thin):>10}{_of([o for o in thick if o.hint], thick):>8}"
            f"{_of([o for o in hints if o.hint_holds], hints):>8}"
            f"{100 * np.median(np.abs([o.error or 0.0 for o in done])):13.1f}"
        )
    return "\n".join(lines)


def report_of_false_hints(outcomes: Sequence[Outcome]) -> str:
    """How often a hint is given without a lean to speak of, or one that is not the lean there is."""
    done = [o for o in outcomes if o.error is not None]
    upright, hints = [o for o in done if o.shortened > UPRIGHT], [o for o in done if o.hint]
    false, missed = [o for o in upright if o.hint], [o for o in hints if not o.hint_holds]
    return (
        f"false hints, at files foreshortened by less than 1 %: {_of(false, upright)}; hints whose interval "
        f"does not hold the foreshortening: {_of(missed, hints)}"
    )


def _of(some: Sequence[Outcome], every: Sequence[Outcome]) -> str:
    return f"{len(some)}/{len(every)}"


def report(outcomes: Sequence[Outcome]) -> str:
    """Tables of all outcomes."""
    head = (
        f"{'':18}{'files':>6}{'median %':>10}{'95 %':>8}{'held':>8}{'as made':>9}{'rms/sd':>8}{'missing':>9}"
    )
    lines = [head]
    lines += [_line(f"size {size}", outcomes, lambda o, s=size: o.size == s) for size in SIZES]
    lines += [
        _line(f"pixel {pixel * 1000:g} um", outcomes, lambda o, p=pixel: o.pixel_mm == p)
        for pixel in PIXELS_MM
    ]
    for section in ("round", "square"):
        lines.append(_line(f"{section} section", outcomes, lambda o, s=section: o.section == s))
    lines.append(_line("all", outcomes, lambda _: True))
    lines += [_line_alone(f"size {size}", [o for o in outcomes if o.size == size]) for size in SIZES]
    lines.append(_line_alone("all", outcomes))
    done = [o for o in outcomes if o.error is not None]
    if done:
        right = sum(o.found_section == o.section for o in done)
        hints = [o for o in done if o.hint]
        lines.append(
            f"section told rightly in {right} of {len(done)}; hints at a lean: {len(hints)}, their "
            f"interval holds the foreshortening in {sum(o.hint_holds for o in hints)}; "
            f"{sum(o.seconds for o in done) / len(done):.1f} s a file (processor time)"
        )
    lines += [f"seed {o.seed}: {o.why}" for o in outcomes if o.error is None]
    return "\n".join(lines)


def _line(name: str, outcomes: Sequence[Outcome], belongs: Callable[[Outcome], bool]) -> str:
    import numpy as np

    chosen = [o for o in outcomes if belongs(o)]
    done = [o for o in chosen if o.error is not None]
    if not done:
        return f"{name:18}{0:6d}{'':>43}{len(chosen):9d}"
    error = np.array([o.error for o in done])
    made = np.array([o.made_error for o in done])
    # the uncertainty belongs to the value found, which is the truth times one and the error
    sd = np.array([o.relative_sd for o in done])
    held = (np.abs(error) <= 1.96 * sd * (1 + error)).mean()
    made_ratio = made / (sd * (1 + made))
    median = 100 * np.median(np.abs(error))
    mark = " " if median <= AIM_PCT else "!"
    return (
        f"{name:18}{len(done):6d}{median:9.1f}{mark}{100 * np.quantile(np.abs(error), 0.95):8.1f}"
        f"{100 * held:7.0f}%{100 * (np.abs(made_ratio) <= 1.96).mean():8.0f}%"
        f"{np.sqrt((made_ratio**2).mean()):8.2f}{len(chosen) - len(done):9d}"
    )


def _line_alone(name: str, outcomes: Sequence[Outcome]) -> str:
    import numpy as np

    error = 100 * np.abs([o.alone_error for o in outcomes if o.alone_error is not None])
    if not len(error):
        return f"{name:18}{0:6d}"
    far = np.quantile(error, 0.95)
    return f"{name:18}{len(error):6d}{np.median(error):9.1f} {far:8.1f}   without its length"


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the report."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.girth", description=__doc__)
    parser.add_argument("--cases", type=int, default=60, help="how many (60)")
    parser.add_argument("--leans", type=int, default=96, help="how many that lean by known angles (96)")
    parser.add_argument("--first-seed", type=int, default=90000, help="seed of the first; the rest follow")
    parser.add_argument("--workers", type=int, default=1, help="processes (1: this one)")
    parser.add_argument("--worst", action="store_true", help="list every file, worst first")
    options = parser.parse_args(arguments)
    threads = use_one_thread()
    from tests.benchmarks.cases import mapped

    seeds = range(options.first_seed, options.first_seed + options.cases)
    outcomes = list(mapped(partial(judge, first_seed=options.first_seed), seeds, options.workers))
    print(f"Scale from diameters on seeds {seeds[0]} to {seeds[-1]}; {threads}")
    print(report(outcomes))
    if options.leans:
        leaning = range(seeds.stop, seeds.stop + options.leans)
        one = partial(judge, first_seed=leaning.start, leaning=True)
        leaned = list(mapped(one, leaning, options.workers))
        print(f"\nHints at a lean on seeds {leaning[0]} to {leaning[-1]}")
        print(report_of_leans(leaned))
        outcomes += leaned
    print(report_of_false_hints(outcomes))
    if options.worst:
        for o in sorted((o for o in outcomes if o.error is not None), key=lambda o: -abs(o.error or 0)):
            print(
                f"{o.seed} size {o.size} {o.pixel_mm} {o.section} as {o.found_section}: "
                f"{100 * (o.error or 0):+.1f} ± {100 * (o.relative_sd or 0):.1f} %, x{o.shortened:.3f}"
            )


if __name__ == "__main__":
    main()
