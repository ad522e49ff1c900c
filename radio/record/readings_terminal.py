"""What a terminal shows of a list of electronic readings compared with radiographs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.case import Remark
from radio.measure.disagreement import CAUSES
from radio.measure.electronic import ADVICE, advice_on
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
        parts += [*_remarks(found.compared), *_checklist(found.compared)]
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
    told = (
        f"Verdict: whether the difference lies within {found.tolerance_mm:g} mm; beyond in doubt: its 95 % "
        "interval reaches back within."
    )
    return Text(f"u: standard uncertainty. Difference: electronic minus radiographic. {told}", style="dim")


def _whose(one: ComparedReading) -> str:
    return one.listed.image or one.listed.subject


def _remarks(compared: Sequence[ComparedReading]) -> Iterator[Text]:
    """Differences beyond the tolerance with what the row states, and remarks."""
    told = [one for one in compared if one.remarks or one.comparison.to_be_told]
    for one in told[:_MOST_TOLD]:
        whose = f"{_whose(one)}, canal {one.listed.reading.canal}"
        if one.comparison.to_be_told:
            yield _difference_line(whose, one)
        yield from remark_lines([replace(remark, text=f"{whose}: {remark.text}") for remark in one.remarks])
    yield from _rest(len(told) - _MOST_TOLD, "differences and remarks")


def _difference_line(whose: str, one: ComparedReading) -> Text:
    stated = "; ".join(fits.cause.title for fits in one.comparison.causes if fits.stated)
    possible = sum(not fits.stated for fits in one.comparison.causes)
    causes = (
        f"stated and fitting: {stated}; {possible} more possible" if stated else f"{possible} possible causes"
    )
    advice = advice_on(one.comparison.difference.value)
    level = "note" if advice is None else advice.level
    text = f"{whose}: {value_text(one.comparison.difference)} mm; {causes}"
    return remark_lines([Remark(level, text)])[0]


def _checklist(compared: Sequence[ComparedReading]) -> Iterator[RenderableType]:
    """What to do, and every cause that fits a row of the list, once for each direction."""
    differing = [one for one in compared if one.comparison.to_be_told]
    for advice in ADVICE:
        if any(advice_on(one.comparison.difference.value) == advice for one in differing):
            yield Text(f"{advice.text[0].upper()}{advice.text[1:]}")
    for direction in ("shorter", "longer"):
        group = [o for o in differing if (o.comparison.difference.value > 0) == (direction == "longer")]
        fitting = {fits.cause.name for one in group for fits in one.comparison.causes}
        if not fitting:
            continue
        readings = f"{len(group)} reading{'s' if len(group) > 1 else ''}"
        yield Text(f"\nChecklist where the electronic length is the {direction} one ({readings})", "bold")
        grid = Table.grid(padding=(0, 1, 0, 0))
        for cause in CAUSES:
            if cause.name in fitting:
                told = Text.assemble((cause.title, "bold"), f": {cause.why}. To do: {cause.do}. ")
                grid.add_row(Text("[ ]"), told.append(f"({cause.standing})", style="dim"))
        yield grid


def _rest(more: int, what: str) -> list[Text]:
    return [Text(f"{more} more {what} in readings_compared.csv", style="dim")] if more > 0 else []
