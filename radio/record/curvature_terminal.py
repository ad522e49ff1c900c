"""What a terminal shows of the curvature of a canal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from radio.measure.case import Remark
from radio.measure.methods import QUANTITIES, Quantity
from radio.measure.result import Finding, Measurement
from radio.measure.view_pair import ViewPair
from radio.measure.what_if import Change, Move, WhatIf
from radio.record.curvature_case import CurvatureCase
from radio.record.terminal import WIDE, remark_lines
from radio.record.wording import (
    DECIMALS,
    UNIT_SIGNS,
    all_measurements,
    how_text,
    interval_text,
    title_of,
    value_text,
)

_UNCERTAINTY = "u: standard uncertainty. Beside a word: share of the possible traces that give the same word."


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
        parts += _numbers(case, width)
    parts += [_line("Class", one.text) for one in case.classes]
    by_reason: dict[str, list[str]] = {}
    for column, reason in case.absent.items():
        by_reason.setdefault(reason, []).append(QUANTITIES[column].title)
    parts += [_line("Not there", f"{'; '.join(names)}: {why}.") for why, names in by_reason.items()]
    parts += remark_lines(case.result.remarks)
    if case.what_if is not None:
        parts += ["", *_what_if(case.what_if, width)]
    return Group(*parts, Text(""))


def _ground(case: CurvatureCase) -> list[Text]:
    """Scale, length, axis and departure: what the numbers rest on."""
    numbers = all_measurements(case.result)
    scale, length = numbers.get("scale_mm_per_px"), numbers.get("canal_length_mm")
    length = length or numbers.get("canal_length_px")
    lines = [
        _line("Scale", "none, so angles only" if scale is None else f"{_with_unit(scale)} {scale.method}")
    ]
    if length is not None:
        lines.append(_line("Canal length", f"{_with_unit(length)}, {length.method}"))
    names = {"coronal_axis": "Coronal axis", "departure": "Departure point"}
    return lines + [_line(names[part], words) for part, words in case.parts.items()]


def _with_unit(one: Measurement) -> str:
    return f"{value_text(one)} {_unit(one.unit)}"


def _unit(unit: str) -> str:
    return UNIT_SIGNS.get(unit, unit)


def _line(name: str, text: str) -> Text:
    return Text.assemble((f"{name}: ", "bold"), text)


def _numbers(case: CurvatureCase, width: int) -> list[RenderableType]:
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
    for method, quantity, one in case.quantities:
        first = method.name not in settings
        settings.setdefault(method.name, _settings(one, method.title))
        name, how = (method.name, settings[method.name]) if first else ("", "")
        cells: tuple[str, ...] = (name, _titled(quantity), *_value_cells(one))
        if wide:
            unit = "" if quantity.unit == "word" else _unit(quantity.unit)
            cells = (name, quantity.title, *_value_cells(one), unit, how)
        table.add_row(*(escape(cell) for cell in cells))
    basis = dict.fromkeys(one.basis for _, _, one in case.quantities)
    notes = dict.fromkeys(note for _, _, one in case.quantities for note in one.notes)
    below: list[RenderableType] = [Text(_UNCERTAINTY, style="dim")]
    if not wide:
        below += [_line(name, text) for name, text in settings.items()]
    below.append(_line("Basis", ". ".join([*basis, " ".join(notes)])))
    return [table, *below]


def _settings(one: Measurement | Finding, title: str) -> str:
    return one.method.removeprefix(f"{title}, ")


def _titled(quantity: Quantity) -> str:
    """Title with the unit behind it."""
    unit = "" if quantity.unit == "word" else _unit(quantity.unit)
    return f"{quantity.title}, {unit}" if unit else quantity.title


def _value_cells(one: Measurement | Finding) -> tuple[str, str]:
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
    parts: list[RenderableType] = [_line("What if", found.told)]
    for first in range(0, len(found.moves), at_once):
        parts += _changes_table(by_column, found.moves[first : first + at_once])
    for column, changes in by_column.items():
        if QUANTITIES[column].unit == "word":
            parts.append(_changed_words(QUANTITIES[column].title, changes))
    parts += [_line(f"{_PARTS[one.part]} {one.way}", one.text) for one in found.moves]
    return parts + [_line("Not moved", f"{text}.") for text in found.left_out]


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
    return [*parts, _line("Not changed by these", "; ".join(same))] if same else parts


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
        return _line(title, f"{now}, whatever is moved")
    told = "; ".join(
        f"{word} with {', '.join(f'{_PARTS[m.part]} {m.way}' for m in moves)}"
        for word, moves in by_word.items()
    )
    return _line(title, f"{now}; {told}")


# -- two views -----------------------------------------------------------------------------------------------

_PAIR_TITLES = {
    "resultant_bend_deg": "Bend from the two angles",
    "bend_plane_deg": "Plane of that bend",
    "length_3d_mm": "Length",
    "schneider_3d_deg": "Schneider angle",
    "weine_3d_deg": "Weine angle",
    "long_axis_3d_deg": "Long-axis angle",
    "access_angle_3d_deg": "Canal access angle",
    "four_point_3d_deg": "Four-point angle",
    "pieces_greatest_3d_deg": "Straight pieces, greatest",
    "pieces_sum_3d_deg": "Straight pieces, sum",
    "total_turning_3d_deg": "Total turning",
    "greatest_curvature_3d_per_mm": "Greatest curvature",
    "smallest_radius_3d_mm": "Smallest radius",
}


def pair_block(pair: ViewPair, images: tuple[str, str], width: int) -> RenderableType:
    """Lay out what two views of one canal give together.

    Parameters
    ----------
    pair : ViewPair
    images : tuple of str
        Names of the two images.
    width : int
    """
    wide = width >= WIDE
    turn = f"{pair.between_views_deg:g}° apart"
    parts: list[RenderableType] = [
        Text(f"Canal {pair.name} in space, from {images[0]} and {images[1]}, {turn}", style="bold")
    ]
    if pair.in_space is not None:
        apart = f"{abs(pair.in_space.mismatch_mm):.2f} mm"
        parts.append(_line("Heights of the two views differ by", apart))
    parts += remark_lines([Remark("note" if pair.same_canal else "warn", one) for one in pair.remarks])
    if pair.measurements:
        table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
        table.add_column("In space", min_width=16)
        table.add_column("Value ± u", justify="right", no_wrap=True)
        table.add_column("95 % interval", justify="right", no_wrap=True)
        table.add_column("Unit", no_wrap=True)
        if wide:
            table.add_column("Method; basis", ratio=1)
        below: list[RenderableType] = []
        for name, one in pair.measurements.items():
            title = _PAIR_TITLES.get(name, name)
            # what is said of the pair as a whole stands above
            how = how_text(replace(one, notes=tuple(n for n in one.notes if n not in pair.remarks)))
            table.add_row(title, *_value_cells(one), _unit(one.unit), *([escape(how)] * wide))
            if not wide:
                below.append(_line(title, how))
        parts += [table, Text("u: standard uncertainty", style="dim"), *below]
    names = {"resultant_bend_deg": "Bend from the two angles", "space": "Canal in space"}
    parts += [_line(f"Not there: {names[what]}", why) for what, why in pair.absent.items()]
    if pair.assumptions:
        parts.append(Text("Assumed:", style="bold"))
        parts += [Text(f"- {text}") for text in pair.assumptions]
    return Group(*parts, Text(""))
