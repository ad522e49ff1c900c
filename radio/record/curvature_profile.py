"""Curvature along the canal as a plot beside the image; both share the arc length from the orifice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from radio.measure.case import CaseResult
from radio.measure.drawn import image_px
from radio.measure.methods import method_named
from radio.measure.methods.profile import CURVED_RADIUS_MM, inner
from radio.measure.stack import FloatArray, TraceStack
from radio.record.construction_drawing import draw_canal
from radio.record.construction_style import marker_style
from radio.record.construction_text import foot_lines, how_lines, value_lines
from radio.record.construction_view import (
    box_of,
    image_name,
    stack_to_draw,
    supported_samples,
)
from radio.record.constructions import show_part
from radio.record.page import Page
from radio.record.picture_drawing import spread_rows
from radio.record.text_block import TextLine, broken, height_in, write_lines
from radio.record.wording import title_of

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_MARGIN_IN = 0.25
_TITLE_IN = 0.75
_AXIS_IN = 0.62
_IMAGE_IN = (6.0, 4.4)  # tallest, widest
_PLOT_IN = 4.2
_MARKS_IN = 1.75
_KEY = (
    "Black line: curvature of the smoothed trace, dotted at the ends, where a spline is free and no value is "
    "read. Grey: 95 % band, from traces as they might have come out. Right of 0 the canal turns to the left "
    "hand of a person walking it from the orifice, left of 0 to the right hand. "
)


@dataclass(frozen=True)
class Mark:
    """A place on the canal that image and plot both show.

    Parameters
    ----------
    name : str
    index : int
        Sample of the trace.
    note : str
        What must be said about it.
    """

    name: str
    index: int
    note: str = ""


def draw_profile(radiograph: Radiograph, result: CaseResult, out: Path) -> None:
    """Draw curvature along one canal beside the image.

    Parameters
    ----------
    radiograph : Radiograph
        The image; it is shown, never changed.
    result : CaseResult
        One canal of it; without a scale lengths are in pixels, and the picture says so.
    out : pathlib.Path
        Where the picture goes; ``.png`` or ``.svg``.

    Raises
    ------
    PeriapicalError
        There is no canal line, or the place cannot be written.
    """
    profile_page(radiograph, result).save(out)


def profile_page(radiograph: Radiograph, result: CaseResult) -> Page:
    """Make the page of :func:`draw_profile` without saving it."""
    stack = stack_to_draw(radiograph, result, None)
    canal_px = image_px(stack.points[0], result.scale, radiograph.pixel_aspect)
    marks = marks_of(result, stack, canal_px)
    box = box_of(stack)
    wide, tall = box.size_in(*_IMAGE_IN)
    width = 4 * _MARGIN_IN + wide + _AXIS_IN + _PLOT_IN + _MARKS_IN
    text_in = width - 2 * _MARGIN_IN
    lines = _text(radiograph, result, stack, text_in)
    top = _MARGIN_IN + _TITLE_IN
    room = height_in(lines)
    plot_tall = max(tall, 3.4)
    page = Page(width, top + plot_tall + _AXIS_IN + room + _MARGIN_IN)
    heading = [
        TextLine("Curvature along the canal", 13, bold=True),
        TextLine(f"{image_name(radiograph)}. {title_of(result.facts)}", 9),
    ]
    write_lines(page.pane(_MARGIN_IN, 0.12, text_in, _TITLE_IN), heading, _TITLE_IN)
    over = page.pane(_MARGIN_IN, top, wide, tall, label="image")
    show_part(over, radiograph, result, box)
    draw_canal(over, canal_px, supported_samples(result, stack))
    _draw_ruler(over, stack, canal_px)
    for mark in marks:
        row, col = canal_px[mark.index]
        over.plot(col, row, zorder=4, gid=f"mark {mark.name}", **marker_style(mark.name))
    plot = page.pane(2 * _MARGIN_IN + wide + _AXIS_IN, top, _PLOT_IN, plot_tall, label="profile")
    _draw_plot(plot, stack, band_of(stack, result.scale.relative_sd if result.scale else 0.0))
    _turn_as_image(plot, stack)
    _draw_marks(plot, stack, marks, plot_tall)
    write_lines(page.pane(_MARGIN_IN, top + plot_tall + _AXIS_IN, text_in, room), lines, room)
    return page


def marks_of(result: CaseResult, stack: TraceStack, canal_px: FloatArray) -> list[Mark]:
    """Departure, greatest curvature, and the file tip where there is one, coronal first.

    Parameters
    ----------
    result : CaseResult
    stack : TraceStack
    canal_px : ndarray, shape (N, 2)
        Its first trace, in pixels of the image.
    """
    part = inner(stack)
    greatest = int(np.abs(stack.curvature[0, part]).argmax()) + part.indices(stack.points.shape[1])[0]
    marks = [Mark("greatest curvature", greatest)]
    if stack.leaves[0]:
        marks.append(Mark("departure", int(np.abs(stack.s[0] - stack.departure_s[0]).argmin())))
    tip = result.landmarks.get("file_tip")
    if tip is not None:
        index = int(np.hypot(*(canal_px - tip.point_px).T).argmin())
        last = len(canal_px) - 1
        marks.append(Mark("file tip", index, "at or beyond the canal end" if index == last else ""))
    return sorted(marks, key=lambda mark: mark.index)


def band_of(stack: TraceStack, relative_sd: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Lower and upper end of the 95 % band of curvature, shapes (N,).

    1.96 standard uncertainties to either side, from the spread of the draws about the measured trace at the
    same arc length and the relative one of the scale, as for every other value; NaN without draws.
    """
    own = stack.curvature[0]
    if len(stack.points) < 2:
        return np.full(len(own), np.nan), np.full(len(own), np.nan)
    drawn = np.stack(
        [np.interp(stack.s[0], s, bend) for s, bend in zip(stack.s[1:], stack.curvature[1:], strict=True)]
    )
    half = 1.96 * np.sqrt(np.mean((drawn - own) ** 2, axis=0) + (relative_sd * own) ** 2)
    return own - half, own + half


