"""Lengths of one canal in millimetres by the scale: along the canal, without a file, by proportion."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite

from calib.budget import Budget, Input, budget
from calib.errors import CalibrationError
from calib.scale import Scale
from calib.uncertainty import combine
from radio.measure.result import Measurement


def canal_length_mm(length_px: float, length_sd_px: float, scale: Scale, ends: str) -> Measurement:
    """Length of the canal along its curve in the image plane.

    Parameters
    ----------
    length_px, length_sd_px : float
        Arc length, in columns of a square-pixel image.
    scale : Scale
    ends : str
        The two ends, in words.
    """
    unit = scale.col_mm_per_px
    value = length_px * unit
    sd = combine({"line and ends": length_sd_px * unit, "scale": value * scale.relative_sd})
    return Measurement(
        "canal_length_mm",
        value,
        "mm",
        sd,
        f"arc length of the traced canal, {ends}",
        f"scale from {scale.source}; projection in this view",
    )


def estimated_length_mm(
    length_px: float, parts_px: Mapping[str, float], scale: Scale, start: str
) -> Measurement:
    """Length of a canal without a file in it, to the radiographic apex; nothing is taken off.

    Parameters
    ----------
    length_px : float
        Along the canal from its start to the radiographic apex, in columns of a square-pixel image.
    parts_px : mapping of str to float
        Contributions to its standard uncertainty, columns.
    scale : Scale
        Not from a file.
    start : str
        Where the length begins, in words.
    """
    unit = scale.col_mm_per_px
    value = length_px * unit
    parts = {name: sd * unit for name, sd in parts_px.items()}
    notes = [
        "An estimate before a file is set: it is checked with a file, electronically or on an image.",
        "Projection in this view: a canal that bends or leans toward or away from the detector is longer.",
    ]
    if scale.source == "given":
        exact = "" if scale.sd_mm_per_px else "The pixel size was taken as exact. "
        notes.append(f"{exact}A pixel size of the detector makes lengths too long.")
    return Measurement(
        "estimated_length_mm",
        value,
        "mm",
        combine({**parts, "scale": value * scale.relative_sd}),
        f"along the canal, {start} to radiographic apex, without a file; no subtraction made",
        f"all of it by the scale from {scale.source}: {scale.basis}",
        (*notes, *scale.notes),
    )


def proportion_budget(
    file_mm: Input, tooth_px: Input, file_px: Input, *, shared_sd_px: float = 0.0
) -> Budget:
    """Length of a tooth by proportion: known file length times tooth over file in the image, as a budget.

    Method after Grossman (verified on lecture slides, not in the book). Where tooth and file begin at the
    same landmark, its error lengthens both: a covariance (JCGM 100:2008, 5.2.2).

    Parameters
    ----------
    file_mm : Input
        Known length of the file, mm.
    tooth_px, file_px : Input
        Lengths of tooth and file in the image, with their whole standard uncertainties; any unit, the same.
    shared_sd_px : float
        The part of both uncertainties that the common landmark makes.

    Raises
    ------
    CalibrationError
        A length is not above 0, or the shared part is more than either uncertainty.
    """
    for one in (file_mm, tooth_px, file_px):
        if not one.value > 0:
            raise CalibrationError(
                f"The {one.name} is {one.value:g}; it must be above 0. Check the landmarks."
            )
    most = min(tooth_px.sd, file_px.sd)
    if not (isfinite(shared_sd_px) and 0 <= shared_sd_px <= most * (1 + 1e-9)):
        raise CalibrationError(
            f"The shared landmark has the uncertainty {shared_sd_px!r}; allowed is 0 to {most:g}, the "
            f"smaller one of {tooth_px.name} and {file_px.name}."
        )
    shared = {}
    if shared_sd_px > 0:
        correlation = min(shared_sd_px**2 / (tooth_px.sd * file_px.sd), 1.0)
        shared = {(tooth_px.name, file_px.name): correlation}
    return budget(lambda known, tooth, file: known * tooth / file, (file_mm, tooth_px, file_px), shared)


def proportion_length_mm(made: Budget, *, to: str, own_scale: bool) -> Measurement:
    """Length by proportion as a measurement.

    Parameters
    ----------
    made : Budget
        As :func:`proportion_budget` makes it.
    to : str
        Where tooth and file begin, and where the tooth ends, in words.
    own_scale : bool
        Whether the scale of the image is from the same file.
    """
    known, tooth, file = (row.value for row in made.rows[:3])
    same = (
        "The scale is from this file, too: this is the working length by another way of calculating, not a "
        "second measurement."
    )
    other = (
        "The scale is not from this file: a difference to the working length tells of scale or file length."
    )
    return Measurement(
        "proportion_length_mm",
        made.value,
        "mm",
        made.sd,
        f"known file length times tooth over file in the image, {to}; no subtraction made",
        f"{known:g} mm × {tooth:.1f} / {file:.1f} px (after Grossman, verified on lecture slides)",
        (same if own_scale else other,),
    )
