"""Labels on matplotlib axes: measured, placed so that they do not overlap, and led to their points."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.record.label_places import place_labels

FloatArray = npt.NDArray[np.float64]

_LINE_SAMPLE_PT = 3.0
_LEADER_FROM_PT = 13.0


@dataclass(frozen=True, eq=False)
class Label:
    """A label of a point.

    Parameters
    ----------
    anchor : ndarray, shape (2,)
        (row, col) of the axes.
    text : str
    points : float
        Size of the type.
    bold : bool
        As for a value.
    there : bool
        Whether the point is in view; no line leads to one that is not.
    framed : bool
        Whether it stands out.
    """

    anchor: FloatArray
    text: str
    points: float = 8.0
    bold: bool = False
    there: bool = True
    framed: bool = False


def supported_stretches(
    points: FloatArray, supported: npt.NDArray[np.bool_]
) -> Iterator[tuple[FloatArray, bool]]:
    """Cut a line, shape (N, 2), where the image begins or ends to show it; neighbours share a point."""
    edges = [0, *(np.flatnonzero(np.diff(supported.astype(int))) + 1).tolist(), len(points)]
    for start, stop in pairwise(edges):
        yield points[start : stop + 1], bool(supported[start])


def taken_room(axes: Any) -> FloatArray:
    """Room that texts and lines drawn before take, in points of the page, shape (P, 2, 2)."""
    axes.apply_aspect()
    renderer, point = axes.figure.canvas.get_renderer(), axes.figure.dpi / 72
    # the extent of a line leaves out its width
    drawn = [(text, 0.0) for text in axes.texts] + [(line, line.get_linewidth()) for line in axes.lines]
    extents = [one.get_window_extent(renderer).get_points() / point + [[-w], [w]] for one, w in drawn]
    return np.asarray(np.array(extents, dtype=np.float64).reshape(len(extents), 2, 2))


def label_centres(
    axes: Any, labels: Sequence[Label], taken: FloatArray, lines: Iterable[FloatArray]
) -> FloatArray:
    """Anchor and centre of every label, in points of the page, shape (L, 2, 2).

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes whose limits and aspect are set.
    labels : sequence of Label
    taken : ndarray, shape (P, 2, 2)
        Room that is not free, as :func:`taken_room` tells it.
    lines : iterable of ndarray, shape (N, 2)
        (row, col) of lines that should stay uncovered.
    """
    if not labels:
        return np.empty((0, 2, 2))
    anchors = axes.transData.transform(np.array([label.anchor[::-1] for label in labels]))
    anchors = anchors * (72 / axes.figure.dpi)
    sizes = np.array([_size_pt(axes, label) for label in labels])
    pane, samples = _pane_pt(axes), _line_samples(axes, lines)
    return np.stack([anchors, place_labels(sizes, anchors, pane, samples, taken)], axis=1)


def write_label(
    axes: Any, label: Label, anchor: FloatArray, centre: FloatArray, *, leader: str = "#777777"
) -> None:
    """Write a label at its centre, with a line of a colour to its point where that is not beside it."""
    leads = label.there and float(np.hypot(*(centre - anchor))) > _LEADER_FROM_PT
    axes.annotate(
        label.text,
        (label.anchor[1], label.anchor[0]),
        tuple(centre - anchor),
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=label.points,
        fontweight="bold" if label.bold or label.framed else "normal",
        color="black",
        parse_math=False,
        zorder=4,
        annotation_clip=False,
        bbox={
            "boxstyle": "square,pad=0.12",
            "facecolor": "white",
            "edgecolor": "black" if label.framed else "none",
            "alpha": 0.9,
        },
        arrowprops={"arrowstyle": "-", "color": leader, "linewidth": 0.8, "shrinkB": 3} if leads else None,
    )


def _pane_pt(axes: Any) -> FloatArray:
    """Lower left and upper right corner of the axes, in points of the page."""
    return np.asarray(axes.get_window_extent().get_points() * (72 / axes.figure.dpi))


def _size_pt(axes: Any, label: Label) -> tuple[float, float]:
    """Width and height of a label with its box, points; bold, the widest it may come out."""
    text = axes.text(0, 0, label.text, fontsize=label.points, fontweight="bold", parse_math=False)
    extent = text.get_window_extent(axes.figure.canvas.get_renderer())
    text.remove()
    point = axes.figure.dpi / 72
    return extent.width / point + 4.0, extent.height / point + 3.0


def _line_samples(axes: Any, lines: Iterable[FloatArray]) -> FloatArray:
    """Samples of all lines in view, evenly spaced, in points of the page, shape (M, 2)."""
    pane, point = _pane_pt(axes), axes.figure.dpi / 72
    found = [np.empty((0, 2))]
    for line in lines:
        at = axes.transData.transform(line[:, ::-1]) / point
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(at, axis=0).T))])
        wanted = np.arange(0.0, min(along[-1], 20_000.0), _LINE_SAMPLE_PT)
        even = np.stack([np.interp(wanted, along, at[:, axis]) for axis in (0, 1)], axis=1)
        found.append(even[((even >= pane[0]) & (even <= pane[1])).all(axis=1)])
    return np.concatenate(found)
