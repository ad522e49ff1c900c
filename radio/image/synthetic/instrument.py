"""The hand file: ISO 3630-1 geometry, the way it lies in a canal, and its shadow.

ISO 3630-1: diameter at the tip D0 is the size in hundredths of a millimetre, taper 0.02 mm a millimetre,
working part at least 16 mm, diameter there D16 = D0 + 0.32 mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.curves import arc_length, resample, tangents
from radio.image.synthetic.projection import Grid, View
from radio.image.synthetic.tubes import Float32Array, Shadow, Strip, Tube, lookup, project_tube, strip

FloatArray = npt.NDArray[np.float64]

TAPER = 0.02
WORKING_PART_MM = 16.0
TIP_HALF_ANGLE_DEG = 37.5


def file_diameter_mm(size: int, from_tip_mm: npt.ArrayLike) -> FloatArray:
    """Diameter of the circle about the section, at distances from the tip, without the tip cone.

    Parameters
    ----------
    size : int
        ISO 3630-1 size.
    from_tip_mm : array_like
        Distances from the tip, mm.
    """
    distance = np.asarray(from_tip_mm, dtype=np.float64)
    return size / 100 + TAPER * np.clip(distance, 0.0, WORKING_PART_MM)


def tip_length_mm(size: int) -> float:
    """Length of the tip cone, mm."""
    return float(size / 200 / np.tan(np.deg2rad(TIP_HALF_ANGLE_DEG)))


def lie_in_canal(axis_mm: FloatArray, clearance_mm: FloatArray) -> FloatArray:
    """Stiffest-looking line that stays within a clearance of an axis.

    A file is stiffer than the canal is straight: it cuts corners until it touches the wall. Smoothing and
    pushing back inside, in turns and from coarse to fine, comes close to the taut line.

    Parameters
    ----------
    axis_mm : ndarray, shape (N, 3)
        Axis of canal and access, at equal steps.
    clearance_mm : ndarray, shape (N,)
        How far the file's centre may leave the axis at each point.

    Returns
    -------
    ndarray, shape (N, 3)
    """
    from scipy.ndimage import gaussian_filter1d

    stride = 5
    coarse, room = axis_mm[::stride], clearance_mm[::stride][:, None]
    path = coarse.copy()
    for sigma, rounds in ((20.0, 60), (10.0, 60), (5.0, 40)):
        pad = int(4 * sigma)
        for _ in range(rounds):
            first = path[0] + (path[0] - path[1]) * np.arange(pad, 0, -1)[:, None]
            last = path[-1] + (path[-1] - path[-2]) * np.arange(1, pad + 1)[:, None]
            smooth = gaussian_filter1d(np.vstack([first, path, last]), sigma, axis=0)[pad:-pad]
            away = smooth - coarse
            distance = np.linalg.norm(away, axis=1, keepdims=True)
            path = coarse + away * np.minimum(1.0, room / np.maximum(distance, 1e-9))
    path = gaussian_filter1d(path, 3.0, axis=0, mode="nearest")
    s_coarse = np.arange(len(coarse)) * stride
    from scipy.interpolate import CubicSpline

    spline = CubicSpline(s_coarse, path)
    return np.asarray(spline(np.arange(s_coarse[-1] + 1)), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class HandFile:
    """A file in place.

    Parameters
    ----------
    path_mm : ndarray, shape (N, 3)
        Centre line in the tooth frame from the far end of the shaft to the tip, at equal steps.
    start_mm : float
        Arc length along `path_mm` where the known length begins: the stop's apical face or the handle's end.
    stop_mm : float
        Arc length of the stop's apical face.
    size : int
        ISO 3630-1 size.
    section : {"square", "round"}
        Cross-section of the working part.
    twist_per_mm : float
        Quarter turns a millimetre of a square section.
    metal : {"steel", "nickel-titanium"}
        What it is made of.
    """

    path_mm: FloatArray
    start_mm: float
    stop_mm: float
    size: int
    section: str
    twist_per_mm: float
    metal: str

    @property
    def tip_mm(self) -> FloatArray:
        """Tip in the tooth frame, shape (3,)."""
        return np.asarray(self.path_mm[-1])

    @property
    def length_mm(self) -> float:
        """Length from the start to the tip along the file."""
        return float(arc_length(self.path_mm)[-1]) - self.start_mm

    def axis_mm(self) -> FloatArray:
        """Centre line from the start to the tip, shape (N, 3)."""
        along = arc_length(self.path_mm)
        first = np.array([np.interp(self.start_mm, along, column) for column in self.path_mm.T])
        return resample(np.vstack([first, self.path_mm[along > self.start_mm]]))


def shadow_of(file: HandFile, view: View) -> Shadow:
    """Shadow of the circle about the file's section along its path."""
    from_tip = arc_length(file.path_mm)[-1] - arc_length(file.path_mm)
    radius = np.maximum(file_diameter_mm(file.size, from_tip) / 2, 1e-4)
    return project_tube(Tube(file.path_mm, radius, radius), view)


