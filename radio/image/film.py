"""Which pixels are exposed film, and the grey scale that fits them.

The mask serves two ends only: contrast that padding cannot disturb, and the remark that a click lies on
padding. Both allow caution: where padding and film cannot be told apart, the pixel counts as film.

What separates padding from film, whatever its grey level:

* it reaches a corner of the frame (bars, rounded corners and mounts all do);
* it is flat, or as bright as the image gets: scanners leave white, viewers leave black or one grey;
* the exposed film it leaves is nearly convex. Air above a row of crowns can be as flat and black as
  padding, and a crown in a corner as white, but then film and "padding" interlock, and it stays film.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

BoolArray = npt.NDArray[np.bool_]

CORNER_ZONE = 0.02
"""Side of the corner squares searched for padding, as a fraction of the shorter side of the image."""
WHITE_CORNER = 0.15
"""How far below the brightest value a white corner may lie, as a fraction of the film's grey spread."""
WHITE_TOLERANCE = 0.10
"""How far below its corner white padding may stray, as a fraction of the film's grey spread."""
WHITE_EDGE = 0.1
"""How far film beyond the edge of white padding must lie below the padding, as a fraction of the spread."""
FLAT_TOLERANCE = 0.012
"""How far flat padding may stray from its own level, as a fraction of the spread (lossy images only)."""
LARGEST_INTERLOCK = 0.2
"""Largest share of a candidate that may lie inside the convex hull of the film."""
SMALLEST_FILM = 0.02
"""Smallest share of the image that film can have; below it the search has failed and all is film."""
SMALLEST_PADDING = 0.0001
"""Smallest share of the image a region of padding can have."""
_WORKING_SIDE_PX = 700
_HULL_SIDE_PX = 400


def film_mask(value: npt.NDArray[Any], known_padding: BoolArray | None = None, *, lossy: bool) -> BoolArray:
    """Find the exposed film.

    Parameters
    ----------
    value : ndarray of uint8, uint16 or float32, shape (H, W)
        Finite values, radiopaque bright.
    known_padding : ndarray of bool, shape (H, W), optional
        Pixels the header already declares to be padding.
    lossy : bool
        The values went through a lossy codec, so that flat padding carries a little noise.

    Returns
    -------
    ndarray of bool, shape (H, W)
        True on film.
    """
    step = max(1, round(max(value.shape) / _WORKING_SIDE_PX))
    small = np.ascontiguousarray(value[::step, ::step])
    known = np.zeros(small.shape, np.uint8)
    if known_padding is not None:
        known[known_padding[::step, ::step]] = 1
    padding = _find_padding(small, known, lossy)
    film = np.ones(value.shape, bool)
    if padding.any():
        found = _without_slivers(1 - padding)
        if found.mean() >= SMALLEST_FILM:
            enlarged = found.astype(bool).repeat(step, axis=0).repeat(step, axis=1)
            film = np.ascontiguousarray(enlarged[: value.shape[0], : value.shape[1]])
    if known_padding is not None:
        film &= ~known_padding
    return film


def _find_padding(
    value: npt.NDArray[Any], known: npt.NDArray[np.uint8], lossy: bool
) -> npt.NDArray[np.uint8]:
    """Known and found padding, with the rim in which it blends with film, as 0 and 1."""
    import cv2

    found = _padding_candidates(value, known, lossy)
    kept = _without_interlocking(found, known)
    if not kept:
        return known
    grown = cv2.dilate(np.maximum.reduce(kept), np.ones((5, 5), np.uint8))
    return np.asarray(np.maximum(known, grown), dtype=np.uint8)


