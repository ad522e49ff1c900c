"""From what is placed and measured to what is drawn; pure functions, no viewer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from napari_periapical.guide import GUIDE
from napari_periapical.sheet import Canal
from radio.image.display import grey_window
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult
from radio.trace.line import Line

FloatArray = npt.NDArray[np.float64]
LayerKind = Literal["points", "vectors"]

RADIOGRAPH = "periapical_radiograph"
FACTS = "periapical_facts"
ROLE = "periapical_layer"

# Okabe and Ito, "Color Universal Design" (2008): eight colours that colour-blind people tell apart
SKY, ORANGE, GREEN, YELLOW = "#56B4E9", "#E69F00", "#009E73", "#F0E442"
BLUE, VERMILLION, PURPLE, WHITE = "#0072B2", "#D55E00", "#CC79A7", "#FFFFFF"
GROUP_COLOURS = {"file": SKY, "canal": ORANGE, "root": YELLOW, "ball": GREEN}

# bottom to top; the landmarks come last so that they lie on top
ROLES = ("file", "canal", "gap", "construction", "found", "landmarks")
NAMES = {
    "file": "File line",
    "canal": "Canal line",
    "gap": "Gap",
    "construction": "Schneider construction",
    "found": "Found landmarks",
    "landmarks": "Landmarks",
}
LANDMARKS_ROLE = "landmarks"
# width of a line on the screen, in screen pixels
_WIDTHS = {"file": 2.0, "canal": 2.0, "gap": 4.0, "construction": 1.6}
LINE_ROLES = tuple(_WIDTHS)
# size of a point likewise
_SIZES = {"landmarks": 18.0, "found": 10.0}
POINT_ROLES = tuple(_SIZES)
_DASH = 2


@dataclass(frozen=True)
class Frame:
    """Size of a pixel as shown: what every layer of ours has in common.

    Parameters
    ----------
    row, col : float
        Size of a pixel down the rows and along the columns, in `unit`.
    unit : {"mm", "pixel"}
        Unit of the world.
    """

    row: float
    col: float
    unit: Literal["mm", "pixel"]


def frame_of(pixel_aspect: float, scale: Scale | None, *, millimetres: bool) -> Frame:
    """Choose the frame: millimetres when there is a scale and they are allowed, else columns.

    Parameters
    ----------
    pixel_aspect : float
        Row spacing over column spacing; shown right with and without a scale.
    scale : Scale or None
        Millimetres per pixel.
    millimetres : bool
        False when layers of others in the viewer are in pixels: units are never mixed.
    """
    if scale is None or not millimetres:
        return Frame(pixel_aspect, 1.0, "pixel")
    return Frame(scale.row_mm_per_px, scale.col_mm_per_px, "mm")


def spatial_kwargs(frame: Frame) -> dict[str, Any]:
    """Scale, units and axis names; the only place where a layer of ours gets them from."""
    return {"scale": (frame.row, frame.col), "units": (frame.unit, frame.unit), "axis_labels": ("y", "x")}


def image_layer(
    radiograph: Radiograph, frame: Frame, facts: Sequence[Any] = ()
) -> tuple[Any, dict[str, Any], str]:
    """Make the layer of a radiograph, as napari readers hand layers over.

    Parameters
    ----------
    radiograph : Radiograph
        Travels in the metadata of the layer.
    frame : Frame
        Size of a pixel.
    facts : sequence of CaseFacts
        What is known about its canals, for the panel.
    """
    kwargs = {
        "name": radiograph.path.stem if radiograph.path else "Radiograph",
        "metadata": {RADIOGRAPH: radiograph, FACTS: tuple(facts)},
        "contrast_limits": grey_window(radiograph),
        "colormap": "gray",
        **spatial_kwargs(frame),
    }
    return radiograph.grey, kwargs, "image"


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
        Text beside each point; empty for segments.
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
    labels = tuple(f"  {GUIDE[name].short}" for name, _ in keys)
    return Drawing("landmarks", "points", data, colours, labels, keys)


def result_drawings(result: CaseResult | None, others: Iterable[CaseResult] = ()) -> list[Drawing]:
    """Draw lines, found landmarks, gap and construction of one canal, and the lines of the others.

    Parameters
    ----------
    result : CaseResult or None
        Of the canal worked on.
    others : iterable of CaseResult
        Of the other canals of the image; only their lines are drawn.
    """
    both = [r for r in (result, *others) if r is not None]
    found = [fix for fix in (result.landmarks.values() if result else ()) if fix.refined]
    return [
        _lines("file", [r.file_line for r in both], SKY),
        _lines("canal", [r.canal_line for r in both], ORANGE),
        _gap(result),
        _construction(result),
        Drawing(
            "found",
            "points",
            np.array([[fix.row, fix.col] for fix in found], dtype=np.float64).reshape(-1, 2),
            (WHITE,) * len(found),
        ),
    ]


def segments(points_px: npt.ArrayLike) -> FloatArray:
    """Cut a line of shape (N, 2) into its N - 1 segments, shape (N - 1, 2, 2) as (start, way)."""
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    return np.stack([points[:-1], np.diff(points, axis=0)], axis=1)


def _lines(role: str, lines: Iterable[Line | None], colour: str) -> Drawing:
    """Draw lines; stretches the image does not support are dashed and of another colour."""
    pieces, colours = [np.zeros((0, 2, 2))], []
    for line in lines:
        if line is None or len(line.points_px) < 2:
            continue
        all_segments = segments(line.points_px)
        sure = line.confident[:-1] & line.confident[1:]
        dash = (np.arange(len(sure)) // _DASH) % 2 == 0
        keep = sure | dash
        pieces.append(all_segments[keep])
        colours += [colour if one else VERMILLION for one in sure[keep]]
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
    short = result.measurements["gap_mm"].value >= 0
    ends = (tip, apex) if short else (apex, tip)
    way = np.vstack([ends[0], way[1:-1], ends[1]]) if len(way) > 2 else np.vstack(ends)
    pieces = segments(way)
    return Drawing("gap", "vectors", pieces, ((YELLOW if short else VERMILLION),) * len(pieces))


def _construction(result: CaseResult | None) -> Drawing:
    """Draw the coronal axis with its continuation, the chord, and a cross at the departure point."""
    made = result.construction if result else None
    if made is None:
        return Drawing("construction", "vectors", np.zeros((0, 2, 2)))
    axis = segments([made.axis_start_px, made.axis_end_px])
    chord = segments([made.departure_px, made.canal_end_px])
    direction = axis[0, 1] / max(float(np.hypot(*axis[0, 1])), 1e-9)
    across = np.array([-direction[1], direction[0]]) * max(2.0 * made.tolerance_px, 4.0)
    tick = segments([made.departure_px - across, made.departure_px + across])
    return Drawing("construction", "vectors", np.concatenate([axis, chord, tick]), (GREEN, PURPLE, PURPLE))


def layer_kwargs(drawing: Drawing, frame: Frame, px_per_screen_px: float) -> dict[str, Any]:
    """Arguments of napari's add method for one of our layers.

    Parameters
    ----------
    drawing : Drawing
        What it shows at first.
    frame : Frame
        Size of a pixel.
    px_per_screen_px : float
        Image pixels a screen pixel covers, so that lines look the same at every zoom.
    """
    common = {
        "name": NAMES[drawing.role],
        "metadata": {ROLE: drawing.role},
        **spatial_kwargs(frame),
    }
    if drawing.kind == "vectors":
        return {
            "data": drawing.data,
            "edge_width": line_width(drawing.role, px_per_screen_px),
            "edge_color": colour_rows(drawing) if len(drawing.data) else WHITE,
            "vector_style": "line",
            **common,
        }
    look = {**_LOOKS[drawing.role], "features": label_features(drawing)}
    look["size"] = point_size(drawing.role, px_per_screen_px)
    if len(drawing.data):
        look[COLOURED[drawing.role]] = colour_rows(drawing)
    return {"data": drawing.data, "ndim": 2, **look, **common}


_LOOKS: dict[str, dict[str, Any]] = {
    # open rings: the structure under a point stays visible
    "landmarks": {
        "symbol": "disc",
        "face_color": "transparent",
        "border_width": 0.12,
        # to the right of the point, off the structure
        "text": {"string": {"feature": "label"}, "size": 9, "color": WHITE, "anchor": "lower_left"},
    },
    "found": {"symbol": "cross", "border_color": WHITE},
}
# which colour of a layer tells what is drawn
COLOURED = {"landmarks": "border_color", "found": "face_color", **dict.fromkeys(_WIDTHS, "edge_color")}


def point_size(role: str, px_per_screen_px: float) -> float:
    """Size of the points of a layer, image pixels.

    napari can keep the size on the screen itself, but then draws a ring almost as a disc.
    """
    return _SIZES[role] * px_per_screen_px


def line_width(role: str, px_per_screen_px: float) -> float:
    """Width of the lines of a layer, image pixels."""
    return _WIDTHS[role] * px_per_screen_px


def colour_rows(drawing: Drawing) -> FloatArray:
    """Colours as RGBA rows, shape (N, 4)."""
    rows = [[int(c[k : k + 2], 16) / 255 for k in (1, 3, 5)] + [1.0] for c in drawing.colours]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def label_features(drawing: Drawing) -> dict[str, Any]:
    """Labels of points as the table of features napari takes them from."""
    return {"label": np.array(drawing.labels or [""] * len(drawing.data), dtype=object)}
