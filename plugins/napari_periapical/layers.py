"""How napari is given what is drawn: size and unit of a pixel, names, looks; pure functions, no viewer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from napari_periapical.drawings import PLAIN_SYMBOL, Drawing, FloatArray
from radio.image.display import grey_window
from radio.image.radiograph import Radiograph
from radio.record.colours import AXIS_COLOUR, CANAL_COLOUR, FILE_COLOUR, GAP_COLOUR, LANDMARK_COLOUR

RADIOGRAPH = "periapical_radiograph"
FACTS = "periapical_facts"
ROLE = "periapical_layer"
DISPLAY_ROLE = "display"
"""The radiograph as shown with display aids; above the image and below all lines, only while an aid is on."""
ASIDE_PX = "periapical_columns_aside"
"""How many columns a layer stands to the right of the image it belongs to."""

NAMES = {
    "display": "Radiograph as shown",
    "file": "File line",
    "canal": "Canal line",
    "gap": "Gap",
    "construction": "Curvature construction",
    "marks": "Points of the construction",
    "found": "Found landmarks",
    "live": "Live line",
    "names": "Names of the canals",
    "numbers": "Numbers",
    "landmarks": "Landmarks",
}
# width of a line on the screen, in screen pixels
_WIDTHS = {"file": 2.0, "canal": 2.0, "gap": 4.0, "construction": 1.6, "live": 1.6}
LINE_ROLES = tuple(_WIDTHS)
# size of a point likewise
_SIZES = {"landmarks": 18.0, "marks": 10.0, "found": 10.0, "names": 1.0}
POINT_ROLES = tuple(_SIZES)
BOX_ROLES = ("numbers",)
_ROLE_COLOURS = {
    "file": FILE_COLOUR,
    "canal": CANAL_COLOUR,
    "gap": GAP_COLOUR,
    "construction": AXIS_COLOUR,
    "live": FILE_COLOUR,
}
_SWATCH_PX = 32
# room for text on the screen, in screen pixels: of a letter, of a line, to the edge, and to what it tells of
_LETTER, _LINE, _EDGE, _AWAY = 9.2, 21.5, 8.0, 60.0


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


def spatial_kwargs(frame: Frame, aside_px: float = 0.0) -> dict[str, Any]:
    """Scale, units, axis names and place; the only place where a layer of ours gets them from.

    Parameters
    ----------
    frame : Frame
    aside_px : float
        How many columns the layer stands to the right.
    """
    return {
        "scale": (frame.row, frame.col),
        "units": (frame.unit, frame.unit),
        "axis_labels": ("y", "x"),
        "translate": (0.0, aside_px * frame.col),
    }


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


def display_kwargs(frame: Frame, aside_px: float) -> dict[str, Any]:
    """Arguments of napari's add_image for the radiograph as shown: grey values are those of the screen."""
    return {
        "name": NAMES[DISPLAY_ROLE],
        "metadata": {ROLE: DISPLAY_ROLE, ASIDE_PX: aside_px},
        "contrast_limits": (0.0, 1.0),
        "colormap": "gray",
        **spatial_kwargs(frame, aside_px),
    }


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
            "edge_color": colour_rows(drawing) if len(drawing.data) else LANDMARK_COLOUR,
            "vector_style": "line",
            **common,
        }
    if drawing.kind == "box":
        return {
            "data": text_boxes(drawing, frame, px_per_screen_px),
            "shape_type": "rectangle",
            "face_color": "#000000A0",
            "edge_color": "#00000000",
            "edge_width": 0,
            "opacity": 1.0,
            "features": label_features(drawing),
            "text": _BOX_TEXT,
            "ndim": 2,
            **common,
        }
    look = {**_LOOKS[drawing.role], "features": label_features(drawing)}
    look["size"] = point_size(drawing.role, px_per_screen_px)
    if len(drawing.data):
        look[COLOURED[drawing.role]] = colour_rows(drawing)
        if drawing.symbols:
            look["symbol"] = list(drawing.symbols)
    return {"data": drawing.data, "ndim": 2, **look, **common}


# to the right of the point, off the structure
_TEXT = {"string": {"feature": "label"}, "size": 9, "color": LANDMARK_COLOUR, "anchor": "lower_left"}
_BOX_TEXT = {"string": {"feature": "label"}, "size": 9, "color": LANDMARK_COLOUR, "anchor": "center"}
_LOOKS: dict[str, dict[str, Any]] = {
    "names": {"symbol": "disc", "face_color": "transparent", "text": _TEXT},
    # open rings: the structure under a point stays visible
    "landmarks": {
        "symbol": PLAIN_SYMBOL,
        "face_color": "transparent",
        "border_width": 0.12,
        "text": _TEXT,
    },
    "marks": {"symbol": "x", "border_color": LANDMARK_COLOUR, "text": _TEXT},
    "found": {"symbol": "cross", "border_color": LANDMARK_COLOUR},
}
# which colour of a layer tells what is drawn
COLOURED = {
    "names": "border_color",
    "landmarks": "border_color",
    "marks": "face_color",
    "found": "face_color",
    **dict.fromkeys(_WIDTHS, "edge_color"),
}


