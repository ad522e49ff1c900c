"""The image half of the picture: lines, landmarks and constructions over the radiograph."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from radio.measure.case import CaseResult, SchneiderConstruction
from radio.record.colours import (
    AXIS_COLOUR,
    BALL_COLOUR,
    CANAL_COLOUR,
    CHORD_COLOUR,
    FILE_COLOUR,
    GAP_COLOUR,
    LANDMARK_COLOUR,
)
from radio.record.labels import supported_stretches
from radio.record.picture_view import Crop, ball_of, halo
from radio.trace.line import LandmarkFix, Line

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

FloatArray = npt.NDArray[np.float64]

_LINE_COLOURS = {"file": FILE_COLOUR, "canal": CANAL_COLOUR}
_MARKERS = {"file_start": "s", "file_tip": "v", "apex": "^", "canal_end": "D", "orifice": "o"}
_WORDS = {
    "file_tip": "file tip",
    "orifice": "orifice",
    "canal_end": "canal end",
    "apex": "radiographic apex",
    "reference": "reference",
    "ball_centre": "ball",
}
_LABEL_BOX = {"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}


class Drawing:
    """One radiograph with what was measured on it, on one set of matplotlib axes.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes that show the radiograph.
    radiograph : Radiograph
        The image.
    crop : Crop
        The part to show.
    """

    def __init__(self, axes: Any, radiograph: Radiograph, crop: Crop) -> None:
        self._axes = axes
        self._radiograph = radiograph
        self._crop = crop
        self._labels: list[tuple[FloatArray, str, float]] = []

    def draw(self, results: Sequence[CaseResult]) -> None:
        """Draw everything of all canals."""
        several = len(results) > 1
        middles = [self._middle_col(one) for one in results]
        centre = float(np.mean(middles))
        for one, middle in zip(results, middles, strict=True):
            # labels of a left canal go to the left edge; of a single canal to the right one
            side = -1.0 if several and middle < centre else 1.0
            self._draw_canal(one, f" {one.facts.canal}" if several else "", side)
        self._place_labels()

    def _middle_col(self, result: CaseResult) -> float:
        cols = [fix.col for fix in result.landmarks.values()]
        return float(np.mean(cols)) if cols else self._crop.left

    def _line(self, points: FloatArray, colour: str, width: float, style: Any = "-") -> None:
        self._axes.plot(
            points[:, 1],
            points[:, 0],
            color=colour,
            linewidth=width,
            linestyle=style,
            solid_capstyle="butt",
            dash_capstyle="butt",
            path_effects=halo(width + 1.6),
        )

    def _traced(self, line: Line, width: float) -> None:
        """Draw a line whole where the image supports it and dashed where it does not."""
        for part, supported in supported_stretches(line.points_px, line.confident):
            self._line(part, _LINE_COLOURS[line.kind], width, "-" if supported else (0, (2.2, 2.2)))

    def _draw_canal(self, result: CaseResult, mark: str, side: float) -> None:
        if result.file_line is not None:
            self._traced(result.file_line, 1.6)
        if result.canal_line is not None:
            self._traced(result.canal_line, 1.1)
        self._draw_gap(result)
        if result.construction is not None:
            self._draw_construction(result.construction, result, mark, side)
        ball = ball_of(result)
        if ball is not None:
            angles = np.linspace(0, 2 * np.pi, 181)
            circle = ball[1] * np.column_stack(
                [np.sin(angles) / self._radiograph.pixel_aspect, np.cos(angles)]
            )
            self._line(ball[0] + circle, BALL_COLOUR, 1.2)
        for name, fix in result.landmarks.items():
            word = result.facts.file_start_at if name == "file_start" else _WORDS.get(name, name)
            self._draw_landmark(name, fix, f"{word}{mark}", side)

    def _draw_gap(self, result: CaseResult) -> None:
        """Draw the stretch between file tip and radiographic apex along the canal."""
        tip, apex = result.landmarks.get("file_tip"), result.landmarks.get("apex")
        if "gap_mm" not in result.measurements or tip is None or apex is None:
            return
        points = np.empty((0, 2))
        if result.canal_line is not None:
            along = result.canal_line.points_px
            ends = sorted(int(np.argmin(np.hypot(*(along - fix.point_px).T))) for fix in (tip, apex))
            points = along[ends[0] + 1 : ends[1]]
            if len(points) and np.hypot(*(points[0] - tip.point_px)) > np.hypot(*(points[-1] - tip.point_px)):
                points = points[::-1]
        self._line(np.vstack([tip.point_px, points, apex.point_px]), GAP_COLOUR, 2.4)

    def _draw_construction(
        self, made: SchneiderConstruction, result: CaseResult, mark: str, side: float
    ) -> None:
        """Draw coronal axis, its continuation, chord from the departure point, and the arc between them."""
        squash = np.array([self._radiograph.pixel_aspect, 1.0])  # to what is seen, where a degree is a degree
        chord = (made.canal_end_px - made.departure_px) * squash
        reach = float(np.hypot(*chord))
        ahead = (made.axis_end_px - made.axis_start_px) * squash
        length = float(np.hypot(*ahead))
        if reach == 0 or length == 0:
            return
        ahead = ahead / length
        onward = made.departure_px + 0.75 * reach * ahead / squash
        self._line(np.vstack([made.axis_start_px, onward]), AXIS_COLOUR, 1.0, (0, (6, 2, 1.5, 2)))
        self._line(np.vstack([made.departure_px, made.canal_end_px]), CHORD_COLOUR, 1.2, (0, (5, 2)))
        start, end = np.arctan2(*ahead), np.arctan2(*chord)
        turn = (end - start + np.pi) % (2 * np.pi) - np.pi
        angles = start + np.linspace(0, turn, 60)
        arc = made.departure_px + 0.6 * reach * np.column_stack([np.sin(angles), np.cos(angles)]) / squash
        self._line(arc, CHORD_COLOUR, 1.2)
        self._marker(made.departure_px, "P", CHORD_COLOUR, 6)
        self._labels.append((made.departure_px, f"departure{mark}", side))
        angle = result.measurements.get("schneider_deg")
        if angle is not None:
            self._labels.append((arc[30], f"{angle.value:.1f}°{mark}", side))

    def _marker(self, point: FloatArray, shape: str, colour: str, size: float) -> None:
        self._axes.plot(
            point[1],
            point[0],
            marker=shape,
            markersize=size,
            markerfacecolor=colour,
            markeredgecolor="black",
            markeredgewidth=0.8,
            linestyle="none",
        )

    def _draw_landmark(self, name: str, fix: LandmarkFix, word: str, side: float) -> None:
        click = np.array([fix.click_row, fix.click_col])
        if fix.refined:
            self._line(np.vstack([click, fix.point_px]), LANDMARK_COLOUR, 0.6)
        self._axes.plot(
            click[1],
            click[0],
            "x",
            color=LANDMARK_COLOUR,
            markersize=3.5,
            markeredgewidth=0.9,
            path_effects=halo(2.2),
        )
        self._marker(fix.point_px, _MARKERS.get(name, "h"), LANDMARK_COLOUR, 5)
        self._labels.append((fix.point_px, word, side))

    def _place_labels(self) -> None:
        """Put the words at the left and right edge, in the order of their points and without overlap."""
        crop = self._crop
        figure_height_in = self._axes.get_position().height * self._axes.figure.get_size_inches()[1]
        step = crop.height_px * 0.19 / figure_height_in
        for side in (-1.0, 1.0):
            chosen = sorted(
                (label for label in self._labels if label[2] == side), key=lambda label: label[0][0]
            )
            rows = spread_rows(
                [float(label[0][0]) for label in chosen], step, crop.top + step, crop.bottom - 2.5 * step
            )
            edge = crop.right - 0.01 * crop.width_px if side > 0 else crop.left + 0.01 * crop.width_px
            for (point, word, _), row in zip(chosen, rows, strict=True):
                self._axes.annotate(
                    word,
                    (point[1], point[0]),
                    (edge, row),
                    ha="right" if side > 0 else "left",
                    va="center",
                    fontsize=8,
                    color="black",
                    bbox=_LABEL_BOX,
                    arrowprops={"arrowstyle": "-", "color": "white", "linewidth": 0.6, "shrinkB": 4},
                )


def spread_rows(rows: Sequence[float], step: float, lowest: float, highest: float) -> list[float]:
    """Move sorted rows apart to at least `step`, staying between the limits where there is room."""
    spread: list[float] = []
    for row in rows:
        spread.append(max(row, lowest, spread[-1] + step if spread else lowest))
    limit = highest
    for index in range(len(spread) - 1, -1, -1):
        spread[index] = min(spread[index], limit)
        limit = spread[index] - step
    return spread
