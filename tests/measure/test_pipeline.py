"""One canal from clicks to numbers, on a painted tooth and on synthetic radiographs with exact truth."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calib.dicom_spacing import SpacingFacts
from radio.errors import TraceError
from radio.image.synthetic import make_case
from radio.measure.case import CaseFacts
from radio.measure.check_rules.contract import Answer
from radio.measure.pipeline import measure_case
from tests.fixtures.painted import as_radiograph, painted_tooth

TOOTH = painted_tooth(ball=True)
FACTS = CaseFacts(file_length_mm=TOOTH.file_length_mm, file_size=20, ball_diameter_mm=3.0)


def measured(tooth=TOOTH, facts=FACTS, *, without=(), only=None, **kwargs):
    clicks = {n: p for n, p in tooth.clicks.items() if n not in without and (only is None or n in only)}
    return measure_case(as_radiograph(tooth.grey, **kwargs), clicks, facts)


def value(result, name):
    return result.measurements[name].value


def test_every_number_of_a_painted_tooth():
    result = measured()
    assert result.scale.mm_per_px == pytest.approx(TOOTH.mm_per_px, rel=0.01)
    assert value(result, "gap_mm") == pytest.approx(TOOTH.gap_mm, abs=0.3)
    assert value(result, "working_length_mm") == pytest.approx(TOOTH.file_length_mm + TOOTH.gap_mm, abs=0.3)
    assert value(result, "canal_length_mm") == pytest.approx(TOOTH.canal_length_mm, abs=0.6)
    assert 8 < value(result, "schneider_deg") < 30  # the arc turns by 30
    for measurement in result.measurements.values():
        assert measurement.unit
        assert measurement.method
        assert measurement.basis
        assert measurement.sd is not None
        assert measurement.sd > 0


def test_the_same_input_gives_the_same_numbers():
    first, second = measured(), measured()
    assert {n: (m.value, m.sd) for n, m in first.measurements.items()} == {
        n: (m.value, m.sd) for n, m in second.measurements.items()
    }


def test_the_lean_of_a_file_is_a_slow_share_of_the_uncertainty_and_ends_beyond_its_tip():
    result = measured()
    line, mm = result.canal_line, TOOTH.mm_per_px
    tip = result.landmarks["file_tip"].point_px
    from_tip_mm = np.hypot(*(line.points_px - tip).T) * mm
    at_tip = int(from_tip_mm.argmin())
    # a centre from the dark margins is never surer than what their model leaves out (0.03 mm, lean.py)
    assert (line.slow_sd_px[:at_tip] * mm >= 0.03 * 0.95).all()
    assert (line.slow_sd_px <= line.sd_px).all()
    beyond = np.arange(len(from_tip_mm)) > at_tip
    assert (np.diff(line.slow_sd_px[beyond]) <= 1e-9).all()
    share = line.slow_sd_px[beyond] / line.slow_sd_px[at_tip]
    assert share[-1] == pytest.approx(np.exp(-0.5 * from_tip_mm[-1] ** 2), abs=0.15)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_turned_image_gives_the_same_numbers(turns):
    height, width = TOOTH.grey.shape
    clicks = {}
    for name, p in TOOTH.clicks.items():
        h, w, q = height, width, p.copy()
        for _ in range(turns):
            q, h, w = np.stack([w - 1 - q[:, 1], q[:, 0]], axis=1), w, h
        clicks[name] = q
    result = measure_case(as_radiograph(np.rot90(TOOTH.grey, turns)), clicks, FACTS)
    straight = measured()
    assert value(result, "gap_mm") == pytest.approx(value(straight, "gap_mm"), abs=0.05)
    assert value(result, "canal_length_mm") == pytest.approx(value(straight, "canal_length_mm"), rel=0.005)
    assert value(result, "schneider_deg") == pytest.approx(value(straight, "schneider_deg"), abs=1.5)


def test_pixels_that_are_not_square_change_nothing_in_millimetres_and_degrees():
    rows = round(TOOTH.grey.shape[0] * 1.3)
    tall = cv2.resize(TOOTH.grey, (TOOTH.grey.shape[1], rows), interpolation=cv2.INTER_CUBIC)
    factor = rows / TOOTH.grey.shape[0]
    clicks = {n: np.stack([(p[:, 0] + 0.5) * factor - 0.5, p[:, 1]], axis=1) for n, p in TOOTH.clicks.items()}
    result = measure_case(as_radiograph(tall, pixel_aspect=1 / factor), clicks, FACTS)
    square = measured()
    assert result.scale.col_mm_per_px == pytest.approx(square.scale.col_mm_per_px, rel=0.004)
    assert result.scale.row_mm_per_px == pytest.approx(square.scale.row_mm_per_px / factor, rel=0.004)
    assert value(result, "gap_mm") == pytest.approx(value(square, "gap_mm"), abs=0.06)
    assert value(result, "schneider_deg") == pytest.approx(value(square, "schneider_deg"), abs=1.5)


def test_an_inverted_picture_is_measured_and_said_so():
    result = measure_case(as_radiograph(1.0 - TOOTH.grey), TOOTH.clicks, FACTS)
    assert any("inverted" in r.text for r in result.remarks)
    assert value(result, "gap_mm") == pytest.approx(value(measured(), "gap_mm"), abs=0.02)


def test_a_file_beyond_the_apex_has_a_negative_gap():
    beyond = painted_tooth(gap_mm=-0.7)
    result = measured(beyond, CaseFacts(file_length_mm=beyond.file_length_mm, file_size=20))
    assert value(result, "gap_mm") == pytest.approx(-0.7, abs=0.3)


@pytest.mark.parametrize(
    ("only", "there", "missing"),
    [
        (
            ("orifice", "canal_via", "apex"),
            {"canal_length_px", "schneider_deg"},
            {"canal_length_mm", "gap_mm"},
        ),
        (("file_start", "file_via", "file_tip"), {"file_length_px"}, {"canal_length_px", "gap_mm"}),
        (("ball_centre",), set(), {"file_length_px", "canal_length_px"}),
    ],
)
def test_what_can_be_measured_is_measured(only, there, missing):
    result = measured(only=only)
    assert there <= set(result.measurements)
    assert not missing & set(result.measurements)
    assert (result.scale is None) == (only[0] == "orifice")


def test_an_angle_needs_no_scale_and_says_which_tolerance_it_took():
    result = measured(facts=CaseFacts(scale_from="none"))
    assert result.scale is None
    assert "5 px" in result.measurements["schneider_deg"].method
    assert "mm" not in {m.unit for m in result.measurements.values()}
    assert not any(" mm " in r.text for r in result.remarks)


@pytest.mark.parametrize("source", ["file", "ball", "given", "dicom"])
def test_the_scale_comes_from_where_it_was_asked_for(source):
    facts = CaseFacts(
        scale_from=source,
        file_length_mm=TOOTH.file_length_mm,
        ball_diameter_mm=3.0,
        mm_per_px=0.03 if source == "given" else None,
    )
    spacing = SpacingFacts(pixel_mm=(0.03, 0.03), calibration_type="FIDUCIAL")
    result = measured(facts=facts, spacing=spacing)
    assert result.scale.source == source
    assert result.scale.mm_per_px == pytest.approx(0.03, rel=0.015)


@pytest.mark.parametrize("source", ["file", "ball", "given", "dicom"])
def test_a_scale_that_cannot_be_made_says_why(source):
    result = measured(facts=CaseFacts(scale_from=source))
    assert result.scale is None
    assert any("No scale" in r.text for r in result.told)
    assert "schneider_deg" in result.measurements


def test_a_length_from_the_handle_is_said_to_be_one():
    facts = CaseFacts(file_length_mm=25.0, file_start_at="handle")
    result = measured(facts=facts)
    assert any("handle" in r.text and r.level == "warn" for r in result.told)
    assert value(result, "working_length_mm") == pytest.approx(25.0 + value(result, "gap_mm"))


def test_a_reading_without_a_length_to_compare_with_is_kept_as_a_remark():
    result = measured(
        facts=CaseFacts(electronic_mm=20.0, electronic_mark="zero"), without=("apex", "orifice")
    )
    assert "electronic_difference_mm" not in result.measurements
    assert any("electronic" in r.text for r in result.remarks)


@pytest.mark.parametrize(
    ("clicks", "told"),
    [
        ({"apex_of_tooth": [[1, 2]]}, "Unknown landmark"),
        ({"orifice": [[10, 10], [20, 20]], "apex": [[50, 50]]}, "2 times"),
        ({"orifice": [[10, 10]], "apex": [[50, 99999]]}, "outside the image"),
        ({"orifice": [[10, 10]], "apex": [[np.nan, 5]]}, "outside the image"),
        ({"orifice": [[10, 10]]}, "Nothing to trace"),
        ({"file_start": [[50, 50]], "file_tip": [[50, 50]]}, "coincide"),
        ({}, "No clicks"),
    ],
)
def test_clicks_that_cannot_be_used_are_refused_with_the_reason(clicks, told):
    points = {n: np.array(p, float) for n, p in clicks.items()}
    with pytest.raises(TraceError, match=told):
        measure_case(as_radiograph(TOOTH.grey), points, FACTS)


@pytest.fixture(scope="module")
def synthetic():
    """Cases of the generator, drawn over all its parameters, each with its result."""
    cases = [make_case(seed) for seed in (7001, 7002, 7003, 7004, 7005, 7006, 7007, 7008)]
    return [(case, measure_case(case.grey, case.clicks, case.facts)) for case in cases]


def test_synthetic_radiographs_are_measured_within_their_uncertainty(synthetic):
    scaled, gaps = [], []
    for case, result in synthetic:
        truth = case.truth
        if result.scale is not None and result.scale.source == "file":
            scaled.append((result.scale.mm_per_px / truth.file_mm_per_px - 1) / result.scale.relative_sd)
        if "gap_mm" in result.measurements:
            gap = result.measurements["gap_mm"]
            gaps.append((gap.value - truth.gap_mm) / gap.sd)
            assert abs(gap.value - truth.gap_mm) < 1.0
    assert len(scaled) >= 3
    assert np.abs(scaled).max() < 4
    assert np.abs(gaps).max() < 4
    assert np.median(np.abs(gaps)) < 1.3


def test_lines_on_synthetic_radiographs_stay_in_their_canal(synthetic):
    for case, result in synthetic:
        truth = case.truth.canal_axis_px
        points = result.canal_line.points_px
        off = np.array([np.hypot(*(truth - p).T).min() for p in points[5:-8]]) * case.truth.mm_per_px
        assert np.median(off) < 0.25


def test_file_and_apex_alone_give_gap_and_working_length():
    result = measured(without=("orifice", "canal_via"))
    assert value(result, "gap_mm") == pytest.approx(TOOTH.gap_mm, abs=0.3)
    assert value(result, "working_length_mm") == pytest.approx(TOOTH.file_length_mm + TOOTH.gap_mm, abs=0.3)
    assert "canal_length_px" not in result.measurements


def test_a_bridged_canal_has_an_angle_that_is_no_surer_than_that():
    noise = 0.4 + 0.02 * np.random.default_rng(3).standard_normal((600, 400))
    clicks = {"orifice": np.array([[80.0, 200.0]]), "apex": np.array([[480.0, 200.0]])}
    assert (
        "schneider_deg"
        not in measure_case(as_radiograph(noise), clicks, CaseFacts(mm_per_px=0.03)).measurements
    )
    facts = CaseFacts(mm_per_px=0.03, answers=(Answer("P13", "accepted"),))
    result = measure_case(as_radiograph(noise), clicks, facts)
    assert not result.canal_line.confident.all()
    # an arc of 20 mm radius may hide in 12 mm: its Schneider angle is about 17 degrees
    assert result.measurements["schneider_deg"].sd > 5


def test_what_is_placed_by_hand_counts_and_is_as_uncertain_as_a_click():
    found = measured().measurements["schneider_deg"]
    axis = TOOTH.canal_px[[0, 200]]
    tooth = replace(TOOTH, clicks={**TOOTH.clicks, "coronal_axis": axis})
    placed = measured(tooth).measurements["schneider_deg"]
    assert "axis as placed by hand" in placed.basis
    assert placed.value == pytest.approx(found.value, abs=4)
    # two clicks 7 mm apart, each known to 0.25 mm: a direction to 2.9 degrees, by small angles
    assert placed.sd > np.degrees(np.hypot(0.25, 0.25) / 7)
    one = replace(TOOTH, clicks={**TOOTH.clicks, "coronal_axis": axis[:1]})
    unfinished = measured(one)
    assert unfinished.measurements["schneider_deg"].value == found.value
    assert any("coronal_axis needs two" in r.text for r in unfinished.remarks)


def test_an_s_shape_is_told_with_both_angles():
    case = make_case(8400, canal_form="s", turn_deg=30.0, second_turn_deg=30.0, file_size=15, pitch_mm=0.03)
    result = measure_case(case.grey, case.clicks, case.facts)
    assert case.truth.s_shaped
    assert result.findings["s_shaped"].word == "yes"
    (told,) = (r.text for r in result.told if "S-shape" in r.text)
    assert f"First curve {result.measurements['primary_curve_deg']}" in told


@pytest.mark.parametrize(
    ("placed", "told"),
    [
        ({"departure": TOOTH.canal_px[200] + [0, 120]}, "departure point placed by hand lies 3."),
        ({"departure": TOOTH.canal_px[-1] + [40, 0]}, "nearest to one of its ends"),
        ({"coronal_axis": TOOTH.canal_px[[0, 200]] + [0, 120]}, "passes the orifice at 3."),
        ({"coronal_axis": np.array([[250.0, 60.0], [250.0, 200.0]])}, "degrees off the coronal third"),
    ],
)
def test_what_is_placed_off_the_canal_is_told(placed, told):
    clicks = {name: np.atleast_2d(points) for name, points in placed.items()}
    result = measured(replace(TOOTH, clicks={**TOOTH.clicks, **clicks}))
    assert any(told in r.text and r.level == "warn" for r in result.remarks), [r.text for r in result.remarks]


def test_what_is_placed_on_the_canal_is_taken_without_a_word():
    clicks = {"departure": TOOTH.canal_px[[250]], "coronal_axis": TOOTH.canal_px[[0, 200]]}
    result = measured(replace(TOOTH, clicks={**TOOTH.clicks, **clicks}))
    assert not any("placed by hand" in r.text for r in result.remarks)


def test_a_very_short_canal_has_lengths_but_no_curvature():
    near = TOOTH.canal_px[[0, 40]]
    clicks = {"orifice": near[:1], "canal_end": near[1:]}
    result = measure_case(as_radiograph(TOOTH.grey), clicks, CaseFacts(mm_per_px=TOOTH.mm_per_px))
    assert value(result, "canal_length_mm") < 2
    assert "schneider_deg" not in result.measurements
    assert result.absent["schneider_deg"] == "the canal is shorter than 2 mm"
    assert result.findings == {}
