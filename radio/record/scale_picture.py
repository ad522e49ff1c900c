"""A page of the scales of an image: all of them on one axis, and what the uncertainty of one is made of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calib.budget import Budget, BudgetRow
from calib.projection import INTRA_ORAL_MAGNIFICATION
from radio.measure.scale_checks import CanalScale, CrossCheck, ScaleReport
from radio.measure.scales import ImageScale
from radio.record.page import Page
from radio.record.scale_words import (
    NO_BUDGET,
    counted_for,
    counts_text,
    input_text,
    relative_text,
    scale_text,
)
from radio.record.text_block import TextLine, broken, height_in, write_lines
from radio.record.wording import CAUTION, MADE_BY, REMARK_WORDS

_MARGIN_IN, _TITLE_IN, _LABEL_IN, _PLOT_IN, _RIGHT_IN = 0.3, 0.4, 2.35, 4.1, 2.2
_ROW_IN, _AXIS_IN, _GAP_IN = 0.3, 0.5, 0.25
_TEXT_IN = _LABEL_IN + _PLOT_IN + _RIGHT_IN
# share of variance, and contribution, beside each other
_SHARE_IN, _BETWEEN_IN = 1.95, 0.2
_COVERAGE = 1.96
_BAND, _DARK, _BAR = "#DDDDDD", "#444444", "#666666"
_KEY = (
    "Points: scales; lines: ± 1.96 u, broken where the magnification is assumed, none where no u is stated. "
    "Filled and bold: counts for the lengths."
)
_BAND_KEY = (
    " Hatched band: detector pitch {pitch:.4g} mm {where}, over a magnification of {low:g} to {high:g} "
    "(usual by geometry); dotted: the pitch itself."
)


def scale_page(image: str, report: ScaleReport) -> Page:
    """Draw the scales of an image.

    Parameters
    ----------
    image : str
        Name of the image.
    report : ScaleReport
        With at least one scale.

    Returns
    -------
    Page
    """
    foot = _foot(report)
    blocks = [_canal_lines(canal) for canal in report.canals]
    tall = _TITLE_IN + _scales_in(report) + height_in(foot) + 2 * _MARGIN_IN
    tall += sum(_budget_in(canal, lines) for canal, lines in zip(report.canals, blocks, strict=True))
    page = Page(_TEXT_IN + 2 * _MARGIN_IN, tall)
    title = [TextLine(f"{image}: scales", 13, bold=True)]
    write_lines(page.pane(_MARGIN_IN, 0.12, _TEXT_IN, _TITLE_IN), title, _TITLE_IN)
    top = 0.12 + _TITLE_IN
    _draw_scales(page, report, top)
    top += _scales_in(report)
    for canal, lines in zip(report.canals, blocks, strict=True):
        _draw_canal(page, canal, lines, top)
        top += _budget_in(canal, lines)
    write_lines(page.pane(_MARGIN_IN, top, _TEXT_IN, height_in(foot)), foot, height_in(foot))
    return page


def _scales_in(report: ScaleReport) -> float:
    return len(report.found.scales) * _ROW_IN + _AXIS_IN + _GAP_IN


def _budget_of(canal: CanalScale) -> Budget | None:
    return None if canal.counts is None else canal.counts.scale.budget


def _budget_in(canal: CanalScale, lines: Sequence[TextLine]) -> float:
    made = _budget_of(canal)
    rows = 0.0 if made is None else len(made.rows) * _ROW_IN + _AXIS_IN + 0.2
    return height_in(lines) + rows + _GAP_IN


def _draw_scales(page: Page, report: ScaleReport, top: float) -> None:
    """Draw every scale as an interval on one axis of mm per pixel."""
    scales = report.found.scales
    tall = len(scales) * _ROW_IN
    axes = page.pane(_MARGIN_IN + _LABEL_IN, top, _PLOT_IN, tall, label="scales")
    axes.set_ylim(len(scales) - 0.5, -0.5)
    _draw_band(axes, report)
    for row, one in enumerate(scales):
        counted = counted_for(report, one.name)
        _draw_interval(axes, row, one, counts=bool(counted))
        weight = "bold" if counted else "normal"
        _beside(axes, row, f"{one.name}  ", right=False, weight=weight)
        words = (
            f"  {scale_text(one.scale)} ({relative_text(one.scale)})"
            if one.scale.sd_mm_per_px
            else (f"  {scale_text(one.scale)}")
        )
        _beside(axes, row, words, right=True, weight=weight)
    axes.margins(x=0.08)
    _dress(axes, "scale, mm per pixel")


def _draw_band(axes: Any, report: ScaleReport) -> None:
    pitch = report.found.pitch
    if pitch is None:
        return
    middle, half = INTRA_ORAL_MAGNIFICATION
    axes.axvspan(
        pitch.mm / (middle + half),
        pitch.mm / (middle - half),
        facecolor="white",
        edgecolor=_BAND,
        hatch="////",
        linewidth=0.8,
        gid="pitch band",
        zorder=0,
    )
    axes.axvline(pitch.mm, color=_DARK, linewidth=1.2, linestyle=(0, (1, 2)), gid="pitch", zorder=1)


def _draw_interval(axes: Any, row: int, one: ImageScale, *, counts: bool) -> None:
    value, half = one.scale.mm_per_px, _COVERAGE * one.scale.sd_mm_per_px
    if half:
        axes.plot(
            [value - half, value + half],
            [row, row],
            color="black",
            linewidth=2.2 if counts else 1.3,
            linestyle=(0, (4, 2)) if one.assumed else "-",
            gid="interval",
            zorder=2,
        )
        axes.plot([value - half, value + half], [row, row], "|", color="black", markersize=7, zorder=2)
    axes.plot(
        [value],
        [row],
        marker="o" if counts else "D",
        markersize=7 if counts else 5.5,
        markerfacecolor="black" if counts else "white",
        markeredgecolor="black",
        gid="counts" if counts else "scale",
        zorder=3,
    )


def _beside(axes: Any, row: float, words: str, *, right: bool, weight: str = "normal") -> None:
    axes.text(
        1.0 if right else 0.0,
        row,
        words,
        transform=axes.get_yaxis_transform(),
        ha="left" if right else "right",
        va="center",
        fontsize=8,
        fontweight=weight,
        parse_math=False,
    )


def _dress(axes: Any, label: str) -> None:
    axes.set_yticks([])
    axes.set_xlabel(label, fontsize=8)
    axes.tick_params(labelsize=7)
    axes.locator_params(axis="x", nbins=5)
    for side in ("left", "right", "top"):
        axes.spines[side].set_visible(False)


def _canal_lines(canal: CanalScale) -> list[TextLine]:
    """Lines above the budget of a canal, and its cross-checks."""
    lines = broken(counts_text(canal), 9.5, _TEXT_IN, bold=True)
    if canal.counts is not None and canal.counts.scale.budget is None:
        lines += broken(NO_BUDGET, 8, _TEXT_IN, space_before=2)
    return lines + _check_lines(canal.checks)


def _check_lines(checks: Sequence[CrossCheck]) -> list[TextLine]:
    lines: list[TextLine] = []
    for one in sorted(checks, key=lambda one: one.level != "warn"):
        words = f"{REMARK_WORDS[one.level]}: {one.text}"
        bold = one.level == "warn"
        lines += broken(words, 7.5, _TEXT_IN, bold=bold, space_before=2, hanging="    ")
    for standing in dict.fromkeys(one.standing for one in checks):
        lines += broken(f"Rests on: {standing}.", 6.5, _TEXT_IN, colour=_DARK, space_before=1, hanging="    ")
    return lines


def _draw_canal(page: Page, canal: CanalScale, lines: Sequence[TextLine], top: float) -> None:
    write_lines(page.pane(_MARGIN_IN, top, _TEXT_IN, height_in(lines)), lines, height_in(lines))
    made = _budget_of(canal)
    if made is None:
        return
    top += height_in(lines) + 0.2
    tall = len(made.rows) * _ROW_IN
    left = _MARGIN_IN + _LABEL_IN
    share = page.pane(left, top, _SHARE_IN, tall, label="share")
    part = page.pane(left + _SHARE_IN + _BETWEEN_IN, top, _SHARE_IN, tall, label="contribution")
    for row, one in enumerate(made.rows):
        _beside(share, row, f"{one.name}  ", right=False)
        _beside(part, row, f"  {input_text(one)}", right=True)
        _draw_bars(share, part, row, one)
    least = min(0.0, *(100 * one.share for one in made.rows))
    share.set_xlim(1.25 * least, 125)
    part.margins(x=0.1)
    for axes, label in ((share, "share of the variance, %"), (part, "contribution, mm per pixel")):
        axes.set_ylim(len(made.rows) - 0.5, -0.5)
        axes.axvline(0.0, color="black", linewidth=0.8)
        _dress(axes, label)
    share.set_xticks(range(0, 101, 25))
    part.locator_params(axis="x", nbins=3)


def _draw_bars(share: Any, part: Any, row: int, one: BudgetRow) -> None:
    share.barh(row, 100 * one.share, height=0.55, color=_BAR, edgecolor="black", gid="share")
    share.text(max(100 * one.share, 0.0) + 2, row, f"{one.share:.0%}", fontsize=7.5, va="center")
    part.barh(
        row, one.contribution, height=0.55, color="white", edgecolor="black", hatch="////", gid="contribution"
    )


def _foot(report: ScaleReport) -> list[TextLine]:
    key = _KEY
    if report.found.pitch is not None:
        middle, half = INTRA_ORAL_MAGNIFICATION
        pitch = report.found.pitch
        key += _BAND_KEY.format(
            pitch=pitch.mm, where=pitch.where, low=round(middle - half, 3), high=round(middle + half, 3)
        )
    absent = [f"No scale from {what}: {reason}" for what, reason in report.found.absent]
    return [
        *_check_lines(report.checks),
        *(line for one in absent for line in broken(one, 7, _TEXT_IN, colour=_DARK, space_before=2)),
        *broken(key, 7.5, _TEXT_IN, space_before=5),
        *broken(CAUTION, 6.8, _TEXT_IN, bold=True, space_before=4),
        *broken(MADE_BY, 6.8, _TEXT_IN, colour=_DARK, space_before=3),
    ]
