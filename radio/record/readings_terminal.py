"""What a terminal shows of a list of electronic readings compared with radiographs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.readings_list import NOT_STATED, ComparedList, ComparedReading
from radio.record.curvature_terminal import told_line
from radio.record.readings_table import LostReading
from radio.record.readings_text import TITLES, agreement_texts, count_text, verdict_text
from radio.record.terminal import remark_lines
from radio.record.wording import value_text

# Longer lists show their first rows and differences; the table that is written has them all.
_MOST_ROWS, _MOST_TOLD = 40, 12


def readings_block(found: ComparedList, lost: Sequence[LostReading], multiplier: float) -> RenderableType:
    """Lay out a compared list: its rows, what must be said of some, and the agreement at each mark.

    Parameters
    ----------
    found : ComparedList
    lost : sequence of LostReading
        Rows that were not compared.
    multiplier : float
        Of the limits shown first.
    """
    parts: list[RenderableType] = []
    if found.compared:
        parts += [_table(found.compared[:_MOST_ROWS]), _key(found)]
        parts += _rest(len(found.compared) - _MOST_ROWS, "rows")
        parts += _remarks(found.compared)
    for group in found.by_mark:
        title = f"\n{TITLES[group.mark].capitalize()}, {count_text(group)}"
        parts.append(Text(title, style="bold"))
        parts += [told_line(name, text) for name, text in agreement_texts(group, multiplier)]
        parts.append(Text(verdict_text(group, found.tolerance_mm)))
        parts += [Text(note, style="dim") for note in group.notes]
    parts += [Text.assemble(("Skipped: ", "bold red"), one.reason) for one in lost]
    return Group(*parts, Text(""))


def _table(shown: Sequence[ComparedReading]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("Whose", overflow="fold")
    table.add_column("Tooth")
    table.add_column("Canal")
    table.add_column("Mark", no_wrap=True)
    for title in ("Electronic,\nmm ± u", "Radiographic,\nmm ± u", "Difference,\nmm ± u"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Verdict")
    for one in shown:
        reading, comparison = one.listed.reading, one.comparison
        numbers = (comparison.electronic, comparison.radiographic, comparison.difference)
        table.add_row(
            escape(_whose(one)),
            reading.tooth,
            escape(reading.canal),
            reading.mark or NOT_STATED,
            *(value_text(number) for number in numbers),
            comparison.verdict,
        )
    return table


def _key(found: ComparedList) -> Text:
    told = f"within, beyond: the 95 % interval lies wholly within or beyond {found.tolerance_mm:g} mm."
    return Text(f"u: standard uncertainty. Difference: electronic minus radiographic. {told}", style="dim")


def _whose(one: ComparedReading) -> str:
    return one.listed.image or one.listed.subject


def _remarks(compared: Sequence[ComparedReading]) -> Iterator[Text]:
    """Remarks of the rows that have some."""
    told = [one for one in compared if one.remarks]
    for one in told[:_MOST_TOLD]:
        yield Text(f"\n{_whose(one)}, canal {one.listed.reading.canal}", style="bold")
        yield from remark_lines(one.remarks)
        for fits in one.comparison.causes:
            if fits.stated:
                yield told_line(fits.cause.title.capitalize(), f"{fits.why}. {_do(fits.cause.do)}")
                yield Text(f"  {fits.cause.standing}", style="dim")
    yield from _rest(len(told) - _MOST_TOLD, "remarks")


def _do(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."


def _rest(more: int, what: str) -> list[Text]:
    return [Text(f"{more} more {what} in readings_compared.csv", style="dim")] if more > 0 else []
