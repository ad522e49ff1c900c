"""What a terminal shows of courses of treatment."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.case import Remark
from radio.measure.published_change import CONTRADICTIONS, FIXED_FIGURES, PUBLISHED_CHANGES
from radio.record.course import CourseEntry
from radio.record.course_changes import Change
from radio.record.course_checks import JudgedCourse
from radio.record.course_table import SkippedCourse
from radio.record.terminal import WIDE, remark_lines


def course_block(judged: JudgedCourse, width: int) -> RenderableType:
    """Lay out the lengths of one canal, their changes, and what was found.

    Parameters
    ----------
    judged : JudgedCourse
    width : int
        Characters a line holds; on a narrow terminal how a length was read stands below the table.
    """
    parts: list[RenderableType] = [Text(judged.course.title, style="bold")]
    parts += _lengths(judged, width)
    parts.append(Text("u: standard uncertainty, as stated, but not below the repeat error.", style="dim"))
    if judged.changes:
        parts.append(_changes(judged.changes))
        parts += _notes(judged.changes)
    else:
        parts.append(Text("One stage only: there is nothing to compare yet."))
    parts += remark_lines([Remark(one.level, f"({one.id}) {one.seen} {one.do}") for one in judged.checks])
    for own, ways in judged.judged_by.items():
        parts.append(Text.assemble((f"Judged by ({ways}): ", "bold"), f"{own.told}."))
        parts += remark_lines([Remark("warn", warning) for warning in own.warnings])
    return Group(*parts, Text(""))


def _lengths(judged: JudgedCourse, width: int) -> list[RenderableType]:
    wide = width >= WIDE
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("Stage", no_wrap=True)
    table.add_column("Length ± u, mm", justify="right", no_wrap=True)
    if wide:
        for title in ("How read", "Time"):
            table.add_column(title)
    below: list[RenderableType] = []
    places = {id(one): place for place, one in enumerate(judged.course.entries)}
    for stage in judged.course.stages:
        for one in judged.course.at(stage):
            length = f"{one.length_mm:.2f} ± {judged.sd_mm(places[id(one)]):.2f}"
            how = way_of(one)
            note = f" ({one.note})" if one.note else ""
            table.add_row(str(stage), length, *((escape(f"{how}{note}"), one.time) if wide else ()))
            if not wide:
                below.append(Text(f"{stage}: {how}{note}{f', {one.time}' if one.time else ''}"))
    return [table, *below]


def way_of(entry: CourseEntry) -> str:
    """How a length was read, in words."""
    parts = (entry.method, entry.basis, f"from {entry.reference}" if entry.reference else "")
    return ", ".join([*(part for part in parts if part), f"file {entry.file}"])


def _changes(changes: Sequence[Change]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("", justify="right")
    table.add_column("Change", min_width=20)
    table.add_column("mm ± u", justify="right", no_wrap=True)
    table.add_column("LSC", justify="right", no_wrap=True)
    table.add_column("Verdict")
    table.add_column("Fixed figures, mm")
    for number, one in enumerate(changes, start=1):
        made = one.length_change
        value = "–" if made is None else f"{made.value:+.2f} ± {made.sd:.2f}"
        lsc = "–" if made is None else f"{one.repeatability.lsc_mm:.2f}"
        verdict = f"{one.verdict} ({one.across_sizes})" if one.across_sizes else one.verdict
        table.add_row(str(number), one.stages, value, lsc, verdict, one.beside_fixed or "–")
    return table


def _notes(changes: Sequence[Change]) -> list[Text]:
    """What must be said about a change, under its number; why one is blocked stands among the warnings."""
    return [
        Text.assemble((f"{number}: ", "bold"), note)
        for number, one in enumerate(changes, start=1)
        for note in (one.length_change.notes if one.length_change is not None else ())
    ]


def published_block() -> RenderableType:
    """Lay out what is published on changes of length, with its contradictions."""
    table = Table(title="Published changes, mm (minus = shorter)", title_justify="left", title_style="bold")
    for title in ("Canals and stages", "Change", "Source; how far verified"):
        table.add_column(title)
    for one in PUBLISHED_CHANGES:
        table.add_row(one.what, one.change, f"{one.source}; {one.standing}")
    fixed = "; ".join(f"{one.mm:g} mm: {one.what}, {one.standing}" for one in FIXED_FIGURES)
    about_lsc = (
        "LSC: least significant change, 1.96 √2 (2.77) times the reader's SD; of readings that do not "
        "differ, one comparison in twenty exceeds it by chance."
    )
    return Group(table, Text(CONTRADICTIONS), Text(f"Fixed figures: {fixed}."), Text(about_lsc, style="dim"))


def skipped_block(skipped: Sequence[SkippedCourse]) -> RenderableType:
    """Lay out the courses that were not judged."""
    return Group(*(Text.assemble(("Skipped: ", "bold red"), f"{one.title}: {one.reason}") for one in skipped))
