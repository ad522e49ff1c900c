"""What a stop takes away of a whole measurement: absurd lengths, files the wrong way round, unseen stops."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from radio.measure.case import CaseFacts
from radio.measure.case_lengths import case_lengths
from radio.measure.check_rules.contract import Answer
from radio.measure.pipeline import measure_case
from tests.fixtures.painted import as_radiograph, painted_tooth

TOOTH = painted_tooth()
PAINTED = as_radiograph(TOOTH.grey)
FACTS = CaseFacts(
    tooth="13",
    file_length_mm=TOOTH.file_length_mm,
    file_size=20,
    length_rule="1",
    electronic_mm=20.0,
    electronic_mark="zero",
)
RESTS_ON_FILE = {"working_length_mm", "target_length_mm", "electronic_difference_mm"}
BY_FILE = {"gap_mm", *RESTS_ON_FILE}


def measured(clicks=None, answers=(), **facts):
    stated = replace(FACTS, answers=tuple(Answer(*one) for one in answers), **facts)
    return measure_case(PAINTED, {**TOOTH.clicks, **(clicks or {})}, stated)


def nothing():
    """An image of noise alone."""
    noise = np.random.default_rng(1).normal(0.5, 0.02, TOOTH.grey.shape)
    return replace(as_radiograph(noise.astype(np.float32)), file_format="DICOM")


def shorts(result):
    return {one.short for one in result.checks}


def withheld_by(result, check):
    return {
        name for name, reason in result.absent.items() if reason.startswith(f"withheld by check {check} ")
    }


def test_nothing_is_withheld_of_what_is_right():
    result = measured()
    assert set(result.measurements) >= BY_FILE
    assert "stop" not in {one.level for one in result.checks}
    assert not any(reason.startswith("withheld") for reason in result.absent.values())


def test_a_file_clicked_the_wrong_way_round_gives_no_length():
    ends = {"file_start": TOOTH.clicks["file_tip"], "file_tip": TOOTH.clicks["file_start"]}
    result = measured(ends)
    assert "P29 stop" in shorts(result)
    assert not BY_FILE & set(result.measurements)
    assert "schneider_deg" in result.measurements
    assert withheld_by(result, 29) >= BY_FILE - {"target_length_mm"}  # no rule can be taken off it at all


def test_a_canal_clicked_from_its_apex_gives_no_length():
    result = measured({"orifice": TOOTH.clicks["apex"], "apex": TOOTH.clicks["orifice"]})
    assert "P29 stop" in shorts(result)
    assert not BY_FILE & set(result.measurements)


@pytest.mark.parametrize(("length_mm", "by"), [(40.0, 21), (41.0, 2)])
def test_a_length_no_tooth_has_is_not_given(length_mm, by):
    result = measured(file_length_mm=length_mm)
    assert f"P{by} stop" in shorts(result)
    assert not RESTS_ON_FILE & set(result.measurements)
    assert set(result.absent) >= RESTS_ON_FILE


def test_a_length_no_tooth_has_can_be_accepted_but_not_one_below_0():
    assert set(measured(answers=[("P21", "accepted")], file_length_mm=40.0).measurements) >= RESTS_ON_FILE


def test_an_apex_clicked_far_from_the_tip_is_warned_of():
    coronal = TOOTH.clicks["file_start"] * 0.4 + TOOTH.clicks["file_tip"] * 0.6
    result = measured({"apex": coronal})
    assert result.measurements["gap_mm"].value < -2
    assert "P29 warn" in shorts(result)


def test_a_file_clicked_where_there_is_none_gives_no_length():
    result = measure_case(nothing(), TOOTH.clicks, FACTS)
    assert "P13 stop" in shorts(result)
    assert not BY_FILE & set(result.measurements)
    assert withheld_by(result, 13) >= {"gap_mm", "scale_mm_per_px", "working_length_mm"}


def test_a_canal_nobody_sees_gives_no_angle_until_it_is_marked():
    facts = CaseFacts(scale_from="given", mm_per_px=TOOTH.mm_per_px)
    via = {"canal_via": TOOTH.clicks["canal_via"]}
    ends = {name: TOOTH.clicks[name] for name in ("orifice", "apex")}
    guessed = measure_case(nothing(), ends, facts)
    assert "P13 stop" in shorts(guessed)
    assert not {"schneider_deg", "canal_length_mm", "estimated_length_mm"} & set(guessed.measurements)
    assert withheld_by(guessed, 13) >= {"schneider_deg", "canal_length_mm"}
    marked = measure_case(nothing(), ends | via, facts)
    assert "P13 stop" not in shorts(marked)
    assert "schneider_deg" in marked.measurements


def test_an_unseen_stop_leaves_no_length_by_it():
    result = measured(answers=[("P10", "no", "hidden by the clamp")])
    assert "P10 stop (no: hidden by the clamp)" in shorts(result)
    # the scale of the file counts from the stop, too
    assert result.scale is None
    assert withheld_by(result, 10) >= {*BY_FILE, "scale_mm_per_px"}
    assert "schneider_deg" in result.measurements


def test_by_another_scale_an_unseen_stop_leaves_the_gap():
    result = measured(answers=[("P10", "no")], scale_from="given", mm_per_px=TOOTH.mm_per_px)
    assert "gap_mm" in result.measurements
    assert not RESTS_ON_FILE & set(result.measurements)
    assert withheld_by(result, 10) >= RESTS_ON_FILE


def test_a_stop_off_its_reference_leaves_the_length_from_the_reference():
    result = measured({"reference": TOOTH.clicks["file_start"]}, answers=[("P11", "no")])
    assert {"gap_mm", "reference_length_mm"} <= set(result.measurements)
    assert not RESTS_ON_FILE & set(result.measurements)
    assert withheld_by(result, 11) == RESTS_ON_FILE
    assert case_lengths(result).proportion is None
    assert case_lengths(measured()).proportion is not None