def _cone(file: HandFile, from_tip: Float32Array) -> Float32Array:
    """Share of the full radius left in the tip cone."""
    return np.asarray(np.clip(from_tip / np.float32(tip_length_mm(file.size)), 0, 1), dtype=np.float32)


def file_chord(file: HandFile, shadow: Shadow, where: Strip) -> Float32Array:
    """Metal path length at the sample points of a strip, mm, shape (n, k).

    A square section turned by an angle has a flat-topped, straight-sided thickness profile; its corners lie
    on the ISO circle.
    """
    step = shadow.step_mm
    along = lookup(shadow.length_mm, where.t_mm, step)
    from_tip = np.float32(shadow.length_mm[-1]) - along
    cone = _cone(file, from_tip)
    half_width = lookup(shadow.half_width_mm, where.t_mm, step) * cone
    half_width = np.maximum(half_width, np.float32(1e-5))
    central = lookup(shadow.central_mm, where.t_mm, step) * cone
    offset = np.abs(where.d_mm) / half_width
    inside = (where.t_mm >= 0) & (where.t_mm <= np.float32(shadow.total_mm))
    round_chord = central * np.sqrt(np.maximum(1 - offset**2, 0))
    if file.section == "round":
        return np.asarray(round_chord * inside, dtype=np.float32)
    angle = np.float32(np.pi / 2 * file.twist_per_mm) * from_tip
    high, low = np.abs(np.cos(angle)), np.abs(np.sin(angle))
    high, low = np.maximum(high, low), np.minimum(high, low)
    side = np.float32(np.sqrt(0.5))
    flat, outer = side * (high - low), side * (high + low)
    square = central * side / high * np.clip((outer - offset) / np.maximum(outer - flat, 1e-4), 0, 1)
    working = from_tip <= WORKING_PART_MM
    return np.asarray(np.where(working, square, round_chord) * inside, dtype=np.float32)


def samples_per_pixel(grid: Grid) -> int:
    """Sample points along a pixel side that resolve the finest tip: about 8 micrometres apart."""
    return int(np.clip(np.ceil(grid.pitch_mm / 0.008), 2, 6))


def file_strip(file: HandFile, view: View, grid: Grid) -> tuple[Shadow, Strip]:
    """Shadow of a file and the finely sampled pixels it touches."""
    shadow = shadow_of(file, view)
    reach = float(shadow.half_width_mm.max()) + grid.pitch_mm
    return shadow, strip(shadow, grid, reach, samples_per_pixel(grid))


@dataclass(frozen=True)
class Collar:
    """A short thick cylinder on the file: the stop, or the handle."""

    start_mm: float
    end_mm: float
    radius_mm: float


def collar_chord(collar: Collar, shadow: Shadow, grid: Grid, tilt_deg: float) -> tuple[Strip, Float32Array]:
    """Path length through a collar between two arc lengths of the file, flat faces seen a little obliquely.

    A face leaning by `tilt_deg` and seen at the shadow's slant projects to a narrow ellipse about its centre
    on the axis; the ramp between no path and full path spans that ellipse.
    """
    t_of = np.interp([collar.start_mm, collar.end_mm], shadow.length_mm, np.arange(len(shadow.length_mm)))
    t_start, t_end = (t_of * shadow.step_mm).astype(np.float32)
    middle = float(
        np.interp((t_start + t_end) / 2 / shadow.step_mm, np.arange(len(shadow.slant)), shadow.slant)
    )
    scale = float(shadow.total_mm / (shadow.length_mm[-1] - shadow.length_mm[0]))
    radius = np.float32(collar.radius_mm * scale / np.sqrt(max(1 - middle**2, 0.05)))
    lean = np.float32(np.tan(np.deg2rad(tilt_deg)))
    where = strip(shadow, grid, float(radius) + grid.pitch_mm, 1)
    offset = where.d_mm / radius
    round_off = np.sqrt(np.maximum(1 - offset**2, 0))
    ramp = np.maximum(np.float32(abs(middle)) * radius * round_off, np.float32(grid.pitch_mm / 2))
    t = where.t_mm - lean * where.d_mm
    into = np.clip((t - t_start) / (2 * ramp) + 0.5, 0, 1)
    out = np.clip((t_end - t) / (2 * ramp) + 0.5, 0, 1)
    return where, np.asarray(2 * np.float32(collar.radius_mm) * round_off * into * out, dtype=np.float32)


def shaft_tangent(file: HandFile) -> FloatArray:
    """Direction of the file at its start, tooth frame, shape (3,)."""
    along = arc_length(file.path_mm)
    return np.asarray(tangents(file.path_mm)[int(np.searchsorted(along, file.start_mm))])
