"""The construction of a curvature method as it is drawn over the image, and the key to its colours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from radio.measure.case import CaseResult
from radio.measure.drawn import Role, Spot, Step, Stroke, image_px
from radio.measure.methods import CurvatureMethod
from radio.record.colours import AXIS_COLOUR, BALL_COLOUR, CHORD_COLOUR, LANDMARK_COLOUR
from radio.record.construction_style import STYLES

FloatArray = npt.NDArray[np.float64]

# File, gap and canal are in view as well, so that their colours are taken here: not those of a construction
# drawn by itself. Straight and round, whole and dashed tell apart what has one colour.
COLOURS: dict[Role, str] = {
    "axis": AXIS_COLOUR,
    "second_axis": BALL_COLOUR,
    "chord": CHORD_COLOUR,
    "arc": CHORD_COLOUR,
    "height": LANDMARK_COLOUR,
}
DASHED: tuple[Role, ...] = ("axis", "second_axis", "height")
# points that carry the label of a landmark already
_LABELLED = ("orifice", "canal end", "file tip")
# segments of a dash and of the space after it; a segment is about a pixel long
DASH = 6


@dataclass(frozen=True)
class KeyEntry:
    """One kind of line of a construction: its name, its colour, and whether it is dashed."""

    title: str
    colour: str
    dashed: bool


def steps_of(result: CaseResult | None, method: CurvatureMethod, upto: int = 0) -> tuple[Step, ...]:
    """Give the steps of a construction, the first `upto` or all (0); none where it cannot be made."""
    if result is None or result.stack is None or (method.needs_mm and result.scale is None):
        return ()
    steps = method.construct(result.stack)
    return steps[:upto] if upto else steps


def construction_lines(
    result: CaseResult | None, method: CurvatureMethod, aspect: float, upto: int = 0
) -> tuple[FloatArray, tuple[str, ...]]:
    """Give the lines of a construction, without the canal, as segments and their colours.

    Parameters
    ----------
    result : CaseResult or None
    method : CurvatureMethod
    aspect : float
        Row spacing over column spacing of the image.
    upto : int
        How many steps; 0 for all.

    Returns
    -------
    ndarray of float64, shape (N, 2, 2), and tuple of N str
        Segments as (start, way), (row, col) in pixels.
    """
    pieces, colours = [np.zeros((0, 2, 2))], []
    for stroke in _strokes(steps_of(result, method, upto)):
        assert result is not None
        points = image_px(stroke.points, result.scale, aspect)
        drawn = dashed(points) if stroke.role in DASHED else segments(points)
        pieces.append(drawn)
        colours += [COLOURS[stroke.role]] * len(drawn)
    return np.concatenate(pieces), tuple(colours)


def construction_points(
    result: CaseResult | None, method: CurvatureMethod, aspect: float, upto: int = 0
) -> tuple[FloatArray, tuple[str, ...]]:
    """Give the points of a construction, shape (N, 2) as (row, col) in pixels, and the words beside them."""
    spots = [
        shape for step in steps_of(result, method, upto) for shape in step.shapes if isinstance(shape, Spot)
    ]
    if result is None or not spots:
        return np.zeros((0, 2)), ()
    assert result.stack is not None
    labelled = {*_LABELLED} | ({"departure"} if result.stack.placed.departure is not None else set())
    points = image_px(np.array([spot.point for spot in spots]), result.scale, aspect)
    return points, tuple("" if spot.name in labelled else spot.name for spot in spots)


def construction_key(result: CaseResult | None, method: CurvatureMethod) -> tuple[KeyEntry, ...]:
    """Name the kinds of line that a construction has, in the order of the styles."""
    there = {stroke.role for stroke in _strokes(steps_of(result, method))}
    return tuple(
        KeyEntry(STYLES[role].title, colour, role in DASHED)
        for role, colour in COLOURS.items()
        if role in there
    )


def segments(points_px: npt.ArrayLike) -> FloatArray:
    """Cut a line of shape (N, 2) into its N - 1 segments, shape (N - 1, 2, 2) as (start, way)."""
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    return np.stack([points[:-1], np.diff(points, axis=0)], axis=1)


def dashed(points_px: FloatArray) -> FloatArray:
    """Cut the legs of a line, shape (N, 2), into dashes; what lies below shows through the spaces."""
    legs = [np.zeros((0, 2, 2))]
    for start, end in pairwise(points_px):
        count = max(round(float(np.hypot(*(end - start))) / (2 * DASH)), 1)
        shares = np.linspace(0.0, 1.0, 2 * count)
        legs.append(segments(start + shares[:, None] * (end - start))[::2])
    return np.concatenate(legs)


def _strokes(steps: tuple[Step, ...]) -> Iterator[Stroke]:
    """Give the lines that are drawn; the canal is there already."""
    for step in steps:
        for shape in step.shapes:
            if isinstance(shape, Stroke) and shape.role in COLOURS:
                yield shape
