"""The picture of straightening: walls, centre line and taut paths over the radiograph, one canal a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import image_px
from radio.measure.published_change import CONTRADICTIONS, PUBLISHED_CHANGES
from radio.measure.straightening import CENTRED, LEANING, TRACED
from radio.measure.straightening_case import CaseStraightening, file_text
from radio.record.colours import AXIS_COLOUR, CANAL_COLOUR, FILE_COLOUR, GAP_COLOUR, LANDMARK_COLOUR
from radio.record.construction_style import Dashes, show_key
from radio.record.construction_text import foot_lines
from radio.record.construction_view import Box, box_of, image_name
from radio.record.constructions import show_part
from radio.record.labels import supported_stretches
from radio.record.page import Page
from radio.record.picture_view import halo
from radio.record.straightening_terminal import WAY_TITLES, basis_text, walls_text
from radio.record.text_block import TextLine, broken, height_in, write_lines
from radio.record.wording import interval_text, title_of, value_text

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

FloatArray = npt.NDArray[np.float64]

_MARGIN_IN = 0.25
_TITLE_IN = 0.32
_PANE_TITLE_IN = 0.25
_PANE_IN = (6.6, 3.6)  # tallest, widest
_KEY_IN = 0.75
_TEXT_IN = 4.2
_BRIDGED: Dashes = (0, (1.2, 1.4))


@dataclass(frozen=True)
class _Style:
    title: str
    colour: str
    dashes: Dashes
    width_pt: float
    layer: float = 2.2


# A taut path lies on a wall where it bends: it is drawn broad, and the walls thin above it.
_TAUT_PT, _WALL_LAYER, _TAUT_LAYER = 3.4, 2.6, 2.0
_STYLES: Mapping[str, _Style] = {
    "wall": _Style("wall, as traced", LANDMARK_COLOUR, "-", 0.8, _WALL_LAYER),
    "bridged": _Style("wall not seen, width bridged", LANDMARK_COLOUR, _BRIDGED, 0.8, _WALL_LAYER),
    "centre": _Style("centre line", CANAL_COLOUR, (0, (6, 2, 1.2, 2)), 1.1),
    TRACED: _Style("taut path, canal as traced", GAP_COLOUR, "-", _TAUT_PT, _TAUT_LAYER),
    CENTRED: _Style("taut path, widened about the centre line", GAP_COLOUR, "-", _TAUT_PT, _TAUT_LAYER),
    LEANING: _Style(
        "taut path, widened about the taut path", FILE_COLOUR, (0, (2.4, 0.9)), _TAUT_PT, _TAUT_LAYER + 0.1
    ),
    f"{CENTRED} wall": _Style("wall, widened about the centre line", AXIS_COLOUR, "-", 0.8, _WALL_LAYER),
    f"{LEANING} wall": _Style(
        "wall, widened about the taut path", AXIS_COLOUR, (0, (2, 1.6)), 0.8, _WALL_LAYER
    ),
}


def draw_straightening(radiograph: Radiograph, found: Sequence[CaseStraightening], out: Path) -> None:
    """Draw walls, centre line and taut paths of the canals of an image, with the bounds beside them.

    Parameters
    ----------
    radiograph : Radiograph
        The image; it is shown, never changed.
    found : sequence of CaseStraightening
        Its canals; one at least.
    out : pathlib.Path
        Where the picture goes; ``.png`` or ``.svg``.

    Raises
    ------
    ValueError
        No canals.
    PeriapicalError
        The suffix is another, or the place cannot be written.
    """
    straightening_page(radiograph, found).save(out)


def straightening_page(radiograph: Radiograph, found: Sequence[CaseStraightening]) -> Page:
    """Make the page of :func:`draw_straightening` without saving it."""
    if not found:
        raise ValueError("straightening_page needs one canal at least")
    rows = [_Row(radiograph, one) for one in found]
    inner = max(row.width_in for row in rows)
    below = _below(radiograph, inner)
    height = 2 * _MARGIN_IN + _TITLE_IN + sum(row.height_in for row in rows) + height_in(below)
    page = Page(2 * _MARGIN_IN + inner, height)
    heading = [TextLine("How much the length can shrink: geometry, not a prediction", 13, bold=True)]
    write_lines(page.pane(_MARGIN_IN, 0.12, inner, _TITLE_IN), heading, _TITLE_IN)
    top = _MARGIN_IN + _TITLE_IN
    for row in rows:
        row.draw(page, top)
        top += row.height_in
    write_lines(page.pane(_MARGIN_IN, top, inner, height_in(below)), below, height_in(below))
    return page


class _Row:
    """One canal: a pane as traced, one as widened, and text."""

    def __init__(self, radiograph: Radiograph, found: CaseStraightening) -> None:
        self.radiograph, self.found = radiograph, found
        stack = found.result.stack
        assert stack is not None
        self.box: Box = box_of(stack, least_side=0.42)
        self.pane = self.box.size_in(*_PANE_IN)
        self.text = _text(radiograph, found)
        self.panes = 1 if found.prepared is None else 2
        self.width_in = self.panes * (self.pane[0] + _MARGIN_IN) + _TEXT_IN
        self.height_in = _PANE_TITLE_IN + max(self.pane[1], height_in(self.text)) + _KEY_IN

    def draw(self, page: Page, top: float) -> None:
        """Draw it on a page from `top` inches downward."""
        wide, tall = self.pane
        first = self._show(page, _MARGIN_IN, top, "as traced")
        self._walls(first)
        self._line(first, self.found.geometry.centre_mm, "centre")
        self._line(first, self.found.geometry.ways[TRACED].path.points, TRACED)
        if self.found.prepared is not None:
            left = 2 * _MARGIN_IN + wide
            second = self._show(page, left, top, f"widened with {file_text(self.found.prepared)}")
            self._line(second, self.found.geometry.centre_mm, "centre")
            for name in (CENTRED, LEANING):
                way = self.found.geometry.ways[name]
                for wall in (way.left_mm, way.right_mm):
                    self._line(second, wall, f"{name} wall")
                self._line(second, way.path.points, name)
        key = page.pane(_MARGIN_IN, top + _PANE_TITLE_IN + tall + 0.06, self.width_in, _KEY_IN - 0.1)
        self._key(key)
        left = _MARGIN_IN + self.panes * (wide + _MARGIN_IN)
        room = self.height_in - _KEY_IN
        write_lines(page.pane(left, top, _TEXT_IN, room), self.text, room)

    def _show(self, page: Page, left: float, top: float, title: str) -> Any:
        wide, tall = self.pane
        axes = page.pane(left, top + _PANE_TITLE_IN, wide, tall, label=title)
        show_part(axes, self.radiograph, self.found.result, self.box)
        axes.set_title(title, loc="left", fontsize=9)
        return axes

    def _line(self, axes: Any, points_mm: FloatArray, role: str) -> None:
        points = image_px(points_mm, self.found.result.scale, self.radiograph.pixel_aspect)
        axes.plot(points[:, 1], points[:, 0], gid=role, **_look(role))

    def _walls(self, axes: Any) -> None:
        """Both walls, dotted where the image does not show them."""
        way, walls = self.found.geometry.ways[TRACED], self.found.walls
        for points, seen in ((way.left_mm, walls.left_seen), (way.right_mm, walls.right_seen)):
            for part, shown in supported_stretches(points, seen):
                self._line(axes, part, "wall" if shown else "bridged")

    def _key(self, axes: Any) -> None:
        from matplotlib.lines import Line2D

        roles = ["wall", "bridged", "centre", TRACED]
        if self.found.prepared is not None:
            roles += [f"{CENTRED} wall", CENTRED, f"{LEANING} wall", LEANING]
        handles = [Line2D([], [], label=_STYLES[role].title, **_look(role)) for role in roles]
        show_key(axes, handles, columns=3)


def _look(role: str) -> dict[str, Any]:
    style = _STYLES[role]
    return {
        "color": style.colour,
        "linewidth": style.width_pt,
        "linestyle": style.dashes,
        "solid_capstyle": "butt",
        "dash_capstyle": "butt",
        "zorder": style.layer,
        "path_effects": halo(style.width_pt + 0.9),
    }


def _text(radiograph: Radiograph, found: CaseStraightening) -> list[TextLine]:
    """Bounds of one canal and what they rest on."""
    title = f"{image_name(radiograph)}. {title_of(found.result.facts)}"
    lines = broken(title, 9.5, _TEXT_IN, bold=True)
    lines.append(TextLine("Centre line", 9, value=f"{value_text(found.length)} mm", space_before=4))
    lines.append(TextLine("Its length can shrink by:", 9, space_before=4))
    for name, one in found.shrinks.items():
        lines.append(TextLine(WAY_TITLES[name].lower(), 8.5, value=f"{value_text(one)} mm", space_before=2))
        lines.append(TextLine("", 7.5, value=f"95 %: {interval_text(one)} mm"))
    first = next(iter(found.shrinks.values()))
    for text in (f"Walls: {walls_text(found)}", f"Basis: {basis_text(found)}.", *first.notes):
        lines += broken(text, 7.5, _TEXT_IN, space_before=3)
    for remark in found.remarks:
        word = {"stop": "STOP", "warn": "Warning", "note": "Note"}[remark.level]
        lines += broken(f"{word}: {remark.text}", 7.5, _TEXT_IN, space_before=3, bold=remark.level != "note")
    return lines


def _below(radiograph: Radiograph, width_in: float) -> list[TextLine]:
    """Published means with their standing, their contradictions, and the caution."""
    lines = broken(
        "Published changes of length, mm (minus = shorter), for comparison:", 8, width_in, bold=True
    )
    for one in PUBLISHED_CHANGES:
        text = f"{one.change}: {one.what}. {one.source} ({one.standing})."
        lines += broken(text, 7, width_in, hanging="    ")
    lines += broken(CONTRADICTIONS, 7, width_in, space_before=2)
    return [*lines, *foot_lines(radiograph, width_in)]
