"""Electronic readings: their own mean, the difference to the radiograph, the verdict, causes and choices."""

from __future__ import annotations

import math
import statistics
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from uncertainties import ufloat

from radio.errors import PeriapicalError
from radio.measure.chosen_length import choice_remarks
from radio.measure.disagreement import CAUSES, fitting_causes
from radio.measure.electronic import (
    ELECTRONIC_SD_MM,
    compare,
    comparison_remarks,
    electronic_difference,
    electronic_length,
    judged,
    judged_text,
)
from radio.measure.reading import FLAGS, YES_NO_FLAGS, Choice, Reading
from radio.measure.result import Measurement

LENGTH = st.floats(15, 30)


def radiographic(mm: float = 21.0, sd: float | None = 0.1) -> Measurement:
    return Measurement("working_length_mm", mm, "mm", sd, "m", "b")


# -- the reading ---------------------------------------------------------------------------------------------


@given(st.lists(LENGTH, min_size=2, max_size=6))
def test_repeats_are_averaged_among_themselves_and_their_spread_adds_to_the_tolerance(readings) -> None:
    one = electronic_length(Reading(readings[0], "zero", repeats_mm=tuple(readings[1:])))
    assert one.value == pytest.approx(statistics.fmean(readings))
    # standard error of the mean by an independent library
    assert one.sd == pytest.approx(math.hypot(ELECTRONIC_SD_MM, stats.sem(readings)), rel=1e-9)


def test_one_reading_has_the_tolerance_alone_and_many_do_not_lessen_it() -> None:
    assert electronic_length(Reading(21.0)).sd == ELECTRONIC_SD_MM
    assert electronic_length(Reading(21.0, "zero", repeats_mm=(21.0,) * 30)).sd == ELECTRONIC_SD_MM


def test_readings_that_do_not_come_to_rest_say_so() -> None:
    unstable = electronic_length(Reading(21.0, "zero", repeats_mm=(21.2, 20.4)))
    assert any("0.8 mm apart" in note for note in unstable.notes)
    # 0.1 + 0.5 is not 0.6 in binary: half a millimetre on the ruler still is half a millimetre
    assert electronic_length(Reading(20.6, "zero", repeats_mm=(20.1,))).notes == ()


@pytest.mark.parametrize(
    ("wrong", "parts"),
    [
        ({"mm": 4.9}, ["4.9 mm", "5 to 40 mm"]),
        ({"mm": float("nan")}, ["nan mm", "5 to 40 mm"]),
        ({"repeats_mm": (21.0, 210.0)}, ["210 mm", "5 to 40 mm"]),
        ({"mark": "apex"}, ["'apex'", "zero or half"]),
        ({"canal_state": "wet"}, ["'wet'", "dry, moist or flooded"]),
        ({"resorption": "some"}, ["'some'", "none, internal or external"]),
        ({"bleeding": "yes"}, ["bleeding", "'yes'", "True, False or None"]),
        ({"file_size": 0}, ["file size", "ISO 3630-1"]),
        ({"time": "14.3.2026"}, ["'14.3.2026'", "2026-03-14"]),
    ],
)
def test_a_wrong_reading_is_refused_with_what_is_allowed(wrong, parts) -> None:
    with pytest.raises(PeriapicalError) as told:
        Reading(**({"mm": 21.0} | wrong))
    for part in parts:
        assert part in str(told.value)


# -- the difference ------------------------------------------------------------------------------------------


@given(LENGTH, st.floats(0.01, 1), LENGTH)
def test_reading_minus_radiograph(length: float, sd: float, reading: float) -> None:
    difference = electronic_difference(radiographic(length, sd), Reading(reading, "zero"))
    exact = ufloat(reading, ELECTRONIC_SD_MM) - ufloat(length, sd)
    assert difference.value == pytest.approx(exact.nominal_value, abs=1e-12)
    assert difference.sd == pytest.approx(exact.std_dev, rel=1e-9)


def test_the_longer_electronic_length_gives_a_positive_difference() -> None:
    assert electronic_difference(radiographic(), Reading(21.5, "zero")).value == pytest.approx(0.5)
    assert electronic_difference(radiographic(), Reading(20.5, "zero")).value == pytest.approx(-0.5)


@pytest.mark.parametrize(
    ("mark", "told", "note"),
    [
        ("zero", "mark: zero", None),
        ("half", "mark: half", "not millimetres"),
        (None, "mark: not stated", "ambiguous"),
    ],
)
def test_the_two_lengths_are_never_averaged_and_the_mark_is_told(mark, told, note) -> None:
    difference = electronic_difference(radiographic(), Reading(22.0, mark))
    assert difference.name == "electronic_difference_mm"
    assert 21.5 not in (difference.value, *difference.interval95)
    assert told in difference.method
    assert "never averaged" in difference.notes[0]
    assert len(difference.notes) == 1 if note is None else note in difference.notes[1]


