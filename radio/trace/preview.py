"""The line a pointer is about to pin, fast enough to be drawn while the pointer moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from radio.trace.curve import resample
from radio.trace.line import LineKind
from radio.trace.look import LOOKS
from radio.trace.search import Search, best_path, smoothed
from radio.trace.workspace import make_workspace

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# Spacing along and across: coarser than a measurement, which would show no other line.
_ALONG_MM = 0.15
_ACROSS_MM = 0.06
# The line may leave the straight way between its ends by this, and more the longer the way is: an arc that
# turns by 90 degrees rises a fifth of its chord.
_REACH_MM = 0.3
_REACH_PER_CHORD = 0.2
_WIDEST_REACH_MM = 2.4
# Slope against the straight way is no sign of a wrong path, as it is against a guide through several clicks.
_SLOPE_COST = 10.0
# What the search reads beyond its reach.
_MARGIN_MM = 1.2
# Ends nearer to each other than this, pixels, leave nothing to be found between them.
_SHORTEST_PX = 4.0


def preview_line(
    image: Image,
    start_px: npt.ArrayLike,
    pointer_px: npt.ArrayLike,
    kind: LineKind,
    *,
    mm_per_px: float,
    pixel_aspect: float = 1.0,
    metal_bright: bool = True,
) -> FloatArray:
    """Line between the point pinned last and the pointer, nearly as it would be measured.

    One pass of the tracer's own rating and dynamic programming (:mod:`radio.trace.search`) over the piece,
    coarser than a measurement and held at both ends.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        0..1.
    start_px, pointer_px : array_like, shape (2,)
        Both ends, (row, col).
    kind : {"file", "canal"}
    mm_per_px : float
        Approximate size of a pixel along the columns.
    pixel_aspect : float
        Row spacing over column spacing.
    metal_bright : bool
        False where the picture is inverted (:mod:`radio.trace.polarity`).

    Returns
    -------
    ndarray, shape (N, 2)
        (row, col), from `start_px` to `pointer_px`; the straight way where the ends are too close for more.
    """
    ends = np.array([start_px, pointer_px], dtype=np.float64)
    chord_px = float(np.hypot(*((ends[1] - ends[0]) * (pixel_aspect, 1.0))))
    if chord_px < max(_SHORTEST_PX, 2 * _ALONG_MM / mm_per_px):
        return ends
    reach_mm = min(_REACH_MM + _REACH_PER_CHORD * chord_px * mm_per_px, _WIDEST_REACH_MM)
    look = LOOKS[kind]
    look = replace(look, between_sd_mm=max(look.between_sd_mm, reach_mm), slope_cost=_SLOPE_COST)
    space = make_workspace(image, ends, margin_px=(reach_mm + _MARGIN_MM) / mm_per_px, aspect=pixel_aspect)
    seen = space.image if metal_bright else 1.0 - space.image
    search = Search(look, mm_per_px, reach_mm, _ACROSS_MM, along_mm=_ALONG_MM, held=True)
    guide = resample(space.from_image(ends), _ALONG_MM / mm_per_px)
    offsets_px, band = best_path(seen, guide, np.zeros((0, 2)), search)
    line = space.to_image(smoothed(band, offsets_px, search))
    line[[0, -1]] = ends
    return line
