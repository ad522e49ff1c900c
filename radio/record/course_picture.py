"""The lengths of one canal by stage, as a plot with the band that a change has to leave."""

from __future__ import annotations

import textwrap
from typing import Any

from radio.measure.published_change import CONTRADICTIONS
from radio.record.colours import GAP_COLOUR
from radio.record.course import CourseEntry, Stage
from radio.record.course_changes import Change
from radio.record.course_checks import JudgedCourse
from radio.record.course_terminal import way_of
from radio.record.page import Page
from radio.record.text_block import TextLine, broken, height_in, write_lines
from radio.record.wording import CAUTION, MADE_BY

_WIDTH_IN = 9.0
_MARGIN_IN = 0.3
_LEFT_IN = 0.65
_TITLE_IN = 0.6
_PLOT_IN = 3.9
_STAGES_IN = 0.55
_KEY_ROW_IN = 0.21
_LEAST_SPAN_MM = 2.0
_POINT_PT, _SMALL_PT = 8.0, 6.8
_GREY = "#444444"
_LONGER_COLOUR = "#0072B2"  # blue of the same palette as radio.record.colours
_MARKERS = "osD^vPX*"
# how a change is drawn: colour, and a sign that tells it in grey too
_LOOKS = {
    "shorter": (GAP_COLOUR, "↓"),
    "longer": (_LONGER_COLOUR, "↑"),
    "within stated uncertainty": ("#000000", "~"),
    "not distinguishable": ("#000000", "≈"),
    "not compared": ("#777777", "×"),
}
_KEY = (
    "Bars: 95 %, from the stated uncertainty, but not below the repeat error. Grey band: changes within it "
    "are less than the least significant one; dotted: the same about the first length, for the whole change. "
    "Numbers: the comparisons below; ≈ not distinguishable, ~ beyond the least significant change but "
    "within the stated uncertainty, ↓ shorter, ↑ longer, × and a broken line: not compared."
)
_KEY_CHARACTERS = 110


def course_page(judged: JudgedCourse) -> Page:
    """Make a page of the course of one canal.

    Parameters
    ----------
    judged : JudgedCourse

    Returns
    -------
    Page
        Save it as PNG or SVG.
    """
    text_in = _WIDTH_IN - 2 * _MARGIN_IN
    ways = list(dict.fromkeys(way_of(one) for one in judged.course.entries))
    lines = _text(judged, text_in)
    named = [textwrap.fill(way, _KEY_CHARACTERS) for way in ways]
    key_in = _KEY_ROW_IN * sum(1 + name.count("\n") for name in named) + 0.1
    top = _MARGIN_IN + _TITLE_IN
    key_top = top + _PLOT_IN + _STAGES_IN
    page = Page(_WIDTH_IN, key_top + key_in + height_in(lines) + _MARGIN_IN)
    heading = [TextLine("Course of the length", 13, bold=True), *broken(judged.course.title, 9, text_in)]
    write_lines(page.pane(_MARGIN_IN, 0.12, text_in, _TITLE_IN), heading, _TITLE_IN)
    plot = page.pane(_MARGIN_IN + _LEFT_IN, top, text_in - _LEFT_IN, _PLOT_IN, label="course")
    handles = _draw(plot, judged, ways)
    key = page.pane(_MARGIN_IN, key_top, text_in, key_in, label="key")
    key.axis("off")
    legend = key.legend(handles, named, loc="upper left", fontsize=_POINT_PT, frameon=False, borderaxespad=0)
    for text in legend.get_texts():
        text.set_parse_math(False)
    room = height_in(lines)
    write_lines(page.pane(_MARGIN_IN, key_top + key_in, text_in, room, label="text"), lines, room)
    return page


def _draw(axes: Any, judged: JudgedCourse, ways: list[str]) -> list[Any]:
    """Draw everything on the plot; return a handle for each way of reading."""
    places = {id(one): place for place, one in enumerate(judged.course.entries)}
    across = {place: _across(judged, one) for place, one in enumerate(judged.course.entries)}
    for number, one in enumerate(judged.changes, start=1):
        ends = (across[places[id(one.earlier)]], across[places[id(one.later)]])
        (_draw_whole if one.whole else _draw_change)(axes, one, ends, number)
    handles: dict[str, Any] = {}
    for place, entry in enumerate(judged.course.entries):
        way = way_of(entry)
        look = {"marker": _MARKERS[ways.index(way) % len(_MARKERS)], "markersize": 7, "zorder": 4}
        where = (across[place], entry.length_mm)
        axes.errorbar(
            *where, yerr=1.96 * judged.sd_mm(place), color="black", capsize=4, linewidth=1.2, zorder=3
        )
        (handles[way],) = axes.plot(
            *where, color="black", markerfacecolor="white", linestyle="none", gid=f"length {place}", **look
        )
    _frame(axes)
    return [handles[way] for way in ways]


