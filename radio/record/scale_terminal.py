"""What a terminal shows of the scales of an image."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from calib.budget import Budget
from radio.measure.case import Remark
from radio.measure.scale_checks import CanalScale, CrossCheck, ScaleReport, magnification_of
from radio.record.scale_words import (
    NO_BUDGET,
    counted_for,
    counts_text,
    input_text,
    magnification_text,
    relative_text,
    scale_text,
    sensitivity_text,
)
from radio.record.terminal import WIDE, by_level, remark_lines

# Those of a mistyped length, of magnification and of several scales are told here as cross-checks.
_PRE_FLIGHT = ("P1", "P2", "P6")


def scale_block(image: str, report: ScaleReport, width: int) -> RenderableType:
    """Lay out all scales of an image, the budget of those that count, and the cross-checks.

    Parameters
    ----------
    image : str
        Name of the image.
    report : ScaleReport
    width : int
        Characters a line holds; on a narrow terminal the basis stands below the table.
    """
    parts: list[RenderableType] = [_scales(image, report, width)]
    parts += [
        Text.assemble(("No scale from ", "dim"), f"{what}: {reason}") for what, reason in report.found.absent
    ]
    parts += _check_lines(report.checks)
    for canal in report.canals:
        parts += _canal(canal)
    return Group(*parts, Text(""))


def _scales(image: str, report: ScaleReport, width: int) -> RenderableType:
    wide = width >= WIDE
    table = Table(title=escape(f"{image}: scales"), title_justify="left", title_style="bold")
    table.add_column("Made from")
    for title in ("mm/px ± u", "u", "Magnification ± u"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Counts for canal")
    if wide:
        table.add_column("Basis", ratio=1)
    told: list[RenderableType] = []
    for one in report.found.scales:
        implied = magnification_of(one.scale, report.found.pitch, assumed=one.assumed)
        counted = counted_for(report, one.name)
        cells = (one.name, scale_text(one.scale), relative_text(one.scale), magnification_text(implied))
        basis = one.scale.basis + (f"; the same as {one.twin_of}" if one.twin_of else "")
        row = [*map(escape, cells), escape(counted or "–")]
        table.add_row(*row, *([escape(basis)] if wide else []), style="bold" if counted else "")
        if not wide:
            told.append(Text.assemble((f"{one.name}: ", "bold"), basis))
    if not report.found.scales:
        return Text(f"{image}: nothing gives a scale.", style="bold")
    key = "u: standard uncertainty; magnification: detector pitch over scale, where the pitch is known"
    return Group(table, Text(key, style="dim"), *told, *_notes(report))


def _notes(report: ScaleReport) -> Iterator[Text]:
    """What belongs beside scales, each note once with the names it is for."""
    noted: dict[str, list[str]] = {}
    for one in report.found.scales:
        for note in one.scale.notes:
            noted.setdefault(note, []).append(one.name)
    for note, names in noted.items():
        yield Text.assemble((f"{', '.join(names)}: ", "bold"), (note, "dim"))


def _canal(canal: CanalScale) -> Iterator[RenderableType]:
    yield Text("")
    yield Text(counts_text(canal), style="bold")
    yield from remark_lines(
        [
            Remark("note" if one.settled else one.level, one.text)
            for one in canal.result.checks
            if one.id in _PRE_FLIGHT or "scale" in one.withholds
        ]
    )
    yield from remark_lines(by_level(canal.result.remarks))
    if canal.counts is not None:
        made = canal.counts.scale.budget
        yield Text(NO_BUDGET) if made is None else _budget(made)
    yield from _check_lines(canal.checks)


def _budget(made: Budget) -> Table:
    table = Table(
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
        title="Uncertainty budget",
        title_justify="left",
    )
    table.add_column("Input")
    for title in ("Value ± u", "Sensitivity", "Contribution, mm/px", "Share"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("How")
    for row in made.rows:
        cells = (
            *(row.name, input_text(row), sensitivity_text(row), f"{row.contribution + 0.0:+.6f}"),
            *(f"{row.share:.0%}", row.how),
        )
        table.add_row(*map(escape, cells))
    together = ("together", "", "", f"{made.sd:.6f}", "100%" if made.sd else "–", "")
    table.add_row(*together, style="bold")
    return table


def _check_lines(checks: Sequence[CrossCheck]) -> Iterator[Text]:
    """Findings, the grave ones first; what several in a row rest on is told once."""
    ordered = sorted(checks, key=lambda one: one.level != "warn")
    for index, one in enumerate(ordered):
        (line,) = remark_lines([Remark(one.level, one.text)])
        yield line
        if index + 1 == len(ordered) or ordered[index + 1].standing != one.standing:
            yield Text(f"    [{one.standing}]", style="dim")