def point_size(role: str, px_per_screen_px: float) -> float:
    """Size of the points of a layer, image pixels.

    napari can keep the size on the screen itself, but then draws a ring almost as a disc.
    """
    return _SIZES[role] * px_per_screen_px


def line_width(role: str, px_per_screen_px: float) -> float:
    """Width of the lines of a layer, image pixels."""
    return _WIDTHS[role] * px_per_screen_px


def text_boxes(drawing: Drawing, frame: Frame, px_per_screen_px: float) -> list[FloatArray]:
    """Make rectangles, each shape (4, 2), for the texts of a box drawing, beside what they tell of.

    A box stands where it covers no line and no point and stays on the image, if there is such a place.

    Parameters
    ----------
    drawing : Drawing
    frame : Frame
        Its pixels may be higher than wide; a box is not.
    px_per_screen_px : float
        Image columns a screen pixel covers.
    """
    boxes = []
    for at, text, (side, _) in zip(drawing.data, drawing.labels, drawing.keys, strict=True):
        lines = text.split("\n")
        width = (max(map(len, lines)) * _LETTER + 2 * _EDGE) * px_per_screen_px
        height = (len(lines) * _LINE + 2 * _EDGE) * px_per_screen_px * frame.col / frame.row
        step = np.array([height, px_per_screen_px * _AWAY])
        corners = [_upper_left(at, (height, width), step * way, side) for way in _WAYS]
        top, left = min(corners, key=lambda one: _covered(drawing, one, (height, width)))
        box = [(top, left), (top, left + width), (top + height, left + width), (top + height, left)]
        boxes.append(np.array(box, dtype=np.float64))
    return boxes


# where a box may stand: how many of its heights lower, and how many steps away; minus is the other side
_WAYS = [np.array([down, away]) for away in (1, -1, 2, -2, 4, -4) for down in (0, -1, 1, -2, 2)]


def _upper_left(at: FloatArray, size: tuple[float, float], way: FloatArray, side: str) -> tuple[float, float]:
    """Upper left corner of a box that stands beside a place, that far lower and away."""
    height, width = size
    across = way[1] if side == "right" else -way[1]
    left = at[1] + across - (width if across < 0 else 0.0)
    return float(at[0] - height / 2 + way[0]), float(left)


def _covered(drawing: Drawing, corner: tuple[float, float], size: tuple[float, float]) -> int:
    """How much a box there covers, or has beyond the image; the first place that costs nothing is taken."""
    first, last = np.array(corner), np.add(corner, size)
    margin = 0.15 * size[0]
    inside = (drawing.avoid > first - margin) & (drawing.avoid < last + margin)
    covered = int(inside.all(axis=1).sum())
    if any(drawing.within):
        outside = np.maximum(-first, 0) + np.maximum(last - drawing.within, 0)
        covered += round(100 * float((outside / size).sum()))
    return covered


def swatch(role: str) -> npt.NDArray[np.uint8]:
    """Picture for the list of layers, shape (32, 32, 4), RGBA: a stroke or a dot in the colour of a role.

    napari would draw one of the data anew at every change, which takes longer than the change.
    """
    colour = _ROLE_COLOURS.get(role, LANDMARK_COLOUR)
    rows, cols = np.mgrid[:_SWATCH_PX, :_SWATCH_PX] - (_SWATCH_PX - 1) / 2
    drawn = np.abs(rows + cols) < 4 if role in LINE_ROLES else np.hypot(rows, cols) < 6
    out = np.zeros((_SWATCH_PX, _SWATCH_PX, 4), dtype=np.uint8)
    out[drawn] = [*(int(colour[k : k + 2], 16) for k in (1, 3, 5)), 255]
    return out


def colour_rows(drawing: Drawing) -> FloatArray:
    """Colours as RGBA rows, shape (N, 4)."""
    rows = [[int(c[k : k + 2], 16) / 255 for k in (1, 3, 5)] + [1.0] for c in drawing.colours]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def label_features(drawing: Drawing) -> dict[str, Any]:
    """Labels of points as the table of features napari takes them from."""
    return {"label": np.array(drawing.labels or [""] * len(drawing.data), dtype=object)}