def _spread(value: npt.NDArray[Any]) -> float:
    """Grey spread of the middle of the image, where there is film and hardly ever padding."""
    height, width = value.shape
    middle = value[height // 5 : -(height // 5), width // 5 : -(width // 5)]
    step = max(1, min(middle.shape) // 120)
    low, high = np.percentile(middle[::step, ::step], (1, 99))
    return float(high - low) or 1.0


def _padding_candidates(
    value: npt.NDArray[Any], padding: npt.NDArray[np.uint8], lossy: bool
) -> list[npt.NDArray[np.uint8]]:
    """Flood regions, one mask a region, that start in a corner and are white or flat."""
    spread = _spread(value)
    height, width = value.shape
    zone = max(3, round(CORNER_ZONE * min(height, width)))
    white = float(value.max()) - WHITE_CORNER * spread
    flat = FLAT_TOLERANCE * spread if lossy else 0.0
    taken = padding.copy()
    found = []
    for rows in (slice(0, zone), slice(height - zone, height)):
        for columns in (slice(0, zone), slice(width - zone, width)):
            corner = value[rows, columns][taken[rows, columns] == 0]
            if corner.size == 0:
                continue
            levels: list[tuple[float, float]] = []
            level = float(np.median(corner))
            if level >= white:
                levels.append((level - WHITE_TOLERANCE * spread, np.inf))
            elif np.mean(corner >= white) > 0.2:
                levels.append((white, np.inf))
            if np.mean(np.abs(corner - level) <= flat) > 0.5:
                levels.append((level - flat, level + flat))
            for low, high in levels:
                region = _flood(value, low, high, (rows, columns))
                region[taken > 0] = 0
                if np.count_nonzero(region) < SMALLEST_PADDING * region.size:
                    continue
                if np.isfinite(high) or _has_edge(value, region, low - WHITE_EDGE * spread):
                    taken |= region
                    found.append(region)
    return found


def _flood(
    value: npt.NDArray[Any], low: float, high: float, corner: tuple[slice, slice]
) -> npt.NDArray[np.uint8]:
    """Pixels with low <= value <= high that are connected to the corner square, as 0 and 1."""
    import cv2

    candidate = ((value >= low) & (value <= high)).astype(np.uint8)
    # cut leaks where tissue of the same level touches padding by a few pixels
    opened = cv2.morphologyEx(candidate, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    rows, columns = corner
    for row, column in np.argwhere(opened[corner] == 1):
        seed = (int(column) + columns.start, int(row) + rows.start)
        if opened[seed[1], seed[0]] == 1:
            cv2.floodFill(opened, None, seed, 2)
    return np.asarray(opened == 2, dtype=np.uint8)


def _has_edge(value: npt.NDArray[Any], region: npt.NDArray[np.uint8], ceiling: float) -> bool:
    """Tell whether a white region ends in a step, as padding does, and not in a slope, as bone does."""
    import cv2

    near, far = (cv2.dilate(region, np.ones((side, side), np.uint8)) for side in (5, 9))
    ring = far - near
    beyond = value[ring == 1]
    return beyond.size == 0 or float(np.median(beyond)) < ceiling


def _without_interlocking(
    found: list[npt.NDArray[np.uint8]], padding: npt.NDArray[np.uint8]
) -> list[npt.NDArray[np.uint8]]:
    """Drop candidates that the film reaches around: tissue, metal or air, not padding."""
    kept = [(candidate, _thumbnail(candidate)) for candidate in found]
    known = _thumbnail(padding)
    while kept:
        film = 1 - np.maximum.reduce([known, *(small for _, small in kept)])
        hull = _hull(film)
        shares = [float(hull[small > 0].mean()) if small.any() else 0.0 for _, small in kept]
        worst = int(np.argmax(shares))
        if shares[worst] <= LARGEST_INTERLOCK:
            break
        del kept[worst]
    return [candidate for candidate, _ in kept]


def _thumbnail(mask: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    step = max(1, round(max(mask.shape) / _HULL_SIDE_PX))
    return np.ascontiguousarray(mask[::step, ::step])


def _hull(film: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Convex hull of the large parts of the film, a little shrunk, as 0 and 1."""
    import cv2

    hull = np.zeros_like(film)
    points = np.argwhere(_without_slivers(film))[:, ::-1].astype(np.int32)
    if len(points):
        cv2.fillConvexPoly(hull, cv2.convexHull(points), 1)
    # a few pixels less, for the rim and for padding too thin to be flooded
    return np.asarray(cv2.erode(hull, np.ones((7, 7), np.uint8)), dtype=np.uint8)


def _without_slivers(film: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Keep parts of the film of a size: dust on padding and thin lines of the frame are none."""
    import cv2

    core = cv2.erode(film, np.ones((5, 5), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(core, connectivity=4)
    if count < 2:
        return film
    areas = stats[:, cv2.CC_STAT_AREA]
    large = areas >= 0.05 * areas[1:].max()
    large[0] = False
    if count == 2 and bool((core == film).all()):
        return film
    kept = cv2.dilate(large[labels].astype(np.uint8), np.ones((7, 7), np.uint8))
    return np.asarray(kept & film, dtype=np.uint8)


def scale_to_grey(value: npt.NDArray[Any], film: BoolArray) -> tuple[npt.NDArray[np.float32], str]:
    """Scale values to 0..1 so that the film fills the range and nothing on it is clipped.

    Padding may lie far outside the film's range (65535 beside 12-bit data); it is then cut to 0 or 1. Padding
    within 0.3 of the film's range stays inside the scale: that is farther than bright film can lie that was
    wrongly taken for padding, so such film loses nothing. Single defective pixels do not stretch the scale.

    Parameters
    ----------
    value : ndarray of uint8, uint16 or float32, shape (H, W)
        Finite values, radiopaque bright.
    film : ndarray of bool, shape (H, W)
        True on film.

    Returns
    -------
    grey : ndarray of float32, shape (H, W)
        0..1.
    note : str
        What was done, for the history.

    Raises
    ------
    ValueError
        All film values are equal.
    """
    import cv2

    mask = film.astype(np.uint8)
    low, high, _, _ = cv2.minMaxLoc(value, mask)
    steady_low, steady_high, _, _ = cv2.minMaxLoc(cv2.medianBlur(value, 3), mask)
    note = "scaled linearly from the film's values {:g} to {:g} to 0 to 1"
    if steady_high > steady_low and high - low > 2 * (steady_high - steady_low):
        low, high = steady_low, steady_high
        note += ", single defective pixels cut off"
    if not high > low:
        raise ValueError("constant")
    all_low, all_high, _, _ = cv2.minMaxLoc(value)
    slack = 0.3 * (high - low)
    low = all_low if low - all_low <= slack else low
    high = all_high if all_high - high <= slack else high
    if value.dtype == np.uint8:
        table = np.clip((np.arange(256) - low) / (high - low), 0, 1).astype(np.float32)
        grey = cv2.LUT(value, table)
    else:
        grey = value.astype(np.float32)
        grey -= np.float32(low)
        grey *= np.float32(1 / (high - low))
        np.clip(grey, 0, 1, out=grey)
    return np.asarray(grey, dtype=np.float32), note.format(low, high)