def test_a_length_without_uncertainty_leaves_that_of_the_reading_and_says_so() -> None:
    difference = electronic_difference(radiographic(sd=None), Reading(22.0, "zero"))
    assert difference.sd == ELECTRONIC_SD_MM
    assert "too small" in difference.notes[-1]


# -- the verdict ---------------------------------------------------------------------------------------------


@given(st.floats(-4, 4), st.floats(0.05, 1), st.sampled_from([0.5, 1.0, 2.0]))
def test_beyond_is_sure_where_a_one_sided_test_says_so(value: float, sd: float, tolerance: float) -> None:
    # a 95 % interval wholly beyond the limit is a one-sided test at 2.5 %, wholly within it two of them
    # (Schuirmann 1987, J Pharmacokinet Biopharm 15:657, from memory); the normal distribution is scipy's
    difference = Measurement("electronic_difference_mm", value, "mm", sd, "m", "b")
    surely = 1.96
    excess = (abs(value) - tolerance) / sd
    if min(abs(excess), abs(abs(excess) - surely)) < 1e-6:
        return
    level = 1 - stats.norm.cdf(surely)
    beyond = "beyond" if stats.norm.sf(excess) < level else "beyond, in doubt"
    assert judged(difference, tolerance) == ("within" if excess < 0 else beyond)
    told = judged_text(difference, tolerance)
    assert ("lies within" in told) == (excess < 0)
    low, high = difference.interval95
    assert f"{low:+.2f} to {high:+.2f} mm" in told
    p_low, p_high = (stats.norm.sf((tolerance + side * value) / sd) for side in (1, -1))
    assert ("and so does its whole" in told) == (
        (excess > 0 and beyond == "beyond") or max(p_low, p_high) < level
    )


@pytest.mark.parametrize(
    ("reading", "tolerance", "verdict", "reach"),
    [
        (
            21.2,
            0.5,
            "within",
            "+0.20 mm lies within 0.5 mm; its 95 % interval, -0.33 to +0.73 mm, reaches beyond",
        ),
        (21.1, 1.0, "within", "lies within 1 mm, and so does its whole 95 % interval"),
        (
            21.9,
            0.5,
            "beyond, in doubt",
            "lies beyond 0.5 mm; its 95 % interval, +0.37 to +1.43 mm, reaches back",
        ),
        (22.2, 0.5, "beyond", "lies beyond 0.5 mm, and so does its whole 95 % interval"),
        (22.2, 1.0, "beyond, in doubt", "reaches back within"),
        (19.2, 1.0, "beyond", "-1.80 mm lies beyond 1 mm, and so"),
    ],
)
def test_the_verdict_goes_by_the_difference_and_its_interval_is_told(
    reading, tolerance, verdict, reach
) -> None:
    one = compare(radiographic(), Reading(reading, "zero"), tolerance)
    assert (one.verdict, one.tolerance_mm) == (verdict, tolerance)
    assert one.exceeds == bool(one.causes) == (verdict != "within")
    assert reach in one.difference.notes[-1]
    assert one.surely_within == (verdict == "within" and "so does its whole" in reach)


def test_half_a_millimetre_is_a_tolerance_that_can_be_met() -> None:
    # ± 0.25 mm of the reading alone makes an interval of ± 0.49 mm: hardly any is surely within 0.5 mm
    exact = compare(radiographic(sd=0.05), Reading(21.0, "zero"), 0.5)
    assert exact.verdict == "within"
    assert 1.96 * exact.difference.sd == pytest.approx(0.5, abs=0.005)
    assert not compare(radiographic(sd=0.2), Reading(21.0, "zero"), 0.5).surely_within


def test_a_tolerance_below_every_advice_still_has_its_causes() -> None:
    told = comparison_remarks(compare(radiographic(), Reading(21.4, "zero", canal_state="dry"), 0.3))
    assert [one.level for one in told] == ["note"]
    assert "Stated and fitting: dry canal" in told[0].text


def test_half_a_millimetre_on_the_ruler_is_within_half_a_millimetre() -> None:
    # 20.6 - 20.1 is more than 0.5 in binary
    assert not compare(radiographic(20.1), Reading(20.6, "zero"), 0.5).exceeds


def test_repeats_that_are_not_one_length_are_not_compared() -> None:
    blunder = Reading(20.1, "zero", repeats_mm=(30.0,))
    assert "9.90 mm apart" in blunder.scattered
    with pytest.raises(PeriapicalError, match="not one length"):
        compare(radiographic(), blunder)
    # 20.1 and 21.1 are a millimetre apart on the ruler, if not in binary
    assert Reading(20.1, "zero", repeats_mm=(21.1,)).scattered == ""
    assert Reading(20.1, "zero", repeats_mm=(21.2,)).scattered


def test_more_than_a_millimetre_is_told_whatever_is_accepted() -> None:
    wide = compare(radiographic(), Reading(24.1, "zero"), 5.0)
    assert (wide.verdict, wide.to_be_told) == ("within", True)
    assert "do not average" in comparison_remarks(wide)[0].text
    assert not compare(radiographic(), Reading(22.0, "zero"), 1.0).to_be_told


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan"), float("inf")])
def test_a_tolerance_must_be_a_length(tolerance) -> None:
    with pytest.raises(PeriapicalError, match=r"above 0; usual are 0\.5 and 1\.0 mm"):
        compare(radiographic(), Reading(21.0), tolerance)


