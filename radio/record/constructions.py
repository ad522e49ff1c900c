"""One curvature method for one canal: its construction over the radiograph and as a clean diagram."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from radio.errors import PeriapicalError
from radio.measure.case import CaseResult
from radio.measure.drawn import Step, image_px
from radio.measure.methods import CurvatureMethod
from radio.measure.stack import FloatArray, TraceStack
from radio.record.construction_drawing import Look, draw_steps_on
from radio.record.construction_style import draw_key
from radio.record.construction_text import foot_lines, how_lines, step_lines, value_lines
from radio.record.construction_view import (
    Box,
    box_of,
    image_name,
    stack_to_draw,
    supported_samples,
)
from radio.record.page import Page
from radio.record.picture_view import draw_scale_bar, show_radiograph
from radio.record.text_block import TextLine, height_in, write_lines
from radio.record.wording import title_of

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_MARGIN_IN = 0.25
_TITLE_IN = 0.55
_PANE_IN = (5.4, 4.4)  # tallest, widest
_TICKS_IN = 0.5  # room for the numbers at the left of and below the diagram
_KEY_IN = 0.42
_LEAST_TEXT_IN = 7.2


def draw_construction(
    radiograph: Radiograph,
    result: CaseResult,
    method: CurvatureMethod,
    out: Path,
    *,
    steps: int | None = None,
) -> None:
    """Draw the construction of one method over the radiograph and, beside it, without.

    Parameters
    ----------
    radiograph : Radiograph
        The image; it is shown, never changed.
    result : CaseResult
        One canal of it.
    method : CurvatureMethod
    out : pathlib.Path
        Where the picture goes; ``.png`` or ``.svg``.
    steps : int, optional
        Draw only the first so many steps, the last of them emphasised; the values stand with the last step
        alone. None draws all of them alike.

    Raises
    ------
    PeriapicalError
        The canal has no line or no scale where the method needs one, there is no such step, or the place
        cannot be written.
    """
    construction_page(radiograph, result, method, steps=steps).save(out)


def draw_steps(
    radiograph: Radiograph,
    result: CaseResult,
    method: CurvatureMethod,
    directory: Path,
    *,
    stem: str | None = None,
    formats: Sequence[str] = ("png",),
) -> list[Path]:
    """Draw one picture a step: ``schneider_step1.png`` and so on.

    Parameters
    ----------
    radiograph, result, method
        As of :func:`draw_construction`.
    directory : pathlib.Path
        An existing directory.
    stem : str, optional
        What the names begin with; the name of the method by default.
    formats : sequence of str
        ``"png"``, ``"svg"``.

    Returns
    -------
    list of pathlib.Path
        In the order of the steps.

    Raises
    ------
    PeriapicalError
        As of :func:`draw_construction`.
    """
    count = len(method.construct(stack_to_draw(radiograph, result, method)))
    paths = []
    for number in range(1, count + 1):
        page = construction_page(radiograph, result, method, steps=number)
        for kind in formats:
            paths.append(directory / f"{stem or method.name}_step{number}.{kind}")
            page.save(paths[-1])
    return paths


def construction_page(
    radiograph: Radiograph, result: CaseResult, method: CurvatureMethod, *, steps: int | None = None
) -> Page:
    """Make the page of :func:`draw_construction` without saving it."""
    stack = stack_to_draw(radiograph, result, method)
    made = method.construct(stack)
    shown = _checked(steps, len(made), method)
    box = box_of(stack, made)
    wide, tall = box.size_in(*_PANE_IN)
    width = max(3 * _MARGIN_IN + 2 * wide + _TICKS_IN, _LEAST_TEXT_IN + 2 * _MARGIN_IN)
    text_in = width - 2 * _MARGIN_IN
    lines = _text(radiograph, result, method, stack, text_in, shown, steps is not None)
    top = _MARGIN_IN + _TITLE_IN
    key_top = top + tall + _TICKS_IN
    height = key_top + _KEY_IN + height_in(lines) + _MARGIN_IN
    page = Page(width, height)
    heading = [
        TextLine(method.title, 13, bold=True),
        TextLine(f"{image_name(radiograph)}. {title_of(result.facts)}", 9),
    ]
    write_lines(page.pane(_MARGIN_IN, 0.12, text_in, _TITLE_IN), heading, _TITLE_IN)
    over = page.pane(_MARGIN_IN, top, wide, tall, label="image")
    show_part(over, radiograph, result, box)
    supported = supported_samples(result, stack)
    aspect = radiograph.pixel_aspect
    on_image = Look(lambda points: image_px(points, result.scale, aspect), supported)
    draw_steps_on(over, made, on_image, shown=shown, emphasised=steps is not None)
    diagram = page.pane(2 * _MARGIN_IN + wide + _TICKS_IN, top, wide, tall, label="diagram")
    draw_diagram(diagram, stack, made, box, shown=shown, emphasised=steps is not None)
    draw_key(page.pane(_MARGIN_IN, key_top, text_in, _KEY_IN), made, unsupported=not supported.all())
    text_height = height_in(lines)
    write_lines(page.pane(_MARGIN_IN, key_top + _KEY_IN, text_in, text_height), lines, text_height)
    return page


def _checked(steps: int | None, count: int, method: CurvatureMethod) -> int:
    if steps is None:
        return count
    if 1 <= steps <= count:
        return steps
    raise PeriapicalError(
        f"{method.title} has {count} steps here; {steps} were asked for. Give 1 to {count}."
    )


def _text(
    radiograph: Radiograph,
    result: CaseResult,
    method: CurvatureMethod,
    stack: TraceStack,
    width_in: float,
    shown: int,
    emphasised: bool,
) -> list[TextLine]:
    made = method.construct(stack)
    lines = step_lines(made, width_in, shown=shown, emphasised=emphasised)
    values = value_lines(result, method, width_in, 9.0, interval=True)
    if shown < len(made):
        values = [TextLine("", one.points, space_before=one.space_before) for one in values]
    return [
        *lines,
        TextLine("", 3),
        *values,
        *how_lines(result, method, stack, width_in),
        *foot_lines(radiograph, width_in),
    ]


def show_part(axes: Any, radiograph: Radiograph, result: CaseResult, box: Box) -> None:
    """Show the part of the radiograph that a box covers, with a scale bar; dark beyond the image."""
    crop = box.crop(result.scale, radiograph.pixel_aspect)
    axes.set_facecolor("#303030")
    show_radiograph(axes, radiograph, crop)
    draw_scale_bar(axes, crop, [result])


def draw_diagram(
    axes: Any, stack: TraceStack, steps: Sequence[Step], box: Box, *, shown: int, emphasised: bool
) -> None:
    """Draw a construction on white, with distances from the orifice along both sides.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Empty axes.
    stack : TraceStack
    steps : sequence of Step
    box : Box
        What is shown.
    shown : int
        Number of steps.
    emphasised : bool
        Whether the last of them stands out.
    """
    orifice = stack.orifice[0]
    frame_diagram(axes, box, orifice)
    unit = "mm" if stack.unit == "mm" else "px (no scale)"
    axes.set_xlabel(f"from the orifice, {unit}", fontsize=7.5, labelpad=2)
    axes.tick_params(labelsize=7, length=2.5)
    axes.grid(color="#E4E4E4", linewidth=0.6)
    axes.set_axisbelow(True)
    look = Look(lambda points: points - orifice)
    draw_steps_on(axes, steps, look, shown=shown, emphasised=emphasised)


def frame_diagram(axes: Any, box: Box, origin: FloatArray) -> None:
    """Set limits and equal axes of a diagram in the unit of the trace, counted from a place."""
    axes.set(
        xlim=(box.left - origin[1], box.right - origin[1]),
        ylim=(box.bottom - origin[0], box.top - origin[0]),
        aspect="equal",
    )
