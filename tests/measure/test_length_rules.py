"""The subtraction from the radiographic apex, by named rule."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radio.errors import PeriapicalError, TableError
from radio.measure.case import CaseFacts
from radio.measure.length_rules import (
    CONVENTION,
    FIXED_RULES,
    RESORPTION_RULES,
    canonical_name,
    own_rule,
    rule_named,
    target_length,
    target_of,
    why_no_target,
)
from radio.measure.result import Measurement
from radio.record.fact_cells import facts_from_cells

WORKING = Measurement("working_length_mm", 22.0, "mm", 0.21, "m; no subtraction made", "b", ("n",))
ESTIMATE = Measurement("estimated_length_mm", 21.0, "mm", 0.5, "m; no subtraction made", "b")


# Ingle: image length minus 1 mm, file ending 0.5 to 1 mm short (lecture slides; a page citing Grossman's
# Endodontic Practice, 13th ed.). Weine: 1 mm without resorption, 1.5 mm with that of bone, 2 mm with that of
# bone and root (two independent sets of lecture slides).
@pytest.mark.parametrize(
    ("text", "resorption", "mm", "named"),
    [
        ("0.5", None, 0.5, "Ingle"),
        ("1", None, 1.0, "Ingle"),
        ("1.5", None, 1.5, "Weine"),
        ("2", None, 2.0, "Weine"),
        ("resorption", "none", 1.0, "Weine"),
        ("resorption", "bone", 1.5, "Weine"),
        ("resorption", "bone+root", 2.0, "Weine"),
    ],
)
def test_taught_rules(text, resorption, mm, named) -> None:
    rule = rule_named(text, resorption)
    assert rule.subtract_mm == mm
    assert named in rule.source
    assert "slides" in rule.standing
    target = target_length(WORKING, rule)
    assert (target.name, target.value, target.sd) == ("target_length_mm", 22.0 - mm, 0.21)
    assert named in target.basis
    assert CONVENTION in target.notes
    assert "no subtraction" not in f"{target.method} {target.basis}"


def test_a_rule_of_ones_own_needs_its_reason() -> None:
    rule = rule_named(" 0,7 mm :  wide   foramen seen ")
    assert (rule.subtract_mm, rule.name) == (0.7, "0.7: wide foramen seen")
    assert "wide foramen seen" in target_length(WORKING, rule).basis
    assert rule.standing == "the user's own"
    for given_text in ("0.7", "0.7:", "0.7:  ", "7: too much", "-1: below", "apex", "", "nan: x", "1 1"):
        with pytest.raises(PeriapicalError, match="given"):
            rule_named(given_text)
    with pytest.raises(PeriapicalError, match="0 to 5 mm"):
        own_rule(float("nan"), "reason")
    with pytest.raises(PeriapicalError, match=r"none, bone, bone\+root"):
        rule_named("resorption", "some")


@given(st.sampled_from([*FIXED_RULES, "resorption", "0.7: a reason", "3: b: c"]))
def test_a_name_read_is_read_again_as_the_same(name) -> None:
    assert canonical_name(canonical_name(name)) == canonical_name(name)
    assert canonical_name(f" {name.upper()} ").casefold() == canonical_name(name)


@pytest.mark.parametrize(("cell", "kept"), [("1.0", "1"), ("1,5 mm", "1.5"), ("Resorption", "resorption")])
def test_cells_of_a_spreadsheet(cell, kept) -> None:
    facts, problems = facts_from_cells({"length_rule": cell, "resorption": "Bone + root"})
    assert (facts.length_rule, facts.resorption, problems) == (kept, "bone+root", ())


def test_wrong_cells_say_what_is_allowed() -> None:
    facts, (rule, state) = facts_from_cells({"length_rule": "0.8", "resorption": "apex"})
    assert facts == CaseFacts()
    assert rule.startswith(
        "column length_rule: given '0.8'; allowed is one of 0.5, 1, 1.5, 2 (mm), resorption"
    )
    assert state.startswith("column resorption: given 'apex'; allowed is one of none, bone, bone+root")
    _, (long,) = facts_from_cells({"length_rule": f"0.8: {'x' * 300}"})
    assert "at most 200" in long
    assert issubclass(TableError, PeriapicalError)


def test_a_target_is_made_only_by_a_rule_that_is_stated() -> None:
    both = {one.name: one for one in (WORKING, ESTIMATE)}
    assert target_of(CaseFacts(resorption="bone"), both) is None
    assert target_of(CaseFacts(length_rule="resorption"), both) is None
    assert target_of(CaseFacts(length_rule="1"), {}) is None
    assert target_of(CaseFacts(length_rule="resorption", resorption="bone"), both).value == 20.5
    # the file in the canal goes before the estimate without one
    assert target_of(CaseFacts(length_rule="1"), both).value == 21.0
    assert target_of(CaseFacts(length_rule="1"), {ESTIMATE.name: ESTIMATE}).value == 20.0
    short = Measurement("working_length_mm", 0.8, "mm", 0.2, "m", "b")
    assert target_of(CaseFacts(length_rule="1"), {short.name: short}) is None


def test_a_length_from_the_handle_gives_no_target_but_that_from_the_reference_does() -> None:
    facts = CaseFacts(length_rule="1", file_start_at="handle")
    both = {one.name: one for one in (WORKING, ESTIMATE)}
    assert target_of(facts, both) is None
    assert "counted from the handle" in why_no_target(facts, both)
    assert "mark" in why_no_target(facts, both)
    reference = Measurement("reference_length_mm", 18.0, "mm", 0.4, "along file and canal", "b")
    assert target_of(facts, {**both, reference.name: reference}).value == 17.0
    assert why_no_target(facts, {**both, reference.name: reference}) == ""
    # from a stop the file's length goes before the one that is all by the scale
    stop = CaseFacts(length_rule="1")
    assert target_of(stop, {**both, reference.name: reference}).value == 21.0


def test_why_there_is_no_target() -> None:
    both = {WORKING.name: WORKING}
    assert why_no_target(CaseFacts(), both) == ""
    assert why_no_target(CaseFacts(length_rule="resorption"), both).startswith("resorption is not given")
    assert why_no_target(CaseFacts(length_rule="1"), {}) == "there is no length to take the rule off"


def test_nothing_is_taken_off_what_is_shorter_or_has_another_unit() -> None:
    rule = RESORPTION_RULES["bone+root"]
    for one in (
        Measurement("working_length_mm", 2.0, "mm", 0.1, "m", "b"),
        Measurement("canal_length_px", 400.0, "px", 0.1, "m", "b"),
        Measurement("working_length_mm", float("nan"), "mm", 0.1, "m", "b"),
    ):
        with pytest.raises(PeriapicalError, match="cannot be taken off"):
            target_length(one, rule)
