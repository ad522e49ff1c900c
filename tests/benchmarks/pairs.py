"""One canal in two views, drawn and judged: everything a pair gives against the exact axis in space."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.image.synthetic import SyntheticCase, case_of, draw_parameters
from radio.image.synthetic.build import build_scene
from radio.image.synthetic.projection import View
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.curvature import stack_of_traces
from radio.measure.pipeline import measure_case
from radio.measure.result import Finding, Measurement
from radio.measure.resultant import resultant_bend
from radio.measure.space_measures import SpaceResult, measure_in_space
from radio.measure.stack import signed_deg
from radio.measure.two_views import reconstruct
from radio.measure.view_pair import DEFAULT_TURN_SD_DEG, ViewPair, pair_views
from tests.benchmarks.bends import NumberFound, WordFound
from tests.benchmarks.cases import stated_as_set

FloatArray = npt.NDArray[np.float64]

TURN_DEG = (20.0, 90.0)
# A tooth in the jaw is seen from sides no further apart than this. Common practice, no source.
TURN_IN_JAW_DEG = (20.0, 40.0)
# How far the middle of two views is off the straight one.
_MIDDLE_DEG = 20.0
# Standard deviation of the lean of the tooth, in the image and out of it. Common practice, no source.
LEAN_SD_DEG = 3.0
# The beam falls squarely on the receptor, so that the tooth's turn alone makes the angle between the views.
_UPRIGHT: dict[str, Any] = {"beam_u_deg": 0.0, "beam_v_deg": 0.0, "portrait": True}
_EXTRACTED: dict[str, Any] = {"extracted": True, "clamp": False, "restoration": False}
# A name of a number in the canal's own plane is that of the planar one with this before it.
OWN_PLANE = "own plane: "


@dataclass(frozen=True, eq=False)
class DrawnPair:
    """Two radiographs of one tooth.

    Parameters
    ----------
    seed : int
    extracted : bool
        Else in the jaw.
    stated_deg, turn_deg : float
        Angle between the views as stated, and the true one.
    cases : tuple of SyntheticCase
    facts : tuple of CaseFacts
        A file's length stated as a ruler sets it, alike in both.
    axis_mm : ndarray, shape (N, 3)
        Canal axis in the frame of the tooth, the third coordinate along its long axis.
    across : tuple of ndarray, shape (3,)
        Direction in that frame that each view shows to the right once its canal end points down.
    """

    seed: int
    extracted: bool
    stated_deg: float
    turn_deg: float
    cases: tuple[SyntheticCase, SyntheticCase]
    facts: tuple[CaseFacts, CaseFacts]
    axis_mm: FloatArray
    across: tuple[FloatArray, FloatArray]


def across_of(view: View, axis_mm: FloatArray) -> FloatArray:
    """What a view shows to the right once the canal end points down, in the frame of the tooth, shape (3,).

    It lies at right angles to the long axis and to the ray through the middle of the canal.
    """
    down = view.rotation[:, 2]
    ray = view.source_mm - view.place(axis_mm).mean(axis=0)
    right = np.cross(down, ray)
    return np.asarray(view.rotation.T @ (right / np.linalg.norm(right)))


def draw_pair(seed: int) -> DrawnPair:
    """Draw and render a tooth in two views.

    Half of the teeth are in the jaw. The angle between the views is drawn, and stated as wrong as its stated
    standard uncertainty allows; each view leans on its own, and has clicks, noise and texture of its own.
    """
    rng = np.random.default_rng([seed, 2])
    extracted = bool(rng.random() < 0.5)
    stated = float(rng.uniform(*(TURN_DEG if extracted else TURN_IN_JAW_DEG)))
    turn = (stated + DEFAULT_TURN_SD_DEG * _normal(rng)) * float(rng.choice([-1.0, 1.0]))
    middle, upright = float(rng.uniform(-_MIDDLE_DEG, _MIDDLE_DEG)), float(rng.choice([0.0, 180.0]))
    views = [
        draw_parameters(
            seed,
            exposure_seed=2 * seed + number,
            horizontal_tilt_deg=middle + side * turn,
            vertical_tilt_deg=LEAN_SD_DEG * _normal(rng),
            rotation_deg=upright + LEAN_SD_DEG * _normal(rng),
            **(_EXTRACTED if extracted else {}),
            **_UPRIGHT,
        )
        for number, side in enumerate((-0.5, 0.5))
    ]
    first, second = (case_of(p) for p in views)
    axis = first.truth.canal_axis_mm
    one, two = (across_of(build_scene(p).view, axis) for p in views)
    return DrawnPair(
        seed=seed,
        extracted=extracted,
        stated_deg=stated,
        turn_deg=float(np.degrees(np.arccos(np.clip(one @ two, -1.0, 1.0)))),
        cases=(first, second),
        facts=(_stated(first, seed), _stated(second, seed)),
        axis_mm=axis,
        across=(one, two),
    )


def _normal(rng: np.random.Generator) -> float:
    return float(np.clip(rng.standard_normal(), -3.0, 3.0))


def _stated(case: SyntheticCase, seed: int) -> CaseFacts:
    return case.facts if case.facts.file_length_mm is None else stated_as_set(case, seed)


def exact_view(axis_mm: FloatArray, across: FloatArray) -> FloatArray:
    """The axis as an upright parallel projection shows it, (row, col) in mm, shape (N, 2)."""
    rel = axis_mm - axis_mm[0]
    return np.column_stack([rel[:, 2], rel @ across])


def exact_in_space(axis_mm: FloatArray) -> SpaceResult:
    """Every measure in space of an exact axis, without uncertainty."""
    views = [exact_view(axis_mm, across) for across in np.eye(3)[:2]]
    return measure_in_space(reconstruct(*views, between_views_deg=90.0))


def exact_bend_deg(pair: DrawnPair) -> tuple[float, float]:
    """Bend and its plane from the Schneider angles that upright parallel views show of the exact axis."""
    angles = []
    for across in pair.across:
        stack = stack_of_traces(exact_view(pair.axis_mm, across))
        angles.append(float(signed_deg(stack.axis[1], stack.chord)[0]) if stack.leaves[0] else 0.0)
    found = resultant_bend(*angles, between_views_deg=pair.turn_deg)
    return found.bend_deg, found.plane_deg


@dataclass
class PairJudged:
    """A pair judged; small enough to send between processes.

    Parameters
    ----------
    seed : int
    extracted, with_file : bool
    stated_deg, turn_deg : float
        Angle between the views, as stated and true.
    same_canal : bool
        False where the pair was refused as not one canal.
    numbers : dict of str to NumberFound
    words : dict of str to WordFound
    missing, without_truth : list of str
        Names that only the exact axis, or only the measurement, has a value for.
    failed : str
        Why there is no result at all; empty otherwise.
    """

    seed: int
    extracted: bool
    with_file: bool = False
    stated_deg: float = float("nan")
    turn_deg: float = float("nan")
    same_canal: bool = True
    numbers: dict[str, NumberFound] = field(default_factory=dict)
    words: dict[str, WordFound] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    without_truth: list[str] = field(default_factory=list)
    failed: str = ""


def judge_pair_seed(seed: int) -> PairJudged:
    """Draw, render, measure and judge the pair of one seed."""
    pair = draw_pair(seed)
    judged = PairJudged(
        seed,
        pair.extracted,
        pair.facts[0].file_length_mm is not None,
        pair.stated_deg,
        pair.turn_deg,
    )
    try:
        judge_pair(judged, measure_pair(pair), pair)
    except Exception as error:  # a benchmark of many cases must not end at one
        judged.failed = f"{type(error).__name__}: {error}"
    return judged


def measure_pair(pair: DrawnPair) -> ViewPair:
    """Measure both radiographs and put them together at the stated angle."""
    results: list[CaseResult] = [
        measure_case(case.grey, case.clicks, facts)
        for case, facts in zip(pair.cases, pair.facts, strict=True)
    ]
    return pair_views(results[0], results[1], pair.stated_deg, DEFAULT_TURN_SD_DEG)


def judge_pair(judged: PairJudged, found: ViewPair, pair: DrawnPair) -> None:
    """Set what two views gave beside what the same measures give for the exact axis.

    Parameters
    ----------
    judged : PairJudged
        Filled.
    found : ViewPair
    pair : DrawnPair
        What was measured.
    """
    judged.same_canal = found.same_canal
    exact = exact_in_space(pair.axis_mm)
    true_bend, true_plane = exact_bend_deg(pair)
    true_numbers = {name: one.value for name, one in exact.measurements.items()}
    true_numbers |= {"resultant_bend_deg": true_bend, "bend_plane_deg": true_plane}
    true_numbers |= {OWN_PLANE + name: one.value for name, one in exact.own_plane.measurements.items()}
    numbers: dict[str, Measurement] = dict(found.measurements)
    words: dict[str, Finding] = {}
    if found.own_plane is not None:
        numbers |= {OWN_PLANE + name: one for name, one in found.own_plane.measurements.items()}
        words |= found.own_plane.findings
    judged.missing = [name for name in true_numbers if name not in numbers]
    judged.without_truth = [name for name in numbers if name not in true_numbers]
    for name in true_numbers:
        if name in numbers:
            judged.numbers[name] = _beside(numbers[name], true_numbers[name])
    for name, one in exact.own_plane.findings.items():
        if name in words:
            judged.words[name] = WordFound(words[name].word, words[name].share, one.word)


def _beside(found: Measurement, truth: float) -> NumberFound:
    if found.interval95 is None:
        raise ValueError(f"{found.name} has no interval")
    if found.name == "bend_plane_deg":
        # a direction: the truth is taken the short way round
        truth = found.value - ((found.value - truth + 180.0) % 360.0 - 180.0)
    return NumberFound(found.value, *found.interval95, truth)
