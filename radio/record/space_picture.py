"""A canal in space, from two views, drawn from the sides and along the tooth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from radio.errors import PeriapicalError
from radio.measure.drawn import Spot, Step, Stroke
from radio.measure.result import Measurement
from radio.measure.stack import FloatArray
from radio.measure.two_views import CanalInSpace
from radio.measure.view_pair import ViewPair
from radio.record.construction_drawing import Look, draw_steps_on
from radio.record.construction_style import line_style, show_key
from radio.record.construction_text import foot_lines
from radio.record.construction_view import Box, draw_bar, image_name
from radio.record.constructions import frame_diagram
from radio.record.page import Page
from radio.record.space_panels import Panel, panels_of
from radio.record.text_block import TextLine, broken, height_in, write_lines
from radio.record.wording import PAIR_NAMES, UNIT_SIGNS, interval_text, value_text

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_MARGIN_IN = 0.25
_TITLE_IN = 0.55
_AXIS_IN = 0.55  # room for the numbers at the left of and below a panel
_PANEL_TITLE_IN = 0.25
_KEY_IN = 0.5
_TALLEST_IN, _WIDEST_IN = 5.0, 10.5  # of a panel; of all of them together
_LEAST_TEXT_IN = 7.2
_SMALL_PT = 6.8
_BAND: Mapping[str, Any] = {"facecolor": "#D5D5D5", "edgecolor": "#8A8A8A", "linewidth": 0.7, "zorder": 1.0}
_BAND_NOTE = (
    "Grey: 2 standard uncertainties to either side, of both traces at equal heights; what scale, turn and "
    "lean add is in the numbers alone."
)


def space_page(pair: ViewPair, images: tuple[Radiograph, Radiograph]) -> Page:
    """Make a page of a canal in space: as each view shows it, at right angles to the first, along the tooth.

    Parameters
    ----------
    pair : ViewPair
    images : tuple of Radiograph
        First and second view, for their names.

    Returns
    -------
    Page

    Raises
    ------
    PeriapicalError
        There is no centreline in space, or the views speak against one canal.
    """
    space = _space_of(pair, images)
    panels = panels_of(pair, space)
    height = float(space.points_mm[:, 0].max())
    boxes = [panel.box(height) for panel in panels]
    room_in = _WIDEST_IN - len(panels) * (_AXIS_IN + _MARGIN_IN)
    inch = min(_TALLEST_IN / max(b.height for b in boxes), room_in / sum(b.width for b in boxes))
    drawn_in = inch * sum(b.width for b in boxes) + len(panels) * (_AXIS_IN + _MARGIN_IN)
    text_in = max(drawn_in, _LEAST_TEXT_IN)
    lines = _text(pair, space, images, text_in)
    top = _MARGIN_IN + _TITLE_IN + _PANEL_TITLE_IN
    key_top = top + inch * max(b.height for b in boxes) + _AXIS_IN
    text_top = key_top + _KEY_IN
    page = Page(text_in + 2 * _MARGIN_IN, text_top + height_in(lines) + _MARGIN_IN)
    write_lines(page.pane(_MARGIN_IN, 0.12, text_in, _TITLE_IN), _heading(pair, images), _TITLE_IN)
    left = _MARGIN_IN + _AXIS_IN
    for panel, box in zip(panels, boxes, strict=True):
        wide, tall = inch * box.width, inch * box.height
        title = page.pane(left, top - _PANEL_TITLE_IN, wide, _PANEL_TITLE_IN)
        write_lines(title, [TextLine(panel.title, 9, bold=True)], _PANEL_TITLE_IN)
        _draw_panel(page.pane(left, top, wide, tall, label=panel.name), panel, box)
        left += wide + _MARGIN_IN + _AXIS_IN
    _draw_key(page.pane(_MARGIN_IN, key_top, text_in, _KEY_IN), panels)
    write_lines(page.pane(_MARGIN_IN, text_top, text_in, height_in(lines)), lines, height_in(lines))
    return page


def _space_of(pair: ViewPair, images: tuple[Radiograph, Radiograph]) -> CanalInSpace:
    if pair.in_space is not None and pair.same_canal:
        return pair.in_space
    why = pair.absent.get("space") if pair.in_space is None else None
    told = why or " ".join(pair.remarks) or "the two views do not seem to show one canal"
    names = " and ".join(image_name(one) for one in images)
    raise PeriapicalError(f"{names}, canal {pair.name}: the canal in space cannot be drawn: {told}")


def _draw_panel(axes: Any, panel: Panel, box: Box) -> None:
    """Draw the canal with its band, what goes with it, and names."""
    frame_diagram(axes, box, np.zeros(2))
    axes.set_xlabel(panel.col_label, fontsize=7.5, labelpad=2)
    axes.set_ylabel(panel.row_label, fontsize=7.5, labelpad=2)
    _set_ticks(axes, upward=panel.name == "along")
    axes.tick_params(labelsize=7, length=2.5)
    axes.grid(color="#E4E4E4", linewidth=0.6)
    axes.set_axisbelow(True)
    draw_bar(axes, box, "mm", np.zeros(2))
    if panel.sd is not None:
        _draw_band(axes, panel.canal, 2 * panel.sd)
    ends = (Spot(panel.canal[0], "orifice"), Spot(panel.canal[-1], "canal end"))
    steps = (Step("", (Stroke(panel.canal, "canal"), *ends)), Step("", panel.more))
    draw_steps_on(axes, steps, Look(lambda points: points), shown=len(steps))


def _set_ticks(axes: Any, *, upward: bool) -> None:
    """Whole steps, the same along both sides; rows that stand for depth are told upward."""
    span = max(abs(axes.get_ylim()[0] - axes.get_ylim()[1]), abs(np.diff(axes.get_xlim())[0]))
    step = 1.0 if span <= 8 else 2.0
    for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        places = np.arange(np.ceil(min(limits) / step), np.floor(max(limits) / step) + 1) * step
        sign = -1.0 if upward and axis is axes.yaxis else 1.0
        axis.set_ticks(places, [f"{sign * place + 0.0:g}" for place in places])


def _draw_band(axes: Any, canal: FloatArray, half: FloatArray) -> None:
    """Draw what lies so near to the canal, (N, 2) in row and col: a strip, or ellipses at its points."""
    if not half[:, 0].any():
        axes.fill_betweenx(
            canal[:, 0], canal[:, 1] - half[:, 1], canal[:, 1] + half[:, 1], label="band", **_BAND
        )
        return
    from matplotlib.patches import Ellipse

    # rims first, so that those of neighbours do not show
    for style in ({**_BAND, "linewidth": 1.4}, {**_BAND, "linewidth": 0.0, "zorder": 1.1}):
        for (row, col), (tall, wide) in zip(canal[::2], half[::2], strict=True):
            axes.add_patch(Ellipse((col, row), 2 * wide, 2 * tall, **style))


def _draw_key(axes: Any, panels: Sequence[Panel]) -> None:
    """Name the kinds of line of the page."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    there = {shape.role for panel in panels for shape in panel.more if isinstance(shape, Stroke)}
    names = {
        "canal": "canal in space",
        "height": "trace in that view, scaled",
        "axis": "direction of the bend",
        "second_axis": "across in the second view",
    }
    handles: list[Any] = [
        Line2D([], [], label=name, **line_style(role))  # type: ignore[arg-type]
        for role, name in names.items()
        if role in there | {"canal"}
    ]
    if any(panel.sd is not None for panel in panels):
        handles.append(
            Patch(label="2 standard uncertainties", **{k: _BAND[k] for k in _BAND if k != "zorder"})
        )
    show_key(axes, handles, columns=3)


