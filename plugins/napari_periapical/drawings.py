"""From what is placed and measured to what is drawn: geometry, colours and words; no viewer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from napari_periapical.construction import DASH, construction_lines, construction_points, segments
from napari_periapical.guide import GUIDE
from napari_periapical.sheet import Canal
from radio.measure.case import CaseResult
from radio.measure.methods import METHODS, CurvatureMethod
from radio.record.colours import (
    AXIS_COLOUR,
    BALL_COLOUR,
    CANAL_COLOUR,
    FILE_COLOUR,
    GAP_COLOUR,
    LANDMARK_COLOUR,
)
from radio.trace.line import Line

FloatArray = npt.NDArray[np.float64]
LayerKind = Literal["points", "vectors"]

GROUP_COLOURS = {
    "file": FILE_COLOUR,
    "canal": CANAL_COLOUR,
    "root": LANDMARK_COLOUR,
    "ball": BALL_COLOUR,
    "curve": AXIS_COLOUR,
}

# bottom to top; the landmarks come last so that they lie on top
ROLES = ("file", "canal", "gap", "construction", "marks", "found", "landmarks")
LANDMARKS_ROLE = "landmarks"
# labels of points nearer to each other than this, down and across, stand below each other
_CLOSE_PX = 18.0, 45.0


@dataclass(frozen=True, eq=False)
class Drawing:
    """What one layer shows.

    Parameters
    ----------
    role : str
        Which of our layers; see :data:`ROLES`.
    kind : {"points", "vectors"}
        Kind of layer.
    data : ndarray of float64
        Points (N, 2) or segments (N, 2, 2) as (start, way), in pixels as (row, col).
    colours : tuple of str
        One for each point or segment.
    labels : tuple of str
        Text beside each point; none for segments.
    keys : tuple of (landmark, index)
        Which point is which, for the landmarks.
    """

    role: str
    kind: LayerKind
    data: FloatArray
    colours: tuple[str, ...] = ()
    labels: tuple[str, ...] = ()
    keys: tuple[tuple[str, int], ...] = field(default=())

    def same_as(self, other: Drawing | None) -> bool:
        """Whether nothing would change on the screen."""
        return (
            other is not None
            and (self.colours, self.labels, self.keys) == (other.colours, other.labels, other.keys)
            and np.array_equal(self.data, other.data)
        )


def landmarks_drawing(canal: Canal) -> Drawing:
    """Draw the points as placed; float64 always, so that a moved point keeps its fractions of a pixel."""
    keys = tuple((name, k) for name, points in canal.clicks for k in range(len(points)))
    data = np.array([p for _, points in canal.clicks for p in points], dtype=np.float64).reshape(-1, 2)
    colours = tuple(GROUP_COLOURS[GUIDE[name].group] for name, _ in keys)
    labels = _apart(data, [GUIDE[name].short for name, _ in keys])
    return Drawing("landmarks", "points", data, colours, labels, keys)


def _apart(points: FloatArray, words: Sequence[str]) -> tuple[str, ...]:
    """Write labels beside their points, as many lines lower as there are labels close by already."""
    lines: list[int | None] = []
    for k, word in enumerate(words):
        near = (np.abs(points[:k] - points[k]) < _CLOSE_PX).all(axis=1)
        taken = {line for line, close in zip(lines, near, strict=True) if close}
        lines.append(next(n for n in range(k + 1) if n not in taken) if word else None)
    return tuple("\n" * (line or 0) + f"  {word}" for word, line in zip(words, lines, strict=True))


def _beside_landmarks(result: CaseResult | None, points: FloatArray, words: Sequence[str]) -> tuple[str, ...]:
    """Write labels of a result below those of its landmarks, which a layer of their own shows."""
    fixes = list(result.landmarks.values()) if result else []
    clicked = np.array([[fix.click_row, fix.click_col] for fix in fixes]).reshape(-1, 2)
    shown = [GUIDE[fix.name].short for fix in fixes]
    return _apart(np.concatenate([clicked, points]), [*shown, *words])[len(fixes) :]


def result_drawings(
    result: CaseResult | None,
    others: Iterable[CaseResult] = (),
    *,
    method: CurvatureMethod = METHODS[0],
    aspect: float = 1.0,
) -> list[Drawing]:
    """Draw lines, found landmarks, gap and construction of one canal, and the lines of the others.

    Parameters
    ----------
    result : CaseResult or None
        Of the canal worked on.
    others : iterable of CaseResult
        Of the other canals of the image; only their lines are drawn.
    method : CurvatureMethod
        Whose construction is drawn.
    aspect : float
        Row spacing over column spacing of the image.
    """
    lines, line_colours = construction_lines(result, method, aspect)
    marks, names = construction_points(result, method, aspect)
    both = [r for r in (result, *others) if r is not None]
    found = [fix for fix in (result.landmarks.values() if result else ()) if fix.refined]
    return [
        _lines("file", [r.file_line for r in both], FILE_COLOUR),
        _lines("canal", [r.canal_line for r in both], CANAL_COLOUR),
        _gap(result),
        Drawing("construction", "vectors", lines, line_colours),
        Drawing(
            "marks", "points", marks, (LANDMARK_COLOUR,) * len(marks), _beside_landmarks(result, marks, names)
        ),
        Drawing(
            "found",
            "points",
            np.array([[fix.row, fix.col] for fix in found], dtype=np.float64).reshape(-1, 2),
            (LANDMARK_COLOUR,) * len(found),
        ),
    ]


def _lines(role: str, lines: Iterable[Line | None], colour: str) -> Drawing:
    """Draw lines; stretches the image does not support are dashed."""
    pieces = [np.zeros((0, 2, 2))]
    for line in lines:
        if line is None or len(line.points_px) < 2:
            continue
        all_segments = segments(line.points_px)
        sure = line.confident[:-1] & line.confident[1:]
        dash = (np.arange(len(sure)) // DASH) % 2 == 0
        pieces.append(all_segments[sure | dash])
    data = np.concatenate(pieces)
    return Drawing(role, "vectors", data, (colour,) * len(data))


def _gap(result: CaseResult | None) -> Drawing:
    """Draw the gap along the canal between file tip and radiographic apex."""
    nothing = Drawing("gap", "vectors", np.zeros((0, 2, 2)))
    if result is None or "gap_mm" not in result.measurements or result.canal_line is None:
        return nothing
    tip, apex = (result.landmarks[name].point_px for name in ("file_tip", "apex"))
    points = result.canal_line.points_px
    first, last = sorted(int(np.argmin(np.hypot(*(points - p).T))) for p in (tip, apex))
    way = points[first : last + 1]
    ends = (tip, apex) if result.measurements["gap_mm"].value >= 0 else (apex, tip)
    way = np.vstack([ends[0], way[1:-1], ends[1]]) if len(way) > 2 else np.vstack(ends)
    pieces = segments(way)
    return Drawing("gap", "vectors", pieces, (GAP_COLOUR,) * len(pieces))
