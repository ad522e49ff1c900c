"""From what is placed and measured to what is drawn: geometry, colours and words; no viewer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from napari_periapical.construction import DASH, construction_lines, construction_points, segments
from napari_periapical.guide import GUIDE
from napari_periapical.number_rows import beside_canal
from napari_periapical.sheet import Canal
from radio.measure.case import CaseResult
from radio.measure.methods import METHODS, CurvatureMethod
from radio.record.colours import (
    AXIS_COLOUR,
    BALL_COLOUR,
    CANAL_COLOUR,
    CANAL_COLOURS,
    FILE_COLOUR,
    GAP_COLOUR,
    LANDMARK_COLOUR,
)
from radio.trace.line import Line, LineKind

FloatArray = npt.NDArray[np.float64]
LayerKind = Literal["points", "vectors", "box"]

GROUP_COLOURS = {
    "file": FILE_COLOUR,
    "canal": CANAL_COLOUR,
    "root": LANDMARK_COLOUR,
    "ball": BALL_COLOUR,
    "curve": AXIS_COLOUR,
}

# bottom to top; the landmarks come last so that they lie on top
ROLES = ("file", "canal", "gap", "construction", "marks", "found", "live", "names", "numbers", "landmarks")
LANDMARKS_ROLE, LIVE_ROLE = "landmarks", "live"
# a point that stays exactly where it was put is drawn as a square ring, any other as a round one
PLAIN_SYMBOL, EXACT_SYMBOL = "disc", "square"
# the live line has a multiple of this many segments
_STOCK = 128
# labels of points nearer to each other than this, down and across, stand below each other
_CLOSE_PX = 18.0, 45.0


@dataclass(frozen=True, eq=False)
class Drawing:
    """What one layer shows.

    Parameters
    ----------
    role : str
        Which of our layers; see :data:`ROLES`.
    kind : {"points", "vectors", "box"}
        Kind of layer; a box holds text on a dark ground.
    data : ndarray of float64
        Points (N, 2), segments (N, 2, 2) as (start, way), or where the text of a box belongs (N, 2), in
        pixels as (row, col).
    colours : tuple of str
        One for each point or segment.
    labels : tuple of str
        Text beside each point; none for segments.
    keys : tuple of (landmark, index)
        Which point is which, for the landmarks; the side a box stands on, for boxes.
    symbols : tuple of str
        Shape of each point, where they differ.
    avoid : ndarray of float64, shape (M, 2)
        What a box must not cover, (row, col) in pixels.
    within : tuple of int
        Rows and columns of the image a box should stay on; (0, 0) where that does not matter.
    """

    role: str
    kind: LayerKind
    data: FloatArray
    colours: tuple[str, ...] = ()
    labels: tuple[str, ...] = ()
    keys: tuple[tuple[str, int], ...] = field(default=())
    symbols: tuple[str, ...] = ()
    avoid: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    within: tuple[int, int] = (0, 0)

    def same_as(self, other: Drawing | None) -> bool:
        """Whether nothing would change on the screen."""
        if other is None or self._words != other._words:
            return False
        pairs = ((self.data, other.data), (self.avoid, other.avoid))
        return all(np.array_equal(mine, theirs, equal_nan=True) for mine, theirs in pairs)

    @property
    def _words(self) -> tuple[object, ...]:
        return self.colours, self.labels, self.keys, self.symbols


def canal_colour(uid: int) -> str:
    """Colour of a canal, which it keeps whichever canal is worked on."""
    return CANAL_COLOURS[uid % len(CANAL_COLOURS)]


def live_drawing(line_px: FloatArray | None, kind: LineKind | None, uid: int) -> Drawing:
    """Draw the line that follows the pointer, in the colour of what is traced."""
    if line_px is None or kind is None:
        return Drawing(LIVE_ROLE, "vectors", np.zeros((0, 2, 2)))
    pieces = _in_stock(segments(line_px))
    colour = FILE_COLOUR if kind == "file" else canal_colour(uid)
    return Drawing(LIVE_ROLE, "vectors", pieces, (colour,) * len(pieces))


def _in_stock(pieces: FloatArray) -> FloatArray:
    """Cut the last segment up until their number is a round one.

    A layer whose number of segments stays the same is redrawn many times faster.
    """
    parts = 1 - len(pieces) % -_STOCK
    start, way = pieces[-1]
    cut = start + np.arange(parts)[:, None] / parts * way
    last = np.stack([cut, np.broadcast_to(way / parts, cut.shape)], axis=1)
    return np.concatenate([pieces[:-1], last])


def landmarks_drawing(canal: Canal) -> Drawing:
    """Draw the points as placed; float64 always, so that a moved point keeps its fractions of a pixel."""
    keys = tuple((name, k) for name, points in canal.clicks for k in range(len(points)))
    data = np.array([p for _, points in canal.clicks for p in points], dtype=np.float64).reshape(-1, 2)
    groups = {**GROUP_COLOURS, "canal": canal_colour(canal.uid)}
    colours = tuple(groups[GUIDE[name].group] for name, _ in keys)
    labels = _apart(data, [GUIDE[name].short for name, _ in keys])
    symbols = tuple(EXACT_SYMBOL if key in canal.facts.exact else PLAIN_SYMBOL for key in keys)
    return Drawing("landmarks", "points", data, colours, labels, keys, symbols)


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


@dataclass(frozen=True, eq=False)
class CanalShown:
    """What is drawn of one canal.

    Parameters
    ----------
    uid : int
        Which canal.
    result : CaseResult
    """

    uid: int
    result: CaseResult


def result_drawings(
    canal: CanalShown | None,
    others: Sequence[CanalShown] = (),
    *,
    methods: Sequence[CurvatureMethod] = METHODS[:1],
    upto: int = 0,
    aspect: float = 1.0,
    numbers: CurvatureMethod | None = METHODS[0],
    size: tuple[int, int] = (0, 0),
) -> list[Drawing]:
    """Draw lines, found landmarks, gap, construction and numbers of one canal, and the lines of the others.

    Parameters
    ----------
    canal : CanalShown or None
        The canal worked on.
    others : sequence of CanalShown
        The other canals of the image; only their lines are drawn, with their names.
    methods : sequence of CurvatureMethod
        Whose constructions are drawn; the last is the chosen one.
    upto : int
        How many steps of the construction of the chosen method; 0 for all.
    aspect : float
        Row spacing over column spacing of the image.
    numbers : CurvatureMethod or None
        The method whose numbers stand beside the canal with the lengths; None for no numbers there.
    size : tuple of int
        Rows and columns of the image; numbers stand where there is room on it.
    """
    result = canal.result if canal else None
    there = [one for one in (canal, *others) if one is not None]
    found = [fix for fix in (result.landmarks.values() if result else ()) if fix.refined]
    return [
        _lines("file", [(one.result.file_line, FILE_COLOUR) for one in there]),
        _lines("canal", [(one.result.canal_line, canal_colour(one.uid)) for one in there]),
        _gap(result),
        *_constructions(result, methods, upto, aspect),
        Drawing(
            "found",
            "points",
            np.array([[fix.row, fix.col] for fix in found], dtype=np.float64).reshape(-1, 2),
            (LANDMARK_COLOUR,) * len(found),
        ),
        numbers_drawing(result, there, size, numbers),
        names_drawing(there if others else ()),
    ]


def _constructions(
    result: CaseResult | None, methods: Sequence[CurvatureMethod], upto: int, aspect: float
) -> tuple[Drawing, Drawing]:
    """Draw the constructions, only the last of them step by step, and name the points of that one."""
    pieces, colours = [np.zeros((0, 2, 2))], list[str]()
    for method in methods:
        lines, of_lines = construction_lines(result, method, aspect, upto if method is methods[-1] else 0)
        pieces.append(lines)
        colours += of_lines
    marks, names = np.zeros((0, 2)), tuple[str, ...]()
    if methods:
        marks, names = construction_points(result, methods[-1], aspect, upto)
    return (
        Drawing("construction", "vectors", np.concatenate(pieces), tuple(colours)),
        Drawing(
            "marks", "points", marks, (LANDMARK_COLOUR,) * len(marks), _beside_landmarks(result, marks, names)
        ),
    )


def numbers_drawing(
    result: CaseResult | None,
    there: Sequence[CanalShown] = (),
    size: tuple[int, int] = (0, 0),
    method: CurvatureMethod | None = METHODS[0],
) -> Drawing:
    """Write the main numbers beside the canal, or the file: where exactly, their size on the screen decides.

    Parameters
    ----------
    result : CaseResult or None
        The canal worked on.
    there : sequence of CanalShown
        All canals that are drawn; their lines and points stay free.
    size : tuple of int
        Rows and columns of the image.
    method : CurvatureMethod or None
        Whose numbers; None for none at all.
    """
    text = beside_canal(result, method) if method is not None else ""
    line = None if result is None else result.canal_line or result.file_line
    if line is None or not text:
        return Drawing("numbers", "box", np.zeros((0, 2)))
    middle = line.points_px[len(line.points_px) // 2]
    side = "left" if middle[1] > size[1] / 2 > 0 else "right"
    return Drawing(
        "numbers",
        "box",
        middle[None],
        (LANDMARK_COLOUR,),
        (text,),
        ((side, 0),),
        avoid=np.concatenate([np.zeros((0, 2)), *(_taken(one.result) for one in there)]),
        within=size,
    )


def _taken(result: CaseResult) -> FloatArray:
    """Give places of lines and landmarks of a canal, shape (N, 2), dense enough not to be missed by a box."""
    lines = [one.points_px[::4] for one in (result.file_line, result.canal_line) if one is not None]
    marks = [[(fix.row, fix.col), (fix.click_row, fix.click_col)] for fix in result.landmarks.values()]
    return np.concatenate([np.zeros((0, 2)), *lines, *map(np.array, marks)])


def names_drawing(canals: Sequence[CanalShown]) -> Drawing:
    """Name each canal at its coronal end, where there are several."""
    there = [(one, one.result.canal_line or one.result.file_line) for one in canals]
    lines = [(one, line) for one, line in there if line is not None]
    ends = np.array([line.points_px[0] for _, line in lines], dtype=np.float64).reshape(-1, 2)
    words = _apart(ends, [_called(one.result.facts.canal) for one, _ in lines])
    return Drawing("names", "points", ends, tuple(canal_colour(one.uid) for one, _ in lines), words)


def _called(name: str) -> str:
    return f"canal {name}" if name.isdigit() else name


def _lines(role: str, lines: Iterable[tuple[Line | None, str]]) -> Drawing:
    """Draw lines in their colours; stretches the image does not support are dashed."""
    pieces, colours = [np.zeros((0, 2, 2))], list[str]()
    for line, colour in lines:
        if line is None or len(line.points_px) < 2:
            continue
        all_segments = segments(line.points_px)
        sure = line.confident[:-1] & line.confident[1:]
        dash = (np.arange(len(sure)) // DASH) % 2 == 0
        pieces.append(all_segments[sure | dash])
        colours += [colour] * len(pieces[-1])
    return Drawing(role, "vectors", np.concatenate(pieces), tuple(colours))


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