def _heading(pair: ViewPair, images: tuple[Radiograph, Radiograph]) -> list[TextLine]:
    names = " and ".join(image_name(one) for one in images)
    turn = f"{pair.between_views_deg:g}° ± {pair.between_views_sd_deg:g}° apart"
    return [
        TextLine("Canal in space from two views", 13, bold=True),
        TextLine(f"Canal {pair.name}, {names}, {turn}; all panels to the same scale", 9),
    ]


def _text(
    pair: ViewPair, space: CanalInSpace, images: tuple[Radiograph, Radiograph], width_in: float
) -> list[TextLine]:
    """Values, remarks, what is assumed, caution."""
    lines: list[TextLine] = []
    for name, one in pair.measurements.items():
        lines += broken(
            f"{PAIR_NAMES.get(name, name)}: {_value(one)}", 8.5, width_in, bold=True, space_before=1.5
        )
    for remark in pair.remarks:
        lines += broken(f"Note: {remark}", 8.0, width_in, space_before=3, hanging="    ")
    small = [
        *([_BAND_NOTE] if space.sd_mm is not None else []),
        "Height 0 is the orifice; the canal end points down. Values are ± standard uncertainty.",
        "Assumed: " + " ".join(pair.assumptions),
    ]
    for text in small:
        lines += broken(text, _SMALL_PT, width_in, colour="#444444", space_before=3)
    return [*lines, *foot_lines(images[0], width_in, images[1])]


def _value(one: Measurement) -> str:
    unit = UNIT_SIGNS.get(one.unit, f" {one.unit}")
    interval = f" (95 %: {interval_text(one)})" if one.interval95 else ""
    return f"{value_text(one, unit=unit)}{interval}".replace(" ", "\N{NO-BREAK SPACE}")
