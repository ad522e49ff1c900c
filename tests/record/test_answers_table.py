"""Answers to checks from a table, and the catalogue in a terminal."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from radio.cli import app
from radio.errors import PeriapicalError, TableError
from radio.measure.case import CaseFacts
from radio.measure.check_rules.contract import Answer
from radio.measure.settings import DEFAULT_SETTINGS
from radio.record.answers_table import with_answers
from radio.record.checks_terminal import rules_named
from radio.record.tables import CaseInput, CaseTable, Skip
from radio.study.journal import case_key


def case(folder: Path, image: str, canal: str = "1") -> CaseInput:
    return CaseInput(image, folder / image, CaseFacts(canal=canal), {})


@pytest.fixture
def table(tmp_path) -> CaseTable:
    entries = (case(tmp_path, "a.png"), case(tmp_path, "a.png", "MB"), case(tmp_path, "sub/b.png"))
    return CaseTable((*entries, Skip("c.png", "1", "no point")), ())


def answered(table, folder, *rows, whole=True):
    path = folder / "ANSWERS.csv"
    path.write_text("\n".join(("image,canal,check,answer,note", *rows)) + "\n", encoding="utf-8")
    return with_answers(table, path, whole=whole)


def test_each_canal_gets_its_own_answers(table, tmp_path):
    done = answered(table, tmp_path, "a.png,,P9,accepted,seen enlarged", "a.png,MB,10,NO,", "b.png,1,26,no,")
    facts = [one.facts.answers for one in done.cases]
    assert facts == [
        (Answer("P9", "accepted", "seen enlarged"),),
        (Answer("P10", "no"),),
        (Answer("P26", "no"),),
    ]
    assert done.warnings == ()
    assert with_answers(table, None) is table


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("a.png,1,99,yes,", "numbered 1 to 29"),
        ("a.png,1,10,perhaps,", "allowed is yes or no"),
        ("a.png,1,10,yes,one,two", "6 cells"),
    ],
)
def test_a_wrong_row_costs_its_own_canal_only(table, tmp_path, row, told):
    done = answered(table, tmp_path, row)
    assert [one.facts.canal for one in done.cases] == ["MB", "1"]
    assert told in done.skips[0].reason
    assert "line 2" in done.skips[0].reason


def test_a_check_answered_twice_is_refused(table, tmp_path):
    done = answered(table, tmp_path, "a.png,1,10,yes,", "a.png,1,P10,no,")
    assert "answered before" in done.skips[0].reason


def test_answers_of_no_canal_are_told_where_all_canals_are_there(table, tmp_path):
    row = "z.png,1,10,yes,"
    assert "line 2" in answered(table, tmp_path, row).warnings[0]
    assert answered(table, tmp_path, row, whole=False).warnings == ()


def test_an_answer_to_a_canal_the_image_does_not_have_is_told(table, tmp_path):
    done = answered(table, tmp_path, "a.png,DL,10,yes,", "c.png,1,10,yes,", whole=False)
    (told,) = done.warnings
    assert "line 2: no such canal" in told


def test_images_of_one_name_in_two_folders_are_told_apart(tmp_path):
    table = CaseTable((case(tmp_path, "one/a.png"), case(tmp_path, "two/a.png")), ())
    done = answered(table, tmp_path, "two/a.png,1,10,yes,")
    assert [bool(one.facts.answers) for one in done.cases] == [False, True]
    # the name alone names neither
    assert not any(one.facts.answers for one in answered(table, tmp_path, "a.png,1,10,yes,").cases)


def test_a_table_without_rows_is_refused(table, tmp_path):
    with pytest.raises(TableError, match="no rows"):
        answered(table, tmp_path)


def test_a_canal_is_measured_anew_when_an_answer_or_its_neighbour_changes(table, tmp_path):
    def keys(one: CaseTable) -> list[str]:
        on_image = one.cases[:2]
        return [case_key(case, on_image, "0" * 64, DEFAULT_SETTINGS) for case in on_image]

    before, after = keys(table), keys(answered(table, tmp_path, "a.png,MB,10,no,"))
    assert len(set(before + after)) == 4
    assert keys(table) == before


def test_the_catalogue_is_listed_with_basis_and_standing():
    shown = CliRunner().invoke(app, ["checks", "9", "P3"])
    assert shown.exit_code == 0
    text = " ".join(shown.output.split())
    assert text.index("9 apex in the image") < text.index("3 file length entered")
    assert "4786" in text
    assert "common practice, no source" in text
    assert "not a medical device" in text
    assert [rule.id for rule in rules_named([])] == [f"P{n}" for n in range(1, 30)]
    with pytest.raises(PeriapicalError, match="There is no check '30'"):
        rules_named(["30"])
