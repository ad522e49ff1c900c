"""Shapes of a construction on matplotlib axes, with labels that do not overlap."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.measure.drawn import Role, Spot, Step, Stroke, Words
from radio.record.construction_style import line_style, marker_style
from radio.record.construction_view import inside_parts, outside
from radio.record.label_places import place_labels

FloatArray = npt.NDArray[np.float64]

_LINE_SAMPLE_PT = 3.0
_LEADER_FROM_PT = 13.0
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
class _Label:
    anchor: FloatArray
    text: str
    step: int
    value: bool
    there: bool
    points: float


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
    taken = _taken(axes)
    for index, step in enumerate(steps[:shown]):
        wider = look.thin * (_EMPHASIS if emphasised and index == shown - 1 else 1.0)
        for shape in step.shapes:
            if isinstance(shape, Stroke):
                _draw_stroke(axes, shape, look, wider)
            elif isinstance(shape, Spot):
                _draw_spot(axes, shape, look, wider)
    labels = _labels(axes, steps, look)
    centres = _centres(axes, labels, taken, _line_samples(axes, steps, look))
    for label, (anchor, centre) in zip(labels, centres, strict=True):
        if label.step < shown:
            _write(axes, label, anchor, centre, emphasised and label.step == shown - 1)


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
    edges = [0, *(np.flatnonzero(np.diff(flags.astype(int))) + 1).tolist(), len(points)]
    for start, stop in pairwise(edges):
        style = line_style("canal", wider=wider, unsupported=not flags[start])
        _draw_line(axes, points[start : stop + 1], "canal", style)


def _draw_line(axes: Any, points: FloatArray, role: Role, style: dict[str, Any]) -> None:
    axes.plot(points[:, 1], points[:, 0], zorder=_LAYERS[role], gid=role, **style)


def _taken(axes: Any) -> FloatArray:
    """Room that texts and bars drawn before take, in points of the page, shape (P, 2, 2)."""
    axes.apply_aspect()
    renderer, point = axes.figure.canvas.get_renderer(), axes.figure.dpi / 72
    # the extent of a line leaves out its width
    drawn = [(text, 0.0) for text in axes.texts] + [(line, line.get_linewidth()) for line in axes.lines]
    extents = [one.get_window_extent(renderer).get_points() / point + [[-w], [w]] for one, w in drawn]
    return np.asarray(np.array(extents, dtype=np.float64).reshape(len(extents), 2, 2))


def _centres(axes: Any, labels: Sequence[_Label], taken: FloatArray, lines: FloatArray) -> FloatArray:
    """Anchor and centre of every label, in points of the page, shape (L, 2, 2)."""
    if not labels:
        return np.empty((0, 2, 2))
    anchors = axes.transData.transform(np.array([label.anchor[::-1] for label in labels]))
    anchors = anchors * (72 / axes.figure.dpi)
    sizes = np.array([_size_pt(axes, label) for label in labels])
    return np.stack([anchors, place_labels(sizes, anchors, _pane_pt(axes), lines, taken)], axis=1)


def _pane_pt(axes: Any) -> FloatArray:
    """Lower left and upper right corner of the axes, in points of the page."""
    return np.asarray(axes.get_window_extent().get_points() * (72 / axes.figure.dpi))


def _labels(axes: Any, steps: Sequence[Step], look: Look) -> list[_Label]:
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
            found.append(
                _Label(
                    np.clip(anchor, low, high), text, index, isinstance(shape, Words), there, look.label_pt
                )
            )
    return found


def _size_pt(axes: Any, label: _Label) -> tuple[float, float]:
    """Width and height of a label with its box, points; bold, the widest it may come out."""
    text = axes.text(0, 0, label.text, fontsize=label.points, fontweight="bold", parse_math=False)
    extent = text.get_window_extent(axes.figure.canvas.get_renderer())
    text.remove()
    point = axes.figure.dpi / 72
    return extent.width / point + 4.0, extent.height / point + 3.0


def _line_samples(axes: Any, steps: Sequence[Step], look: Look) -> FloatArray:
    """Samples of all lines in view, evenly spaced, in points of the page, shape (M, 2)."""
    pane, point = _pane_pt(axes), axes.figure.dpi / 72
    found = [np.empty((0, 2))]
    for step in steps:
        for shape in step.shapes:
            if not isinstance(shape, Stroke):
                continue
            at = axes.transData.transform(look.place(shape.points)[:, ::-1]) / point
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(at, axis=0).T))])
            wanted = np.arange(0.0, min(along[-1], 20_000.0), _LINE_SAMPLE_PT)
            even = np.stack([np.interp(wanted, along, at[:, axis]) for axis in (0, 1)], axis=1)
            found.append(even[((even >= pane[0]) & (even <= pane[1])).all(axis=1)])
    return np.concatenate(found)


def _write(axes: Any, label: _Label, anchor: FloatArray, centre: FloatArray, stands_out: bool) -> None:
    leader = label.there and float(np.hypot(*(centre - anchor))) > _LEADER_FROM_PT
    axes.annotate(
        label.text,
        (label.anchor[1], label.anchor[0]),
        tuple(centre - anchor),
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=label.points,
        fontweight="bold" if label.value or stands_out else "normal",
        color="black",
        parse_math=False,
        zorder=4,
        annotation_clip=False,
        bbox={
            "boxstyle": "square,pad=0.12",
            "facecolor": "white",
            "edgecolor": "black" if stands_out else "none",
            "alpha": 0.9,
        },
        arrowprops={"arrowstyle": "-", "color": "#777777", "linewidth": 0.7, "shrinkB": 3}
        if leader
        else None,
    )
