"""What a construction is drawn from, step by step; plain shapes in the unit of the trace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from calib.scale import Scale

FloatArray = npt.NDArray[np.float64]
Role = Literal["canal", "axis", "second_axis", "chord", "arc", "height", "point"]


@dataclass(frozen=True, eq=False)
class Stroke:
    """A polyline.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        (row, col).
    role : str
        What it is in the construction; decides colour and dashes.
    """

    points: FloatArray
    role: Role


@dataclass(frozen=True, eq=False)
class Spot:
    """A named point, shape (2,)."""

    point: FloatArray
    name: str
    role: Role = "point"


@dataclass(frozen=True, eq=False)
class Words:
    """A text, such as the value, beside a place, shape (2,)."""

    point: FloatArray
    text: str


Shape = Stroke | Spot | Words


@dataclass(frozen=True, eq=False)
class Step:
    """One step of a construction: what is done, and what it adds to the drawing."""

    text: str
    shapes: tuple[Shape, ...]


def ray(origin: FloatArray, direction: FloatArray, before: float, after: float, role: Role) -> Stroke:
    """Straight piece of a line from `before` behind to `after` ahead of a point on it."""
    return Stroke(np.stack([origin - before * direction, origin + after * direction]), role)


def arc(centre: FloatArray, radius: float, start: FloatArray, stop: FloatArray, role: Role = "arc") -> Stroke:
    """Shorter arc about a centre from one direction to another."""
    first, last = np.arctan2(start[1], start[0]), np.arctan2(stop[1], stop[0])
    return arc_of(centre, radius, start, (last - first + np.pi) % (2 * np.pi) - np.pi, role)


def arc_of(centre: FloatArray, radius: float, start: FloatArray, turn: float, role: Role = "arc") -> Stroke:
    """Arc about a centre from a direction on, through `turn` radians, positive from +row toward +col."""
    angle = np.arctan2(start[1], start[0]) + np.linspace(0.0, turn, 60)
    return Stroke(centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1), role)


def circle(centre: FloatArray, radius: float, role: Role = "arc") -> Stroke:
    """Whole circle."""
    angle = np.linspace(0.0, 2 * np.pi, 181)
    return Stroke(centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1), role)


def image_px(points: FloatArray, scale: Scale | None, aspect: float) -> FloatArray:
    """Points of a construction as (row, col) pixels of the image.

    Parameters
    ----------
    points : ndarray, shape (..., 2)
        In the unit of the trace: millimetres, or square pixels without a scale.
    scale : Scale or None
        What the trace was measured with.
    aspect : float
        Row spacing over column spacing of the image.
    """
    mm = scale.col_mm_per_px if scale is not None else 1.0
    return np.asarray(points / mm / np.array([aspect, 1.0]))
