"""Find lettering that was burnt into the pixels of an image, so that a person can decide on it.

Letters are small, crisp, of one height and one stroke, and stand in a row; bone, instruments and fillings
are one or two of these, not all. What is found is only a suspicion: letters across strong texture,
handwriting and faces are not found, so an image without a suspicion is to be looked at all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

BoolArray = npt.NDArray[np.bool_]
Image = npt.NDArray[np.float32]

# Heights of letters, pixels; larger ones are found on a reduced image.
_LOWEST, _HIGHEST = 6, 40
_REDUCTIONS = (1, 2, 4)
# Strokes stand out by this share of the range of the image, and by this many times the local noise.
_LEAST_CONTRAST, _LEAST_TIMES_NOISE = 0.12, 5.0
# A stroke is at most this share of the height of a letter.
_WIDEST_STROKE = 0.42
_LEAST_LETTERS = 3
# Letters that touch are taken together up to so many times their height.
_LONGEST = 25
_MARGIN_PX = 4
# The step from ground to stroke takes place within a pixel or two.
_LEAST_CRISPNESS = 0.5
# Above or below a row of letters nothing rises more than this share of them.
_QUIET = 0.4


@dataclass(frozen=True)
class Lettering:
    """A place that looks like lettering.

    Parameters
    ----------
    top, left, bottom, right : int
        Rows and columns, the last ones not included.
    letters : int
        How many signs were counted.
    """

    top: int
    left: int
    bottom: int
    right: int
    letters: int


@dataclass(frozen=True)
class _Sign:
    row: float
    col: float
    height: int
    width: int
    stroke: float
    level: float
    letters: int


def find_lettering(grey: Image) -> tuple[Lettering, ...]:
    """Look for rows of letters, upright or turned by a right angle, bright or dark.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
        0..1.

    Returns
    -------
    tuple of Lettering
        From top to bottom; empty where nothing looks like lettering.
    """
    import cv2

    found: list[Lettering] = []
    for reduction in _REDUCTIONS:
        small = (
            grey
            if reduction == 1
            else cv2.resize(grey, None, fx=1 / reduction, fy=1 / reduction, interpolation=cv2.INTER_AREA)
        )
        if min(small.shape) < 3 * _LOWEST:
            break
        steps = _largest_within(_steps(grey, reduction), reduction, small.shape)
        for turned in (False, True):
            # letters turned by a right angle either way stand in a row down the image
            image: Image = np.ascontiguousarray(small.T if turned else small, dtype=np.float32)
            step = np.ascontiguousarray(steps.T if turned else steps)
            for bright in (True, False):
                for box in _rows_of_letters(image if bright else 1.0 - image, step):
                    found.append(_on_image(box, reduction, grey.shape, turned=turned))
    return _joined(found)


def _steps(grey: Image, reduction: int) -> Image:
    """Height of the step at each pixel, over two pixels; noise that large letters rise above is taken off."""
    import cv2

    if reduction > 1:
        grey = np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.4 * reduction), dtype=np.float32)
    across = cv2.Sobel(grey, cv2.CV_32F, 1, 0, scale=0.25)
    return np.asarray(np.hypot(across, cv2.Sobel(grey, cv2.CV_32F, 0, 1, scale=0.25)), dtype=np.float32)


def _largest_within(steps: Image, reduction: int, shape: tuple[int, ...]) -> Image:
    """Largest step within each pixel of a reduced image: what is crisp is so at full size."""
    import cv2

    if reduction == 1:
        return steps
    widest = cv2.dilate(steps, np.ones((reduction, reduction), np.uint8))
    return np.asarray(cv2.resize(widest, shape[::-1], interpolation=cv2.INTER_NEAREST))


def _rows_of_letters(image: Image, step: Image) -> list[tuple[int, int, int, int, int]]:
    signs, rise = _signs(image, step)
    boxes = [
        (
            int(min(one.row - one.height / 2 for one in row)),
            int(min(one.col - one.width / 2 for one in row)),
            int(np.ceil(max(one.row + one.height / 2 for one in row))),
            int(np.ceil(max(one.col + one.width / 2 for one in row))),
            sum(one.letters for one in row),
        )
        for row in _in_rows(signs)
    ]
    return [one for one in boxes if _stands_free(one, rise)]


def _stands_free(box: tuple[int, int, int, int, int], rise: Image) -> bool:
    """Whether it is quiet above or below a row, as it is between lines and is not in the meshes of bone."""
    top, left, bottom, right, _ = box
    band = max(2, (bottom - top) // 4)
    inside = float(np.percentile(rise[max(top, 0) : bottom, max(left, 0) : right], 90))
    beside = (
        rise[max(top - 1 - band, 0) : max(top - 1, 0), max(left, 0) : right],
        rise[bottom + 1 : bottom + 1 + band, max(left, 0) : right],
    )
    return any(one.size > 0 and float(np.percentile(one, 90)) <= _QUIET * inside for one in beside)


def _signs(image: Image, step: Image) -> tuple[list[_Sign], Image]:
    """Connected strokes that could be letters, and how far every pixel rises above its ground."""
    import cv2

    found = []
    rise = image
    for size in (9, 19):
        kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (size, size))
        rise = np.asarray(cv2.subtract(image, cv2.morphologyEx(image, cv2.MORPH_OPEN, kernel)), np.float32)
        noise = 1.4826 * float(np.median(np.abs(rise - np.median(rise))))
        level = max(_LEAST_CONTRAST * _span(image), _LEAST_TIMES_NOISE * noise)
        mask = (rise > level).astype(np.uint8)
        count, labels, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=8)
        inside = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
        for label in range(1, count):
            left, top, width, height, area = (int(v) for v in stats[label])
            if not (_LOWEST <= height <= _HIGHEST and 1 <= width <= _LONGEST * height):
                continue
            part = (slice(top, top + height), slice(left, left + width))
            own = labels[part] == label
            stroke = 2 * float(inside[part][own].max())
            if stroke > max(_WIDEST_STROKE * height, 3.0) or not 0.08 <= area / (width * height) <= 0.95:
                continue
            rises = rise[part][own]
            # the edge of a letter is as steep as its rise: nothing in a mouth is
            crisp = float(np.percentile(step[part][own], 90)) / float(np.median(rises))
            if crisp < _LEAST_CRISPNESS:
                continue
            letters = 1
            if width > 1.6 * height:
                # letters that touch: in every row of their middle as many strokes as so many letters have
                middle = own[height // 4 : height - height // 4].astype(np.int8)
                runs = np.count_nonzero(np.diff(middle, axis=1) > 0, axis=1) + middle[:, 0]
                if np.median(runs) < 1.1 * width / height or np.percentile(runs, 25) < 0.7 * width / height:
                    continue
                letters = max(1, round(width / height))
            level_of = float(np.percentile(image[part][own], 95))
            found.append(
                _Sign(centres[label][1], centres[label][0], height, width, stroke, level_of, letters)
            )
    return found, rise


def _in_rows(signs: Sequence[_Sign]) -> list[list[_Sign]]:
    """Groups of signs of like height, level and stroke, side by side."""
    order = sorted(signs, key=lambda one: one.col)
    rows: list[list[_Sign]] = []
    for one in order:
        for row in rows:
            last = row[-1]
            like = (
                max(one.height, last.height) <= 1.7 * min(one.height, last.height)
                and abs(one.row - last.row) <= 0.45 * max(one.height, last.height)
                and abs(one.level - last.level) <= 0.15
            )
            gap = (one.col - one.width / 2) - (last.col + last.width / 2)
            if like and -0.3 * last.width <= gap <= 2.2 * max(one.height, last.height):
                row.append(one)
                break
        else:
            rows.append([one])
    return [row for row in rows if sum(one.letters for one in row) >= _LEAST_LETTERS and _is_one_hand(row)]


def _is_one_hand(row: Sequence[_Sign]) -> bool:
    heights = np.array([one.height for one in row], dtype=float)
    strokes = np.array([one.stroke for one in row])
    return bool(heights.std() <= 0.25 * heights.mean() and strokes.std() <= 0.4 * strokes.mean())


def _span(image: Image) -> float:
    low, high = np.percentile(image, [2, 98])
    return float(high - low)


def _on_image(
    box: tuple[int, int, int, int, int], reduction: int, shape: tuple[int, ...], *, turned: bool
) -> Lettering:
    top, left, bottom, right, letters = box
    # a row may go on with signs that were not taken for letters
    across, along = _MARGIN_PX * reduction, _MARGIN_PX * reduction + 3 * (bottom - top) * reduction // 2
    if turned:
        top, left, bottom, right = left, top, right, bottom
        across, along = along, across
    return Lettering(
        max(top * reduction - across, 0),
        max(left * reduction - along, 0),
        min(bottom * reduction + across, shape[0]),
        min(right * reduction + along, shape[1]),
        letters,
    )


def _joined(found: Sequence[Lettering]) -> tuple[Lettering, ...]:
    """Overlapping places as one."""
    kept: list[Lettering] = []
    for one in found:
        overlapping = [k for k in kept if _overlap(k, one)]
        for other in overlapping:
            kept.remove(other)
            one = Lettering(
                min(one.top, other.top),
                min(one.left, other.left),
                max(one.bottom, other.bottom),
                max(one.right, other.right),
                max(one.letters, other.letters),
            )
        kept.append(one)
    return tuple(sorted(kept, key=lambda one: (one.top, one.left)))


def _overlap(a: Lettering, b: Lettering) -> bool:
    return a.top < b.bottom and b.top < a.bottom and a.left < b.right and b.left < a.right
