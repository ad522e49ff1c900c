"""Length first or flaring first: common practice, with its reasons and what is taught against it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import CalibrationError
from calib.instruments import SIZES
from radio.errors import PeriapicalError
from radio.measure.plan import STAGE_OF_LENGTH, plan
from radio.measure.result import Measurement
from radio.record.course import Stage


def angle(deg: float, sd: float | None = None) -> Measurement:
    return Measurement("schneider_deg", deg, "deg", sd, "Schneider angle", "b")


# "A size 15/.02 hand file passes freely to the estimate: length at the start; small or curved: flare first"
# is a textbook rule from memory. What counts as curved is this program's own choice: above 30°, the band of
# a difficulty form; 10° to 30° leaves both open where the canal is large.
@pytest.mark.parametrize(
    ("size", "freely", "curvature", "order"),
    [
        (15, True, None, "length first"),
        (20, True, angle(5), "length first"),
        (15, True, angle(10), "either"),
        (15, True, angle(30), "either"),
        (15, True, angle(30.1), "flare first"),
        (10, True, None, "flare first"),
        (10, True, angle(3), "flare first"),
        (15, False, None, "flare first"),
        (25, False, angle(3), "flare first"),
        (8, False, angle(45), "flare first"),
    ],
)
def test_orders(size, freely, curvature, order) -> None:
    assert plan(size, 0.02, freely, curvature, "36").order == order


def test_an_s_shape_counts_as_curved_whatever_its_angle() -> None:
    assert plan(20, 0.02, True, angle(4)).order == "length first"
    assert plan(20, 0.02, True, angle(4), s_shaped=True).order == "flare first"


TEETH = [f"{q}{t}" for q in range(1, 9) for t in range(1, 9 if q < 5 else 6)]


@given(
    st.sampled_from(SIZES),
    st.booleans(),
    st.none() | st.floats(0, 90).map(lambda deg: angle(deg, 2.0)),
    st.sampled_from(["", *TEETH]),
    st.sampled_from([0.02, 0.04, 0.06]),
    st.booleans(),
)
def test_every_plan_tells_reasons_standing_and_the_other_side(size, freely, curve, tooth, taper, s_shape):
    made = plan(size, taper, freely, curve, tooth, s_shaped=s_shape)
    lines = (*made.reasons, *made.counter, *made.notes)
    assert all(one.text and one.standing for one in lines)
    favoured = {one.favours for one in made.reasons} - {"neither"}
    against = {one.favours for one in made.counter}
    if made.order == "either":
        assert favoured == against == {"length first", "flare first"}
    else:
        assert made.order in favoured
        assert made.order not in against
    # a school's counsel to measure always before stands beside every late length
    if made.order != "length first":
        assert any("dental school" in one.standing for one in made.counter)
    # both orders may be recorded, at stages that a course has
    assert set(made.steps) == set(STAGE_OF_LENGTH)
    assert set(STAGE_OF_LENGTH.values()) <= {str(stage) for stage in Stage}
    if made.order in made.steps:
        assert next(iter(made.steps)) == made.order
    assert any("checked again" in one.text for one in made.notes)


def test_a_loss_is_never_told_from_curvature() -> None:
    notes = " ".join(one.text for one in plan(10, 0.02, True, angle(40)).notes)
    assert "not told from curvature" in notes


def test_an_interval_over_an_edge_is_said() -> None:
    told = [one.text for one in plan(15, 0.02, True, angle(29, 2.0)).reasons]
    assert any("reaches over 30°" in text for text in told)
    assert not any("reaches over" in one.text for one in plan(15, 0.02, True, angle(20, 2.0)).reasons)


def test_another_taper_is_told_with_its_widths() -> None:
    # D(x) = D0 + taper x (ISO 3630-1): size 15 at 10 mm is 0.35 mm wide with 0.02, 0.75 mm with 0.06
    (note,) = [one.text for one in plan(15, 0.06, True).notes if "taper" in one.text]
    assert "0.75 mm" in note
    assert "0.35 mm" in note
    assert not any("taper 0.02" in one.text for one in plan(15, 0.02, True).notes)


def test_teeth() -> None:
    def told(tooth):
        return " ".join(one.text for one in plan(15, 0.02, True, None, tooth).notes)

    assert "first dentition" in told("74")
    assert "mesial roots of lower molars" in told("46")
    assert "mesial roots" not in told("16")
    assert "premolars" in told("14")
    assert "Tooth" not in told("11")


def test_wrong_input() -> None:
    with pytest.raises(CalibrationError, match="size 12"):
        plan(12, 0.02, True)
    with pytest.raises(CalibrationError, match="taper"):
        plan(15, 2.0, True)
    with pytest.raises(PeriapicalError, match="angle of 0 to 180"):
        plan(15, 0.02, True, Measurement("r", 5.0, "mm", 0.1, "m", "b"))
    with pytest.raises(PeriapicalError, match="angle of 0 to 180"):
        plan(15, 0.02, True, angle(float("nan")))
    with pytest.raises(PeriapicalError, match="ISO 3950"):
        plan(15, 0.02, True, None, "6")


def test_without_a_curvature_the_order_has_a_condition() -> None:
    made = plan(15, 0.02, True)
    assert made.order == "length first"
    assert "less than 10°" in made.condition
    assert "curvature is not stated" in made.condition
    straight = Measurement("curvature_deg", 5.0, "deg", None, "m", "b")
    assert plan(15, 0.02, True, straight).condition == ""
    # a small canal is flared first whatever its curvature
    assert plan(10, 0.02, True).condition == ""
    assert plan(15, 0.02, True, s_shaped=True).condition == ""
