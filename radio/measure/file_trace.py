"""File line of one case, and where the file begins and ends on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.measure.case import CaseFacts
from radio.trace.along import Along, as_clicked
from radio.trace.curve import beside, project
from radio.trace.face import start_face
from radio.trace.insist import through
from radio.trace.line import BoolArray, Line
from radio.trace.tip import file_tip
from radio.trace.tracer import trace_line

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class TracedFile:
    """A file, and the places that bound it.

    Parameters
    ----------
    line : Line
        From its start to its tip.
    extended_px : ndarray, shape (N, 2)
        The line continued beyond both; the places refer to it.
    start, tip : Along
        Face of the stop or handle (the first point clicked, where it is not marked), and end of the file.
    """

    line: Line
    extended_px: FloatArray
    start: Along
    tip: Along


def trace_file(
    image: Image,
    clicks: Mapping[str, FloatArray],
    exact: Mapping[str, BoolArray],
    facts: CaseFacts,
    *,
    mm_per_px: float,
) -> TracedFile:
    """Trace the file and find where it begins and ends.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    clicks : mapping of str to ndarray, shape (N, 2)
        With `file_tip` and at least one of `file_start` and `file_via`.
    exact : mapping of str to ndarray of bool, shape (N,)
        Which points a person insists on: the line passes through them, and no finder moves them.
    facts : CaseFacts
        For the size of the file and what its start marks.
    mm_per_px : float
        Approximate scale.
    """
    names = [n for n in ("file_start", "file_via", "file_tip") if n in clicks]
    points = np.vstack([clicks[n] for n in names])
    held = np.concatenate([exact[n] for n in names])
    size = facts.file_size
    line = trace_line(
        image,
        points,
        "file",
        mm_per_px=mm_per_px,
        extend_mm=(1.2, 0.8),
        tip_diameter_mm=None if size is None else size / 100.0,
        exact=held,
    )
    click = clicks["file_tip"][0]
    if exact["file_tip"][0]:
        extended, tip = line.points_px, as_clicked(line.points_px, click, mm_per_px)
    else:
        extended, tip = file_tip(image, line.points_px, click, mm_per_px=mm_per_px, file_size=size)
        extended, tip = _still_through(points[held], extended, tip, mm_per_px)
    start = _file_start(image, extended, clicks, exact, facts, mm_per_px)
    return TracedFile(line.part(start.s_px, tip.s_px, along_px=extended), extended, start, tip)


def _still_through(
    exact_px: FloatArray, line_px: FloatArray, tip: Along, mm_per_px: float
) -> tuple[FloatArray, Along]:
    """Line as the finder of the tip left it, brought back to the points a person insists on."""
    if not len(exact_px):
        return line_px, tip
    count = len(line_px)
    found = Line("file", line_px, np.zeros(count), np.ones(count, dtype=bool))
    held = through(found, exact_px, mm_per_px=mm_per_px).points_px
    return held, replace(tip, s_px=project(held, beside(line_px, tip.s_px, 0.0))[0])


def _file_start(
    image: Image,
    line_px: FloatArray,
    clicks: Mapping[str, FloatArray],
    exact: Mapping[str, BoolArray],
    facts: CaseFacts,
    mm_per_px: float,
) -> Along:
    if "file_start" not in clicks:
        return as_clicked(line_px, clicks["file_via"][0], mm_per_px)
    click = clicks["file_start"][0]
    if exact["file_start"][0]:
        return as_clicked(line_px, click, mm_per_px)
    return start_face(image, line_px, click, mm_per_px=mm_per_px, handle=facts.file_start_at == "handle")
