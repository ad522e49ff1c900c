"""A canal in space seen at right angles to the plane it bends in, where every method of one view applies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.measure.bend import told_with_basis
from radio.measure.curvature import measure_methods
from radio.measure.methods import METHODS, CurvatureMethod
from radio.measure.result import Finding, Measurement
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
from radio.measure.space import evenly
from radio.measure.stack import SAMPLES, TraceStack

FloatArray = npt.NDArray[np.float64]

_NOTES = ("A bend out of this plane is not in it; how far the canal leaves the plane stands beside it.",)
_OF_IMAGE = "a side of an image means nothing in space; see the plane of the bend"


@dataclass(frozen=True, eq=False)
class InOwnPlane:
    """What the methods of one view give for a canal in space.

    Parameters
    ----------
    stack : TraceStack
        The canal in its own plane, then each drawn canal in its own; mm, coronal to apical along the first
        coordinate.
    off_plane : Measurement
        Greatest distance of the canal from its plane, mm.
    measurements, findings : mapping
        By column of the results table, as of one view.
    absent : mapping of str to str
        Reason for each column without a value.
    """

    stack: TraceStack
    off_plane: Measurement
    measurements: Mapping[str, Measurement]
    findings: Mapping[str, Finding]
    absent: Mapping[str, str]


def measure_in_own_plane(
    lines_mm: Sequence[FloatArray],
    basis: str,
    *,
    methods: Sequence[CurvatureMethod] = METHODS,
    settings: CurvatureSettings = DEFAULT_SETTINGS,
) -> InOwnPlane:
    """Every method of one view on a canal in space, in the plane that lies closest to the canal.

    Parameters
    ----------
    lines_mm : sequence of ndarray, shape (N, 3)
        The centreline in space, then centrelines as it might have come out; each is laid on its own plane.
    basis : str
        Where the centreline comes from.
    methods : sequence of CurvatureMethod
    settings : CurvatureSettings

    Returns
    -------
    InOwnPlane

    Notes
    -----
    The plane is the least-squares plane of the evenly spaced centreline (its two greatest principal
    directions). A planar canal is seen in it without foreshortening.
    """
    across = None
    planar, off = [], []
    for line in lines_mm:
        seen, across, distance = _in_plane(evenly(line, SAMPLES), across)
        planar.append(seen)
        off.append(distance)
    stack = TraceStack(np.stack(planar), "mm", settings)
    found, absent = measure_methods(stack, methods=methods)
    for method in methods:
        for quantity in method.quantities:
            if quantity.of_image:
                found.pop(quantity.column, None)
                absent[quantity.column] = _OF_IMAGE
    where = f"{basis}, seen at right angles to the plane that lies closest to the canal"
    measurements, findings = told_with_basis(found, stack, methods, lambda _: where, _NOTES)
    return InOwnPlane(stack, _off_plane(off, basis), measurements, findings, absent)


def _off_plane(off_mm: Sequence[float], basis: str) -> Measurement:
    """Distance from the plane; errors of the traces push a flat canal out of it, so it may well be 0."""
    sd = interval = None
    if len(off_mm) > 1:
        drawn = np.array(off_mm[1:])
        sd = float(np.sqrt(((drawn - off_mm[0]) ** 2).mean()))
        interval = (0.0, max(off_mm[0], float(np.quantile(drawn, 0.975))))
    told = "greatest distance of the canal from its plane"
    return Measurement("off_plane_mm", off_mm[0], "mm", sd, told, basis, (), interval)


def _in_plane(points: FloatArray, across_before: FloatArray | None) -> tuple[FloatArray, FloatArray, float]:
    """Points in the plane closest to them, its second direction, and their greatest distance from it."""
    rel = points - points.mean(axis=0)
    along, across, normal = np.linalg.svd(rel, full_matrices=False)[2]
    if along @ (points[-1] - points[0]) < 0:
        along = -along
    # all of them seen from one side
    if across_before is not None and across @ across_before < 0:
        across = -across
    start = points - points[0]
    return (
        np.stack([start @ along, start @ across], axis=1),
        across if across_before is None else across_before,
        float(np.abs(rel @ normal).max()),
    )
