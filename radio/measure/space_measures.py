"""The measures of a canal in space, with their uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.measure.methods import METHODS, CurvatureMethod
from radio.measure.methods.four_point import APICAL_MM, CORONAL_MM
from radio.measure.methods.point_turning import STEP_MM
from radio.measure.methods.straight_pieces import POINTS
from radio.measure.own_plane import InOwnPlane, measure_in_own_plane
from radio.measure.result import Measurement
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
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
from radio.measure.space_draws import drawn_centrelines
from radio.measure.spread import spread
from radio.measure.two_views import CanalInSpace

FloatArray = npt.NDArray[np.float64]
Value = Callable[[FloatArray, CurvatureSettings], float]

DRAWS = 60
_SEED = 20_240_229
_RADIUS = "smallest_radius_3d_mm"


@dataclass(frozen=True)
class SpaceMeasure:
    """One measure that is taken in space itself, without a plane.

    Parameters
    ----------
    name : str
        With its unit as suffix.
    title : str
    unit : str
    method : str
        The method of one view it goes with; empty for one that is always told.
    told : str
        Its settings, with places for those of :class:`CurvatureSettings`.
    value : callable
        From a centreline in mm, shape (N, 3), and the settings.
    noise_adds : bool
        True for a sum or a maximum of bends whichever way they turn: every waver makes it greater.
    """

    name: str
    title: str
    unit: str
    method: str
    told: str
    value: Value
    noise_adds: bool = False


_TOLERANCE = "departure tolerance {0.departure_tolerance_mm:.2f} mm"
MEASURES = (
    SpaceMeasure("length_3d_mm", "Length", "mm", "", "", lambda p, _: length_mm(p)),
    SpaceMeasure(
        "schneider_3d_deg",
        "Schneider angle",
        "deg",
        "schneider",
        _TOLERANCE,
        lambda p, s: schneider_deg(p, s.departure_tolerance_mm),
    ),
    SpaceMeasure(
        "weine_3d_deg",
        "Weine angle",
        "deg",
        "weine",
        f"{_TOLERANCE}, apical line through the last {{0.apical_portion_mm:g}} mm",
        lambda p, s: weine_deg(p, s.departure_tolerance_mm, s.apical_portion_mm),
    ),
    SpaceMeasure(
        "long_axis_3d_deg",
        "Long-axis angle",
        "deg",
        "long-axis",
        "coronal and apical portion {0.long_axis_portion:.0%} each",
        lambda p, s: long_axis_deg(p, s.long_axis_portion),
    ),
    SpaceMeasure(
        "access_angle_3d_deg",
        "Canal access angle",
        "deg",
        "access-angle",
        _TOLERANCE,
        lambda p, s: access_angle_deg(p, s.departure_tolerance_mm),
    ),
    SpaceMeasure(
        "four_point_3d_deg",
        "Four-point angle",
        "deg",
        "four-point",
        f"{CORONAL_MM:g} mm below the orifice, {APICAL_MM:g} mm short of the end",
        lambda p, _: four_point_deg(p),
    ),
    SpaceMeasure(
        "pieces_greatest_3d_deg",
        "Straight pieces, greatest angle",
        "deg",
        "straight-pieces",
        f"{POINTS} points",
        lambda p, _: float(pieces_deg(p).max()),
        noise_adds=True,
    ),
    SpaceMeasure(
        "pieces_sum_3d_deg",
        "Straight pieces, sum of angles",
        "deg",
        "straight-pieces",
        f"{POINTS} points",
        lambda p, _: float(pieces_deg(p).sum()),
        noise_adds=True,
    ),
    SpaceMeasure(
        "total_turning_3d_deg",
        "Total turning",
        "deg",
        "point-turning",
        f"points every {STEP_MM:g} mm",
        lambda p, _: total_turning_deg(p),
        noise_adds=True,
    ),
    SpaceMeasure(
        "greatest_curvature_3d_per_mm",
        "Greatest curvature",
        "1/mm",
        "profile",
        "smoothing spline, waves of {0.smoothing_mm:g} mm halved",
        lambda p, s: greatest_per_mm(p, s.smoothing_mm),
        noise_adds=True,
    ),
)
SPACE_TITLES = {one.name: one.title for one in MEASURES} | {
    _RADIUS: "Smallest radius",
    "off_plane_mm": "Farthest from its plane",
}


@dataclass(frozen=True, eq=False)
class SpaceResult:
    """What is measured on a canal in space.

    Parameters
    ----------
    measurements : dict of str to Measurement
        Taken in space itself, by name.
    own_plane : InOwnPlane
        Every method of one view, in the plane the canal bends in.
    """

    measurements: dict[str, Measurement]
    own_plane: InOwnPlane


def measure_in_space(
    canal: CanalInSpace,
    *,
    methods: Sequence[CurvatureMethod] = METHODS,
    settings: CurvatureSettings = DEFAULT_SETTINGS,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> SpaceResult:
    """Length, angles and curvature of a canal in space, and every method in the canal's own plane.

    Parameters
    ----------
    canal : CanalInSpace
    methods : sequence of CurvatureMethod
        Which are wanted; the length, and the distance from the plane, come with any.
    settings : CurvatureSettings
    draws, seed : int
        Pairs of traces drawn as they might have come out; fixed seed, so that the same canal gives the same.

    Returns
    -------
    SpaceResult
        Of a measure in space `sd` is None unless the canal was made with drawn traces; it and the interval
        come from :func:`radio.measure.spread.spread`. A straight canal has no radius.
    """
    wanted = [one for one in MEASURES if not one.method or one.method in {m.name for m in methods}]
    lines = [canal.points_mm, *drawn_centrelines(canal, draws, seed)]
    rows = np.array([[one.value(line, settings) for one in wanted] for line in lines])
    basis = f"two views {canal.between_views_deg:g} degrees apart, matched by height; orifice to canal end"
    found = {}
    for measure, (value, *drawn) in zip(wanted, rows.T.tolist(), strict=True):
        moved = np.array(drawn) - value
        sd, interval = None, None
        if drawn:
            sd, low, high = spread(value, np.array(drawn), 0.0, 0.0, noise_adds=measure.noise_adds)
            interval = max(low, 0.0), high
        parts = (f"{measure.title} in space", measure.told.format(settings))
        told = ", ".join(part for part in parts if part)
        found[measure.name] = Measurement(
            measure.name, value, measure.unit, sd, told, basis, _one_sided(moved), interval
        )
    greatest = found.get("greatest_curvature_3d_per_mm")
    if greatest is not None and greatest.value > 1e-6:
        found[_RADIUS] = _radius(greatest)
    plane = measure_in_own_plane(lines, basis, methods=methods, settings=settings)
    found[plane.off_plane.name] = plane.off_plane
    return SpaceResult(found, plane)


def _radius(greatest: Measurement) -> Measurement:
    """Radius of a curvature; its interval is that of the curvature, whose reciprocal it is."""
    radius = 1 / greatest.value
    shifted = ("The curvature it comes from is shifted by errors of the traces; see there.",)
    notes = shifted if greatest.notes else ()
    title = "reciprocal of the greatest curvature in space"
    if greatest.sd is None or greatest.interval95 is None:
        return Measurement(_RADIUS, radius, "mm", None, title, greatest.basis, notes)
    low, high = greatest.interval95
    interval = (1 / high, 1 / low if low > 0 else float("inf"))
    sd = greatest.sd * radius**2
    return Measurement(_RADIUS, radius, "mm", sd, title, greatest.basis, notes, interval)


def _one_sided(moved: FloatArray) -> tuple[str, ...]:
    """Remark on a measure that errors of the traces shift more than they spread."""
    if not len(moved) or abs(shift := float(moved.mean())) <= moved.std():
        return ()
    way = "smaller" if shift > 0 else "greater"
    return (f"Errors of the traces shift it by about {shift:+.2g} or more: the canal's own is likely {way}.",)
