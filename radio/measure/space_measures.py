"""The measures of a canal in space, with their uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from radio.measure.methods.four_point import APICAL_MM, CORONAL_MM
from radio.measure.methods.long_axis import PORTION
from radio.measure.methods.point_turning import STEP_MM
from radio.measure.methods.straight_pieces import POINTS
from radio.measure.result import Measurement
from radio.measure.space import (
    access_angle_deg,
    four_point_deg,
    greatest_per_mm,
    length_mm,
    long_axis_deg,
    pieces_deg,
    schneider_deg,
    total_turning_deg,
    weine_deg,
)
from radio.measure.stack import APICAL_PORTION_MM, SMOOTH_SPAN_MM
from radio.measure.two_views import CanalInSpace, match
from radio.trace.curve import cumulative_length

FloatArray = npt.NDArray[np.float64]

# Sideways errors of a trace go together over about this length.
_CORRELATION_MM = 1.0

_TOLERANCE = "departure tolerance {tolerance:.2f} mm"
_MEASURES: tuple[tuple[str, str, str, str, Callable[[FloatArray, float], float]], ...] = (
    ("length_3d_mm", "mm", "length", "", lambda points, _: length_mm(points)),
    ("schneider_3d_deg", "deg", "Schneider angle", _TOLERANCE, schneider_deg),
    (
        "weine_3d_deg",
        "deg",
        "Weine angle",
        f"{_TOLERANCE}, apical line through the last {APICAL_PORTION_MM:g} mm",
        weine_deg,
    ),
    (
        "long_axis_3d_deg",
        "deg",
        "long-axis angle",
        f"coronal and apical portion {PORTION:.0%} each",
        lambda points, _: long_axis_deg(points),
    ),
    ("access_angle_3d_deg", "deg", "canal access angle", _TOLERANCE, access_angle_deg),
    (
        "four_point_3d_deg",
        "deg",
        "four-point angle",
        f"{CORONAL_MM:g} mm below the orifice, {APICAL_MM:g} mm short of the end",
        lambda points, _: four_point_deg(points),
    ),
    (
        "pieces_greatest_3d_deg",
        "deg",
        "straight pieces, greatest angle",
        f"{POINTS} points",
        lambda points, _: float(pieces_deg(points).max()),
    ),
    (
        "pieces_sum_3d_deg",
        "deg",
        "straight pieces, sum of angles",
        f"{POINTS} points",
        lambda points, _: pieces_deg(points).sum(),
    ),
    (
        "total_turning_3d_deg",
        "deg",
        "total turning",
        f"points every {STEP_MM:g} mm",
        lambda points, _: total_turning_deg(points),
    ),
    (
        "greatest_curvature_3d_per_mm",
        "1/mm",
        "greatest curvature",
        f"smoothing spline, waves of {SMOOTH_SPAN_MM:g} mm halved",
        lambda points, _: greatest_per_mm(points),
    ),
)


def measure_in_space(
    canal: CanalInSpace, *, tolerance_mm: float = 0.10, draws: int = 60, seed: int = 20_240_229
) -> dict[str, Measurement]:
    """Length, angles, curvature and smallest radius of a canal in space, with standard uncertainties.

    Parameters
    ----------
    canal : CanalInSpace
    tolerance_mm : float
        Departure tolerance.
    draws, seed : int
        Pairs of traces drawn as they might have come out; fixed seed, so that the same canal gives the same.

    Returns
    -------
    dict of str to Measurement
        By name; `sd` is None unless the canal was made with an uncertainty of both traces. It is the root
        mean square change from the value over the draws, and so holds what errors add to one side. A straight
        canal has no radius.
    """
    values = _values(canal.points_mm, tolerance_mm)
    sd: list[float | None] = [None] * len(values)
    notes = [canal.remarks] * len(values)
    if canal.sd_mm is not None:
        moved = np.array([_values(points, tolerance_mm) for points in _drawn(canal, draws, seed)]) - values
        sd = [float(x) for x in np.sqrt((moved**2).mean(axis=0))]
        notes = [canal.remarks + _one_sided(column) for column in moved.T]
    basis = f"two views {canal.between_views_deg:g} degrees apart, matched by height; orifice to canal end"
    out = {
        name: Measurement(
            name,
            float(value),
            unit,
            one,
            ", ".join(part for part in (f"{title} in space", told.format(tolerance=tolerance_mm)) if part),
            basis,
            note,
            _from_zero(float(value), one),
        )
        for (name, unit, title, told, _), value, one, note in zip(_MEASURES, values, sd, notes, strict=True)
    }
    greatest = out["greatest_curvature_3d_per_mm"]
    if greatest.value > 1e-6:
        out["smallest_radius_3d_mm"] = _radius(greatest, canal.remarks)
    return out


def _from_zero(value: float, sd: float | None) -> tuple[float, float] | None:
    """95 % interval of what cannot be negative."""
    return None if sd is None else (max(value - 1.96 * sd, 0.0), value + 1.96 * sd)


def _radius(greatest: Measurement, remarks: tuple[str, ...]) -> Measurement:
    """Radius of a curvature; its interval is that of the curvature, whose reciprocal it is."""
    radius = 1 / greatest.value
    shifted = ("The curvature it comes from is shifted by errors of the traces; see there.",)
    notes = remarks + shifted * (greatest.notes != remarks)
    title, name = "reciprocal of the greatest curvature in space", "smallest_radius_3d_mm"
    if greatest.sd is None or greatest.interval95 is None:
        return Measurement(name, radius, "mm", None, title, greatest.basis, notes)
    low, high = greatest.interval95
    interval = (1 / high, 1 / low if low > 0 else float("inf"))
    sd = greatest.sd * radius**2
    return Measurement(name, radius, "mm", sd, title, greatest.basis, notes, interval)


def _one_sided(moved: FloatArray) -> tuple[str, ...]:
    """Remark on a measure that errors of the traces shift more than they spread."""
    shift = float(moved.mean())
    if abs(shift) <= moved.std():
        return ()
    way = "smaller" if shift > 0 else "greater"
    return (f"Errors of the traces shift it by about {shift:+.2g} or more: the canal's own is likely {way}.",)


def _values(points: FloatArray, tolerance_mm: float) -> FloatArray:
    return np.array([value(points, tolerance_mm) for *_, value in _MEASURES])


def _drawn(canal: CanalInSpace, draws: int, seed: int) -> Iterator[FloatArray]:
    """Centrelines in space as they might have come out."""
    rng = np.random.default_rng(seed)
    heights_sd = canal.height_sd_mm or (0.0, 0.0)
    moved = [_moved(view, sd, draws, rng) for view, sd in zip(canal.views, heights_sd, strict=True)]
    for first, second in zip(*moved, strict=True):
        yield match(first, second, np.radians(canal.between_views_deg))[0]


def _moved(view: FloatArray, height_sd: float, draws: int, rng: np.random.Generator) -> FloatArray:
    """A view moved across by errors that go together along it, and stretched along it, (draws, N, 3)."""
    at = cumulative_length(view[:, :2])
    together = np.exp(-0.5 * ((at[:, None] - at) / _CORRELATION_MM) ** 2)
    root = np.linalg.cholesky(together + 1e-6 * np.eye(len(at)))
    out = np.repeat(view[None], draws, axis=0)
    out[..., 1] += rng.standard_normal((draws, len(at))) @ root.T * view[:, 2]
    stretch = 1 + height_sd / view[-1, 0] * rng.standard_normal((draws, 1))
    out[..., 0] *= np.maximum(stretch, 0.1)
    return out
