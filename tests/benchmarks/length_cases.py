"""The lengths of one case judged: by a file, without one, and how much they could shrink by straightening."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from calib.instruments import HandFile
from calib.scale import Scale
from radio.errors import PeriapicalError
from radio.image.synthetic import SyntheticCase, make_case
from radio.image.synthetic.build import build_scene
from radio.image.synthetic.draw import draw_parameters
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.truth import truth_of_canal
from radio.image.synthetic.tubes import Tube, project_tube
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.pipeline import measure_case
from radio.measure.result import Measurement
from radio.measure.straightening import Straightening, straightening
from radio.measure.straightening_case import COLUMNS, straightening_of_case
from radio.trace.curve import cumulative_length, resample
from tests.benchmarks import exact
from tests.benchmarks.bends import NumberFound
from tests.benchmarks.cases import stated_as_set

PREPARED = HandFile(25, 0.06)
"""What canals are widened with, as `periapical straightening --prepared-size 25 --prepared-taper 0.06`."""
BALL_MM = 5.0
# A tooth drawn without a file is given this one to learn what a file would read.
_PROBE_SIZE = 15
_SAMPLE_MM = 0.12


@dataclass
class LengthJudged:
    """The lengths on one image; small enough to send between processes.

    Parameters
    ----------
    seed : int
    with_file : bool
    numbers : dict of str to NumberFound
        By name of the line in the report.
    missing, without_truth : list of str
        What has a truth and was not measured; the reverse does not happen here.
    failed : str
        Why something could not be measured at all; empty otherwise.
    """

    seed: int
    with_file: bool
    numbers: dict[str, NumberFound] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    without_truth: list[str] = field(default_factory=list)
    failed: str = ""

    def put(self, name: str, found: Measurement | None, truth: float) -> None:
        """Keep a number beside its truth; None is missing."""
        if found is None or found.interval95 is None:
            self.missing.append(name)
        else:
            self.numbers[name] = NumberFound(found.value, *found.interval95, truth)

    def put_scale(self, name: str, scale: Scale | None, true_mm_per_px: float) -> None:
        """Keep a scale, in percent of the true one."""
        if scale is None:
            self.missing.append(name)
            return
        percent = 100 * scale.mm_per_px / true_mm_per_px
        half = 1.96 * percent * scale.relative_sd
        self.numbers[name] = NumberFound(percent, percent - half, percent + half, 100.0)


def judge_lengths_seed(seed: int) -> tuple[LengthJudged, ...]:
    """Judge the case of one seed, where it has a file, and the same tooth without one and with a ball.

    The length of a file is stated as a ruler sets it.
    """
    drawn = draw_parameters(seed)
    out = []
    if drawn.file_size is not None:
        out.append(
            _kept(LengthJudged(seed, with_file=True), lambda one: judge_with_file(one, make_case(seed)))
        )
    bare = {"file_size": None, "second_file_size": None, "ball_diameter_mm": BALL_MM}
    out.append(
        _kept(
            LengthJudged(seed, with_file=False),
            lambda one: judge_without_file(one, make_case(seed, **bare), length_by_a_file_mm(drawn)),
        )
    )
    return tuple(out)


def _kept(judged: LengthJudged, judge: Callable[[LengthJudged], None]) -> LengthJudged:
    try:
        judge(judged)
    except Exception as error:  # a benchmark of 60 cases must not end at one
        judged.failed = f"{type(error).__name__}: {error}"
    return judged


def judge_with_file(judged: LengthJudged, case: SyntheticCase) -> None:
    """Judge scale, gap, working length and bounds of a case with a file."""
    truth, image = case.truth, case.grey
    assert truth.file_mm_per_px is not None
    assert truth.gap_mm is not None
    assert truth.working_length_mm is not None
    result = measure_case(image, case.clicks, stated_as_set(case, judged.seed))
    judged.put_scale("scale from the file", result.scale, truth.file_mm_per_px)
    judged.put("gap", result.measurements.get("gap_mm"), truth.gap_mm)
    judged.put("working length", result.measurements.get("working_length_mm"), truth.working_length_mm)
    _judge_bounds(judged, case, result)


def judge_without_file(judged: LengthJudged, case: SyntheticCase, by_file_mm: float) -> None:
    """Judge ball, estimate and bounds of a case without a file.

    Parameters
    ----------
    judged : LengthJudged
        Filled.
    case : SyntheticCase
        With a ball.
    by_file_mm : float
        What a file in the same canal would read.
    """
    truth, image = case.truth, case.grey
    assert truth.ball_mm_per_px is not None
    by_rule = exact.estimate_mm(truth)
    exactly = CaseFacts(scale_from="given", mm_per_px=truth.mm_per_px)
    for told, facts in (("5 mm ball", case.facts), ("exact pixel size", exactly)):
        result = measure_case(image, case.clicks, facts)
        found = result.measurements.get("estimated_length_mm")
        judged.put(f"estimate, {told}, against the same rule", found, by_rule)
        judged.put(f"estimate, {told}, against a file", found, by_file_mm)
        if facts is case.facts:
            judged.put_scale("scale from the ball", result.scale, truth.ball_mm_per_px)
            _judge_bounds(judged, case, result)


def length_by_a_file_mm(drawn: Parameters) -> float:
    """What a file in the canal reads below the foot of the coronal reference, plus the exact gap."""
    p = replace(drawn, file_size=drawn.file_size or _PROBE_SIZE)
    scene = build_scene(p)
    root, canal, file = scene.files[0]
    return exact.reference_length_mm(truth_of_canal(scene, p, root, canal, file))


def _judge_bounds(judged: LengthJudged, case: SyntheticCase, result: CaseResult) -> None:
    try:
        found = straightening_of_case(case.grey, case.clicks, result, PREPARED)
    except PeriapicalError:  # a length that a check withholds has no bound
        judged.missing += [f"bound, {name}" for name in COLUMNS]
        return
    true = true_straightening(case, found.measuring)
    for name in COLUMNS:
        judged.put(f"bound, {name}", found.shrinks[name], true.ways[name].shrink_mm)


def true_straightening(case: SyntheticCase, measuring: HandFile | None) -> Straightening:
    """The same geometry of the exact canal: axis and outline of its tube, as projected."""
    scene, mm = build_scene(case.parameters), case.truth.mm_per_px
    canal = scene.tooth.canals[0][0]
    shadow = project_tube(Tube(canal.axis_mm, canal.half_width_mm, canal.half_depth_mm), scene.view)
    centre = resample(case.truth.canal_axis_px, _SAMPLE_MM / mm) * mm
    along = cumulative_length(centre)
    half = np.interp(along / along[-1], np.linspace(0, 1, len(shadow.half_width_mm)), shadow.half_width_mm)
    half *= mm / case.parameters.pitch_mm
    return straightening(centre, half, half, measuring=measuring, prepared=PREPARED)
