"""How each part of a construction looks: a colour, and a line that is told from the others in grey too."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from radio.measure.drawn import Role, Spot, Step, Stroke
from radio.record.colours import (
    AXIS_COLOUR,
    BALL_COLOUR,
    CANAL_COLOUR,
    CHORD_COLOUR,
    FILE_COLOUR,
    GAP_COLOUR,
    LANDMARK_COLOUR,
)
from radio.record.picture_view import halo

Dashes = str | tuple[float, tuple[float, ...]]

_RIM_PT = 1.4


@dataclass(frozen=True)
class RoleStyle:
    """Look of one role.

    Parameters
    ----------
    title : str
        Name in the key.
    colour : str
    dashes : str or tuple
        As matplotlib takes them, in widths of the line.
    width_pt : float
        Width, points.
    """

    title: str
    colour: str
    dashes: Dashes
    width_pt: float


# A construction shows neither file, gap nor ball: their colours serve its second line, arcs and radii.
STYLES: Mapping[Role, RoleStyle] = {
    "canal": RoleStyle("canal", CANAL_COLOUR, "-", 3.0),
    "axis": RoleStyle("first line", AXIS_COLOUR, (0, (7, 2, 1.2, 2)), 1.5),
    "second_axis": RoleStyle("second line", BALL_COLOUR, (0, (9, 4)), 1.5),
    "chord": RoleStyle("joining line", CHORD_COLOUR, (0, (2.6, 1.3)), 2.0),
    "arc": RoleStyle("arc or circle", GAP_COLOUR, "-", 1.2),
    "height": RoleStyle("radius or perpendicular", FILE_COLOUR, (0, (1, 1.5)), 1.6),
    "point": RoleStyle("point", LANDMARK_COLOUR, "none", 0.0),
}
UNSUPPORTED: Dashes = (0, (1.1, 0.9))  # canal that the image does not show; thick, so short in widths

_MARKERS = {
    "orifice": "o",
    "canal end": "D",
    "departure": "P",
    "touches": "X",
    "vertex": "^",
    "centre": "*",
    "second curve": "s",
    "greatest curvature": "*",
    "file tip": "v",
}
_OTHER_MARKER = "h"


def line_style(role: Role, *, wider: float = 1.0, unsupported: bool = False) -> dict[str, Any]:
    """Matplotlib properties of a line, its dark rim included.

    Parameters
    ----------
    role : str
    wider : float
        Factor of the width.
    unsupported : bool
        True for a stretch of canal that the image does not show.
    """
    style = STYLES[role]
    width = style.width_pt * wider
    return {
        "color": style.colour,
        "linewidth": width,
        "linestyle": UNSUPPORTED if unsupported else style.dashes,
        "solid_capstyle": "butt",
        "dash_capstyle": "butt",
        "path_effects": halo(width + _RIM_PT * min(wider, 1.0)),
    }


def marker_style(name: str, *, wider: float = 1.0) -> dict[str, Any]:
    """Matplotlib properties of a point; points without a name are small."""
    return {
        "marker": _MARKERS.get(name, _OTHER_MARKER) if name else "o",
        "markersize": (7.0 if name else 4.0) * wider,
        "markerfacecolor": STYLES["point"].colour,
        "markeredgecolor": "black",
        "markeredgewidth": 1.0,
        "linestyle": "none",
    }


def draw_key(axes: Any, steps: Iterable[Step], *, unsupported: bool) -> None:
    """Draw the key of the roles that occur in steps, on axes of its own.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Empty axes.
    steps : iterable of Step
    unsupported : bool
        Whether part of the canal is drawn as not shown by the image.
    """
    from matplotlib.lines import Line2D

    there = {shape.role for step in steps for shape in step.shapes if isinstance(shape, Stroke | Spot)}
    handles = [
        Line2D([], [], label=style.title, **(line_style(role) if role != "point" else marker_style(" ")))
        for role, style in STYLES.items()
        if role in there
    ]
    if unsupported:
        style = line_style("canal", unsupported=True)
        handles.insert(1, Line2D([], [], label="canal, not shown by the image", **style))
    show_key(axes, handles, columns=4)


def show_key(axes: Any, handles: Sequence[Any], *, columns: int) -> None:
    """Draw a key of matplotlib handles from the upper left of axes of its own."""
    axes.axis("off")
    axes.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0, 1),
        borderaxespad=0,
        ncols=columns,
        fontsize=7.5,
        frameon=False,
        handlelength=4.5,
        columnspacing=1.5,
        borderpad=0,
    )
