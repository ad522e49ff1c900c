"""Answers to pre-flight checks, from a table to the facts of canals."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path, PurePosixPath

from radio.errors import PeriapicalError, TableError
from radio.measure.check_rules.contract import Answer
from radio.measure.checks import answer_given
from radio.record import cells
from radio.record.rows import Row, read_rows
from radio.record.tables import CaseInput, CaseTable, Skip

ANSWER_COLUMNS = ("image", "canal", "check", "answer", "note")


def with_answers(table: CaseTable, answers: Path | None, *, whole: bool = True) -> CaseTable:
    """Give the canals of a table the answers of another.

    A wrong row costs its own canal only.

    Parameters
    ----------
    table : CaseTable
        The canals.
    answers : pathlib.Path or None
        The table of answers, see :data:`ANSWER_COLUMNS`; None leaves `table` as it is.
    whole : bool
        The canals are all that the answers are for: rows of other images are passed over with a warning, too.

    Raises
    ------
    TableError
        The table cannot be read at all, lacks a needed column or has no rows.
    """
    if answers is None:
        return table
    rows, warnings = read_rows(answers, ANSWER_COLUMNS, required=("image", "check", "answer"))
    if not rows:
        raise TableError(f"{answers.name} has a header but no rows; give one row for each answer.")
    of_canal: dict[int, list[Row]] = {}
    lost = []
    for row in rows:
        of_image = _of_image(table.cases, row, answers)
        found = [one for one in of_image if _names_canal(row, one.facts.canal)]
        if not found and (whole or (of_image and not _is_skipped(table, row))):
            lost.append(str(row.line))
        for one in found:
            of_canal.setdefault(id(one), []).append(row)
    told = f"{answers.name} line {', '.join(lost)}: no such canal is measured; the answers were passed over"
    entries = tuple(
        _answered(one, of_canal.get(id(one), []), answers.name) if isinstance(one, CaseInput) else one
        for one in table.entries
    )
    return CaseTable(entries, (*table.warnings, *warnings, *([told] if lost else [])))


def _is_skipped(table: CaseTable, row: Row) -> bool:
    """Whether the canal a row names is known, and told of elsewhere because it cannot be measured."""
    return any(_names_canal(row, one.canal) for one in table.skips)


def _of_image(cases: Sequence[CaseInput], row: Row, answers: Path) -> list[CaseInput]:
    """Canals of the image a row names: the same text or place, else the only image of that name."""
    image = row.cells["image"]
    place = Path(os.path.abspath(answers.parent / image))
    exact = [one for one in cases if one.image == image or one.path == place]
    if exact or not image:
        return exact
    name = PurePosixPath(image.replace("\\", "/")).name
    same_name = [one for one in cases if one.path.name == name]
    return same_name if len({one.path for one in same_name}) == 1 else []


def _names_canal(row: Row, canal: str) -> bool:
    text = row.cells.get("canal", "")
    try:
        return cells.canal(text) == canal
    except TableError:
        return False


def _answered(one: CaseInput, rows: Sequence[Row], table: str) -> CaseInput | Skip:
    given: dict[str, Answer] = {}
    problems = []
    for row in rows:
        try:
            answer = _answer(row)
            if answer.check in given:
                raise TableError(f"check {answer.check[1:]} of this canal is answered before; keep one row")
            given[answer.check] = answer
        except PeriapicalError as problem:
            problems.append(f"{table} line {row.line}: {problem}")
    if problems:
        return Skip(one.image, one.facts.canal, "; ".join(problems))
    return replace(one, facts=replace(one.facts, answers=tuple(given.values())))


def _answer(row: Row) -> Answer:
    if row.problem:
        raise TableError(row.problem)
    note = cells.label(row.cells.get("note", ""))
    return answer_given(row.cells["check"], row.cells["answer"], note)
