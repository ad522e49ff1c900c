"""What a terminal shows of a measurement."""

from __future__ import annotations

import sys
from collections.abc import Sequence, Set

from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.case import CaseResult, Remark
from radio.measure.checks import open_questions
from radio.record.tables import Skip
from radio.record.wording import (
    CAUTION,
    how_text,
    interval_text,
    main_measurements,
    missing_measures,
    name_of,
    title_of,
    value_text,
)

_PLAIN_WIDTH = 140
WIDE = 110
_LEVELS = {"stop": ("STOP", "bold red"), "warn": ("Warning", "yellow"), "note": ("Note", "cyan")}


def make_console() -> Console:
    """Make a console on standard output; wide enough for a table when it is not a terminal."""
    return Console(highlight=False, width=None if sys.stdout.isatty() else _PLAIN_WIDTH)


def canal_block(image: str, result: CaseResult, clicked: Set[str], width: int) -> RenderableType:
    """Lay out everything measured on one canal.

    Parameters
    ----------
    image : str
        Name of the image.
    result : CaseResult
        What was measured.
    clicked : set of str
        Landmarks the user placed, to say what a missing number lacks.
    width : int
        Characters a line holds; on a narrow terminal method and basis stand below the table.
    """
    table = Table(
        title=escape(f"{image}: {title_of(result.facts)}"), title_justify="left", title_style="bold"
    )
    table.add_column("Measure", max_width=24)
    table.add_column("Value ± u", justify="right", no_wrap=True)
    table.add_column("95 % interval", justify="right", no_wrap=True)
    table.add_column("Unit", no_wrap=True)
    told: list[RenderableType] = []
    if width >= WIDE:
        table.add_column("Method; basis", ratio=1)
    for one in main_measurements(result).values():
        cells = (name_of(one), value_text(one), interval_text(one), one.unit)
        how = how_text(one)
        if width >= WIDE:
            table.add_row(*cells, escape(how))
        else:
            table.add_row(*cells)
            told.append(Text.assemble((f"{name_of(one)}, {one.unit}: ", "bold"), how))
    parts: list[RenderableType] = [table, Text("u: standard uncertainty", style="dim"), *told]
    parts += remark_lines(by_level(result.told))
    parts += questions_line(result)
    for name, reason in missing_measures(result, clicked).items():
        parts.append(Text.assemble(("Not measured: ", "dim"), f"{name}: {reason}"))
    return Group(*parts, Text(""))


def by_level(remarks: Sequence[Remark]) -> list[Remark]:
    """Sort remarks, the grave ones first."""
    return sorted(remarks, key=lambda remark: list(_LEVELS).index(remark.level))


def questions_line(result: CaseResult) -> list[Text]:
    """Lay out answers to checks that found nothing, and which checks ask a person and were not answered."""
    out = []
    found = {one.id for one in result.checks}
    given = [one for one in result.facts.answers if one.check not in found]
    if given:
        told = "; ".join(f"check {one.check[1:]}: {one.words}" for one in given)
        out.append(Text.assemble(("Answered: ", "dim"), told))
    numbers = ", ".join(rule.id[1:] for rule in open_questions(result))
    if numbers:
        told = f"checks {numbers}; `periapical checks` asks them, --answers takes the answers"
        out.append(Text.assemble(("Not answered: ", "dim"), told))
    return out


def remark_lines(remarks: Sequence[Remark]) -> list[Text]:
    """Lay out remarks, each with its weight as a word."""
    levels = ((*_LEVELS[remark.level], remark.text) for remark in remarks)
    return [Text.assemble((f"{word}: ", style), text) for word, style, text in levels]


def skips_block(skips: Sequence[Skip]) -> RenderableType:
    """Lay out the canals that were not measured."""
    return Group(
        *(
            Text.assemble(("Skipped: ", "bold red"), f"{one.image}, canal {one.canal or '?'}: {one.reason}")
            for one in skips
        )
    )


def summary_table(results: Sequence[tuple[str, CaseResult]]) -> Table:
    """Lay out one row for each canal, with the numbers most asked for.

    Parameters
    ----------
    results : sequence of (str, CaseResult)
        Name of the image, and what was measured on one of its canals.
    """
    columns = ("scale_mm_per_px", "gap_mm", "working_length_mm", "canal_length_mm", "schneider_deg")
    table = Table()
    for title in ("Image", "Tooth", "Canal"):
        table.add_column(title, overflow="fold")
    for title in ("Scale,\nmm/px", "Gap,\nmm", "Working\nlength, mm", "Canal\nlength, mm", "Schneider,\n°"):
        table.add_column(title, justify="right")
    table.add_column("Warnings", justify="right")
    for image, result in results:
        numbers = main_measurements(result)
        values = [value_text(numbers[name]) if name in numbers else "–" for name in columns]
        warnings = sum(remark.level != "note" for remark in result.told)
        table.add_row(
            escape(image), result.facts.tooth, escape(result.facts.canal), *values, str(warnings or "")
        )
    return table


def caution_text() -> Text:
    """Lay out the caution that stands under every number."""
    return Text(CAUTION, style="italic")
