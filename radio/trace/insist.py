"""Points that a person insists on: the line passes through them, whatever the image shows there.

The image is not switched off: about such a point it counts for less by as much as it disagrees, so a point
that lies on the line already changes nothing. Nor is the place better known because a hand insists: what is
stated of the line there is the scatter of a click, not the closeness it is held to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.trace.along import CLICK_SD_MM, EXACT_SD_MM
from radio.trace.curve import normals, project, resample
from radio.trace.line import Line
from radio.trace.look import ALONG_MM
from radio.trace.path import penalised

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# How far along the line a hand that disagrees with the image is believed before it, and by how much more.
_BELIEVED_MM = 0.7
_BELIEVED_TIMES = 4.0
# A hand further than this from what the image shows is not carried by the image.
_CARRIED_MM = 0.15
# Bending of a line drawn through further points: that of a file or canal (`look.py`).
_CURVATURE_DRIFT = 0.15
_KNOWN_SD_MM = 0.02


@dataclass(frozen=True, eq=False)
class Mark:
    """A place the line is expected near, at one row of its guide.

    Parameters
    ----------
    row : int
    place_px : ndarray, shape (2,)
    sd_px : float
        How near, standard deviation, pixels.
    insisted : bool
        Whether a person insists on it.
    """

    row: int
    place_px: FloatArray
    sd_px: float
    insisted: bool = False


def mark_beside(
    guide_px: FloatArray, normals_px: FloatArray, foot: tuple[float, float], sd_px: float, insisted: bool
) -> Mark:
    """Mark a place by its foot on an evenly spaced guide: arc length and distance aside, pixels."""
    step = float(np.hypot(*(guide_px[1] - guide_px[0])))
    row = int(np.clip(round(foot[0] / step), 0, len(guide_px) - 1))
    return Mark(row, guide_px[row] + foot[1] * normals_px[row], sd_px, insisted)


def click_sds_mm(exact: BoolArray, plain_mm: float = CLICK_SD_MM) -> FloatArray:
    """How near the line has to pass each click; `exact` tells those a person insists on."""
    return np.where(exact, EXACT_SD_MM, plain_mm)


def yielding(
    values: FloatArray, sd_px: FloatArray, confident: BoolArray, marks: Sequence[Mark], *, mm_per_px: float
) -> tuple[FloatArray, BoolArray]:
    """Let what the image says yield to a person about each insisted mark.

    Parameters
    ----------
    values : ndarray, shape (N, 2)
        Place of each row by the image, a row every `ALONG_MM`.
    sd_px : ndarray, shape (N,)
        Its standard uncertainty.
    confident : ndarray of bool, shape (N,)
        Whether the image supports the row.
    marks : sequence of Mark
    mm_per_px : float
        Approximate scale.

    Returns
    -------
    sd_px, confident : ndarray, shape (N,)
        Larger, and less, where a person disagrees.
    """
    for mark in marks:
        if mark.insisted:
            away_mm = (np.arange(len(values)) - mark.row) * ALONG_MM
            apart = float(np.hypot(*(mark.place_px - values[mark.row])))
            doubt = apart * np.exp(-0.5 * (away_mm / _BELIEVED_MM) ** 2)
            sd_px = np.hypot(sd_px, _BELIEVED_TIMES * doubt)
            confident = confident & (doubt * mm_per_px <= _CARRIED_MM)
    return sd_px, confident


def anchors(marks: Sequence[Mark], count: int) -> tuple[FloatArray, FloatArray]:
    """Weights (N,) and weighted places (N, 2) of marks, each at its row."""
    weights, places = np.zeros(count), np.zeros((count, 2))
    for mark in marks:
        weight = 1.0 / mark.sd_px**2
        weights[mark.row] += weight
        places[mark.row] += weight * mark.place_px
    return weights, places


def with_hand_sd(
    spread_px: FloatArray, weights: FloatArray, lam: float, marks: Sequence[Mark], *, mm_per_px: float
) -> FloatArray:
    """Uncertainty of a line that is held to insisted marks closer than a hand is certain.

    Parameters
    ----------
    spread_px : ndarray, shape (N,)
        By the weights the line was made with.
    weights : ndarray, shape (N,)
        All weights, those of the marks among them.
    lam : float
        Weight of the squared third differences.
    marks : sequence of Mark
    mm_per_px : float

    Returns
    -------
    ndarray, shape (N,)
        The scatter of the hand, carried along the line as far as the mark carries the line.
    """
    for mark in marks:
        if mark.insisted:
            pull = np.zeros((len(weights), 1))
            pull[mark.row] = 1.0 / mark.sd_px**2 / weights[mark.row]
            share = penalised(pull, weights, lam, 3)[:, 0]
            spread_px = np.hypot(spread_px, share * CLICK_SD_MM / mm_per_px)
    return spread_px


def through(line: Line, points_px: FloatArray, *, mm_per_px: float) -> Line:
    """Make a line pass through further points, and leave it as it is away from them.

    Parameters
    ----------
    line : Line
        About evenly spaced.
    points_px : ndarray, shape (K, 2)
        Points a person insists on, within the line.
    mm_per_px : float
        Approximate scale.

    Returns
    -------
    Line
        The same line where there are no such points.
    """
    if not len(points_px):
        return line
    guide = resample(line.points_px, ALONG_MM / mm_per_px)
    step = float(np.hypot(*(guide[1] - guide[0])))
    sideways = normals(guide)
    s = np.linspace(0.0, 1.0, len(guide))
    at = np.linspace(0.0, 1.0, len(line.points_px))
    marks = [
        mark_beside(guide, sideways, project(guide, p), EXACT_SD_MM / mm_per_px, True) for p in points_px
    ]
    confident = np.interp(s, at, line.confident.astype(float)) > 0.5
    known = np.full(len(guide), _KNOWN_SD_MM / mm_per_px)
    sd, confident = yielding(guide, known, confident, marks, mm_per_px=mm_per_px)
    weights, places = anchors(marks, len(guide))
    total = weights + 1.0 / sd**2
    lam = 1.0 / ((_CURVATURE_DRIFT * mm_per_px**1.5) ** 2 * step**5)
    smooth = penalised((guide / sd[:, None] ** 2 + places) / total[:, None], total, lam, 3)
    own = np.interp(s, at, line.sd_px)
    slow = None if line.slow_sd_px is None else np.interp(s, at, line.slow_sd_px)
    return replace(
        line,
        points_px=smooth,
        sd_px=with_hand_sd(own, total, lam, marks, mm_per_px=mm_per_px),
        confident=confident,
        slow_sd_px=slow,
    )
