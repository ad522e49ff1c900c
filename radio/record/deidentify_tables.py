"""Tables of de-identified images: new names, pseudonyms, no dates, no words that name somebody."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from radio.errors import PeriapicalError
from radio.record.atomic import write_text
from radio.record.click_rows import problems_of_click
from radio.record.course_table import COURSE_COLUMNS, problems_of_course
from radio.record.deidentify import Deidentification
from radio.record.fact_cells import facts_from_cells
from radio.record.readings_table import READING_COLUMNS, problems_of_reading
from radio.record.rows import Row, read_rows
from radio.record.tables import CLICK_COLUMNS, IMAGE_COLUMNS, located

NOT_READ = "rows that cannot be read"


@dataclass(frozen=True)
class _Kind:
    """What a table is: its columns, those it cannot do without, and what is wrong with a row of it.

    A cell that is no number and no term of its column may be anything, a name among it.
    """

    columns: tuple[str, ...]
    required: tuple[str, ...]
    problems: Callable[[Row], Sequence[str]]


def _problems_of_image(row: Row) -> Sequence[str]:
    return [row.problem] if row.problem else facts_from_cells(row.cells)[1]


_TABLES: Mapping[str, _Kind] = {
    "images": _Kind(IMAGE_COLUMNS, ("image",), _problems_of_image),
    "clicks": _Kind(CLICK_COLUMNS, ("image", "landmark", "row", "col"), problems_of_click),
    "readings": _Kind(READING_COLUMNS, ("electronic_mm",), problems_of_reading),
    "courses": _Kind(COURSE_COLUMNS, ("stage", "length_mm"), problems_of_course),
}
_TIMES = ("time", "electronic_time")
# free text is not handed on: nobody can say whom it names. Canal and view are needed; they are emptied where
# a word stands in them that is known to name somebody, as every other cell is.
_FREE = frozenset(
    {"chosen_basis", "chosen_reason", "chosen_by", "basis", "file_material", "reference", "method", "note"}
)
_DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})")


def plain_tables(
    run: Deidentification, given: Mapping[str, Path], places: Mapping[str, Path]
) -> dict[str, dict[str, int]]:
    """De-identify the images of some tables, and write the tables anew.

    Parameters
    ----------
    run : Deidentification
    given : mapping of str to pathlib.Path
        Tables by kind: images, clicks, readings, courses.
    places : mapping of str to pathlib.Path
        Where each is written.

    Returns
    -------
    dict of str to dict of str to int
        For each table what was done, how often.

    Raises
    ------
    PeriapicalError
        A table cannot be read, or the place cannot be written.
    """
    read = {
        kind: read_rows(path, _TABLES[kind].columns, _TABLES[kind].required)[0]
        for kind, path in given.items()
    }
    for kind in ("images", "clicks"):
        for row in read.get(kind, ()):
            name = row.cells.get("image", "")
            if name:
                run.image(located(given[kind], name), row.cells.get("subject", ""))
                run.words.update(one for one in (row.cells.get("subject", ""), Path(name).stem) if one)
    for kind in ("readings", "courses"):
        run.words.update(row.cells["subject"] for row in read.get(kind, ()) if row.cells.get("subject"))
    done = {}
    for kind, rows in read.items():
        count: Counter[str] = Counter()
        columns = [one for one in _TABLES[kind].columns if any(one in row.cells for row in rows)]
        taken = [row for row in rows if not _TABLES[kind].problems(row)]
        count[NOT_READ] += len(rows) - len(taken)
        made = [_plain_row(run, given[kind], row, columns, count) for row in taken]
        text = io.StringIO()
        writer = csv.DictWriter(text, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(one for one in made if one is not None)
        write_text(places[kind], text.getvalue())
        count["rows left out"] += made.count(None)
        done[kind] = dict(sorted(count.items()))
    return done


def _plain_row(
    run: Deidentification, table: Path, row: Row, columns: list[str], count: Counter[str]
) -> dict[str, str] | None:
    """A row anew; None where its image is not handed on."""
    cells = {name: row.cells.get(name, "") for name in columns}
    subject = run.key.subject(cells.get("subject", ""))
    if cells.get("image"):
        outcome = run.outcomes.get(located(table, cells["image"]).resolve())
        if outcome is None or not outcome.written:
            return None
        cells["image"] = outcome.name
        subject = subject or outcome.subject
    if "subject" in cells:
        count["subjects replaced"] += cells["subject"] != subject
        cells["subject"] = subject
    for name in columns:
        if name in ("image", "subject") or not cells[name]:
            continue
        plain = _time(run, cells[name], subject) if name in _TIMES else _text(run, name, cells[name])
        if plain != cells[name]:
            count[f"{name}: cells changed or emptied"] += 1
        cells[name] = plain
    return cells


def _text(run: Deidentification, column: str, text: str) -> str:
    if _names_somebody(run, text):
        return "1" if column == "canal" else ""
    return "" if column in _FREE else text


def _names_somebody(run: Deidentification, text: str) -> bool:
    folded = text.casefold()
    return any(word.casefold() in folded for word in run.words if len(word) >= 3)


def _time(run: Deidentification, text: str, subject: str) -> str:
    found = _DAY.match(text)
    if run.rules.dates != "shift" or found is None:
        return ""
    try:
        return run.key.shifted(date(*map(int, found.groups())), subject).isoformat()
    except (ValueError, OverflowError) as problem:
        raise PeriapicalError(
            f"The date {found[0]} in a table is none; allowed is year-month-day."
        ) from problem
