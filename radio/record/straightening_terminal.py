"""What a terminal shows of how much a canal can shrink while it straightens."""

from __future__ import annotations

from collections.abc import Mapping

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.published_change import CONTRADICTIONS, PUBLISHED_CHANGES
from radio.measure.straightening import CENTRED, LEANING, TRACED
from radio.measure.straightening_case import CaseStraightening
from radio.record.curvature_terminal import told_line
from radio.record.terminal import WIDE, remark_lines
from radio.record.wording import interval_text, title_of, value_text

WAY_TITLES: Mapping[str, str] = {
    TRACED: "At most, canal as traced",
    CENTRED: "At most, widened about the centre line",
    LEANING: "At most, widened about the taut path",
}


def straightening_block(image: str, found: CaseStraightening, width: int) -> RenderableType:
    """Lay out the straightening of one canal.

    Parameters
    ----------
    image : str
        Name of the image.
    found : CaseStraightening
    width : int
        Characters a line holds; on a narrow terminal the methods stand below the table.
    """
    first = found.shrinks[TRACED]
    title = Text(f"{image}: {title_of(found.result.facts)}: straightening", style="bold")
    parts: list[RenderableType] = [title, Text(first.notes[0], style="bold yellow")]
    parts += _table(found, width)
    parts += [told_line("Walls", walls_text(found)), told_line("Basis", f"{basis_text(found)}.")]
    parts += [told_line("Note", text) for text in first.notes[1:]]
    parts += remark_lines(found.remarks)
    return Group(*parts, Text(""))


def _table(found: CaseStraightening, width: int) -> list[RenderableType]:
    wide = width >= WIDE
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("Length can shrink by")
    table.add_column("mm ± u", justify="right", no_wrap=True)
    table.add_column("95 % interval", justify="right", no_wrap=True)
    if wide:
        table.add_column("Method", ratio=1)
    told: list[RenderableType] = []
    rows = [("Centre line (its length)", found.length)]
    rows += [(WAY_TITLES[name], one) for name, one in found.shrinks.items()]
    for name, one in rows:
        cells = [escape(name), value_text(one), interval_text(one)]
        table.add_row(*cells, *([escape(one.method)] if wide else []))
        if not wide:
            told.append(told_line(name, f"{one.method}."))
    return [table, Text("u: standard uncertainty", style="dim"), *told]


def walls_text(found: CaseStraightening) -> str:
    """Say how wide the canal was found and how much of its walls is seen."""
    walls = found.walls
    wide = walls.left_mm + walls.right_mm
    third = len(wide) // 3
    told = " / ".join(
        f"{float(part.mean()):.2f}" for part in (wide[:third], wide[third:-third], wide[-third:])
    )
    return (
        f"canal {told} mm wide in its coronal / middle / apical third, standard uncertainty of a wall "
        f"{float(0.5 * (walls.left_sd_mm + walls.right_sd_mm).mean()):.2f} mm; seen over "
        f"{walls.seen_share:.0%} of their length, bridged elsewhere."
    )


def basis_text(found: CaseStraightening) -> str:
    """Say what all the bounds of a canal rest on."""
    return list(found.shrinks.values())[-1].basis


def published_block() -> RenderableType:
    """Lay out what has been published on changes of length, with how far each figure was verified."""
    table = Table(
        title="Published changes of length, for comparison; no prediction",
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
    table.add_column("Teeth, technique, stages", ratio=2)
    table.add_column("Change, mm", ratio=1)
    table.add_column("Source; standing", ratio=2)
    for one in PUBLISHED_CHANGES:
        table.add_row(escape(one.what), escape(one.change), escape(f"{one.source}; {one.standing}"))
    return Group(table, Text(CONTRADICTIONS), Text(""))
