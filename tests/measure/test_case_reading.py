"""The electronic reading of one canal: what was stated of it reaches the comparison."""

from __future__ import annotations

from radio.measure.case import CaseFacts
from radio.measure.case_reading import compared_reading
from radio.measure.reading import ReadingFacts
from radio.measure.result import Measurement

LENGTHS = {"working_length_mm": Measurement("working_length_mm", 22.0, "mm", 0.2, "m", "b")}
READ = CaseFacts("ML", "36", electronic_mm=21.0, electronic_mark="zero")


def test_flags_repeats_and_tolerance_are_those_stated() -> None:
    stated = ReadingFacts(repeats_mm=(20.0,), canal_state="flooded", patency=True)
    facts = CaseFacts(
        "ML", "36", electronic_mm=21.0, electronic_mark="zero", electronic=stated, electronic_tolerance_mm=1.0
    )
    found, remarks = compared_reading(facts, LENGTHS)
    assert found is not None
    assert (found.reading.tooth, found.reading.canal, found.reading.mark) == ("36", "ML", "zero")
    assert (found.electronic.value, found.difference.value, found.tolerance_mm) == (20.5, -1.5, 1.0)
    assert (found.causes[0].cause.name, found.causes[0].stated) == ("flooded", True)
    assert "not_patent" not in {one.cause.name for one in found.causes}
    assert [one.level for one in remarks] == ["warn", "warn", "note"]
    assert "1 mm apart" in remarks[0].text
    assert "Stated and fitting: flooded canal" in remarks[2].text


def test_half_a_millimetre_is_accepted_where_nothing_else_is_stated() -> None:
    found, _ = compared_reading(READ, LENGTHS)
    assert found is not None
    assert found.tolerance_mm == 0.5


def test_without_length_or_reading_there_is_no_comparison() -> None:
    found, remarks = compared_reading(READ, {})
    assert found is None
    assert "no radiographic working length" in remarks[0].text
    found, remarks = compared_reading(CaseFacts(electronic=ReadingFacts(bleeding=True)), LENGTHS)
    assert found is None
    assert "give electronic_mm" in remarks[0].text
    assert compared_reading(CaseFacts(), LENGTHS) == (None, ())


def test_repeats_far_apart_give_no_comparison_but_a_warning() -> None:
    facts = CaseFacts(electronic_mm=20.1, electronic_mark="zero", electronic=ReadingFacts(repeats_mm=(30.0,)))
    found, (told,) = compared_reading(facts, LENGTHS)
    assert found is None
    assert told.level == "warn"
    assert "20.1, 30 mm lie 9.90 mm apart" in told.text