# -- causes --------------------------------------------------------------------------------------------------


def names(difference: float, reading: Reading) -> list[str]:
    return [one.cause.name for one in fitting_causes(difference, reading)]


UNKNOWN = Reading(21.0)


def test_every_cause_fits_a_direction_and_carries_its_standing() -> None:
    shorter, longer = names(-1.0, UNKNOWN), names(1.0, UNKNOWN)
    assert set(shorter) | set(longer) == {cause.name for cause in CAUSES}
    assert len({cause.name for cause in CAUSES}) == len(CAUSES)
    # textbook directions: a mark that comes early is a shorter electronic length (from memory)
    for name in ("perforation", "bleeding", "flooded", "metal_contact", "open_apex", "half_mark", "foramen"):
        assert name in shorter
        assert name not in longer
    for name in ("dry", "previous_filling", "hidden_bend"):
        assert name in longer
        assert name not in shorter
    assert {"stop_moved", "other_canal", "resorption"} <= set(shorter) & set(longer)
    for cause in CAUSES:
        assert cause.title
        assert cause.do
        assert cause.standing
    assert names(0.0, UNKNOWN) == []


@pytest.mark.parametrize("cause", [one for one in CAUSES if one.flag], ids=lambda one: one.name)
def test_a_flag_puts_its_cause_first_or_rules_it_out(cause) -> None:
    assert hasattr(UNKNOWN, cause.flag)
    difference = 1.0 if "longer" in cause.directions else -1.0
    for value in cause.when:
        first = fitting_causes(difference, replace(UNKNOWN, **{cause.flag: value}))[0]
        assert (first.cause, first.stated) == (cause, True)
        assert first.why.startswith("stated (")
        assert cause.why in first.why
    others = {
        "canal_state": ("dry", "moist", "flooded"),
        "resorption": ("none", "internal", "external"),
        "mark": ("zero", "half"),
    }.get(cause.flag, (True, False))
    for value in set(others) - set(cause.when):
        assert cause.name not in names(difference, replace(UNKNOWN, **{cause.flag: value}))
    open_one = next(one for one in fitting_causes(difference, UNKNOWN) if one.cause == cause)
    assert not open_one.stated
    assert "not ruled out" in open_one.why


def test_every_flag_of_a_reading_decides_about_a_cause() -> None:
    assert set(FLAGS) <= {cause.flag for cause in CAUSES}
    assert set(YES_NO_FLAGS) < set(FLAGS)


def test_remarks_follow_the_size_of_the_difference() -> None:
    small, middle, large = (
        comparison_remarks(compare(radiographic(), Reading(mm, "zero"))) for mm in (21.3, 21.8, 19.4)
    )
    assert small == ()
    assert [one.level for one in middle] == ["note", "note"]
    assert [one.level for one in large] == ["warn", "note"]
    assert "+0.80 mm, more than 0.5 mm" in middle[0].text
    assert "-1.60 mm, more than 1 mm: do not average" in large[0].text
    assert "The electronic length is the shorter one. Possible: foramen" in large[1].text
    assert "state of the canal was not stated" in large[1].text
    stated = comparison_remarks(compare(radiographic(), Reading(19.4, "zero", bleeding=True)))
    assert "Stated and fitting: bleeding or exudate. Also possible: foramen" in stated[1].text
    assert "was not stated" not in stated[1].text


# -- the choice ----------------------------------------------------------------------------------------------


def test_a_choice_needs_a_basis_and_a_reason() -> None:
    for wrong, part in (
        ({"reason": " "}, "has no reason"),
        ({"basis": "both"}, "radiographic, electronic or other"),
        ({"basis": None}, "given None"),
        ({"mm": 0.0}, "5 to 40 mm"),
        ({"time": "today"}, "'today'"),
    ):
        with pytest.raises(PeriapicalError, match=part):
            Choice(**({"mm": 20.5, "basis": "electronic", "reason": "tip beyond the foramen"} | wrong))


def test_a_mean_of_two_that_disagree_is_called_one() -> None:
    one = compare(radiographic(21.0), Reading(19.4, "zero"))
    mean = choice_remarks(one, Choice(20.2, "other", "between"))
    assert [r.level for r in mean] == ["warn"]
    assert "is the mean of two lengths that disagree" in mean[0].text
    assert choice_remarks(one, Choice(19.4, "electronic", "exit at the side")) == ()
    # of two that agree the mean is as good as either
    agreeing = compare(radiographic(21.0), Reading(21.2, "zero"))
    assert choice_remarks(agreeing, Choice(21.1, "other", "between")) == ()
    beyond = choice_remarks(one, Choice(21.5, "other", "felt"))
    assert "longer than either" in beyond[0].text
