"""One case judged by every curvature method: numbers and words against the exact canal axis."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from radio.image.synthetic import SyntheticCase, Truth, make_case
from radio.measure.case import CaseResult
from radio.measure.curvature import measure_methods
from radio.measure.methods import METHODS, QUANTITIES
from radio.measure.pipeline import measure_case
from radio.measure.stack import TraceStack
from tests.benchmarks import exact
from tests.benchmarks.cases import stated_as_set

FloatArray = npt.NDArray[np.float64]

# Beside the columns of the methods: their smallest radius against that of the axis without any smoothing.
UNSMOOTHED = "smallest_radius_unsmoothed"


@dataclass(frozen=True)
class NumberFound:
    """A number, its 95 % interval, and what the same method gives for the exact axis."""

    value: float
    low: float
    high: float
    truth: float

    @property
    def held(self) -> bool:
        """Whether the interval holds the truth."""
        return self.low <= self.truth <= self.high

    @property
    def error(self) -> float:
        """Value less truth."""
        return self.value - self.truth

    @property
    def relative_pct(self) -> float:
        """Error in percent of the truth."""
        return 100.0 * (self.value / self.truth - 1.0)


@dataclass(frozen=True)
class WordFound:
    """A word, the share of possible traces that give it, and the word for the exact axis."""

    word: str
    share: float
    truth: str

    @property
    def right(self) -> bool:
        """Whether it is the word for the exact axis."""
        return self.word == self.truth


@dataclass
class BendJudged:
    """All curvature methods on one case; small enough to send between processes.

    Parameters
    ----------
    seed : int
    with_file : bool
    drawn_s : bool
        Drawn with two opposite bends, however little of them the view shows.
    gap_mm : float or None
        True distance from the tip of the file to the apex.
    calibrated : bool
        Whether it was measured in millimetres.
    numbers : dict of str to NumberFound
    words : dict of str to WordFound
    missing : list of str
        Columns that the exact axis has a value for and the measurement has not.
    without_truth : list of str
        Columns that the measurement has a value for and the exact axis has not.
    methods_ms : float
        Time for all methods on the trace and its draws.
    failed : str
        Why there is no result at all; empty otherwise.
    """

    seed: int
    with_file: bool
    drawn_s: bool
    gap_mm: float | None = None
    calibrated: bool = False
    numbers: dict[str, NumberFound] = field(default_factory=dict)
    words: dict[str, WordFound] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    without_truth: list[str] = field(default_factory=list)
    methods_ms: float = float("nan")
    failed: str = ""


def judge_bend_seed(seed: int) -> BendJudged:
    """Draw, render, measure and judge the case of one seed, a file's length stated as a ruler sets it."""
    case = make_case(seed)
    with_file = case.facts.file_length_mm is not None
    facts = stated_as_set(case, seed) if with_file else case.facts
    judged = BendJudged(seed, with_file, case.truth.s_shaped, case.truth.gap_mm)
    try:
        judge_bend(judged, measure_case(case.grey, case.clicks, facts), case)
    except Exception as error:  # a benchmark of 120 cases must not end at one
        judged.failed = f"{type(error).__name__}: {error}"
    return judged


def judge_bend(judged: BendJudged, result: CaseResult, case: SyntheticCase) -> None:
    """Fill in what was found on a case.

    Parameters
    ----------
    judged : BendJudged
        Filled.
    result : CaseResult
    case : SyntheticCase
        What was measured.
    """
    if result.stack is None:
        judged.failed = "no canal line"
        return
    judged.calibrated = result.scale is not None
    judged.methods_ms = _methods_ms(result.stack)
    truths = true_values(case.truth, calibrated=judged.calibrated)
    for column, quantity in QUANTITIES.items():
        if column not in truths:
            continue
        if quantity.unit == "word":
            found = result.findings[column]
            judged.words[column] = WordFound(found.word, found.share, str(truths[column]))
        else:
            _put_number(judged, result, column, float(truths[column]))
    if "smallest_radius_mm" in judged.numbers:
        own = judged.numbers["smallest_radius_mm"]
        truth = exact.smallest_radius_mm(case.truth.canal_axis_px * case.truth.mm_per_px)
        judged.numbers[UNSMOOTHED] = NumberFound(own.value, own.low, own.high, truth)


def _put_number(judged: BendJudged, result: CaseResult, column: str, truth: float) -> None:
    measured = result.measurements.get(column)
    known = np.isfinite(truth)
    if measured is None:
        if known:
            judged.missing.append(column)
        return
    if not known:
        judged.without_truth.append(column)
        return
    assert measured.interval95 is not None
    judged.numbers[column] = NumberFound(measured.value, *measured.interval95, truth)


def true_values(truth: Truth, *, calibrated: bool) -> dict[str, float | str]:
    """Every number and word for the exact canal axis, in millimetres or, without a scale, in pixels.

    Parameters
    ----------
    truth : Truth
    calibrated : bool
        Whether the measurement judged had millimetres; without, columns that need them are left out.
    """
    stack = exact.axis_stack(truth, calibrated=calibrated)
    out: dict[str, float | str] = {}
    for method in METHODS:
        if method.needs_mm and not calibrated:
            continue
        values = method.values(stack)
        out |= {q.column: values[q.column][0] for q in method.quantities if calibrated or not q.needs_mm}
    return out


def _methods_ms(stack: TraceStack) -> float:
    fresh = TraceStack(stack.points, stack.unit, stack.settings, stack.placed)
    started = time.process_time()
    measure_methods(fresh)
    return 1000.0 * (time.process_time() - started)
