"""Projection of a straight piece from a point source, and what it can do to a length on the image."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.errors import CalibrationError

FloatArray = npt.NDArray[np.float64]

INTRA_ORAL_MAGNIFICATION = (1.065, 0.045)
"""Middle and half-width of the magnification of an intra-oral image.

From 1.025 (object 10 mm from the receptor, source 406 mm away) to 1.109 (20 mm, 203 mm), by geometry.
Measured means of 1.034 on film and 1.095 on a sensor lie within (Lazzerini 1996, abstract)."""
_STEPS = 41
_STEEPEST_DEG = 60.0


@dataclass(frozen=True)
class Exposure:
    """Distances of an exposure with the central ray at right angles to the receptor.

    Parameters
    ----------
    source_mm : float
        Source to receptor.
    object_mm : float
        Middle of the object to receptor.

    Raises
    ------
    CalibrationError
        The object does not lie between receptor and source.
    """

    source_mm: float
    object_mm: float

    def __post_init__(self) -> None:
        if not (0 <= self.object_mm < self.source_mm and np.isfinite(self.source_mm)):
            raise CalibrationError(
                f"The object is {self.object_mm:g} mm from the receptor, the source {self.source_mm:g} mm; "
                "the object must lie between them. Usual are 5 to 25 mm and 200 to 410 mm."
            )

    @property
    def magnification(self) -> float:
        """Source-receptor over source-object distance (DICOM (0018,1114))."""
        return self.source_mm / (self.source_mm - self.object_mm)


SHORT_CONE = Exposure(203.0, 20.0)
"""The most divergent of the usual exposures: source at 203 mm, object 20 mm from the receptor."""


def tilt_factor(tilt_deg: float) -> float:
    """Length in the image over length, of a piece tilted against the receptor in a parallel beam.

    Parameters
    ----------
    tilt_deg : float
        Between the piece and the receptor, -90 to 90 degrees; the beam is at right angles to the receptor.

    Raises
    ------
    CalibrationError
        The angle is out of range.
    """
    _between("tilt", tilt_deg, -90, 90)
    return float(np.cos(np.deg2rad(tilt_deg)))


def oblique_factor(beam_to_object_deg: float, beam_to_receptor_deg: float) -> float:
    """Length in the image over length, for a parallel beam that meets receptor and object obliquely.

    The sine of the angle between beam and object over that between beam and receptor. Equal angles give 1:
    the rule of bisecting. An object parallel to the receptor keeps its length whatever the beam.

    Parameters
    ----------
    beam_to_object_deg, beam_to_receptor_deg : float
        Above 0 and below 180 degrees.

    Raises
    ------
    CalibrationError
        An angle is out of range: the beam would run along the object or the receptor.
    """
    for name, angle in (("object", beam_to_object_deg), ("receptor", beam_to_receptor_deg)):
        if not 0 < angle < 180:
            raise CalibrationError(
                f"The angle between beam and {name} is {angle:g} degrees; allowed is above 0 and below 180."
            )
    return float(np.sin(np.deg2rad(beam_to_object_deg)) / np.sin(np.deg2rad(beam_to_receptor_deg)))


def projected_mm(length_mm: float, tilt_deg: float, exposure: Exposure) -> float:
    """Length on the receptor of a straight piece whose middle lies on the central ray, exactly.

    Parameters
    ----------
    length_mm : float
        True length.
    tilt_deg : float
        Tilt against the receptor, -90 to 90 degrees.
    exposure : Exposure
        Its `object_mm` is the distance of the middle of the piece.

    Returns
    -------
    float
        mm on the receptor.

    Raises
    ------
    CalibrationError
        The length is not positive, the angle out of range, or an end would reach the receptor or the source.
    """
    _positive("length", length_mm)
    _between("tilt", tilt_deg, -90, 90)
    tilt = np.deg2rad(tilt_deg)
    rise = length_mm / 2 * abs(np.sin(tilt))
    if not rise <= exposure.object_mm or not rise < exposure.source_mm - exposure.object_mm:
        raise CalibrationError(
            f"A piece of {length_mm:g} mm tilted by {tilt_deg:g} degrees, its middle {exposure.object_mm:g} "
            "mm from the receptor, would reach through the receptor or the source; lessen the tilt or "
            "enlarge the distance."
        )
    return float(_projected(np.float64(length_mm), tilt, exposure.source_mm, exposure.object_mm))


@dataclass(frozen=True)
class LengthBounds:
    """Between what limits a length measured with the file's scale may lie, by projection alone.

    Parameters
    ----------
    measured_mm : float
        The length as measured.
    low_mm, high_mm : float
        Least and greatest true length.
    geometry : str
        What was allowed for.
    lowest_when, highest_when : str
        Where file and canal stand in the two extremes.
    """

    measured_mm: float
    low_mm: float
    high_mm: float
    geometry: str
    lowest_when: str
    highest_when: str


def length_bounds(
    measured_mm: float,
    file_length_mm: float,
    *,
    tilt_deg: float,
    depth_mm: float,
    lean_deg: float,
    exposure: Exposure = SHORT_CONE,
) -> LengthBounds:
    """What tilt and depth can do to a length measured with the scale of the file.

    The file leans against the receptor by up to `lean_deg`, and its scale takes this up. A canal that leans
    as the file does and lies as deep is measured rightly, whatever the lean; only a difference in tilt or
    depth between the two is an error. All combinations are projected exactly from a point source and the
    extremes kept: bounds, not a standard uncertainty, and no correction.

    Parameters
    ----------
    measured_mm : float
        Length of the canal, or a part of it, as measured with the file's scale.
    file_length_mm : float
        Known length of the file.
    tilt_deg : float
        Greatest angle between canal and file in the plane of file and central ray, degrees.
    depth_mm : float
        Greatest difference in distance from the receptor between the middles of canal and file.
    lean_deg : float
        Greatest lean of the file against the receptor, degrees. Paralleling holders aim at 0.
    exposure : Exposure
        Distances; the default is the most divergent of the usual ones.

    Returns
    -------
    LengthBounds

    Raises
    ------
    CalibrationError
        A length is not positive, a limit below 0, tilt and lean together above 60 degrees, or the depth
        brings an end of the canal or the file through the receptor or the source.
    """
    _positive("measured length", measured_mm)
    _positive("file length", file_length_mm)
    _check_limits(tilt_deg, depth_mm, lean_deg)
    lean, tilt, depth = _poses(lean_deg, tilt_deg, depth_mm)
    source, near = exposure.source_mm, exposure.object_mm
    scale = file_length_mm / _projected(np.float64(file_length_mm), np.deg2rad(lean), source, near)
    true = _unprojected(measured_mm / scale, np.deg2rad(lean + tilt), source, near + depth)
    reach = np.maximum(
        true / 2 * np.abs(np.sin(np.deg2rad(lean + tilt))) + np.abs(depth),
        file_length_mm / 2 * np.abs(np.sin(np.deg2rad(lean))),
    ).max()
    if not reach <= min(near, source - near):
        raise CalibrationError(
            f"With a depth difference of {depth_mm:g} mm and leans up to {lean_deg + tilt_deg:g} degrees an "
            f"end would lie {reach:.1f} mm nearer the receptor than the middle of the file, which is "
            f"only {near:g} mm away; lessen them or enlarge the distance."
        )
    least, most = int(np.argmin(true)), int(np.argmax(true))
    return LengthBounds(
        measured_mm,
        float(true[least]),
        float(true[most]),
        f"file leaning against the receptor by up to {lean_deg:g}°, canal against the file by up to "
        f"{tilt_deg:g}°, canal up to {depth_mm:g} mm nearer to or farther from the receptor; source "
        f"{source:g} mm and file {near:g} mm from the receptor; exact projection from a point source",
        _pose_words(lean[least], tilt[least], depth[least]),
        _pose_words(lean[most], tilt[most], depth[most]),
    )


def _check_limits(tilt_deg: float, depth_mm: float, lean_deg: float) -> None:
    for name, limit in (("tilt", tilt_deg), ("depth difference", depth_mm), ("lean", lean_deg)):
        if not (limit >= 0 and np.isfinite(limit)):
            raise CalibrationError(f"The limit of the {name} is {limit:g}; it must be 0 or more.")
    if tilt_deg + lean_deg > _STEEPEST_DEG:
        raise CalibrationError(
            f"A tilt of {tilt_deg:g} and a lean of {lean_deg:g} degrees together exceed {_STEEPEST_DEG:g}; "
            "no length can be read from an image like that."
        )


def _poses(lean_deg: float, tilt_deg: float, depth_mm: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Leans, tilts and depths to try, each shape (N,).

    The effect of depth alone always grows, so its ends are enough. Where the canal lies flat its image is
    longest: that pose is added, lest it fall between the steps.
    """
    leans, depths = np.linspace(-lean_deg, lean_deg, _STEPS), np.array([-depth_mm, 0.0, depth_mm])
    grid = np.meshgrid(leans, np.linspace(-tilt_deg, tilt_deg, _STEPS), depths, indexing="ij")
    lean, tilt, depth = (axis.ravel() for axis in grid)
    flat = np.clip(-lean, -tilt_deg, tilt_deg)
    return np.tile(lean, 2), np.concatenate([tilt, flat]), np.tile(depth, 2)


