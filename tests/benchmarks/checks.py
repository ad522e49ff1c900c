"""Wrong file lengths caught, and false alarms: ``python -m tests.benchmarks.checks``.

Every case has a file and a known detector pitch. It is measured with the right length, then with wrong ones:
the stated length is changed by the ratio of two lengths files are sold in, as if one were entered for the
other.
Caught is what check 3 or 4 warns of. Two files in one image are compared by check 5, with right lengths and
with one of them wrong. Last comes how often each check speaks on images that are stated rightly.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from tests.benchmarks.one_core import use_one_thread

if TYPE_CHECKING:
    from radio.measure.case import CaseResult
    from radio.measure.check_rules.contract import Check

PAIRS = tuple((one, other) for one in (21, 25, 28, 31) for other in (21, 25, 28, 31) if one != other)
_LEAST_RATIO = 1.15


@dataclass
class CheckedCase:
    """What the checks said about one seed.

    Parameters
    ----------
    seed : int
    right : tuple of str
        Checks of the case stated rightly, each with its level: ``"P9 warn"``.
    caught : dict
        For each pair (entered, meant) tried, whether check 3 or 4 warned.
    two_files, two_wrong : bool or None
        Whether check 5 warned of two rightly stated files, and of two with one wrong; None for one file.
    failed : str
        Why nothing could be judged; empty otherwise.
    """

    seed: int
    right: tuple[str, ...] = ()
    caught: dict[tuple[int, int], bool] = field(default_factory=dict)
    two_files: bool | None = None
    two_wrong: bool | None = None
    failed: str = ""


def check_seed(seed: int) -> CheckedCase:
    """Draw a case with a file, and check it stated rightly and wrongly."""
    import numpy as np

    from radio.image.synthetic import make_case
    from radio.measure.pipeline import measure_case
    from tests.benchmarks.cases import stated_as_set

    case = make_case(seed)
    if case.facts.file_length_mm is None:
        return CheckedCase(seed, failed="no file")
    image, facts = case.grey, replace(stated_as_set(case, seed), scale_from="file", ball_diameter_mm=None)
    clicks = {name: points for name, points in case.clicks.items() if name != "ball_centre"}
    try:
        result = measure_case(image, clicks, facts)
        out = CheckedCase(seed, tuple(one.short for one in result.checks))
        pairs = np.random.default_rng([seed, 2]).choice(len(PAIRS), 3, replace=False)
        for entered, meant in (PAIRS[k] for k in pairs):
            wrong = replace(facts, file_length_mm=facts.file_length_mm * entered / meant)
            out.caught[entered, meant] = _length_doubted(measure_case(image, clicks, wrong).checks)
        for other in case.others[:1]:
            stated = replace(other.facts, scale_from="file")
            second = measure_case(image, other.clicks, stated)
            out.two_files = _files_doubted([result, second])
            assert stated.file_length_mm is not None
            wrong = replace(stated, file_length_mm=stated.file_length_mm * 21 / 25)
            out.two_wrong = _files_doubted([result, measure_case(image, other.clicks, wrong)])
    except Exception as error:  # a benchmark must not end at one case
        return CheckedCase(seed, failed=f"{type(error).__name__}: {error}")
    return out


def _length_doubted(checks: Iterable[Check]) -> bool:
    return any(one.id in ("P3", "P4") for one in checks)


def _files_doubted(results: Sequence[CaseResult]) -> bool:
    from radio.measure.checks import checks_between

    return any(one.short == "P5 warn" for found in checks_between(results) for one in found)


def share(hits: Sequence[bool]) -> str:
    """A share in words, with its 95 % interval by Wilson (1927, J Am Stat Assoc 22:209)."""
    if not hits:
        return "none"
    n, p, z = len(hits), sum(hits) / len(hits), 1.96
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z * ((p * (1 - p) + z * z / (4 * n)) / n) ** 0.5 / (1 + z * z / n)
    return f"{p:6.1%} of {n:3d} ({max(middle - half, 0):.1%} to {min(middle + half, 1):.1%})"


def report(judged: Sequence[CheckedCase]) -> str:
    """All shares as text."""
    good = [one for one in judged if not one.failed]
    caught = [(pair, hit) for one in good for pair, hit in one.caught.items()]
    far = [hit for pair, hit in caught if max(pair) / min(pair) >= _LEAST_RATIO]
    alarms = [any(text.split()[0] in ("P3", "P4") for text in one.right) for one in good]
    lines = [
        f"{len(good)} cases with a file; {_without_file(judged)} without are left out",
        f"wrong length caught, all pairs:            {share([hit for _, hit in caught])}",
        f"wrong length caught, ratio from {_LEAST_RATIO:g} on:   {share(far)}; aim 95 %",
        f"false alarms of checks 3 and 4:            {share(alarms)}; aim at most 2 %",
        f"check 5, both files right:                 {share(_known(one.two_files for one in good))}",
        f"check 5, one file 21 for 25:               {share(_known(one.two_wrong for one in good))}",
        "entered for meant:",
    ]
    for pair in PAIRS:
        hits = [hit for tried, hit in caught if tried == pair]
        lines.append(f"  {pair[0]} for {pair[1]} ({pair[0] / pair[1]:.2f})  {share(hits)}")
    spoken = Counter(text for one in good for text in set(one.right))
    lines.append("how often each check speaks of what is stated rightly:")
    for text, count in sorted(spoken.items(), key=lambda item: int(item[0].split()[0][1:])):
        lines.append(f"  {text:10s} {count / max(len(good), 1):6.1%}")
    lines += [f"seed {one.seed}: {one.failed}" for one in judged if one.failed not in ("", "no file")]
    missed = [f"{one.seed} {pair}" for one in good for pair, hit in one.caught.items() if not hit]
    wrongly = [str(one.seed) for one, alarm in zip(good, alarms, strict=True) if alarm]
    return "\n".join([*lines, f"missed: {'; '.join(missed)}", f"false alarms: {'; '.join(wrongly)}"])


def _without_file(judged: Iterable[CheckedCase]) -> int:
    return sum(one.failed == "no file" for one in judged)


def _known(values: Iterable[bool | None]) -> list[bool]:
    return [one for one in values if one is not None]


def main(arguments: list[str] | None = None) -> None:
    """Run it and print the report."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.checks", description=__doc__)
    parser.add_argument("--cases", type=int, default=120, help="how many (120)")
    parser.add_argument("--first-seed", type=int, default=6000, help="seed of the first; the rest follow")
    parser.add_argument("--workers", type=int, default=1, help="processes (1: this one)")
    options = parser.parse_args(arguments)
    if options.cases < 1 or options.workers < 1 or options.first_seed < 0:
        parser.error("--cases and --workers must be at least 1, --first-seed at least 0")
    use_one_thread()
    # numerical modules only now: BLAS reads its number of threads when it is loaded
    from tests.benchmarks.cases import mapped

    judged = []
    seeds = range(options.first_seed, options.first_seed + options.cases)
    for one in mapped(check_seed, seeds, options.workers):
        judged.append(one)
        if len(judged) % 20 == 0:
            print(f"{len(judged)} of {options.cases} cases", file=sys.stderr, flush=True)
    print(f"Checks on seeds {seeds[0]} to {seeds[-1]}")
    print(report(judged))


if __name__ == "__main__":
    main()
