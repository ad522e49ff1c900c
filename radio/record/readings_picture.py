"""Differences of electronic readings and radiographs against their mean, with bias and limits."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from radio.measure.differences import MULTIPLIERS, Differences
from radio.measure.readings_list import NOT_STATED, ComparedList, ComparedReading, MarkAgreement
from radio.record.page import Page
from radio.record.picture_drawing import spread_rows
from radio.record.readings_text import TITLES, agreement_texts, count_text, verdict_text
from radio.record.text_block import TextLine, broken, height_in, write_lines
from radio.record.wording import CAUTION, MADE_BY

_MARGIN_IN = 0.25
_TITLE_IN = 0.7
_AXIS_IN = 0.75
_PLOT_IN = (4.0, 3.8)  # wide, tall
_LABELS_IN = 1.55
_UNDER_IN = 0.6
_GAP_IN = 0.3
# room for the bars at the right of the points
_BARS_SHARE = 0.08

# Okabe & Ito 2008; shapes differ too, so that a grey print can be read
_POINTS = {"zero": ("o", "#0072B2"), "half": ("s", "#D55E00"), NOT_STATED: ("^", "#555555")}
_KEY = (
    "Each point is one reading; filled: its 95 % interval lies wholly beyond the tolerance. Thick line: "
    "bias; dashed: limits of agreement; bars at the right: their 95 % intervals, which may go on beyond the"
    " frame; dotted: the tolerance; thin: no difference. The mean of the two lengths is only the place on "
    "the axis, and no length to work to."
)


def draw_readings(found: ComparedList, multiplier: float, outs: Sequence[Path]) -> None:
    """Draw the differences of a list, a pane for each mark.

    Parameters
    ----------
    found : ComparedList
        At least one reading.
    multiplier : float
        Of the limits drawn, one of :data:`~radio.measure.differences.MULTIPLIERS`.
    outs : sequence of pathlib.Path
        Where the picture goes; ``.png`` or ``.svg`` each.

    Raises
    ------
    PeriapicalError
        A place cannot be written.
    """
    page = readings_page(found, multiplier)
    for out in outs:
        page.save(out)


def readings_page(found: ComparedList, multiplier: float = MULTIPLIERS[0]) -> Page:
    """Make the page of :func:`draw_readings` without saving it."""
    pane_in = _AXIS_IN + _PLOT_IN[0] + _LABELS_IN
    count = len(found.by_mark)
    text_in = count * pane_in + (count - 1) * _GAP_IN
    columns = [_group_lines(group, found.tolerance_mm, multiplier, pane_in) for group in found.by_mark]
    room = max(height_in(lines) for lines in columns)
    foot = _foot_lines(text_in)
    top = _MARGIN_IN + _TITLE_IN
    below = top + _PLOT_IN[1] + _UNDER_IN
    page = Page(text_in + 2 * _MARGIN_IN, below + room + height_in(foot) + _MARGIN_IN)
    title = TextLine("Electronic readings against radiographic lengths", 13, bold=True)
    write_lines(page.pane(_MARGIN_IN, 0.12, text_in, _TITLE_IN), [title], _TITLE_IN)
    low, high = _range(found)
    for index, (group, lines) in enumerate(zip(found.by_mark, columns, strict=True)):
        left = _MARGIN_IN + index * (pane_in + _GAP_IN)
        axes = page.pane(left + _AXIS_IN, top, *_PLOT_IN, label=group.mark)
        axes.set_ylim(low, high)
        _draw_group(axes, group, found.tolerance_mm, multiplier)
        write_lines(page.pane(left, below, pane_in, room), lines, room)
    place = page.pane(_MARGIN_IN, below + room, text_in, height_in(foot))
    write_lines(place, foot, height_in(foot))
    return page


def _range(found: ComparedList) -> tuple[float, float]:
    """Differences that all panes show: points, tolerance and limits; long intervals are cut off."""
    values = [one.comparison.difference.value for one in found.compared]
    for group in found.by_mark:
        values += [end.value for one in group.differences.limits for end in (one.lower, one.upper)]
    values += [-found.tolerance_mm, found.tolerance_mm]
    room = 0.12 * (max(values) - min(values))
    return min(values) - room, max(values) + room


def _draw_group(axes: Any, group: MarkAgreement, tolerance_mm: float, multiplier: float) -> None:
    """Points of one mark with the lines that tell how they lie."""
    axes.axhline(0.0, color="#888888", linewidth=0.7, zorder=1)
    for sign in (-1, 1):
        axes.axhline(
            sign * tolerance_mm,
            color="black",
            linewidth=1.0,
            linestyle=(0, (1, 2)),
            gid="tolerance",
            zorder=2,
        )
    labels = _draw_lines(axes, group.differences, multiplier)
    _draw_points(axes, group)
    left, right = axes.get_xlim()
    axes.set_xlim(left, right + _BARS_SHARE * (right - left))
    axes.set_xlabel("mean of the two lengths, mm", fontsize=8.5)
    axes.set_ylabel("electronic minus radiographic, mm", fontsize=8.5)
    axes.set_title(f"{TITLES[group.mark]}: {count_text(group)}", fontsize=9.5, loc="left")
    axes.tick_params(labelsize=7.5)
    _label(axes, labels)


def _draw_lines(axes: Any, found: Differences, multiplier: float) -> list[tuple[float, str]]:
    """Bias and limits with their bands; a height and a text for each."""
    labels = [(found.bias, _minus(f"bias\n{found.bias:+.2f} mm"))]
    if found.bias_interval95 is not None:
        _draw_bar(axes, 0.962, *found.bias_interval95)
    axes.axhline(found.bias, color="black", linewidth=2.0, gid="bias", zorder=3)
    limits = found.limits_at(multiplier)
    if limits is None:
        return labels
    for end, sign, across in ((limits.lower, "−", 0.937), (limits.upper, "+", 0.987)):
        _draw_bar(axes, across, end.low95, end.high95)
        axes.axhline(end.value, color="black", linewidth=1.3, linestyle=(0, (6, 3)), gid="limit", zorder=3)
        labels.append((end.value, _minus(f"bias {sign} {multiplier:g} SD\n{end.value:+.2f} mm")))
    return labels


def _minus(text: str) -> str:
    """Write the sign of negative numbers as the axes of the plot do."""
    return re.sub(r"-(?=\d)", "−", text)


def _draw_bar(axes: Any, across: float, low: float, high: float) -> None:
    """A 95 % interval as a bar with ends; `across` is a share of the width of the pane."""
    axes.plot(
        [across, across],
        [low, high],
        transform=axes.get_yaxis_transform(),
        color="#555555",
        linewidth=1.2,
        marker="_",
        markersize=6,
        gid="interval",
        zorder=3,
    )


def _draw_points(axes: Any, group: MarkAgreement) -> None:
    marker, colour = _POINTS[group.mark]
    for filled in (False, True):
        shown = [one for one in group.compared if (one.comparison.verdict == "beyond") == filled]
        axes.plot(
            [_mean_mm(one) for one in shown],
            [one.comparison.difference.value for one in shown],
            linestyle="none",
            marker=marker,
            markersize=6,
            markerfacecolor=colour if filled else "none",
            markeredgecolor=colour,
            markeredgewidth=1.3,
            gid="beyond" if filled else "not beyond",
            zorder=4,
        )


def _mean_mm(one: ComparedReading) -> float:
    """Place on the axis, as Bland & Altman 1986 draw it; no length to work to."""
    return 0.5 * (one.comparison.electronic.value + one.comparison.radiographic.value)


def _label(axes: Any, labels: Sequence[tuple[float, str]]) -> None:
    """Names of lines at the right of a pane, moved apart where they would touch."""
    low, high = axes.get_ylim()
    ordered = sorted(labels)
    shares = [(height - low) / (high - low) for height, _ in ordered]
    places = spread_rows(shares, 0.36 / _PLOT_IN[1], 0.04, 0.96)
    for (_, words), share, place in zip(ordered, shares, places, strict=True):
        axes.annotate(
            words,
            (1.0, share),
            (1.05, place),
            xycoords="axes fraction",
            fontsize=8,
            va="center",
            arrowprops={"arrowstyle": "-", "color": "#777777", "linewidth": 0.7},
        )


def _group_lines(
    group: MarkAgreement, tolerance_mm: float, multiplier: float, width_in: float
) -> list[TextLine]:
    lines = []
    for name, text in agreement_texts(group, multiplier):
        lines += broken(f"{name}: {_minus(text)}", 8, width_in, space_before=1.5, hanging="    ")
    lines += broken(verdict_text(group, tolerance_mm), 8, width_in, space_before=1.5, hanging="    ")
    for note in group.notes:
        lines += broken(note, 7, width_in, colour="#444444", space_before=1.5)
    return lines


def _foot_lines(width_in: float) -> list[TextLine]:
    return [
        *broken(_KEY, 7.5, width_in, space_before=6),
        *broken(CAUTION, 6.8, width_in, bold=True, space_before=4),
        *broken(MADE_BY, 6.8, width_in, colour="#444444", space_before=3),
    ]
