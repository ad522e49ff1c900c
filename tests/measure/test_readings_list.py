"""A list of readings: marks are kept apart, and what is counted is what was given."""

from __future__ import annotations

import statistics

import pytest

from radio.errors import PeriapicalError
from radio.measure.reading import Choice, Reading
from radio.measure.readings_list import ListedReading, compare_list
from radio.measure.result import Measurement


def listed(line, electronic, radiographic, mark="zero", sd=0.1, subject="", choice=None, **reading):
    return ListedReading(
        line,
        f"t{line}.png",
        subject,
        Reading(electronic, mark, **reading),
        Measurement("working_length_mm", radiographic, "mm", sd, "m", "b"),
        choice,
    )


def test_marks_are_never_mixed() -> None:
    rows = [
        *(listed(line, 20.0 + line, 20.5 + line) for line in range(4)),
        *(listed(10 + line, 20.0 + line, 21.5 + line, "half") for line in range(3)),
        listed(20, 21.0, 21.0, None),
    ]
    found = compare_list(rows)
    assert [(group.mark, len(group.compared)) for group in found.by_mark] == [
        ("zero", 4),
        ("half", 3),
        ("not stated", 1),
    ]
    assert [group.differences.bias for group in found.by_mark] == pytest.approx([-0.5, -1.5, 0.0])
    assert any("not millimetres" in note for note in found.by_mark[1].notes)
    assert any("may be mixed" in note for note in found.by_mark[2].notes)
    assert any("no limits" in note for note in found.by_mark[2].notes)
    assert [one.listed.line for one in found.compared] == [0, 1, 2, 3, 10, 11, 12, 20]


def test_shares_and_verdicts_are_counts() -> None:
    differences = [-1.6, -1.0, -0.6, -0.5, 0.0, 0.5, 0.7, 1.9]
    rows = [listed(n, 20.0 + value, 20.0) for n, value in enumerate(differences)]
    (group,) = compare_list(rows, 0.8).by_mark
    # half a millimetre on the ruler counts as within half a millimetre
    assert {mm: (one.count, one.n) for mm, one in group.shares.items()} == {
        0.5: (3, 8),
        0.8: (5, 8),
        1.0: (6, 8),
    }
    # 1.96 * hypot(0.25, 0.1) = 0.528: surely within to 0.272, surely beyond from 1.328
    assert group.verdicts == {"within": 5, "beyond, in doubt": 1, "beyond": 2}
    assert group.surely_within == 1
    assert group.differences.sd == pytest.approx(statistics.stdev(differences))
    (strict,) = compare_list(rows, 0.5).by_mark
    assert (strict.verdicts["within"], strict.surely_within) == (3, 0)
    assert any("No reading can surely lie within 0.5 mm" in note for note in strict.notes)
    assert not any("surely" in note for note in group.notes)


def test_readings_that_hang_together_are_told() -> None:
    same = [listed(1, 20.0, 20.0), listed(1, 20.5, 20.0, time="2026-03-14"), listed(2, 20.0, 20.3)]
    (group,) = compare_list(same).by_mark
    assert group.canals == 2
    assert any("3 readings of 2 canals" in note for note in group.notes)
    people = [listed(n, 20.0, 20.0 + 0.1 * n, subject=f"P{n // 2}") for n in range(4)]
    (group,) = compare_list(people).by_mark
    assert any("4 canals of 2 subjects" in note for note in group.notes)
    alone = [listed(n, 20.0, 20.0 + 0.1 * n, subject=f"P{n}") for n in range(4)]
    (group,) = compare_list(alone).by_mark
    assert not any("independent" in note for note in group.notes)


def test_what_must_be_said_of_a_row_stands_beside_it() -> None:
    rows = [
        listed(1, 20.0, 20.0, sd=None),
        listed(2, 20.0, 20.0, repeats_mm=(21.0,)),
        listed(3, 19.0, 21.0, choice=Choice(20.0, "other", "between")),
        listed(4, 19.0, 21.0, choice=Choice(19.0, "electronic", "exit at the side")),
    ]
    found = compare_list(rows)
    assert [[remark.level for remark in one.remarks] for one in found.compared] == [
        [],
        ["warn"],
        ["warn"],
        [],
    ]
    assert "1 mm apart" in found.compared[1].remarks[0].text
    assert "mean of two lengths that disagree" in found.compared[2].remarks[0].text
    assert any("not known" in note for note in found.by_mark[0].notes)


def test_an_empty_list_has_no_agreement_and_a_tolerance_is_a_length() -> None:
    assert compare_list([]).by_mark == ()
    with pytest.raises(PeriapicalError, match="above 0"):
        compare_list([listed(1, 20.0, 20.0)], 0.0)
