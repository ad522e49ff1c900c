"""Checks of the image: what of file and root it can show."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from radio.measure.bend import square
from radio.measure.check_rules.contract import CheckRule, Found
from radio.measure.check_rules.seen import Seen
from radio.trace.along import strip
from radio.trace.curve import arc_length

FloatArray = npt.NDArray[np.float64]

WARN_TIP_PX, STOP_TIP_PX = 1.5, 0.75
"""Width of a file tip, in pixels, below which it is doubtful or not to be seen."""
SMALL_SIZE = 15
LEAST_TIP_CONTRAST = 2.0
"""Rise of the file over what lies beside its tip, in standard deviations of that; cut-off of this program."""
EDGE_MM = 1.0
_FEW_LEVELS = 16
_AT_ENDS, _SHARE_AT_ENDS = 0.1, 0.95
_MOST_PIXELS = 500_000
_SLIGHT_DEG = 5.0
_DEGREES = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:deg|°)", re.IGNORECASE)
_SHIFT = re.compile(r"\b(?:mesial|distal|mesio|disto|[md][ -]?\d{1,2}\b|\d{1,2}[ -]?[md]\b)", re.IGNORECASE)
_ANGLED = re.compile(
    r"\b(?:oblique|angled|angulat|tilt|shift|bisect|eccentric"
    r"|(?:tube|cone|beam|head)[ -](?:\w+[ -])?(?:up|down|raised|lowered|turned|shifted))",
    re.IGNORECASE,
)


def _resolution(seen: Seen) -> Iterator[Found]:
    size = seen.facts.file_size
    if size is None or seen.traced.file_line is None:
        return
    width_px = size / 100 / seen.mm_per_px
    if width_px >= WARN_TIP_PX:
        return
    stop = width_px < STOP_TIP_PX
    own = seen.scale is not None and seen.scale.source == "file"
    yield Found(
        "stop" if stop else "warn",
        f"The tip of a file of size {size:02d} is {width_px:.2f} pixels wide here"
        + (": it cannot be seen." if stop else ": where it ends is doubtful."),
        "Use the image at its full resolution, or a larger file if one is in the canal anyway.",
        (("scale", "tip") if own else ("tip",)) if stop else (),
    )


def tip_contrast(seen: Seen) -> float | None:
    """Rise of the file over what lies beside it in its last millimetre, in standard deviations of that.

    The profile across the file is averaged along it, less a straight slope; the canal about the file is left
    out of both.
    """
    line = seen.traced.file_line
    if line is None:
        return None
    mm, points = seen.mm_per_px, line.points_px
    end = arc_length(points)
    offsets_mm = np.arange(-1.2, 1.2 + mm / 2, max(mm / 2, 0.02))
    s = np.arange(max(end - 1.0 / mm, 0.0), end - 0.1 / mm, 0.5)
    if len(s) < 2:
        return None
    profile = strip(seen.radiograph.grey, points, s, offsets_mm / mm).mean(axis=0)
    away = np.abs(offsets_mm) > 0.45
    if np.ptp(profile) < 1e-9:
        return 0.0
    slope = np.polyfit(offsets_mm[away], profile[away], 1)
    level = profile - np.polyval(slope, offsets_mm)
    half = max(0.5 * (seen.facts.file_size or SMALL_SIZE) / 100, 0.5 * mm)
    middle = level[np.abs(offsets_mm) <= half].mean()
    spread = float(level[away].std())
    # an image with its grey values the other way round has the file dark
    return float(abs(middle) / max(spread, 1e-9))


def _tip_seen(seen: Seen) -> Iterator[Found]:
    size, tip = seen.facts.file_size, seen.traced.landmarks.get("file_tip")
    if tip is None or size is None or size >= SMALL_SIZE:
        return
    contrast = tip_contrast(seen)
    if tip.refined and (contrast is None or contrast >= LEAST_TIP_CONTRAST):
        return
    why = "was not found in the image and stays as clicked" if not tip.refined else "hardly stands out"
    yield Found(
        "warn",
        f"The tip of this file of size {size:02d} {why}: it may reach further than seen.",
        "Look at it enlarged and click it again; note whether both clicks agree.",
    )


def _edge_mm(seen: Seen, point_px: FloatArray) -> float:
    """Distance from a point to the nearest place without image, mm; looked for within 1.2 mm."""
    film, mm, aspect = seen.radiograph.film, seen.mm_per_px, seen.traced.aspect
    rows, cols = film.shape
    row, col = point_px
    border = min((row + 0.5) * aspect, (rows - 0.5 - row) * aspect, col + 0.5, cols - 0.5 - col)
    reach = 1.2 * EDGE_MM / mm
    r0, c0 = max(int(row - reach / aspect), 0), max(int(col - reach), 0)
    window = film[r0 : int(row + reach / aspect) + 2, c0 : int(col + reach) + 2]
    away = square(np.argwhere(~window) + np.array([r0, c0]) - point_px, aspect)
    nearest = float(np.hypot(*away.T).min()) if len(away) else np.inf
    return max(float(min(border, nearest)), 0.0) * mm


def _apex_in_image(seen: Seen) -> Iterator[Found]:
    apex = seen.traced.landmarks.get("apex")
    if apex is None:
        return
    edge_mm = _edge_mm(seen, apex.point_px)
    if edge_mm >= EDGE_MM:
        return
    unseen = not apex.refined
    yield Found(
        "stop" if unseen else "warn",
        f"The radiographic apex lies {edge_mm:.1f} mm from the edge of the image"
        + (", and no root end was found there: it may lie outside." if unseen else "; a root end was found."),
        "If the root end is cut off, use another image that there is; whether one is made is decided by what "
        "the patient needs.",
        ("apex",) if unseen else (),
    )


def _enhanced(seen: Seen) -> Iterator[Found]:
    if seen.said("P19") == "yes":
        yield Found("warn", "The image is said to be enhanced.", _USE_ORIGINAL, final=True)
        return
    film = np.flatnonzero(seen.radiograph.film)
    film = film[:: max(1, len(film) // _MOST_PIXELS)]
    grey = seen.radiograph.grey.ravel()[film]
    levels = len(np.unique(grey))
    at_ends = float(((grey <= _AT_ENDS) | (grey >= 1 - _AT_ENDS)).mean())
    if levels <= _FEW_LEVELS:
        yield Found("warn", f"The image has only {levels} shades of grey: thresholded?", _USE_ORIGINAL)
    elif at_ends >= _SHARE_AT_ENDS:
        yield Found("warn", f"{at_ends:.0%} of the image is black or white: thresholded?", _USE_ORIGINAL)


_USE_ORIGINAL = "Measure the image as it was exposed."


def _lossy(seen: Seen) -> Iterator[Found]:
    image = seen.radiograph
    if image.lossy:
        yield Found(
            "note",
            f"This {image.file_format} image was stored with loss.",
            "Use the original export when there is one.",
        )


def is_angled(view: str) -> bool:
    """Whether the label of a view tells of an angle."""
    if _DEGREES.search(view) is not None:
        return not is_slight(view)
    return _ANGLED.search(view) is not None or tells_shift(view)


def tells_shift(view: str) -> bool:
    """Whether the label of a view tells to which side of the tooth the tube stood."""
    shift = _SHIFT.search(view)
    degrees = re.search(r"\d+", shift[0]) if shift else None
    slight = is_slight(view) or (degrees is not None and float(degrees[0]) <= _SLIGHT_DEG)
    return shift is not None and not slight


def is_slight(view: str) -> bool:
    """Whether the label of a view tells of an angle that hardly matters."""
    degrees = _DEGREES.search(view)
    return degrees is not None and float(degrees[1].replace(",", ".")) <= _SLIGHT_DEG


def _angled(seen: Seen) -> Iterator[Found]:
    said = seen.said("P26") == "yes"
    lengths = any(one.unit == "mm" for one in seen.measurements.values())
    if lengths and (said or is_angled(seen.facts.view)):
        told = "an angled view" if said else f"an angled view ({seen.facts.view})"
        yield Found(
            "warn",
            f"Lengths are read from {told}: roots appear longer, shorter or further apart than they are.",
            "Compare with the straight view where there is one.",
            final=said,
        )


IMAGE_RULES = (
    CheckRule(
        "P7",
        "resolution for this file",
        "stop",
        f"width of the file tip in pixels: below {WARN_TIP_PX:g} doubtful, below {STOP_TIP_PX:g} not seen",
        "Length reading at 75 dpi was worse, at 300 as at 600 dpi (Radan, thesis, 1999)",
        "verified; the cut-offs follow by arithmetic",
        _resolution,
    ),
    CheckRule(
        "P8",
        "fine file tip",
        "warn",
        "whether the tip of a file below size 15 stands out from what lies beside it",
        "The error of the read file length falls as the size rises (Kal 2007, Oral Surg 103:280)",
        "verified in the abstract; the cut-off is this program's; another study found 06 to 10 adequate "
        "(Brito-Júnior 2009)",
        _tip_seen,
    ),
    CheckRule(
        "P9",
        "apex in the image",
        "stop",
        f"distance of the radiographic apex from the edge of the image, {EDGE_MM:g} mm",
        "The apex cut off was the commonest reason for a retake among 4786 students' radiographs (Ajman)",
        "verified; a stop only where no root end was found, which is this program's choice",
        _apex_in_image,
    ),
    CheckRule(
        "P19",
        "image as exposed",
        "warn",
        "shades of grey in the image, and a question",
        "Measured on thresholded images, lengths had a significantly larger error (Kal 2007)",
        "verified in the abstract; the cut-offs are this program's",
        _enhanced,
        "Was the image enhanced (sharpened, embossed, thresholded, equalised)?",
        settles=("no",),
        doubts=("yes",),
    ),
    CheckRule(
        "P20",
        "stored without loss",
        "note",
        "how the image is stored",
        "DICOM was less noisy than other exports (Braz Dent J 2023)",
        "verified in the abstract",
        _lossy,
    ),
    CheckRule(
        "P26",
        "straight view",
        "warn",
        "the stated view, and a question",
        "An angled view changes projected lengths",
        "from memory",
        _angled,
        "Was the image taken at an angle to the tooth?",
        settles=("no",),
        doubts=("yes",),
    ),
)