def _draw_plot(axes: Any, stack: TraceStack, band: tuple[FloatArray, FloatArray]) -> None:
    """Curvature against arc length, with the radius along the upper edge."""
    s, bend, (low, high), part = stack.s[0], stack.curvature[0], band, inner(stack)
    unit = "mm" if stack.unit == "mm" else "px"
    axes.fill_betweenx(s, low, high, color="#D5D5D5", linewidth=0, label="95 % band")
    for edge in (low, high):
        axes.plot(edge, s, color="#9A9A9A", linewidth=0.7)
    axes.axvline(0.0, color="#666666", linewidth=0.8)
    axes.plot(bend, s, color="black", linewidth=1.0, linestyle=(0, (1, 1.4)))
    axes.plot(bend[part], s[part], color="black", linewidth=1.9, gid="curvature")
    if stack.unit == "mm":
        for side in (-1, 1):
            axes.axvline(side / CURVED_RADIUS_MM, color="#666666", linewidth=0.7, linestyle=(0, (4, 3)))
    values = np.concatenate([low[part], high[part], bend[part]])
    most = float(np.nanmax(np.abs(values))) * 1.12
    most = max(most, 1.0 / (4 * float(stack.length[0])))
    note = "" if unit == "mm" else " (no scale: pixels only)"
    axes.set(xlim=(-most, most), ylim=(float(s[-1]), 0.0))
    axes.set_xlabel(f"curvature, 1/{unit}{note}", fontsize=8.5)
    axes.set_ylabel(f"along the canal from the orifice, {unit}", fontsize=8.5)
    axes.tick_params(labelsize=7.5)
    radii = radii_to_show(most)
    upper = axes.secondary_xaxis("top")
    upper.set_xticks([sign / r for r in radii for sign in (-1, 1)], [f"{r:g}" for r in radii for _ in (0, 1)])
    upper.set_xlabel(f"radius, {unit}", fontsize=8.5)
    upper.tick_params(labelsize=7.5)


