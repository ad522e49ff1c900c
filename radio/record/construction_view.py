"""Where a construction lies: from the unit of the trace to the image, and which part is shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from radio.errors import PeriapicalError
from radio.measure.case import CaseResult
from radio.measure.drawn import Step, Stroke, Words, image_px
from radio.measure.methods import CurvatureMethod
from radio.measure.stack import TraceStack
from radio.record.picture_view import Crop
from radio.record.wording import title_of

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

FloatArray = npt.NDArray[np.float64]

# How far a construction is followed beyond the canal, and the room left about it; shares of its length
_REACH = 0.35
_MARGIN = 0.07
# Labels need room to either side of a narrow construction.
_LEAST_SIDE = 0.62
_BAR_LENGTHS = (500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0)


@dataclass(frozen=True)
class Box:
    """What is shown of a construction, in the unit of the trace."""

    top: float
    bottom: float
    left: float
    right: float

    @property
    def height(self) -> float:
        """Extent along the rows."""
        return self.bottom - self.top

    @property
    def width(self) -> float:
        """Extent along the columns."""
        return self.right - self.left

    def size_in(self, tallest: float, widest: float) -> tuple[float, float]:
        """Width and height on paper, inches, that fit and keep the proportions."""
        inch = min(tallest / self.height, widest / self.width)
        return self.width * inch, self.height * inch

    def crop(self, scale: Scale | None, aspect: float) -> Crop:
        """The same as part of the image; it may reach beyond the image."""
        corners = np.array([[self.top, self.left], [self.bottom, self.right]])
        (top, left), (bottom, right) = image_px(corners, scale, aspect).tolist()
        return Crop(top, bottom, left, right)


def box_of(stack: TraceStack, steps: Sequence[Step] = (), *, least_side: float = _LEAST_SIDE) -> Box:
    """Find what to show: the canal, and its construction as far as that stays near it.

    Parameters
    ----------
    stack : TraceStack
        Its first trace is the canal.
    steps : sequence of Step
        The whole construction, so that every step is shown in the same frame.
    least_side : float
        Neither side is shorter than this share of the other.
    """
    canal = stack.points[0]
    length = float(stack.length[0])
    low, high = canal.min(axis=0) - _REACH * length, canal.max(axis=0) + _REACH * length
    found = [canal]
    for step in steps:
        for shape in step.shapes:
            points = shape.points if isinstance(shape, Stroke) else shape.point[None]
            if not (isinstance(shape, Words) and outside(points[0], low, high)):
                found.append(np.clip(points[np.isfinite(points).all(axis=1)], low, high))
    gathered = np.vstack(found)
    low, high = gathered.min(axis=0) - _MARGIN * length, gathered.max(axis=0) + _MARGIN * length
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    half = np.maximum(half, least_side * half[::-1])
    (top, left), (bottom, right) = (middle - half).tolist(), (middle + half).tolist()
    return Box(top, bottom, left, right)


def outside(point: FloatArray, low: FloatArray, high: FloatArray) -> bool:
    """Whether a point, shape (2,), lies outside a box or nowhere."""
    return not bool(((point >= low) & (point <= high)).all())


def inside_parts(points: FloatArray, low: FloatArray, high: FloatArray) -> list[FloatArray]:
    """Parts of a polyline that lie inside a box; viewers of SVG differ in what they cut off by themselves.

    Each piece is cut where it meets the sides (Liang and Barsky 1984, ACM Trans Graph 3:1).

    Parameters
    ----------
    points : ndarray, shape (N, 2)
    low, high : ndarray, shape (2,)
        Corners of the box.

    Returns
    -------
    list of ndarray, each of shape (M, 2)
        In the order of the line.
    """
    parts: list[list[FloatArray]] = []
    joined = False
    for start, stop in pairwise(points):
        step = stop - start
        along = step != 0
        with np.errstate(divide="ignore", invalid="ignore"):
            meets = np.sort(np.stack([(low - start) / step, (high - start) / step]), axis=0)
        enters, leaves = max([0.0, *meets[0][along].tolist()]), min([1.0, *meets[1][along].tolist()])
        beside = ~along & ((start < low) | (start > high))
        if beside.any() or not enters < leaves:
            joined = False
            continue
        if not joined or enters > 0.0:
            parts.append([start + enters * step])
        parts[-1].append(start + leaves * step)
        joined = leaves == 1.0
    return [np.array(part) for part in parts]


def supported_samples(result: CaseResult, stack: TraceStack) -> npt.NDArray[np.bool_]:
    """Whether the image shows the canal at each sample of the trace, shape (N,)."""
    line = result.canal_line
    share = stack.s[0] / stack.length[0]
    if line is None:
        return np.ones(len(share), dtype=bool)
    steps = np.hypot(*np.diff(line.points_px, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    return np.asarray(np.interp(share, along / along[-1], line.confident.astype(float)) >= 0.5)


def stack_to_draw(radiograph: Radiograph, result: CaseResult, method: CurvatureMethod | None) -> TraceStack:
    """The traces of a canal that a picture can be drawn from.

    Parameters
    ----------
    radiograph : Radiograph
        For its name.
    result : CaseResult
    method : CurvatureMethod or None
        The method to draw; None for a picture of the canal as such.

    Raises
    ------
    PeriapicalError
        There is no canal line, or the method needs millimetres and there is no scale.
    """
    what = "the curvature" if method is None else method.title
    who = f"{image_name(radiograph)}, {title_of(result.facts)}: {what} cannot be drawn"
    if result.stack is None:
        raise PeriapicalError(
            f"{who}: there is no canal line. Click its orifice and its end; see the remarks."
        )
    if method is not None and method.needs_mm and result.stack.unit != "mm":
        raise PeriapicalError(
            f"{who}: its construction has lengths in millimetres and there is no scale. Give one: a file or "
            "ball of known size, or mm_per_px."
        )
    return result.stack


def image_name(radiograph: Radiograph) -> str:
    """Name of the image for people."""
    return radiograph.path.name if radiograph.path else "image without a name"


def draw_bar(axes: Any, box: Box, unit: str, origin: FloatArray) -> None:
    """Draw a bar of a whole number of units at the lower left of a diagram without an image.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes in the unit of the trace.
    box : Box
        What they show.
    unit : str
    origin : ndarray, shape (2,)
        Place of the trace that is their origin.
    """
    length = next((one for one in _BAR_LENGTHS if one < 0.35 * box.width), _BAR_LENGTHS[-1])
    row = box.bottom - origin[0] - 0.03 * box.height
    left = box.left - origin[1] + 0.04 * box.width
    axes.plot([left, left + length], [row, row], color="black", linewidth=2.0, solid_capstyle="butt")
    axes.annotate(f"{length:g} {unit}", (left, row), (0, 3), textcoords="offset points", fontsize=6.5)
