"""What a terminal, and JSON, show of a casebook."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import Field
from rich import box
from rich.console import RenderableType
from rich.markup import escape
from rich.table import Table

from radio.measure.readings_list import ListedReading
from radio.record.book_entries import Revision
from radio.record.course import Course
from radio.record.document import Document
from radio.record.teeth import universal
from radio.record.tracing import Tracing
from radio.record.wording import UNIT_SIGNS, name_of, value_text

_SHORT = 8


class BookDocument(Document):
    """Revisions of a casebook, each with who, when, what it takes the place of, and all it holds."""

    schema_name: Annotated[Literal["napari-periapical casebook revisions"], Field(alias="schema")]
    revisions: tuple[dict[str, Any], ...]


def told_in_short(revision: Revision) -> str:
    """Say what a revision holds, in a few words."""
    content = revision.content
    if isinstance(content, Tracing):
        numbers = content.measurements
        names = ("working_length_mm", "canal_length_mm", "schneider_deg")
        found = [numbers[name] for name in names if name in numbers][:2]
        first = [f"{name_of(n)} {value_text(n, unit=UNIT_SIGNS.get(n.unit, f' {n.unit}'))}" for n in found]
        return f"{content.image_name}, revision {content.revision}: {'; '.join(first) or 'no number'}"
    if isinstance(content, ListedReading):
        mark = f" at the {content.reading.mark} mark" if content.reading.mark else ""
        return f"electronic reading {content.reading.mm:g} mm{mark}"
    assert isinstance(content, Course)
    last = content.entries[-1] if content.entries else None
    return "no length yet" if last is None else f"last: {last.stage}, {last.length_mm:g} mm"


def tooth_name(tooth: str, *, with_universal: bool) -> str:
    """Name a tooth in ISO 3950, and in the Universal system beside it where that is asked for."""
    return f"{tooth} (Universal {universal(tooth)})" if tooth and with_universal else tooth


def revisions_table(revisions: Sequence[Revision], *, with_universal: bool = False) -> RenderableType:
    """Lay out revisions, one a line."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    for title in ("Name", "Subject", "Tooth", "Canal", "Kind", "Who", "When (UTC)", "What"):
        table.add_column(title, no_wrap=title == "Name")
    for one in revisions:
        tooth = tooth_name(one.tooth, with_universal=with_universal)
        cells = (str(one.uuid)[:_SHORT], one.subject, tooth, one.canal, one.kind, one.author)
        table.add_row(*map(escape, (*cells, one.created[:16].replace("T", " "), told_in_short(one))))
    return table


def revisions_json(revisions: Sequence[Revision], standing: Sequence[Revision]) -> str:
    """Give revisions with all they hold as JSON text.

    Parameters
    ----------
    revisions : sequence of Revision
    standing : sequence of Revision
        Those that no other one takes the place of.
    """
    stand = {one.uuid for one in standing}
    return BookDocument.text(revisions=[_entry(one, stands=one.uuid in stand) for one in revisions])


def _entry(one: Revision, *, stands: bool) -> dict[str, Any]:
    return {
        "uuid": str(one.uuid),
        "kind": one.kind,
        "stands": stands,
        "supersedes": sorted(map(str, one.supersedes)),
        "created": one.created,
        "author": one.author,
        "software": one.software,
        "subject": one.subject,
        "tooth": one.tooth,
        "canal": one.canal,
        "image_sha256": one.image_sha256,
        "content": json.loads(one.body),
    }
