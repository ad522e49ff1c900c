"""The course of a length: what is compared with what, what blocks it, and what is said."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radio.errors import PeriapicalError
from radio.measure.repeatability import Repeatability, default_repeatability, stated_repeatability
from radio.record.course import Course, CourseEntry, FileUsed, Stage
from radio.record.course_checks import judge_course
from radio.record.course_repeats import by_default, by_repeats
from radio.record.course_table import Repeat

ENTRY = CourseEntry(
    Stage.SCOUTING, 21.0, "file length plus gap", FileUsed(15, "steel"), "MB cusp", "radiograph"
)
SHAPING = (Stage.SCOUTING, Stage.AFTER_FLARING, Stage.AFTER_MID_ROOT, Stage.FINAL)


def course_of(*entries: CourseEntry) -> Course:
    return Course("36", "MB", entries, "T01")


def lengths(*values: float, **more) -> Course:
    return course_of(
        *(
            replace(ENTRY, stage=stage, length_mm=one, **more)
            for stage, one in zip(SHAPING, values, strict=False)
        )
    )


def judged(course: Course, sd_mm: float = 0.2, **more):
    return judge_course(course, lambda _: stated_repeatability(sd_mm), **more)


def of(found, identifier):
    return [one for one in found.checks if one.id == identifier]


# -- the course ----------------------------------------------------------------------------------------------


def test_adding_makes_a_new_course() -> None:
    empty = Course("36", "MB")
    first = empty.adding(ENTRY)
    assert empty.entries == ()
    assert first.entries == (ENTRY,)
    with pytest.raises(FrozenInstanceError):
        first.entries = ()  # type: ignore[misc]
    assert course_of().title == "Tooth 36, canal MB (T01)"


@pytest.mark.parametrize("length_mm", [4.9, 40.1, -3.0, float("nan"), float("inf")])
def test_a_length_has_limits(length_mm) -> None:
    with pytest.raises(PeriapicalError, match="allowed is 5 to 40 mm"):
        replace(ENTRY, length_mm=length_mm)


@pytest.mark.parametrize("sd", [-0.1, 5.1, float("nan")])
def test_an_uncertainty_has_limits(sd) -> None:
    with pytest.raises(PeriapicalError, match="allowed is 0 to 5 mm"):
        replace(ENTRY, length_sd_mm=sd)


@pytest.mark.parametrize("time", ["yesterday", "14.05.2031", "2031-13-01", "10:30"])
def test_a_time_is_iso_8601(time) -> None:
    with pytest.raises(PeriapicalError, match="ISO 8601"):
        replace(ENTRY, time=time)


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        ("2031-05-14", "2031-05-15", True),
        ("2031-05-14T10:00", "2031-05-14T09:59", False),
        ("2031-05-14", "2031-05-14T08:00", None),
        ("2031-05-14T10:00", "2031-05-14T10:00", None),
        ("2031-05-14T10:00+00:00", "2031-05-14T10:30", True),
        ("2031-05-14T10:00+02:00", "2031-05-14T09:00+00:00", True),
        ("", "2031-05-14", None),
    ],
)
def test_which_was_read_first(first, second, told) -> None:
    one, other = replace(ENTRY, time=first), replace(ENTRY, time=second)
    assert one.came_before(other) is told
    assert other.came_before(one) is (None if told is None else not told)


# -- verdicts ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("later", "verdict"),
    # the least significant change of an SD of 0.2 mm is 0.554 mm
    [
        (20.45, "not distinguishable"),
        (20.44, "shorter"),
        (21.0, "not distinguishable"),
        (21.55, "not distinguishable"),
        (21.56, "longer"),
    ],
)
def test_a_change_counts_beyond_the_least_significant_one(later, verdict) -> None:
    (change,) = judged(lengths(21.0, later)).changes
    assert change.verdict == verdict
    assert change.length_change is not None
    assert change.length_change.value == pytest.approx(later - 21.0)
    assert change.length_change.sd == pytest.approx(0.2 * 2**0.5)
    assert "0.55 mm" in change.told


def test_a_change_within_its_stated_uncertainty_is_none() -> None:
    # 21 ± 0.3 to 20.6 ± 0.3: 1.96 × √2 × 0.3 = 0.83 mm, more than 0.4 mm; 2.77 × 0.1 = 0.28 mm, less
    first = replace(ENTRY, length_mm=21.0, length_sd_mm=0.3)
    for stage in (Stage.FINAL, Stage.AFTER_FLARING):
        later = replace(first, stage=stage, length_mm=20.6)
        found = judge_course(course_of(first, later), lambda _: stated_repeatability(0.1))
        (change,) = found.changes
        assert change.verdict == "within stated uncertainty"
        assert not change.shown
        assert "beyond your least significant change" in change.told
        assert "within the stated uncertainty" in change.told
        assert [one.level for one in found.checks if one.id == "P23"] == ["note"]
    longer = judge_course(
        course_of(replace(first, length_mm=20.6), replace(first, stage=Stage.FINAL)),
        lambda _: stated_repeatability(0.1),
    )
    (check,) = [one for one in longer.checks if one.id == "P24"]
    assert (check.level, check.do) == ("note", "Within the stated uncertainty: no lengthening is shown.")
    far = replace(first, stage=Stage.FINAL, length_mm=20.1)
    assert judge_course(course_of(first, far), lambda _: stated_repeatability(0.1)).changes[0].shown


def test_a_change_equal_to_the_limit_is_within_it() -> None:
    # 0.1 has no exact binary form: 20.3 - 20.0 is a little more than 0.3
    exact = Repeatability(0.3 / stated_repeatability(1.0).lsc_mm, None, None, "stated", "exact")
    (change,) = judge_course(lengths(20.0, 20.3), lambda _: exact).changes
    assert change.verdict == "not distinguishable"


def test_small_losses_add_up_to_one_that_is_told() -> None:
    found = judged(lengths(21.0, 20.7, 20.4, 20.1))
    assert [one.verdict for one in found.changes] == ["not distinguishable"] * 3 + ["shorter"]
    whole = found.changes[-1]
    assert whole.whole
    assert whole.stages == "whole, scouting to final"
    assert whole.beside_fixed == "over 0.5, within 1"
    (check,) = of(found, "P23")
    assert "shorter by 0.90 mm" in check.seen
    assert "0.55 mm" in check.seen


@settings(max_examples=60, deadline=None)
@given(
    values=st.lists(st.integers(1800, 2300).map(lambda n: n / 100), min_size=2, max_size=4),
    sd=st.floats(0.05, 0.6),
)
def test_verdicts_follow_the_numbers(values, sd) -> None:
    found = judged(lengths(*values), sd)
    steps = [one for one in found.changes if not one.whole]
    differences = [b - a for a, b in pairwise(values)]
    assert [one.length_change.value for one in steps] == pytest.approx(differences)
    for one in found.changes:
        size = one.length_change.value
        limit = 1.959964 * 2**0.5 * sd
        if abs(abs(size) - limit) > 1e-4:
            expected = "not distinguishable" if abs(size) < limit else "shorter" if size < 0 else "longer"
            assert one.verdict == expected


def test_stated_uncertainties_are_not_taken_below_the_repeat_error() -> None:
    course = lengths(21.0, 20.3)
    course = replace(
        course,
        entries=(
            replace(course.entries[0], length_sd_mm=0.4),
            replace(course.entries[1], length_sd_mm=0.05),
        ),
    )
    (change,) = judged(course).changes
    assert change.length_change is not None
    assert change.length_change.sd == pytest.approx((0.4**2 + 0.2**2) ** 0.5)
    assert change.verdict == "within stated uncertainty"
    assert any("within the uncertainties stated" in note for note in change.length_change.notes)
    assert [judged(course).sd_mm(place) for place in (0, 1)] == [0.4, 0.2]


def test_few_repeats_are_said_where_the_verdict_hangs_on_them() -> None:
    own = Repeatability(0.2, 4, (0.12, 0.57), "repeats", "own")
    # Student's t for four degrees of freedom is 2.776 (any table)
    assert own.sure_lsc_mm == pytest.approx(2.776 * 2**0.5 * 0.2, abs=1e-3)
    for later, hangs in ((20.9, False), (20.3, True), (20.1, False)):
        (change,) = judge_course(lengths(21.0, later), lambda _: own).changes
        assert any("rests on 4 repeats only" in note for note in change.length_change.notes) is hangs


# -- what blocks a comparison --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("other", "told"),
    [
        ({"reference": "ML cusp"}, "reference differs (MB cusp / ML cusp)"),
        ({"method": "electronic"}, "method differs (radiograph / electronic)"),
        ({"basis": "mark zero"}, "basis differs (file length plus gap / mark zero)"),
        ({"file": FileUsed(20, "steel")}, "file size differs (15 / 20)"),
        ({"file": FileUsed(None, "steel")}, "file size differs (15 / none stated)"),
        ({"file": FileUsed(15, "nickel-titanium")}, "file material differs (steel / nickel-titanium)"),
        ({"reference": ""}, "reference not stated at after coronal flaring"),
        ({"method": ""}, "method not stated at after coronal flaring"),
    ],
)
def test_another_way_of_reading_blocks(other, told) -> None:
    course = course_of(ENTRY, replace(ENTRY, stage=Stage.AFTER_FLARING, length_mm=19.0, **other))
    found = judged(course)
    (change,) = found.changes
    assert (change.verdict, change.length_change, change.beside_fixed) == ("not compared", None, "")
    assert change.blocked == (told,)
    (check,) = found.checks
    assert (check.id, check.level) == ("P22", "warn")
    assert told in check.seen


def test_all_that_differs_is_named_and_spelling_is_not_a_difference() -> None:
    later = replace(ENTRY, stage=Stage.FINAL, reference="DB cusp", method="electronic", file=FileUsed(25, ""))
    (change,) = judged(course_of(ENTRY, later)).changes
    assert len(change.blocked) == 4
    later = replace(ENTRY, stage=Stage.AFTER_FLARING, reference="mb  CUSP", method="Radiograph")
    (change,) = judged(course_of(ENTRY, later)).changes
    assert change.blocked == ()


def test_other_file_sizes_are_compared_where_it_is_asked_for() -> None:
    course = course_of(ENTRY, replace(ENTRY, stage=Stage.AFTER_FLARING, file=FileUsed(20, "steel")))
    (change,) = judged(course, across_sizes=True).changes
    assert change.verdict == "not distinguishable"
    assert any("15 / 20" in note for note in change.length_change.notes)
    assert change.across_sizes == "file sizes 15 / 20"
    metal = course_of(ENTRY, replace(ENTRY, stage=Stage.AFTER_FLARING, file=FileUsed(20, "NiTi")))
    assert judged(metal, across_sizes=True).changes[0].verdict == "not compared"


def test_of_several_sizes_the_same_one_is_compared() -> None:
    course = course_of(
        replace(ENTRY, length_mm=20.0),
        replace(ENTRY, length_mm=23.0, file=FileUsed(20, "steel")),
        replace(ENTRY, stage=Stage.AFTER_FLARING, length_mm=20.1),
    )
    (change,) = judged(course, across_sizes=True).changes
    assert change.length_change.value == pytest.approx(0.1)


def test_radiograph_and_electronic_run_beside_each_other_and_never_mix() -> None:
    electronic = {"method": "electronic", "basis": "mark zero"}
    entries = []
    for stage, film, reading in ((SHAPING[0], 21.0, 22.0), (SHAPING[1], 20.9, 21.9)):
        entries.append(replace(ENTRY, stage=stage, length_mm=film))
        entries.append(replace(ENTRY, stage=stage, length_mm=reading, **electronic))
    found = judged(course_of(*entries))
    assert [one.length_change.value for one in found.changes] == pytest.approx([-0.1, -0.1])
    assert found.checks == ()


def test_a_blocked_stage_is_bridged_by_the_nearest_that_can_be_compared() -> None:
    course = lengths(21.0, 20.9, 20.8, 20.0)
    other = replace(course.entries[2], file=FileUsed(25, "nickel-titanium"))
    found = judged(replace(course, entries=(*course.entries[:2], other, course.entries[3])))
    told = [(one.earlier.stage, one.later.stage, one.verdict) for one in found.changes]
    assert told == [
        (SHAPING[0], SHAPING[1], "not distinguishable"),
        (SHAPING[1], SHAPING[2], "not compared"),
        (SHAPING[2], SHAPING[3], "not compared"),
        (SHAPING[1], SHAPING[3], "shorter"),
        (SHAPING[0], SHAPING[3], "shorter"),
    ]


@pytest.mark.parametrize("timed", [True, False])
def test_a_wrong_order_blocks(timed) -> None:
    first, second = lengths(21.0, 20.9).entries
    if timed:
        first = replace(first, time="2031-05-14T11:00")
        second = replace(second, time="2031-05-14T10:00")
        course = course_of(first, second)
    else:
        course = course_of(second, first)
    found = judged(course)
    assert found.changes[0].blocked == ("wrong order: after coronal flaring was recorded before scouting",)
    assert "Check the stage and time" in found.checks[0].do


def test_times_set_right_what_rows_have_wrong() -> None:
    first, second = lengths(21.0, 20.9).entries
    course = course_of(replace(second, time="2031-05-14T11:00"), replace(first, time="2031-05-14T10:00"))
    assert judged(course).changes[0].verdict == "not distinguishable"


def test_missing_stages_are_named() -> None:
    found = judged(course_of(ENTRY, replace(ENTRY, stage=Stage.FINAL, length_mm=20.9)))
    assert found.changes[0].verdict == "not distinguishable"
    (check,) = of(found, "P22")
    assert "after coronal flaring and after mid-root shaping" in check.seen
    assert check.level == "warn"
    # what comes before the first and after the last length is not missing
    assert judged(lengths(21.0, 20.9)).checks == ()
    alone = judged(course_of(ENTRY))
    assert (alone.changes, alone.checks) == ((), ())


def test_of_lengths_read_alike_at_one_stage_the_last_is_compared_and_it_is_said() -> None:
    course = course_of(
        ENTRY, replace(ENTRY, length_mm=20.8), replace(ENTRY, stage=Stage.AFTER_FLARING, length_mm=20.7)
    )
    found = judged(course)
    (change,) = found.changes
    assert change.length_change.value == pytest.approx(-0.1)
    (check,) = found.checks
    assert (check.id, check.level) == ("P22", "note")
    assert "21, 20.8 mm" in check.seen


# -- gains ---------------------------------------------------------------------------------------------------


def test_a_gain_after_shaping_warns_with_its_causes() -> None:
    found = judged(lengths(21.0, 21.8))
    (check,) = found.checks
    assert (check.id, check.level) == ("P24", "warn")
    for cause in ("stop", "reference", "perforation", "from memory"):
        assert cause in check.do


def test_a_gain_within_the_repeat_error_is_a_note() -> None:
    (check,) = judged(lengths(21.0, 21.1)).checks
    assert (check.id, check.level) == ("P24", "note")
    assert "no lengthening is shown" in check.do


def test_before_shaping_a_difference_is_no_gain() -> None:
    course = course_of(replace(ENTRY, stage=Stage.ESTIMATE, length_mm=20.0), ENTRY)
    (check,) = judged(course).checks
    assert check.id == "P23"
    assert "not shaped in between" in check.do


def test_causes_are_told_once() -> None:
    found = judged(lengths(21.0, 21.0, 21.0, 22.0))
    first, whole = of(found, "P24")
    assert "perforation" in first.do
    assert whole.do == "Possible causes as above."


# -- the reader's own spread ---------------------------------------------------------------------------------

FILM = {"basis": "file length plus gap", "method": "radiograph"}
REPEATS = [
    *(Repeat(f"tooth {n}", 21.0 + step, "A", **FILM) for n in range(4) for step in (0.0, 0.2)),
    *(
        Repeat(f"tooth {n}", 22.0 + step, "A", "mark zero", "electronic")
        for n in range(4)
        for step in (0, 0.6)
    ),
]


def test_each_way_of_reading_has_its_own_spread() -> None:
    judged_by = by_repeats(REPEATS)
    film = judged_by(ENTRY)
    electronic = judged_by(replace(ENTRY, method="Electronic", basis="mark zero"))
    assert film.sd_mm == pytest.approx(0.2 / 2**0.5)
    assert electronic.sd_mm == pytest.approx(0.6 / 2**0.5)
    other = judged_by(replace(ENTRY, method="tactile", basis="stop felt"))
    assert other.source == "default"
    assert "none of the repeats was read by tactile" in other.basis


def test_repeats_that_state_no_method_count_for_all() -> None:
    judged_by = by_repeats([Repeat(f"tooth {n}", 21.0 + step) for n in range(4) for step in (0.0, 0.2)])
    assert judged_by(ENTRY).repeats == 4
    assert judged_by(replace(ENTRY, method="")).repeats == 4


def test_readers_are_not_pooled() -> None:
    both = [*REPEATS, *(replace(one, reader="B", length_mm=one.length_mm + 1) for one in REPEATS)]
    with pytest.raises(PeriapicalError, match=r"several readers: A, B.*--reader"):
        by_repeats(both)
    with pytest.raises(PeriapicalError, match="no repeats of the reader 'C'"):
        by_repeats(both, "C")
    assert by_repeats(both, "b")(ENTRY).repeats == 4


def test_without_repeats_the_default_is_marked() -> None:
    found = judge_course(lengths(21.0, 20.0), by_default())
    assert found.changes[0].repeatability == default_repeatability()
    assert "the default least significant change 0.55 mm" in found.changes[0].told


def test_judged_by_names_what_the_numbers_rest_on() -> None:
    estimate = replace(ENTRY, stage=Stage.ESTIMATE, basis="canal length", length_sd_mm=0.5)
    course = course_of(estimate, *lengths(21.0, 20.9).entries)
    found = judge_course(course, by_repeats(REPEATS))
    # the estimate is not compared, and its stated uncertainty is above the default
    assert list(found.judged_by.values()) == ["radiograph, file length plus gap"]
