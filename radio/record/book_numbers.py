"""One revision of a casebook, whole, for a terminal."""

from __future__ import annotations

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.case import Remark
from radio.record.book_entries import Revision
from radio.record.book_terminal import told_in_short, tooth_name
from radio.record.terminal import remark_lines
from radio.record.tracing import Tracing
from radio.record.wording import UNIT_SIGNS, how_text, interval_text, name_of, value_text


def revision_block(one: Revision, *, with_universal: bool = False) -> RenderableType:
    """Lay out a revision: what and whose it is, and of a tracing all its numbers with method and basis."""
    tooth = tooth_name(one.tooth, with_universal=with_universal)
    head = Table(box=None, padding=(0, 2, 0, 0), show_header=False, pad_edge=False)
    facts = {
        "revision": str(one.uuid),
        "takes the place of": ", ".join(sorted(map(str, one.supersedes))) or "nothing",
        "kind": one.kind,
        "subject, tooth, canal": ", ".join((one.subject or "not stated", tooth or "not stated", one.canal)),
        "who, when": f"{one.author or 'not stated'}, {one.created}",
        "software": one.software,
        "image": one.image_sha256 or "none",
        "what": told_in_short(one),
    }
    for name, told in facts.items():
        head.add_row(name, escape(told))
    content = one.content
    if not isinstance(content, Tracing):
        return Group(head, Text(""))
    parts: list[RenderableType] = [head, _numbers(content)]
    parts += remark_lines(content.remarks)
    for check in content.checks:
        answer = next((f" (answered: {a.words})" for a in content.facts.answers if a.check == check.id), "")
        level = "note" if check.settled else check.level
        parts += remark_lines([Remark(level, f"({check.id}) {check.text}{answer}")])
    return Group(*parts, Text(""))


def _numbers(tracing: Tracing) -> RenderableType:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    for title in ("Measure", "Value ± u", "95 % interval", "Method and basis"):
        table.add_column(title)
    for one in tracing.measurements.values():
        unit = UNIT_SIGNS.get(one.unit, f" {one.unit}")
        table.add_row(
            *map(escape, (name_of(one), value_text(one, unit=unit), interval_text(one), how_text(one)))
        )
    return table
