"""Length of a canal without a file in it: along the curve, from the reference to the radiographic apex."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from calib.scale import Scale
from radio.image.synthetic.build import build_scene
from radio.image.synthetic.case import case_of
from radio.image.synthetic.draw import draw_parameters
from radio.image.synthetic.truth import truth_of_canal
from radio.measure.case import CaseFacts
from radio.measure.estimate import estimated_length
from radio.measure.pipeline import measure_case
from radio.measure.settings import DEFAULT_SETTINGS
from radio.measure.trace_case import TracedCase, trace_case
from radio.measure.withheld import assemble_checked
from radio.trace.line import LandmarkFix, Line
from tests.fixtures.made_case import canal_points_px
from tests.fixtures.painted import as_radiograph, painted_tooth

MM = 0.05
BALL = Scale(MM, MM, 0.01 * MM, "ball", "ball of 5 mm", ("holds at its depth",))
ORIGIN = (400.0, 200.0)
# 8 mm straight, then an arc of 5 mm radius through 60 degrees
LENGTH_MM = 8 + 5 * np.pi / 3


def fix(name, point, sd=2.0):
    row, col = map(float, point)
    return LandmarkFix(name, row, col, row, col, sd, sd, "as clicked", False)


def traced(*, reference=None, apex=None, aspect=1.0, file=None, canal=True):
    points = canal_points_px(ORIGIN) / np.array([aspect, 1.0])
    ends = {"orifice": points[0], "apex": points[-1] if apex is None else np.array(apex)}
    if reference is not None:
        ends["reference"] = np.array(reference) / np.array([aspect, 1.0])
    sure = np.ones(len(points), dtype=bool)
    line = Line("canal", points, np.full(len(points), 0.3), sure) if canal else None
    landmarks = {name: fix(name, point) for name, point in ends.items()}
    return TracedCase(file, line, landmarks, None, None, aspect, MM, ())


def test_from_the_orifice_it_is_the_length_of_the_curve_and_says_so() -> None:
    one = estimated_length(traced(), BALL)
    assert one.value == pytest.approx(LENGTH_MM, rel=1e-4)
    # general library for the same polyline
    assert one.value == pytest.approx(MM * shapely.LineString(canal_points_px()).length, rel=1e-6)
    # two ends of 2 px and 1 % of the length
    assert one.sd == pytest.approx(np.sqrt(2 * (2 * MM) ** 2 + (0.01 * LENGTH_MM) ** 2), rel=1e-3)
    assert one.method.startswith("along the canal, orifice to radiographic apex, without a file")
    assert "Counted from the orifice" in one.notes[0]
    assert "scale from ball" in one.basis
    assert "holds at its depth" in one.notes


@pytest.mark.parametrize("aspect", [1.0, 1.25])
def test_a_reference_counts_from_its_foot_on_the_continued_canal(aspect) -> None:
    # 9 mm above the orifice and 2 mm beside the axis: a file has 9 mm there, a straight way would have 9.22
    reference = (ORIGIN[0] - 9 / MM, ORIGIN[1] + 2 / MM)
    scale = Scale(MM * aspect, MM, 0.01 * MM * np.sqrt(aspect), "ball", "b")
    plain = estimated_length(traced(aspect=aspect), scale)
    one = estimated_length(traced(reference=reference, aspect=aspect), scale)
    assert one.value - plain.value == pytest.approx(9.0, abs=0.01)
    spare = (np.hypot(9, 2) - 9) / np.sqrt(3)
    expected = np.sqrt(2 * (2 * MM) ** 2 + (0.01 * one.value) ** 2 + spare**2)
    assert one.sd == pytest.approx(expected, rel=1e-2)
    assert "coronal reference to radiographic apex" in one.method


def test_the_apex_beyond_or_short_of_the_canal_line_counts_by_its_foot() -> None:
    last = canal_points_px(ORIGIN)[-1]
    ahead = np.array([np.cos(np.radians(60)), np.sin(np.radians(60))])
    beyond = estimated_length(traced(apex=last + 10 * ahead), BALL)
    assert beyond.value == pytest.approx(LENGTH_MM + 10 * MM, abs=0.02)
    before = estimated_length(traced(apex=canal_points_px(ORIGIN)[-30]), BALL)
    assert before.value < LENGTH_MM


def test_a_reference_apical_of_the_orifice_is_left_aside() -> None:
    one = estimated_length(traced(reference=(ORIGIN[0] + 40, ORIGIN[1] + 10)), BALL)
    assert one.value == pytest.approx(LENGTH_MM, rel=1e-4)
    assert "does not lie coronal" in one.method


def test_only_without_a_file() -> None:
    points = canal_points_px(ORIGIN)
    file = Line("file", points, np.full(len(points), 0.3), np.ones(len(points), dtype=bool))
    assert estimated_length(traced(file=file), BALL) is None
    assert estimated_length(traced(), replace(BALL, source="file")) is None
    assert estimated_length(traced(canal=False), BALL) is None


def test_a_given_pixel_size_is_said_to_be_taken_as_exact() -> None:
    one = estimated_length(traced(), Scale(MM, MM, 0.0, "given", "stated"))
    assert any("taken as exact" in note for note in one.notes)


@pytest.mark.parametrize("seed", [91005, 91006, 91009])
def test_the_same_tooth_with_a_file_has_the_length_estimated_without_it(seed) -> None:
    # the truth is of the file as it would lie in the drawn tooth: its length plus the exact gap
    p = draw_parameters(seed, file_size=15, file_start_at="stop")
    scene = build_scene(p)
    truth = truth_of_canal(scene, p, *scene.files[0])
    case = case_of(replace(p, file_size=None, second_file_size=None, ball_diameter_mm=5.0))
    result = measure_case(case.grey, case.clicks, replace(case.facts, length_rule="1"))
    one = result.measurements["estimated_length_mm"]
    assert one.value == pytest.approx(truth.working_length_mm, abs=1.0)
    assert abs(one.value - truth.working_length_mm) < 3 * one.sd
    assert result.measurements["target_length_mm"].value == pytest.approx(one.value - 1.0)
    assert "working_length_mm" not in result.measurements


@pytest.mark.parametrize("end_marked", [True, False])
def test_an_apex_in_doubt_withholds_estimate_and_target(end_marked) -> None:
    tooth = painted_tooth()
    clicks = {name: one for name, one in tooth.clicks.items() if not name.startswith("file")}
    clicks |= {"canal_end": clicks["apex"]} if end_marked else {}
    facts = CaseFacts(mm_per_px=tooth.mm_per_px, scale_from="given", length_rule="1")
    radiograph = as_radiograph(tooth.grey)
    made = trace_case(radiograph, clicks, facts, tooth.mm_per_px)
    lengths = {"estimated_length_mm", "target_length_mm"}
    whole = assemble_checked(radiograph, made, clicks, facts, DEFAULT_SETTINGS)
    assert lengths <= set(whole.assembly.measurements)
    # the film ends just beyond the apex, and no root end was found
    film = radiograph.film.copy()
    film[round(made.landmarks["apex"].row) + 4 :] = False
    unseen = {**made.landmarks, "apex": replace(made.landmarks["apex"], refined=False)}
    cut = replace(radiograph, film=film)
    stopped = assemble_checked(cut, replace(made, landmarks=unseen), clicks, facts, DEFAULT_SETTINGS)
    assert not lengths & set(stopped.assembly.measurements)
    assert lengths <= set(stopped.withheld)
    assert ("canal_length_mm" in stopped.assembly.measurements) is end_marked
