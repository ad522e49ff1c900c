"""Shapes of a construction on matplotlib axes, with labels that do not overlap."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import Role, Spot, Step, Stroke, Words
from radio.record.construction_style import line_style, marker_style
from radio.record.construction_view import inside_parts, outside
from radio.record.labels import Label, label_centres, supported_stretches, taken_room, write_label

FloatArray = npt.NDArray[np.float64]

_EMPHASIS = 1.7
_LAYERS: Mapping[Role, float] = {
    "canal": 2.0,
    "arc": 2.2,
    "second_axis": 2.3,
    "axis": 2.4,
    "height": 2.5,
    "chord": 2.6,
    "point": 3.0,
}


@dataclass(frozen=True, eq=False)
class _OfStep:
    """A label and the step that it belongs to."""

    step: int
    label: Label


@dataclass(frozen=True, eq=False)
class Look:
    """How a construction is drawn on axes.

    Parameters
    ----------
    place : callable
        From points in the unit of the trace, shape (N, 2), to (row, col) of the axes.
    supported : ndarray of bool, shape (N,), optional
        Where the image shows the canal; elsewhere it is dashed.
    thin : float
        Factor of all widths, for small panels.
    names : bool
        Whether points are named; values always are.
    label_pt : float
        Size of the type.
    """

    place: Callable[[FloatArray], FloatArray]
    supported: npt.NDArray[np.bool_] | None = None
    thin: float = 1.0
    names: bool = True
    label_pt: float = 8.0


def draw_steps_on(
    axes: Any, steps: Sequence[Step], look: Look, *, shown: int, emphasised: bool = False
) -> None:
    """Draw the first steps of a construction.

    Labels keep their places whatever the number of steps shown.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes whose limits are set; rows grow downward.
    steps : sequence of Step
        The whole construction.
    look : Look
    shown : int
        Number of steps to draw.
    emphasised : bool
        Whether the last of them stands out.
    """
    taken = taken_room(axes)
    for index, step in enumerate(steps[:shown]):
        wider = look.thin * (_EMPHASIS if emphasised and index == shown - 1 else 1.0)
        for shape in step.shapes:
            if isinstance(shape, Stroke):
                _draw_stroke(axes, shape, look, wider)
            elif isinstance(shape, Spot):
                _draw_spot(axes, shape, look, wider)
    found = _labels(axes, steps, look)
    strokes = (shape for step in steps for shape in step.shapes if isinstance(shape, Stroke))
    lines = (look.place(stroke.points) for stroke in strokes)
    centres = label_centres(axes, [one.label for one in found], taken, lines)
    for one, (anchor, centre) in zip(found, centres, strict=True):
        if one.step < shown:
            stands_out = emphasised and one.step == shown - 1
            write_label(axes, replace(one.label, framed=stands_out), anchor, centre)


def _draw_stroke(axes: Any, stroke: Stroke, look: Look, wider: float) -> None:
    points = look.place(stroke.points)
    if stroke.role == "canal":
        draw_canal(axes, points, look.supported, wider=wider)
        return
    for part in inside_parts(points, *_limits(axes)):
        _draw_line(axes, part, stroke.role, line_style(stroke.role, wider=wider))


def _limits(axes: Any) -> tuple[FloatArray, FloatArray]:
    """Least and greatest (row, col) in view, shapes (2,)."""
    limits = np.array([axes.get_ylim(), axes.get_xlim()])
    return limits.min(axis=1), limits.max(axis=1)


def _draw_spot(axes: Any, spot: Spot, look: Look, wider: float) -> None:
    point, (low, high) = look.place(spot.point), _limits(axes)
    if not outside(point, low, high):
        style = marker_style(spot.name, wider=wider)
        axes.plot(point[1], point[0], zorder=_LAYERS["point"], gid=f"spot {spot.name}", **style)


def draw_canal(
    axes: Any, points: FloatArray, supported: npt.NDArray[np.bool_] | None, *, wider: float = 1.0
) -> None:
    """Draw the canal whole where the image shows it and dashed where it does not.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    points : ndarray, shape (N, 2)
        (row, col) of the axes.
    supported : ndarray of bool, shape (N,), or None
        Where the image shows it; None draws it whole.
    wider : float
        Factor of the width.
    """
    flags = np.ones(len(points), dtype=bool) if supported is None else supported
    for part, shown in supported_stretches(points, flags):
        _draw_line(axes, part, "canal", line_style("canal", wider=wider, unsupported=not shown))


def _draw_line(axes: Any, points: FloatArray, role: Role, style: dict[str, Any]) -> None:
    axes.plot(points[:, 1], points[:, 0], zorder=_LAYERS[role], gid=role, **style)


def _labels(axes: Any, steps: Sequence[Step], look: Look) -> list[_OfStep]:
    """Labels of all steps; one whose point is out of view stands at the edge and says so."""
    low, high = _limits(axes)
    found = []
    for index, step in enumerate(steps):
        for shape in step.shapes:
            named = isinstance(shape, Spot) and look.names and shape.name
            if not isinstance(shape, Words) and not named:
                continue
            text = shape.text if isinstance(shape, Words) else shape.name  # type: ignore[union-attr]
            anchor = look.place(shape.point)  # type: ignore[union-attr]
            if not np.isfinite(anchor).all():
                continue
            there = not outside(anchor, low, high)
            if not there and isinstance(shape, Spot):
                text = f"{text}: beyond this edge"
            value = isinstance(shape, Words)
            label = Label(np.clip(anchor, low, high), text, look.label_pt, bold=value, there=there)
            found.append(_OfStep(index, label))
    return found
