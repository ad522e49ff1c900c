"""A page that lists measured images with their pictures and numbers, for a browser or a printer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from radio.measure.case import CaseResult
from radio.record.atomic import write_text
from radio.record.tables import Skip
from radio.record.wording import (
    CAUTION,
    MADE_BY,
    UNIT_SIGNS,
    how_text,
    interval_text,
    main_measurements,
    name_of,
    remark_texts,
    title_of,
    value_text,
)

_STYLE = """
body { font: 15px/1.45 system-ui, sans-serif; color: #111; max-width: 70rem; margin: 2rem auto }
.caution { border: 2px solid #8a3b00; padding: .6rem 1rem; font-weight: 600 }
section { break-inside: avoid; margin: 2.5rem 0 }
img { width: 100%; border: 1px solid #bbb }
table { border-collapse: collapse; width: 100%; margin: .6rem 0 }
caption { text-align: left; font-weight: 600 }
th, td { border-bottom: 1px solid #ccc; padding: .25rem .5rem; text-align: left; vertical-align: top }
td.number { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums }
.remark { color: #8a3b00; margin: .2rem 0 }
"""


@dataclass(frozen=True)
class SheetEntry:
    """One image on the page.

    Parameters
    ----------
    image : str
        Its name.
    picture : str
        Where its picture is, relative to the page; empty for none.
    results : tuple of CaseResult
        Its canals.
    """

    image: str
    picture: str
    results: tuple[CaseResult, ...]


def write_sheet(path: Path, title: str, entries: Sequence[SheetEntry], skips: Sequence[Skip]) -> None:
    """Write the page.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes; it needs nothing but the pictures it names.
    title : str
        Its heading.
    entries : sequence of SheetEntry
        The images.
    skips : sequence of Skip
        Canals that were not measured, listed at the end.

    Raises
    ------
    PeriapicalError
        The place cannot be written.
    """
    body = [f"<h1>{escape(title)}</h1>", f'<p class="caution">{escape(CAUTION)}</p>']
    body += [_section(entry) for entry in entries]
    if skips:
        listed = "".join(f"<li>{escape(f'{s.image}, canal {s.canal}: {s.reason}')}</li>" for s in skips)
        body.append(f"<section><h2>Not measured</h2><ul>{listed}</ul></section>")
    body.append(f"<p>{escape(MADE_BY)}. Values are ± standard uncertainty.</p>")
    head = f'<meta charset="utf-8"><title>{escape(title)}</title><style>{_STYLE}</style>'
    opening = f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n'
    write_text(path, opening + "\n".join(body) + "\n</body></html>\n")


def _section(entry: SheetEntry) -> str:
    parts = [f"<section><h2>{escape(entry.image)}</h2>"]
    if entry.picture:
        text = escape(f"{entry.image} with the traced lines and landmarks", quote=True)
        parts.append(f'<img src="{escape(entry.picture, quote=True)}" alt="{text}">')
    for result in entry.results:
        parts.append(f"<table><caption>{escape(title_of(result.facts))}</caption>")
        parts.append("<tr><th>Measure<th>Value<th>95 % interval<th>Method and basis</tr>")
        for one in main_measurements(result).values():
            unit = UNIT_SIGNS.get(one.unit, f" {one.unit}")
            cells = [value_text(one, unit=unit), interval_text(one)]
            numbers = "".join(f'<td class="number">{escape(cell)}</td>' for cell in cells)
            told = escape(how_text(one))
            parts.append(f"<tr><td>{escape(name_of(one))}</td>{numbers}<td>{told}</td></tr>")
        parts.append("</table>")
        parts += [f'<p class="remark">{escape(told)}</p>' for told in remark_texts(result)]
    return "\n".join([*parts, "</section>"])
