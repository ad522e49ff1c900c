"""The straightening of one traced canal: its walls on the image, the bounds, and their uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.instruments import HandFile
from calib.scale import Scale
from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult, Clicks, Remark
from radio.measure.perturb import SEED
from radio.measure.result import Measurement
from radio.measure.spread import spread
from radio.measure.stack import TraceStack
from radio.measure.straightening import CENTRED, LEANING, TRACED, Straightening, straightening
from radio.trace.curve import cumulative_length
from radio.trace.line import BoolArray, Line
from radio.trace.polarity import metal_is_bright
from radio.trace.tip import TYPICAL_FILE_SIZE
from radio.trace.walls import FileShadow, Walls, trace_walls
from radio.trace.workspace import make_workspace

FloatArray = npt.NDArray[np.float64]

COLUMNS: Mapping[str, str] = {
    TRACED: "shrink_traced_mm",
    CENTRED: "shrink_centred_mm",
    LEANING: "shrink_leaning_mm",
}
_HOW: Mapping[str, str] = {
    TRACED: "the canal as traced",
    CENTRED: "the canal as traced together with the shape of the file about its centre line",
    LEANING: "the canal as traced together with the shape of the file about the taut path through it",
}
NOT_A_PREDICTION = (
    "Geometry, not a prediction: the most a length along the centre line can shrink between these walls, not "
    "how much it will. Measure again after every stage."
)
_NOTES = (
    "The ends are free across the canal; nothing is counted above the orifice. A length read on a file that "
    "lay along the outer walls has more to lose.",
    "One view: what bends toward or away from the detector is not seen, and is not in the uncertainty.",
)
_DRAWS = 40
# Errors of a wall go together over about this.
_TOGETHER_MM = 1.5
_LEAST_SD_MM = 0.01
# A bound needs this share of each wall seen: the rest is bridged by usual widths, and a bound from those is
# none of this canal. Own choice, no source.
_SEEN_ENOUGH = 0.5


@dataclass(frozen=True, eq=False)
class WallsMm:
    """Half-widths at the points of the centre line, mm; `seen` is False where the width is bridged."""

    left_mm: FloatArray
    right_mm: FloatArray
    left_sd_mm: FloatArray
    right_sd_mm: FloatArray
    left_seen: BoolArray
    right_seen: BoolArray

    @property
    def seen_share(self) -> float:
        """Share of both walls that the image shows."""
        return float(0.5 * (self.left_seen.mean() + self.right_seen.mean()))

    @property
    def least_seen_share(self) -> float:
        """Share that the image shows of the wall it shows less of."""
        return float(min(self.left_seen.mean(), self.right_seen.mean()))


@dataclass(frozen=True, eq=False)
class CaseStraightening:
    """The straightening of one canal.

    Parameters
    ----------
    result : CaseResult
        The canal.
    walls : WallsMm
    geometry : Straightening
    measuring, prepared : HandFile or None
        As of :func:`radio.measure.straightening.straightening`.
    length : Measurement
        Length of the centre line.
    shrinks : mapping of str to Measurement
        Bounds by way: ``"traced"``, ``"centred"``, ``"leaning"``.
    remarks : tuple of Remark
        Warnings about the canal, and what is said of walls and bounds.
    """

    result: CaseResult
    walls: WallsMm
    geometry: Straightening
    measuring: HandFile | None
    prepared: HandFile | None
    length: Measurement
    shrinks: Mapping[str, Measurement]
    remarks: tuple[Remark, ...]


def straightening_of_case(
    radiograph: Radiograph, clicks: Clicks, result: CaseResult, prepared: HandFile | None = None
) -> CaseStraightening:
    """Trace the walls of a measured canal and bound how much its length can shrink.

    The length is taken to be read on the file whose size is stated; a thread stands for it where none is.

    Parameters
    ----------
    radiograph : Radiograph
    clicks : mapping of str to ndarray, shape (N, 2)
        The clicks the canal was measured from.
    result : CaseResult
    prepared : HandFile, optional
        The file the canal is to be widened with.

    Returns
    -------
    CaseStraightening

    Raises
    ------
    PeriapicalError
        There is no canal line or no scale, a check withholds the length, less than half of a wall is seen, or
        the size of the file is none of ISO 3630-1.
    """
    stack, line, scale = result.stack, result.canal_line, result.scale
    if stack is None or line is None:
        raise PeriapicalError("there is no canal line; click its orifice and its end, and see the remarks")
    if scale is None:
        raise PeriapicalError(
            "there is no scale, and files have their sizes in millimetres; give a file or ball of known "
            "size, or mm_per_px"
        )
    length = result.measurements.get("canal_length_mm")
    if length is None:
        raise PeriapicalError(
            "the length of the canal is withheld by a check; periapical measure tells which, and what to do"
        )
    size = result.facts.file_size
    measuring = None if size is None else HandFile(size)
    walls = _on_samples(_walls(radiograph, clicks, result, line, scale), line, stack, scale)
    if walls.least_seen_share < _SEEN_ENOUGH:
        raise PeriapicalError(_too_little_seen(walls))
    geometry = straightening(
        stack.points[0], walls.left_mm, walls.right_mm, measuring=measuring, prepared=prepared
    )
    drawn = _drawn(stack, walls, measuring, prepared)
    shrinks = {
        name: _measurement(name, way.shrink_mm, drawn[name], walls, scale, measuring, prepared)
        for name, way in geometry.ways.items()
    }
    warned = [one for one in result.remarks if one.level != "note"]
    remarks = (*warned, *_remarks(geometry))
    return CaseStraightening(result, walls, geometry, measuring, prepared, length, shrinks, remarks)


def _walls(radiograph: Radiograph, clicks: Clicks, result: CaseResult, line: Line, scale: Scale) -> Walls:
    """Walls at the points of the canal line, in columns."""
    mm = scale.col_mm_per_px
    lines = [one.points_px for one in (line, result.file_line) if one is not None]
    space = make_workspace(
        radiograph.grey, np.vstack(lines), margin_px=2.0 / mm, aspect=radiograph.pixel_aspect
    )
    image = space.image
    here = {name: space.from_image(points) for name, points in clicks.items()}
    if radiograph.file_format != "DICOM" and metal_is_bright(image, here, mm_per_px=mm) is False:
        image = np.ascontiguousarray(1.0 - image)
    file = None
    if result.file_line is not None:
        size = result.facts.file_size
        diameter = (TYPICAL_FILE_SIZE if size is None else size) / 100
        file = FileShadow(space.from_image(result.file_line.points_px), diameter)
    return trace_walls(image, space.from_image(line.points_px), mm_per_px=mm, file=file)


def _on_samples(walls: Walls, line: Line, stack: TraceStack, scale: Scale) -> WallsMm:
    """The walls at the samples of the measured trace, mm."""
    along = cumulative_length(line.points_px)
    share, at = along / along[-1], stack.s[0] / stack.length[0]
    mm = scale.col_mm_per_px
    left, right, left_sd, right_sd = (
        np.interp(at, share, one) * mm
        for one in (walls.left_px, walls.right_px, walls.left_sd_px, walls.right_sd_px)
    )
    left_seen, right_seen = (
        np.interp(at, share, one.astype(float)) > 0.5 for one in (walls.left_seen, walls.right_seen)
    )
    return WallsMm(left, right, left_sd, right_sd, left_seen, right_seen)


def _drawn(
    stack: TraceStack, walls: WallsMm, measuring: HandFile | None, prepared: HandFile | None
) -> dict[str, FloatArray]:
    """The bounds of canals as they might be: other traces, each with other walls about it."""
    rng = np.random.default_rng((SEED, 2))
    step = float(stack.length[0]) / (stack.points.shape[1] - 1)
    found: dict[str, list[float]] = {}
    for points in stack.points[1 : 1 + _DRAWS]:
        left, right = (
            np.maximum(half + sd * _together(rng, len(half), _TOGETHER_MM / step), 0.0)
            for half, sd in ((walls.left_mm, walls.left_sd_mm), (walls.right_mm, walls.right_sd_mm))
        )
        for name, way in straightening(
            points, left, right, measuring=measuring, prepared=prepared
        ).ways.items():
            found.setdefault(name, []).append(way.shrink_mm)
    names = COLUMNS if prepared is not None else (TRACED,)
    return {name: np.array(found.get(name, [])) for name in names}


def _together(rng: np.random.Generator, count: int, samples: float) -> FloatArray:
    """Errors of standard deviation 1 that go together over some samples, shape (count,)."""
    from scipy.ndimage import gaussian_filter1d

    beyond = int(4 * samples) + 1
    noise = gaussian_filter1d(rng.standard_normal(count + 2 * beyond), samples)[beyond:-beyond]
    # of white noise, smoothing leaves the share sum(kernel ** 2) of the variance
    return np.asarray(noise * np.sqrt(2.0 * np.sqrt(np.pi) * samples))


def _measurement(
    name: str,
    value: float,
    drawn: FloatArray,
    walls: WallsMm,
    scale: Scale,
    measuring: HandFile | None,
    prepared: HandFile | None,
) -> Measurement:
    by_scale = abs(value) * scale.relative_sd
    # a line that wavers is longer, and the taut path through what it bounds hardly is
    sd, low, high = spread(value, drawn, by_scale, _LEAST_SD_MM, noise_adds=True)
    thread = "a thread without thickness, as no file size is stated"
    read_on = thread if measuring is None else f"{file_text(measuring)} and circular section"
    basis = (
        f"length read on {read_on}, its tip at the canal end; walls seen over "
        f"{walls.seen_share:.0%} of their length, bridged elsewhere; scale from {scale.source}"
    )
    if prepared is not None and name != TRACED:
        basis += f"; prepared with {file_text(prepared)} and circular section to the canal end"
    return Measurement(
        COLUMNS[name],
        value,
        "mm",
        sd,
        f"centre line less the shortest way inside {_HOW[name]}",
        basis,
        (NOT_A_PREDICTION, *_NOTES),
        (min(max(low, 0.0), value), high),
    )


def file_text(file: HandFile) -> str:
    """Name a file by its size and taper."""
    return f"size {file.size:02d} of taper {file.taper:g}"


def _too_little_seen(walls: WallsMm) -> str:
    left, right = (f"{float(one.mean()):.0%}" for one in (walls.left_seen, walls.right_seen))
    return (
        f"the image shows {left} of the one wall of the canal and {right} of the other; at least "
        f"{_SEEN_ENOUGH:.0%} of each are needed, for elsewhere the width would be guessed, and with it the "
        "bound. Look at the canal line; a file that fills the canal hides its walls: an image taken before "
        "shows them, if there is one"
    )


def _remarks(geometry: Straightening) -> list[Remark]:
    if not geometry.narrowed:
        return []
    told = (
        "A bend of the line is sharper than the canal is wide; inside it the wall was drawn closer, and the "
        "canal could shrink by more than stated. Check the line there."
    )
    return [Remark("note", told)]