def _frame(axes: Any) -> None:
    axes.set_xlim(-0.5, len(Stage) - 0.5)
    axes.set_xticks(range(len(Stage)), [str(stage).replace(" ", "\n", 1) for stage in Stage])
    low, high = axes.get_ylim()
    spare = max(0.0, _LEAST_SPAN_MM - (high - low)) / 2
    axes.set_ylim(low - spare, high + spare)
    axes.set_ylabel("length from the reference, mm", fontsize=8.5)
    axes.tick_params(labelsize=_POINT_PT)
    axes.grid(axis="y", color="#E2E2E2", linewidth=0.6)
    axes.set_axisbelow(True)


def _across(judged: JudgedCourse, entry: CourseEntry) -> float:
    """Place of a length along the stages: those of one stage stand side by side."""
    beside = judged.course.at(entry.stage)
    place = next(n for n, one in enumerate(beside) if one is entry)
    return entry.stage.rank + 0.14 * (place - (len(beside) - 1) / 2)


def _draw_change(axes: Any, one: Change, ends: tuple[float, float], number: int) -> None:
    colour, _ = _LOOKS[one.verdict]
    first, last = one.earlier.length_mm, one.later.length_mm
    if one.length_change is None:
        dashes: Any = (0, (3, 4))
    else:
        dashes = "-"
        lsc = one.repeatability.lsc_mm
        axes.fill_between(
            ends,
            first - lsc,
            first + lsc,
            color="#D5D5D5",
            alpha=0.6,
            linewidth=0,
            zorder=1,
            gid=f"band {number}",
        )
    axes.plot(
        ends, (first, last), color=colour, linestyle=dashes, linewidth=1.4, zorder=2, gid=f"change {number}"
    )
    # a line over several stages has its number off the middle, where another may stand
    share = 0.5 if one.later.stage.rank - one.earlier.stage.rank == 1 else 0.4
    _number(axes, one, ends[0] + share * (ends[1] - ends[0]), first + share * (last - first), number)


def _draw_whole(axes: Any, one: Change, ends: tuple[float, float], number: int) -> None:
    """The edges of the band about the first length, and the number beside the last."""
    lsc = one.repeatability.lsc_mm
    for side in (-lsc, lsc):
        edge = one.earlier.length_mm + side
        axes.plot(ends, (edge, edge), color="#555555", linestyle=":", linewidth=1.1, gid=f"whole {number}")
    _number(axes, one, ends[1] + 0.22, one.later.length_mm, number)


def _number(axes: Any, one: Change, across: float, length_mm: float, number: int) -> None:
    colour, sign = _LOOKS[one.verdict]
    axes.text(
        across,
        length_mm,
        f"{number} {sign}",
        fontsize=_POINT_PT,
        fontweight="bold",
        color=colour,
        ha="center",
        va="center",
        zorder=5,
        bbox={"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": colour, "linewidth": 0.9},
    )


def _text(judged: JudgedCourse, width_in: float) -> list[TextLine]:
    lines = broken(_KEY, _SMALL_PT + 0.7, width_in, space_before=2)
    for number, one in enumerate(judged.changes, start=1):
        bold = one.shown
        # why it is blocked stands in its warning
        told_of = one.verdict if one.length_change is None else one.told
        words = f"{number} {_LOOKS[one.verdict][1]}  {one.stages}: {told_of}"
        words += f" ({one.across_sizes})" if one.across_sizes else ""
        words += f". Fixed figures: {one.beside_fixed} mm" if one.beside_fixed else ""
        lines += broken(words, _POINT_PT, width_in, bold=bold, space_before=3, hanging="       ")
        for note in one.length_change.notes if one.length_change else ():
            lines += broken(f"       {note}", _SMALL_PT, width_in, colour=_GREY, hanging="       ")
    told = {"warn": "Warning", "note": "Note"}
    for check in judged.checks:
        words = f"{told[check.level]} ({check.id}): {check.seen} {check.do}"
        lines += broken(words, _SMALL_PT + 0.7, width_in, space_before=3, hanging="    ")
    for own, by_way in judged.judged_by.items():
        words = " ".join((f"Judged by ({by_way}): {own.told}.", *own.warnings))
        lines += broken(words, _SMALL_PT, width_in, colour=_GREY, space_before=3)
    lines += broken(CONTRADICTIONS, _SMALL_PT, width_in, colour=_GREY, space_before=3)
    lines += broken(CAUTION, _SMALL_PT, width_in, bold=True, space_before=4)
    return lines + broken(MADE_BY, _SMALL_PT, width_in, colour=_GREY)
