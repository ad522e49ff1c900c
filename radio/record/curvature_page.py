"""Curvature methods side by side for one canal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from radio.measure.case import CaseResult
from radio.measure.drawn import Step, Stroke, image_px
from radio.measure.methods import METHODS, QUANTITIES, CurvatureMethod
from radio.measure.methods.shared_steps import canal_step
from radio.measure.result import Measurement
from radio.measure.stack import TraceStack
from radio.record.construction_drawing import Look, draw_steps_on
from radio.record.construction_style import draw_key
from radio.record.construction_text import basis_text, foot_lines, value_lines
from radio.record.construction_view import (
    Box,
    box_of,
    draw_bar,
    image_name,
    stack_to_draw,
    supported_samples,
)
from radio.record.constructions import frame_diagram, show_part
from radio.record.page import Page
from radio.record.text_block import TextLine, broken, height_in, write_lines
from radio.record.wording import title_of

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_COLUMNS = 5
_PANEL_IN = (2.6, 2.35)  # tallest diagram, width of a panel
_GAP_IN = 0.22
_MARGIN_IN = 0.25
_TITLE_IN = 0.55
_KEY_IN = 0.42
_PANEL_TITLE_IN = 0.25
_VALUE_PT = 7.2
_SETTING_PT = 6.0
_THIN = 0.65
_LEAST_SIDE = 0.85
_LABEL_PT = 7.0
_ANGLE_IN = (0.17, 6.0)  # height of a row and width of the plot of angles
_ANGLE_NAMES_IN = 2.4
_LEAST_COLUMNS = 3  # narrower, there is no room for the text at the foot


@dataclass(frozen=True, eq=False)
class _Panel:
    """One cell of the page: a construction with its text; the image where there is no text."""

    title: str
    steps: tuple[Step, ...]
    lines: Sequence[TextLine] = ()


def draw_comparison(
    radiograph: Radiograph, result: CaseResult, out: Path, *, methods: Sequence[CurvatureMethod] = METHODS
) -> None:
    """Draw a page with a small diagram and the values of each method.

    Parameters
    ----------
    radiograph : Radiograph
        The image; it is shown, never changed.
    result : CaseResult
        One canal of it.
    out : pathlib.Path
        Where the picture goes; ``.png`` or ``.svg``.
    methods : sequence of CurvatureMethod
        A method that cannot be drawn has a panel that says why.

    Raises
    ------
    PeriapicalError
        There is no canal line, or the place cannot be written.
    """
    comparison_page(radiograph, result, methods).save(out)


def comparison_page(
    radiograph: Radiograph, result: CaseResult, methods: Sequence[CurvatureMethod] = METHODS
) -> Page:
    """Make the page of :func:`draw_comparison` without saving it."""
    stack = stack_to_draw(radiograph, result, None)
    panels = [_Panel("On the image", (canal_step(stack),)), *(_panel(result, stack, m) for m in methods)]
    box = box_of(stack, [_room_aside(stack)], least_side=_LEAST_SIDE)
    size = box.size_in(*_PANEL_IN)
    rows = [panels[n : n + _COLUMNS] for n in range(0, len(panels), _COLUMNS)]
    heights = [_PANEL_TITLE_IN + size[1] + max(height_in(one.lines) for one in row) + _GAP_IN for row in rows]
    text_in = max(min(_COLUMNS, len(panels)), _LEAST_COLUMNS) * (_PANEL_IN[1] + _GAP_IN) - _GAP_IN
    asked = [quantity for method in methods for quantity in method.quantities]
    foot = [*broken(basis_text(result, asked), _VALUE_PT, text_in), *foot_lines(radiograph, text_in)]
    angles = angles_to_plot(result, methods)
    angles_in = _ANGLE_IN[0] * (len(angles) + 0.3)
    top = _MARGIN_IN + _TITLE_IN
    plot_in = angles_in + 0.9 if angles else 0.0
    page = Page(
        text_in + 2 * _MARGIN_IN, top + sum(heights) + _KEY_IN + plot_in + height_in(foot) + _MARGIN_IN
    )
    _write_heading(page, radiograph, result, stack, text_in, every=len(methods) == len(METHODS))
    for row, height in zip(rows, heights, strict=True):
        for column, panel in enumerate(row):
            place = (_MARGIN_IN + column * (_PANEL_IN[1] + _GAP_IN), top)
            axes = _pane_of(page, panel, place, size)
            if panel.lines:
                _draw_panel(axes, panel, stack, box)
            else:
                _draw_image(axes, panel, radiograph, result, stack, box)
        top += height
    steps = [step for panel in panels for step in panel.steps]
    unsupported = not supported_samples(result, stack).all()
    draw_key(page.pane(_MARGIN_IN, top, text_in, _KEY_IN), steps, unsupported=unsupported)
    top += _KEY_IN
    if angles:
        wide = min(_ANGLE_IN[1], text_in - _ANGLE_NAMES_IN)
        draw_angles(
            page.pane(_MARGIN_IN + _ANGLE_NAMES_IN, top + 0.3, wide, angles_in, label="angles"), angles
        )
        top += plot_in
    write_lines(page.pane(_MARGIN_IN, top, text_in, height_in(foot)), foot, height_in(foot))
    return page


def _panel(result: CaseResult, stack: TraceStack, method: CurvatureMethod) -> _Panel:
    width = _PANEL_IN[1]
    drawable = not method.needs_mm or stack.unit == "mm"
    settings = method.settings(stack) if drawable else "not drawn: there is no scale"
    lines = [
        *value_lines(result, method, width, _VALUE_PT, interval=False),
        *broken(settings, _SETTING_PT, width, colour="#444444", space_before=2),
    ]
    return _Panel(method.title, method.construct(stack) if drawable else (), lines)


def _room_aside(stack: TraceStack) -> Step:
    """A step that asks for room to either side of the canal, where constructions lie."""
    canal = stack.points[0]
    aside = float(stack.length[0]) * np.array([0.08, 0.3])
    return Step("", (Stroke(np.stack([canal.min(axis=0) - aside, canal.max(axis=0) + aside]), "canal"),))


def _write_heading(
    page: Page,
    radiograph: Radiograph,
    result: CaseResult,
    stack: TraceStack,
    width_in: float,
    *,
    every: bool,
) -> None:
    scale = "all diagrams to the same scale" if stack.unit == "mm" else "no scale: pixels only"
    told = f"{image_name(radiograph)}. {title_of(result.facts)}. Values are ± standard uncertainty; {scale}."
    lines = [
        TextLine(f"Curvature by {'every method' if every else 'the methods asked for'}", 13, bold=True),
        TextLine(told, 9),
    ]
    write_lines(page.pane(_MARGIN_IN, 0.12, width_in, _TITLE_IN), lines, _TITLE_IN)


def _pane_of(page: Page, panel: _Panel, place: tuple[float, float], size: tuple[float, float]) -> Any:
    """Write title and text of a cell from its upper left corner, and return the axes between, all inches."""
    (left, top), (wide, tall) = place, size
    room = _PANEL_TITLE_IN
    write_lines(page.pane(left, top, _PANEL_IN[1], room), [TextLine(panel.title, 9, bold=True)], room)
    if panel.lines:
        room = height_in(panel.lines)
        below = page.pane(left, top + _PANEL_TITLE_IN + tall, _PANEL_IN[1], room)
        write_lines(below, panel.lines, room)
    return page.pane(left, top + _PANEL_TITLE_IN, wide, tall, label=panel.title)


def _draw_image(
    axes: Any, panel: _Panel, radiograph: Radiograph, result: CaseResult, stack: TraceStack, box: Box
) -> None:
    show_part(axes, radiograph, result, box)
    scale, aspect = result.scale, radiograph.pixel_aspect
    shown = supported_samples(result, stack)
    look = Look(lambda points: image_px(points, scale, aspect), shown, thin=_THIN, label_pt=_LABEL_PT)
    draw_steps_on(axes, panel.steps, look, shown=len(panel.steps))


def _draw_panel(axes: Any, panel: _Panel, stack: TraceStack, box: Box) -> None:
    """Draw the diagram of one method, or say that there is none."""
    orifice = stack.orifice[0]
    frame_diagram(axes, box, orifice)
    axes.set(xticks=[], yticks=[])
    for side in axes.spines.values():
        side.set(color="#BBBBBB", linewidth=0.6)
    if not panel.steps:
        axes.set_facecolor("#EEEEEE")
        middle = {"transform": axes.transAxes, "ha": "center", "va": "center", "fontsize": 8}
        axes.text(0.5, 0.5, "not drawn:\nthere is no scale", **middle)
        return
    draw_bar(axes, box, stack.unit, orifice)
    look = Look(lambda points: points - orifice, thin=_THIN, names=False, label_pt=_LABEL_PT)
    draw_steps_on(axes, panel.steps, look, shown=len(panel.steps))


def angles_to_plot(result: CaseResult, methods: Sequence[CurvatureMethod]) -> list[Measurement]:
    """The angles that these methods gave, in their order."""
    columns = [quantity.column for method in methods for quantity in method.quantities]
    found = (result.measurements.get(column) for column in columns)
    return [one for one in found if one is not None and one.unit == "deg"]


def draw_angles(axes: Any, angles: Sequence[Measurement]) -> None:
    """Draw angles with their 95 % intervals on one scale.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Empty axes, names go to their left.
    angles : sequence of Measurement
        Degrees.
    """
    for row, one in enumerate(angles):
        if one.interval95 is not None:
            axes.plot(one.interval95, (row, row), color="black", linewidth=1.2)
        axes.plot(one.value, row, color="black", marker="o", markersize=4)
    names = [QUANTITIES[one.name].title for one in angles]
    axes.set_yticks(range(len(angles)), names, fontsize=7)
    axes.set(xlim=(0, None), ylim=(len(angles) - 0.35, -0.65))
    axes.set_xlabel("angles with their 95 % intervals, degrees", fontsize=8)
    axes.tick_params(labelsize=7, length=2.5)
    axes.grid(axis="x", color="#DDDDDD", linewidth=0.6)
