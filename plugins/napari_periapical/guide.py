"""Which landmark comes next, and what to say about each."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from napari_periapical.sheet import Canal
from radio.measure.case import LANDMARKS
from radio.trace.line import LineKind

Group = Literal["file", "canal", "root", "ball", "curve"]


@dataclass(frozen=True)
class Landmark:
    """What a person needs to know to place a landmark."""

    name: str
    label: str
    short: str
    group: Group
    instruction: str


_TABLE = (
    Landmark("file_start", "File start", "start", "file", ""),
    Landmark(
        "file_via",
        "On the file",
        "",
        "file",
        "Click on the shadow of the file between its ends, once or more where it bends.",
    ),
    Landmark(
        "file_tip", "File tip", "tip", "file", "Click the apical end of the file. Nearly right is enough."
    ),
    Landmark(
        "orifice",
        "Orifice",
        "orifice",
        "canal",
        "Click where the canal begins, at the floor of the pulp chamber.",
    ),
    Landmark(
        "canal_via",
        "On the canal",
        "",
        "canal",
        "Click on the canal between orifice and end, once or more where it bends.",
    ),
    Landmark(
        "canal_end",
        "Canal end",
        "end",
        "canal",
        "Click where the canal leaves the root, if that can be seen.",
    ),
    Landmark(
        "apex", "Radiographic apex", "apex", "root", "Click the most apical point of the outline of the root."
    ),
    Landmark(
        "reference",
        "Reference",
        "reference",
        "root",
        "Click the cusp or edge that lengths of this canal are told from.",
    ),
    Landmark("ball_centre", "Ball", "ball", "ball", "Click near the middle of the ball of known diameter."),
    Landmark(
        "coronal_axis",
        "Coronal axis",
        "axis",
        "curve",
        "Click two points of the long axis of the coronal canal, to lay it yourself.",
    ),
    Landmark(
        "departure",
        "Departure point",
        "departure",
        "curve",
        "Click where the canal leaves the coronal axis, to choose that point yourself.",
    ),
    Landmark(
        "tooth_axis",
        "Long axis of the tooth",
        "tooth axis",
        "curve",
        "Click two points of the long axis of the tooth; only two views of one canal need it.",
    ),
)
GUIDE = {one.name: one for one in _TABLE}

_START = {
    "stop": "Click the face of the stop that rests on the tooth.",
    "handle": "Click the end of the handle, where the blade comes out of it.",
}
CORRECT = "Drag a point to correct it, or choose another in the list to add it."


_NO_FILE = "No file in the image: Enter."


def instruction(name: str, canal: Canal) -> str:
    """Say in one line how to place a landmark, or to pass over it where there may be nothing of it."""
    how = _START[canal.facts.file_start_at] if name == "file_start" else GUIDE[name].instruction
    traced = canal.placed() & {"file_start", "file_via"}
    no_file = name in ("file_start", "file_tip") and canal.facts.file_length_mm is None and not traced
    return f"{how} {_NO_FILE}" if no_file else how


def tracing_instruction(kind: LineKind, end: str) -> str:
    """Say in one line how to go on tracing a line.

    Parameters
    ----------
    kind : {"file", "canal"}
    end : str
        The landmark that will end it.
    """
    return (
        f"Click along the {kind} to pin the line, right click at the {GUIDE[end].label.lower()} to end it. "
        "Backspace takes a pin back, Esc gives up."
    )


def essential(canal: Canal) -> tuple[str, ...]:
    """List the landmarks the flow asks for, in order.

    The file is asked for unless what was stated shows that none is needed: no length of it is given and the
    scale comes from elsewhere. The ball is asked for when its diameter is given.
    """
    facts = canal.facts
    given = facts.scale_from is None and facts.mm_per_px is not None
    other = given or facts.scale_from in ("ball", "dicom", "given", "none")
    wanted = {"orifice", "apex"}
    if facts.file_length_mm is not None or not other:
        wanted |= {"file_start", "file_tip"}
    if facts.scale_from == "ball" or facts.ball_diameter_mm is not None:
        wanted.add("ball_centre")
    return tuple(name for name in LANDMARKS if name in wanted)


def next_landmark(canal: Canal, after: str | None, skipped: Collection[str] = ()) -> str | None:
    """Name the landmark to place next.

    Parameters
    ----------
    canal : Canal
        What is there.
    after : str or None
        The landmark just placed or passed over; what follows it comes before what precedes it.
    skipped : collection of str
        Landmarks the person passed over.

    Returns
    -------
    str or None
        None when nothing is missing.
    """
    missing = [n for n in essential(canal) if not canal.points(n) and n not in skipped]
    if after is not None:
        place = LANDMARKS.index(after)
        following = [n for n in missing if LANDMARKS.index(n) > place]
        missing = following or missing
    return missing[0] if missing else None