def radii_to_show(most: float) -> list[float]:
    """Round radii whose curvatures spread over 0 to `most`, the largest radius first."""
    chosen: list[float] = []
    last = 0.0
    for power in range(6, -4, -1):
        for digit in (5.0, 2.0, 1.0):
            radius = digit * 10.0**power
            if 1.0 / radius <= most and 1.0 / radius - last >= 0.17 * most:
                chosen.append(radius)
                last = 1.0 / radius
    return chosen


def _turn_as_image(axes: Any, stack: TraceStack) -> None:
    """Put the orifice at the lower edge of the plot where it is the lower end in the image."""
    if stack.end[0][0] < stack.orifice[0][0]:
        axes.invert_yaxis()


def _draw_ruler(axes: Any, stack: TraceStack, canal_px: FloatArray) -> None:
    """Ticks across the canal at the whole numbers that the plot has on its axis."""
    length = float(stack.length[0])
    step = next((one for one in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0) if length / one <= 12), 500.0)
    axes.apply_aspect()
    along = np.gradient(axes.transData.transform(canal_px[:, ::-1]), axis=0)
    for place in np.arange(0.0, length, step):
        index = int(np.abs(stack.s[0] - place).argmin())
        unit = along[index] / np.hypot(*along[index])
        across = np.array([-unit[1], unit[0]])
        row, col = canal_px[index]
        axes.annotate(
            f"{place:g}",
            (col, row),
            tuple(across * 13.0),
            textcoords="offset points",
            fontsize=7,
            ha="center",
            va="center",
            color="black",
            bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
            arrowprops={"arrowstyle": "-", "color": "white", "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0},
        )


def _draw_marks(axes: Any, stack: TraceStack, marks: Sequence[Mark], tall: float) -> None:
    """Markers on the curve, and their names beside the plot without overlap."""
    s, bend = stack.s[0], stack.curvature[0]
    places = axes.transAxes.inverted().transform(axes.transData.transform([(0, s[m.index]) for m in marks]))
    order = np.argsort(places[:, 1])
    up = spread_rows([float(places[n, 1]) for n in order], 0.36 / tall, 0.02, 0.98)
    for n, height in zip(order.tolist(), up, strict=True):
        mark = marks[n]
        x = float(np.clip(bend[mark.index], *axes.get_xlim()))
        axes.axhline(s[mark.index], color="#666666", linewidth=0.7, linestyle=(0, (1, 2)), zorder=1)
        axes.plot(
            x, s[mark.index], zorder=4, clip_on=False, gid=f"mark {mark.name}", **marker_style(mark.name)
        )
        where = f"{s[mark.index]:.1f} {'mm' if stack.unit == 'mm' else 'px'}"
        axes.annotate(
            f"{mark.name}\n{where}{f', {mark.note}' if mark.note else ''}",
            (1.0, places[n, 1]),
            (1.05, height),
            xycoords="axes fraction",
            fontsize=7.5,
            va="center",
            arrowprops={"arrowstyle": "-", "color": "#777777", "linewidth": 0.7},
        )


def _text(radiograph: Radiograph, result: CaseResult, stack: TraceStack, width_in: float) -> list[TextLine]:
    method = method_named("profile")
    curved = f"Dashed: radius {CURVED_RADIUS_MM:g} mm, with less the canal counts as curved."
    key = _KEY + (curved if stack.unit == "mm" else "There is no scale: lengths and radii are in pixels.")
    return [
        *value_lines(result, method, width_in, 8.5, interval=True),
        *broken(key, 7.5, width_in, space_before=5),
        *how_lines(result, method, stack, width_in),
        *foot_lines(radiograph, width_in),
    ]
