"""The apical part of one canal enlarged: file tip, radiographic apex, the gap, and where a rule would end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from radio.errors import PeriapicalError
from radio.measure.bend import square
from radio.measure.case_lengths import CaseLengths
from radio.measure.gap_advice import WINDOW_MM
from radio.record.colours import AXIS_COLOUR, CANAL_COLOUR, FILE_COLOUR, GAP_COLOUR, LANDMARK_COLOUR
from radio.record.construction_view import image_name
from radio.record.gap_text import gap_text
from radio.record.labels import Label, label_centres, supported_stretches, taken_room, write_label
from radio.record.page import Page
from radio.record.picture_view import Crop, draw_scale_bar, halo, show_radiograph
from radio.record.text_block import TextLine, height_in, write_lines
from radio.record.wording import title_of, value_text
from radio.trace.curve import point_at, project, section

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

FloatArray = npt.NDArray[np.float64]

# no axis is drawn on this page
_RULE_COLOUR = AXIS_COLOUR
_MARGIN_IN = 0.25
_TITLE_IN = 0.6
_PANE_IN = 5.2
_RULER_IN = 2.0
_AXIS_IN = 0.75
_LEAST_MM, _ROOM_MM = 5.0, 1.8
_TEXT_PT, _SMALL_PT = 8.5, 7.0
_UNSUPPORTED = (0, (2.2, 2.2))
_BOX = {"boxstyle": "round,pad=0.18", "facecolor": "white", "edgecolor": "none", "alpha": 0.88}


@dataclass(frozen=True, eq=False)
class _Place:
    """Where things lie along the canal, in square pixels, and how to get back to the image."""

    axis: FloatArray
    apex: FloatArray
    apex_s: float
    px_per_mm: float
    aspect: float

    def at(self, short_mm: float, aside_mm: float = 0.0) -> FloatArray:
        """Point in the image, shape (2,), so far short of the apex along the canal and to its side."""
        s = self.apex_s - short_mm * self.px_per_mm
        here, ahead = point_at(self.axis, [s, s + 1.0])
        along = (ahead - here) / np.hypot(*(ahead - here))
        return self.image(here + aside_mm * self.px_per_mm * np.array([-along[1], along[0]]))

    def stretch(self, from_mm: float, to_mm: float, aside_mm: float = 0.0) -> FloatArray:
        """Points in the image, shape (N, 2), between two places short of the apex."""
        return np.array([self.at(one, aside_mm) for one in np.linspace(from_mm, to_mm, 25)])

    def image(self, points: FloatArray) -> FloatArray:
        """From square pixels to pixels of the image."""
        return np.asarray(points / np.array([self.aspect, 1.0]))


def gap_page(radiograph: Radiograph, lengths: CaseLengths) -> Page:
    """Make a page of the apical end of one canal.

    Parameters
    ----------
    radiograph : Radiograph
        The image; it is shown, never changed.
    lengths : CaseLengths
        Lengths of one canal of it.

    Returns
    -------
    Page
        Save it as PNG or SVG.

    Raises
    ------
    PeriapicalError
        There is no scale, no radiographic apex, or neither canal nor file.
    """
    place = _place(radiograph, lengths)
    width = 4 * _MARGIN_IN + _PANE_IN + _AXIS_IN + _RULER_IN
    text_in = width - 2 * _MARGIN_IN
    lines = gap_text(radiograph, lengths, text_in)
    top = _MARGIN_IN + _TITLE_IN
    page = Page(width, top + _PANE_IN + 2 * _MARGIN_IN + height_in(lines) + _MARGIN_IN)
    heading = [
        TextLine("End of the length", 13, bold=True),
        TextLine(f"{image_name(radiograph)}. {title_of(lengths.result.facts)}", 9),
    ]
    write_lines(page.pane(_MARGIN_IN, 0.12, text_in, _TITLE_IN), heading, _TITLE_IN)
    crop = _crop(lengths, place)
    over = page.pane(_MARGIN_IN, top, _PANE_IN, _PANE_IN, label="image")
    over.set_facecolor("#202020")
    show_radiograph(over, radiograph, crop)
    draw_scale_bar(over, crop, [lengths.result])
    taken = taken_room(over)
    _draw_lines(over, lengths, place)
    _draw_labels(over, _draw_marks(over, lengths, place), taken)
    ruler = page.pane(2 * _MARGIN_IN + _PANE_IN + _AXIS_IN, top, _RULER_IN, _PANE_IN, label="ruler")
    _draw_ruler(ruler, lengths, downward=_points_down(place))
    foot = top + _PANE_IN + 2 * _MARGIN_IN
    write_lines(page.pane(_MARGIN_IN, foot, text_in, height_in(lines), label="text"), lines, height_in(lines))
    return page


def _place(radiograph: Radiograph, lengths: CaseLengths) -> _Place:
    result = lengths.result
    line = result.canal_line or result.file_line
    if result.scale is None or "apex" not in result.landmarks or line is None:
        raise PeriapicalError(
            f"{image_name(radiograph)}, {title_of(result.facts)}: the end of the length cannot be drawn; it "
            "needs a scale, the radiographic apex, and the canal or the file."
        )
    aspect = radiograph.pixel_aspect
    axis, apex = square(line.points_px, aspect), square(result.landmarks["apex"].point_px, aspect)
    return _Place(axis, apex, project(axis, apex)[0], 1.0 / result.scale.col_mm_per_px, aspect)


def _points_down(place: _Place) -> bool:
    return bool(place.at(0.0)[0] > place.at(3.0)[0])


def _reach_mm(lengths: CaseLengths) -> tuple[float, float]:
    """Smallest and largest distance short of the apex that is drawn."""
    drawn = [0.0, WINDOW_MM, *(one.rule.subtract_mm for one in lengths.ruled if one.chosen)]
    gap = lengths.result.measurements.get("gap_mm")
    if gap is not None:
        drawn += [gap.value, *(gap.interval95 or ())]
    return min(drawn), max(drawn)


def _crop(lengths: CaseLengths, place: _Place) -> Crop:
    """A square of film about everything that is marked."""
    low, high = _reach_mm(lengths)
    row, col = place.at((low + high) / 2).tolist()
    half = max(_LEAST_MM, high - low + 2 * _ROOM_MM) / 2 * place.px_per_mm
    return Crop(row - half / place.aspect, row + half / place.aspect, col - half, col + half)


def _plot(axes: Any, points: FloatArray, colour: str, width: float, style: Any = "-", **more: Any) -> None:
    axes.plot(
        points[:, 1],
        points[:, 0],
        color=colour,
        linewidth=width,
        linestyle=style,
        solid_capstyle="butt",
        dash_capstyle="butt",
        path_effects=halo(width + 1.4),
        **more,
    )


def _draw_lines(axes: Any, lengths: CaseLengths, place: _Place) -> None:
    result = lengths.result
    for line, colour, width in ((result.file_line, FILE_COLOUR, 1.8), (result.canal_line, CANAL_COLOUR, 1.0)):
        if line is not None:
            for part, supported in supported_stretches(line.points_px, line.confident):
                _plot(axes, part, colour, width, "-" if supported else _UNSUPPORTED, gid=line.kind)
    gap = result.measurements.get("gap_mm")
    if gap is not None:
        tip = result.landmarks["file_tip"].point_px[None]
        from_tip = place.apex_s - gap.value * place.px_per_mm
        between = section(place.axis, from_tip, place.apex_s, 1.0)
        path = np.vstack([tip, place.image(between), place.image(place.apex)[None]])
        _plot(axes, path, GAP_COLOUR, 3.0, gid="gap")


def _draw_marks(axes: Any, lengths: CaseLengths, place: _Place) -> list[tuple[FloatArray, str]]:
    """Draw what has a name; return where and which."""
    result = lengths.result
    named: list[tuple[FloatArray, str]] = []
    points: list[tuple[FloatArray, str]] = []
    gap = result.measurements.get("gap_mm")
    if gap is not None and gap.interval95 is not None:
        low, high = gap.interval95
        _plot(axes, place.stretch(low, high, 0.45), GAP_COLOUR, 1.1, gid="gap interval")
        for end in (low, high):
            _plot(axes, np.array([place.at(end, 0.36), place.at(end, 0.54)]), GAP_COLOUR, 1.1)
        named.append((place.at((low + high) / 2, 0.45), f"gap {value_text(gap)} mm"))
    for one in lengths.ruled:
        if one.chosen:
            across = np.array([place.at(one.rule.subtract_mm, side) for side in (-0.5, 0.5)])
            _plot(axes, across, _RULE_COLOUR, 1.8, (0, (2.5, 1.2)), gid="rule")
            named.append((across[0], f"rule: minus {one.rule.subtract_mm:g} mm"))
    for name, shape, word in (("file_tip", "v", "file tip"), ("apex", "^", "radiographic apex")):
        if name in result.landmarks:
            point = result.landmarks[name].point_px
            look = {"markerfacecolor": LANDMARK_COLOUR, "markeredgecolor": "black", "linestyle": "none"}
            axes.plot(point[1], point[0], marker=shape, markersize=7, gid=name, **look)
            points.append((point, word))
    # the first have the choice of the places
    return [*points, *named]


def _draw_labels(axes: Any, named: list[tuple[FloatArray, str]], taken: FloatArray) -> None:
    """Words beside what they name, over nothing that is drawn and with no line across another."""
    lines = [line.get_xydata()[:, ::-1] for line in axes.lines]
    labels = [Label(point, word, _TEXT_PT) for point, word in named]
    centres = label_centres(axes, labels, taken, lines)
    for label, (anchor, centre) in zip(labels, centres, strict=True):
        write_label(axes, label, anchor, centre, leader="white")


def _draw_ruler(axes: Any, lengths: CaseLengths, *, downward: bool) -> None:
    """Distances short of the apex to scale, the apical end as in the image."""
    low, high = _reach_mm(lengths)
    low, high = min(low, -0.3) - 0.3, max(high, 2.0) + 0.4
    axes.axhspan(0.0, WINDOW_MM, color="#DDDDDD", linewidth=0, gid="window")
    axes.axhline(0.0, color="black", linewidth=1.6)
    # on the side of the axis where nothing is: beyond the apex, clear of the line
    axes.annotate(
        "radiographic apex",
        (0.03, 0.0),
        (0, -4 if downward else 4),
        textcoords="offset points",
        fontsize=_SMALL_PT,
        va="top" if downward else "bottom",
    )
    for one in lengths.ruled:
        mm = one.rule.subtract_mm
        style = "-" if one.chosen else (0, (3, 3))
        axes.plot(
            [0.0, 1.0], [mm, mm], color="#6B6200", linestyle=style, linewidth=1.8 if one.chosen else 0.8
        )
        word = f"rule −{mm:g}: {one.target.value:.2f} mm"
        weight = "bold" if one.chosen else "normal"
        axes.text(0.98, mm, word, ha="right", va="center", fontsize=_SMALL_PT, fontweight=weight, bbox=_BOX)
    gap = lengths.result.measurements.get("gap_mm")
    if gap is not None:
        half = 1.96 * (gap.sd or 0.0)
        look = {
            "color": GAP_COLOUR,
            "marker": "v",
            "capsize": 5,
            "linewidth": 1.6,
            "markersize": 8,
            "zorder": 4,
        }
        axes.errorbar(0.2, gap.value, yerr=half, gid="tip", markeredgecolor="black", **look)
        axes.text(0.28, gap.value, "file tip", fontsize=_TEXT_PT, va="center", zorder=5)
    axes.set(xlim=(0, 1), xticks=[], ylim=(low, high) if downward else (high, low))
    axes.set_ylabel("short of the radiographic apex, along the canal, mm", fontsize=_TEXT_PT)
    axes.tick_params(labelsize=_SMALL_PT + 0.5)
