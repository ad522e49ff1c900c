"""What a terminal shows of the curvature of a canal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.methods import QUANTITIES, CurvatureMethod, Quantity
from radio.measure.perturb import SEED
from radio.measure.result import Finding, Measurement
from radio.measure.what_if import Change, Move, WhatIf
from radio.record.curvature_case import CurvatureCase
from radio.record.terminal import WIDE, remark_lines
from radio.record.wording import (
    DECIMALS,
    UNDETERMINED_KEY,
    UNIT_SIGNS,
    all_measurements,
    interval_text,
    title_of,
    value_text,
)


def curvature_block(case: CurvatureCase, width: int) -> RenderableType:
    """Lay out the curvature of one canal.

    Parameters
    ----------
    case : CurvatureCase
    width : int
        Characters a line holds; on a narrow terminal the settings stand below the table.
    """
    title = Text(f"{case.image}: {title_of(case.result.facts)}", style="bold")
    parts: list[RenderableType] = [title, *_ground(case)]
    if case.quantities:
        parts += [*method_tables(case.quantities, width), basis_line(case.quantities)]
        parts.append(_uncertainty(case))
    parts += [told_line("Class", one.text) for one in case.classes]
    parts += missing_lines(case.absent)
    parts += remark_lines(case.result.told)
    if case.what_if is not None:
        parts += ["", *_what_if(case.what_if, width)]
    return Group(*parts, Text(""))


def _ground(case: CurvatureCase) -> list[Text]:
    """Scale, length, axis and departure: what the numbers rest on."""
    numbers = all_measurements(case.result)
    scale, length = numbers.get("scale_mm_per_px"), numbers.get("canal_length_mm")
    length = length or numbers.get("canal_length_px")
    told = "none, so angles only" if scale is None else f"{_with_unit(scale)} {scale.method}"
    if scale is not None and not scale.sd:
        told += f"; {scale.basis}"
    lines = [told_line("Scale", told)]
    if length is not None:
        lines.append(told_line("Canal length", f"{_with_unit(length)}, {length.method}"))
    names = {"coronal_axis": "Coronal axis", "departure": "Departure point"}
    return lines + [told_line(names[part], words) for part, words in case.parts.items()]


def _uncertainty(case: CurvatureCase) -> Text:
    """What u is and what it was taken from."""
    stack = case.result.stack
    drawn = "" if stack is None else f", from {stack.possible} possible traces (drawn by the seed {SEED})"
    words = "Beside a word: share of the possible traces that give the same word."
    return Text(f"u: standard uncertainty{drawn}. {words} {UNDETERMINED_KEY}", style="dim")


def _with_unit(one: Measurement) -> str:
    return value_text(one, unit=f" {unit_sign(one.unit)}")


def unit_sign(unit: str) -> str:
    """Unit as people write it."""
    return UNIT_SIGNS.get(unit, unit)


def told_line(name: str, text: str) -> Text:
    """A line that begins with its subject."""
    return Text.assemble((f"{name}: ", "bold"), text)


MethodRow = tuple[CurvatureMethod, Quantity, Measurement | Finding]


def method_tables(rows: Sequence[MethodRow], width: int) -> list[RenderableType]:
    """What methods gave, a quantity a row, with the settings once a method."""
    wide = width >= WIDE
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("Method", no_wrap=True)
    table.add_column("Quantity", min_width=16)
    table.add_column("Value ± u", justify="right", no_wrap=not wide and width >= 80)
    table.add_column("95 % interval", justify="right", no_wrap=True)
    if wide:
        table.add_column("Unit", no_wrap=True)
        table.add_column("Settings", ratio=1)
    settings: dict[str, str] = {}
    for method, quantity, one in rows:
        first = method.name not in settings
        settings.setdefault(method.name, _settings(one, method.title))
        name, how = (method.name, settings[method.name]) if first else ("", "")
        cells: tuple[str, ...] = (name, _titled(quantity), *value_cells(one))
        if wide:
            unit = "" if quantity.unit == "word" else unit_sign(quantity.unit)
            cells = (name, quantity.title, *value_cells(one), unit, how)
        table.add_row(*(escape(cell) for cell in cells))
    return [table, *([] if wide else [told_line(name, text) for name, text in settings.items()])]


def basis_line(rows: Sequence[MethodRow]) -> Text:
    """What the numbers rest on, and what is said of all of them."""
    basis = dict.fromkeys(one.basis for _, _, one in rows)
    notes = dict.fromkeys(note for _, _, one in rows for note in one.notes)
    return told_line("Basis", ". ".join([*basis, " ".join(notes)]))


def missing_lines(absent: Mapping[str, str]) -> list[Text]:
    """A line for each reason, with what is not there for it."""
    by_reason: dict[str, list[str]] = {}
    for column, reason in absent.items():
        by_reason.setdefault(reason, []).append(QUANTITIES[column].title)
    return [told_line("Not there", f"{'; '.join(names)}: {why}.") for why, names in by_reason.items()]


def _settings(one: Measurement | Finding, title: str) -> str:
    return one.method.removeprefix(f"{title}, ")


def _titled(quantity: Quantity) -> str:
    """Title with the unit behind it."""
    unit = "" if quantity.unit == "word" else unit_sign(quantity.unit)
    return f"{quantity.title}, {unit}" if unit else quantity.title


def value_cells(one: Measurement | Finding) -> tuple[str, str]:
    """Value with its uncertainty, and its interval; of a word the share that agrees."""
    if isinstance(one, Finding):
        return one.word, f"{100 * one.share:.0f} % agree"
    return value_text(one), interval_text(one)


# -- what-if -------------------------------------------------------------------------------------------------

_PARTS = {"axis": "axis", "departure": "depart.", "end": "end"}
# Columns of moves that a narrow terminal has room for.
_MOVES_AT_ONCE = 4


def _what_if(found: WhatIf, width: int) -> list[RenderableType]:
    """The change of every number by every move; words and the moves in full below it."""
    by_column = _by_column(found)
    at_once = len(found.moves) if width >= WIDE else _MOVES_AT_ONCE
    parts: list[RenderableType] = [told_line("What if", found.told)]
    for first in range(0, len(found.moves), at_once):
        parts += _changes_table(by_column, found.moves[first : first + at_once])
    for column, changes in by_column.items():
        if QUANTITIES[column].unit == "word":
            parts.append(_changed_words(QUANTITIES[column].title, changes))
    parts += [told_line(f"{_PARTS[one.part]} {one.way}", one.text) for one in found.moves]
    return parts + [told_line("Not moved", f"{text}.") for text in found.left_out]


def _changes_table(by_column: Mapping[str, list[Change]], moves: Sequence[Move]) -> list[RenderableType]:
    """A table of some moves, and a line that names the numbers that none of them changes."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("Change of", min_width=14)
    table.add_column("now", justify="right", no_wrap=True)
    for move in moves:
        table.add_column(f"{_PARTS[move.part]}\n{move.way}", justify="right", no_wrap=True)
    same: list[str] = []
    for column, all_changes in by_column.items():
        quantity = QUANTITIES[column]
        changes = [one for one in all_changes if one.move in moves]
        if quantity.unit == "word" or all(one.before is one.after is None for one in changes):
            continue
        decimals = DECIMALS[quantity.unit]
        cells = [_difference(change, decimals) for change in changes]
        if set(cells) == {"0"}:
            same.append(quantity.title)
            continue
        table.add_row(escape(_titled(quantity)), _number(changes[0].before, decimals), *cells)
    parts: list[RenderableType] = [table] if table.row_count else []
    return [*parts, told_line("Not changed by these", "; ".join(same))] if same else parts