def _projected(
    length: FloatArray | np.float64, tilt: FloatArray | float, source: float, depth: FloatArray | float
) -> FloatArray:
    """Length on the receptor; the two ends lie `length / 2 sin(tilt)` above and below the middle."""
    to_source, half_rise = source - np.asarray(depth), length / 2 * np.sin(tilt)
    return np.asarray(source * length * np.cos(tilt) * to_source / (to_source**2 - half_rise**2))


def _unprojected(image: FloatArray, tilt: FloatArray, source: float, depth: FloatArray) -> FloatArray:
    """Length whose image is `image`: the positive root of the quadratic that `_projected` is.

    Written so that nothing cancels where the tilt is 0.
    """
    to_source = source - depth
    a, b = image * np.sin(tilt) ** 2 / 4, source * np.cos(tilt) * to_source
    return np.asarray(2 * image * to_source**2 / (b + np.sqrt(b**2 + 4 * a * image * to_source**2)))


def _pose_words(lean: float, tilt: float, depth: float) -> str:
    where = "as deep as the file" if depth == 0 else f"{abs(depth):g} mm {_side(depth)} the receptor"
    return f"file leaning {abs(lean):.0f}°, canal {abs(lean + tilt):.0f}°; canal {where}"


def _side(depth: float) -> str:
    return "farther from" if depth > 0 else "nearer to"


def _between(name: str, angle_deg: float, low: float, high: float) -> None:
    if not low <= angle_deg <= high:
        raise CalibrationError(f"The {name} is {angle_deg:g} degrees; allowed is {low:g} to {high:g}.")


def _positive(name: str, length_mm: float) -> None:
    if not (length_mm > 0 and np.isfinite(length_mm)):
        raise CalibrationError(f"The {name} is {length_mm:g} mm; it must be above 0.")
