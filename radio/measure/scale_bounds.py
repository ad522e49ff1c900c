"""What a tilt or a difference in depth could do to the lengths of a canal: bounds, no correction."""

from __future__ import annotations

from dataclasses import dataclass

from calib.projection import SHORT_CONE, LengthBounds, length_bounds
from radio.measure.case import CaseResult

Interval = tuple[float, float]
# Lengths nearer to 0 than this are not told bounds of.
_LEAST_MM = 0.005
_NAMES = {
    "gap_mm": "Gap",
    "canal_length_mm": "Canal length",
    "estimated_length_mm": "Estimated length",
    "working_length_mm": "Working length",
}
_STANDING = (
    "geometry, exact for a point source {source:g} mm and an object {object:g} mm from the receptor, the "
    "most divergent of usual exposures; how far things lean and lie apart is assumed: common practice, no "
    "source. Bounds, not an uncertainty; nothing is corrected"
)


@dataclass(frozen=True)
class PoseLimits:
    """How file and canal may stand in an exposure; usual values, common practice, no source.

    Parameters
    ----------
    tilt_deg : float
        Greatest angle between canal and file.
    depth_mm : float
        Greatest difference of their distances from the receptor.
    lean_deg : float
        Greatest lean of what lies in the canal against the receptor.
    """

    tilt_deg: float = 10.0
    depth_mm: float = 3.0
    lean_deg: float = 15.0


DEFAULT_LIMITS = PoseLimits()


@dataclass(frozen=True)
class BoundedLength:
    """One length and between what limits it could lie.

    Parameters
    ----------
    name : str
        As of the measurement.
    measured_mm : float
    by_tilt_mm, by_depth_mm, by_both_mm : tuple of float
        Least and greatest true length for a tilt alone, a difference in depth alone, and both.
    geometry : str
        What was allowed for.
    words, standing : str
        All of it in words, and what it rests on.
    """

    name: str
    measured_mm: float
    by_tilt_mm: Interval
    by_depth_mm: Interval
    by_both_mm: Interval
    geometry: str
    words: str
    standing: str


def bounded_lengths(result: CaseResult, limits: PoseLimits = DEFAULT_LIMITS) -> tuple[BoundedLength, ...]:
    """Bounds of the gap, the canal length, the estimated and the working length of a canal.

    The scale of a file takes up how the file leans; what counts is how the canal differs from it. Any other
    scale is taken to hold in a plane parallel to the receptor, which the canal may lean against. The working
    length is file length plus gap, so that only the gap is bounded.

    Parameters
    ----------
    result : CaseResult
    limits : PoseLimits

    Returns
    -------
    tuple of BoundedLength
        Of the lengths that were measured; none without a scale.

    Raises
    ------
    CalibrationError
        A limit is below 0, or more than the exposure allows.
    """
    scale = result.scale
    if scale is None:
        return ()
    by_file = scale.source == "file"
    poses = _Poses(result.facts.file_length_mm if by_file else None, limits)
    out = []
    for name in ("gap_mm", "canal_length_mm", "estimated_length_mm"):
        one = result.measurements.get(name)
        if one is None or abs(one.value) < _LEAST_MM:
            continue
        out.append(poses.bounded(name, one.value, one.value))
    gap, length = result.measurements.get("gap_mm"), result.measurements.get("working_length_mm")
    if gap is not None and length is not None and abs(gap.value) >= _LEAST_MM:
        out.append(poses.bounded("working_length_mm", length.value, gap.value))
    return tuple(out)


@dataclass(frozen=True)
class _Poses:
    """Stands of file and canal to try; `file_mm` is None where the scale is not from a file."""

    file_mm: float | None
    limits: PoseLimits

    def bounded(self, name: str, measured_mm: float, by_scale_mm: float) -> BoundedLength:
        """Bounds of a length of which the part `by_scale_mm` was measured with the scale."""
        fixed = measured_mm - by_scale_mm

        def moved(tilt_deg: float, depth_mm: float) -> Interval:
            made = self._bounds(abs(by_scale_mm), tilt_deg, depth_mm)
            ends = (made.low_mm, made.high_mm) if by_scale_mm > 0 else (-made.high_mm, -made.low_mm)
            return fixed + ends[0], fixed + ends[1]

        tilt, depth = self._tilt_deg, self.limits.depth_mm
        alone, apart, both = moved(tilt, 0.0), moved(0.0, depth), moved(tilt, depth)
        against = "the receptor" if self.file_mm is None else "the file"
        words = (
            f"{_NAMES[name]} {measured_mm:.2f} mm: a tilt of the canal of up to {tilt:g}° against {against} "
            f"could make it {_range(alone)}, a difference in depth of up to {depth:g} mm {_range(apart)}, "
            f"both {_range(both)} mm."
        )
        if fixed:
            words += " The stated file length is not touched, only the gap."
        standing = _STANDING.format(source=SHORT_CONE.source_mm, object=SHORT_CONE.object_mm)
        return BoundedLength(name, measured_mm, alone, apart, both, self._geometry(), words, standing)

    @property
    def _tilt_deg(self) -> float:
        return self.limits.lean_deg if self.file_mm is None else self.limits.tilt_deg

    def _bounds(self, length_mm: float, tilt_deg: float, depth_mm: float) -> LengthBounds:
        if self.file_mm is None:
            # A scale of a plane: its length does not matter.
            return length_bounds(length_mm, 1.0, tilt_deg=tilt_deg, depth_mm=depth_mm, lean_deg=0.0)
        return length_bounds(
            length_mm, self.file_mm, tilt_deg=tilt_deg, depth_mm=depth_mm, lean_deg=self.limits.lean_deg
        )

    def _geometry(self) -> str:
        depth = f"{self.limits.depth_mm:g} mm nearer to or farther from the receptor"
        if self.file_mm is None:
            return (
                f"scale of a plane parallel to the receptor; canal leaning against it by up to "
                f"{self._tilt_deg:g}°, up to {depth}"
            )
        return (
            f"file leaning against the receptor by up to {self.limits.lean_deg:g}°, canal against the file "
            f"by up to {self.limits.tilt_deg:g}°, canal up to {depth}"
        )


def _range(ends: Interval) -> str:
    return f"{ends[0]:.2f} to {ends[1]:.2f}"