def _by_column(found: WhatIf) -> dict[str, list[Change]]:
    out: dict[str, list[Change]] = {}
    for change in found.changes:
        out.setdefault(change.column, []).append(change)
    return out


def _number(value: float | str | None, decimals: int) -> str:
    return "–" if not isinstance(value, float) else f"{value:.{decimals}f}"


def _difference(change: Change, decimals: int) -> str:
    """Signed change; 0 where nothing changes, "gone" or the new value where there is no difference."""
    if not isinstance(change.after, float):
        return "–" if change.before is None else "gone"
    if not isinstance(change.before, float):
        return f"={change.after:.{decimals}f}"
    step = round(change.after - change.before, decimals)
    return "0" if math.isclose(step, 0.0, abs_tol=1e-12) else f"{step:+.{decimals}f}"


def _changed_words(title: str, changes: Sequence[Change]) -> Text:
    by_word: dict[str, list[Move]] = {}
    for change in changes:
        if change.after != change.before:
            by_word.setdefault(str(change.after), []).append(change.move)
    now = str(changes[0].before)
    if not by_word:
        return told_line(title, f"{now}, whatever is moved")
    told = "; ".join(
        f"{word} with {', '.join(f'{_PARTS[m.part]} {m.way}' for m in moves)}"
        for word, moves in by_word.items()
    )
    return told_line(title, f"{now}; {told}")
