"""The sides a canal in space is drawn from: the two views, at right angles to the first, along the tooth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from radio.measure.drawn import Shape, Stroke, Words
from radio.measure.stack import FloatArray
from radio.measure.two_views import CanalInSpace
from radio.measure.view_pair import ViewPair
from radio.record.construction_view import Box
from radio.record.wording import value_text

# Room about a drawing and the least width of a panel, shares of the height of the canal
_ROOM, _LEAST_SIDE = 0.12, 0.36
# Two views this near to a right angle, degrees, show their depth in the second.
_RIGHT_DEG = 0.5


@dataclass(frozen=True, eq=False)
class Panel:
    """One view of the canal; points are (row, col) of the panel, mm, rows downward.

    Parameters
    ----------
    name : str
        Label of its axes.
    title, row_label, col_label : str
    canal : ndarray, shape (N, 2)
    sd : ndarray, shape (N, 2), or None
        Standard uncertainty of row and col.
    more : tuple of Shape
        What is drawn beside the canal.
    """

    name: str
    title: str
    row_label: str
    col_label: str
    canal: FloatArray
    sd: FloatArray | None
    more: tuple[Shape, ...]

    def box(self, height: float) -> Box:
        """What is shown, for a canal of a height in mm."""
        twice = 0.0 if self.sd is None else 2 * self.sd
        parts = [shape.points if isinstance(shape, Stroke) else shape.point[None] for shape in self.more]
        gathered = np.vstack([self.canal - twice, self.canal + twice, *parts])
        low, high = gathered.min(axis=0) - _ROOM * height, gathered.max(axis=0) + _ROOM * height
        middle, half = 0.5 * (low + high), np.maximum(0.5 * (high - low), 0.5 * _LEAST_SIDE * height)
        (top, left), (bottom, right) = (middle - half).tolist(), (middle + half).tolist()
        return Box(top, bottom, left, right)


def panels_of(pair: ViewPair, space: CanalInSpace) -> list[Panel]:
    """The two views, the look at right angles to the first, and the look along the tooth."""
    height, across, depth = space.points_mm.T
    turn = np.radians(space.between_views_deg)
    first, second = (
        view * [factor, factor, factor] for view, factor in zip(space.views, space.scale_factors, strict=True)
    )
    sd = space.sd_mm
    seen_sd = None if sd is None else np.interp(height, second[:, 0], second[:, 2])
    seen = across * np.cos(turn) + depth * np.sin(turn)
    square = abs(space.between_views_deg - 90.0) <= _RIGHT_DEG
    panels = [
        _from_side("first view", "First view", "across, mm", height, across, _column(sd, 0), first),
        _from_side(
            "second view",
            f"Second view ({space.between_views_deg:g}°)",
            "depth, mm" if square else "across in that view, mm",
            height,
            seen,
            seen_sd,
            second,
        ),
    ]
    if not square:
        panels.append(
            _from_side("depth", "Square to the first", "depth, mm", height, depth, _column(sd, 1), None)
        )
    return [*panels, _along(pair, space)]


def _column(sd: FloatArray | None, index: int) -> FloatArray | None:
    return None if sd is None else sd[:, index]


def _from_side(
    name: str,
    title: str,
    label: str,
    height: FloatArray,
    aside: FloatArray,
    sd: FloatArray | None,
    trace: FloatArray | None,
) -> Panel:
    """The canal from one side, with the trace measured there."""
    canal = np.stack([height, aside], axis=1)
    spread = None if sd is None else np.stack([np.zeros_like(sd), sd], axis=1)
    more: tuple[Shape, ...] = () if trace is None else (Stroke(trace[:, :2], "height"),)
    return Panel(name, title, "height along the tooth, mm", label, canal, spread, more)


def _along(pair: ViewPair, space: CanalInSpace) -> Panel:
    """The canal seen along the tooth, depth upward, with the direction of its bend."""
    canal = space.points_mm[:, [2, 1]] * [-1.0, 1.0]
    reach = max(1.6 * float(np.hypot(*canal.T).max()), 0.1 * float(space.points_mm[-1, 0]))
    more: list[Shape] = []
    if abs(space.between_views_deg - 90.0) > _RIGHT_DEG:
        place = reach * _toward(space.between_views_deg)
        more += [Stroke(np.stack([np.zeros(2), place]), "second_axis"), Words(place, "across, second view")]
    told = _direction(pair, space)
    if told is not None:
        degrees, words = told
        place = reach * _toward(degrees)
        more += [Stroke(np.stack([np.zeros(2), place]), "axis"), Words(place, words)]
    spread = None if space.sd_mm is None else space.sd_mm[:, [1, 0]]
    return Panel("along", "Along the tooth", "depth, mm", "across, mm", canal, spread, tuple(more))


def _toward(degrees: float) -> FloatArray:
    """Direction in the look along the tooth, (row, col), depth upward."""
    return np.array([-np.sin(np.radians(degrees)), np.cos(np.radians(degrees))])


def _direction(pair: ViewPair, space: CanalInSpace) -> tuple[float, str] | None:
    """Direction of the bend with its name, else that of the canal end; none where it is not known."""
    plane = pair.measurements.get("bend_plane_deg")
    if plane is not None:
        # it has a note where it is not known
        return None if plane.notes else (plane.value, f"bend {value_text(plane)}°")
    _, across, depth = space.points_mm[-1]
    degrees = float(np.degrees(np.arctan2(depth, across)))
    return degrees, f"toward the end {degrees:.0f}°"
