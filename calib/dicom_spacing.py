"""What a DICOM header says about pixel size, with the four kinds of statement kept apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.budget import Input
from calib.errors import CalibrationError
from calib.pitch import (
    ASSUMED_NOTE,
    LARGEST_MM,
    NOT_MAGNIFIED,
    SMALLEST_MM,
    TILT_NOTE,
    Pair,
    assumed_magnification,
    divided_pitch,
    exact_pitch,
    mean_of,
)
from calib.projection import INTRA_ORAL_MAGNIFICATION
from calib.scale import Scale

CALIBRATION_TYPES = ("GEOMETRY", "FIDUCIAL")
OTHER_MAGNIFICATION = (1.15, 0.15)
"""Middle and half-width of the magnification of images not known to be intra-oral."""
FIDUCIAL_RELATIVE_SD = 0.02
GEOMETRY_RELATIVE_SD = 0.03
EQUAL_WITHIN = 0.001
LARGEST_MAGNIFICATION = 3.0
SMALLEST_IMPLIED_MAGNIFICATION = 0.9
"""A fiducial tilted against the receptor looks short and pulls the implied magnification below 1."""
OTHER_SOURCES = "Take the scale from the file length, a ball or a given value."


@dataclass(frozen=True)
class SpacingFacts:
    """Pixel-size statements of one image header; pairs are (row spacing, column spacing) in mm.

    Parameters
    ----------
    imager_mm : tuple of float or None
        Imager Pixel Spacing (0018,1164): at the detector, never corrected for magnification.
    pixel_mm : tuple of float or None
        Pixel Spacing (0028,0030).
    calibration_type : {"GEOMETRY", "FIDUCIAL"} or None
        Pixel Spacing Calibration Type (0028,0A02).
    calibration_description : str
        Pixel Spacing Calibration Description (0028,0A04).
    magnification : float or None
        Estimated Radiographic Magnification Factor (0018,1114).
    nominal_scanned_mm : tuple of float or None
        Nominal Scanned Pixel Spacing (0018,2010).
    intra_oral : bool
        The image is an intra-oral one (modality IO or an intra-oral SOP class).
    """

    imager_mm: tuple[float, float] | None = None
    pixel_mm: tuple[float, float] | None = None
    calibration_type: str | None = None
    calibration_description: str = ""
    magnification: float | None = None
    nominal_scanned_mm: tuple[float, float] | None = None
    intra_oral: bool = False


def detector_pitch_mm(facts: SpacingFacts) -> tuple[float, float] | None:
    """Pixel size in the plane of the receptor, as (row spacing, column spacing).

    Imager Pixel Spacing says so outright (PS3.3 10.7.1.1). A film is laid on the scanner as it lay in the
    mouth, so Nominal Scanned Pixel Spacing holds in the receptor plane too. A Pixel Spacing that stands alone
    on an intra-oral image is written by the sensor's software without any calibration (common practice, no
    source) and is the pitch as well.

    Parameters
    ----------
    facts : SpacingFacts
        What the header says.

    Returns
    -------
    tuple of float or None
        (row spacing, column spacing), mm; None where the header does not tell.
    """
    pitch = _receptor_pitch(facts)
    return None if pitch is None else pitch[0]


def mean_detector_pitch_mm(facts: SpacingFacts) -> float | None:
    """Geometric mean of :func:`detector_pitch_mm`, mm; None where the header does not tell."""
    pitch = detector_pitch_mm(facts)
    return None if pitch is None else mean_of(pitch)


def scale_from_dicom(facts: SpacingFacts) -> Scale:
    """Make a scale of the pixel-size statements of a header.

    The best statement counts, in this order, each with its own relative standard uncertainty (GUM type B;
    rectangular distributions, half-width over the square root of 3):

    ==================================================  ==========================  ========
    statement                                           pixel size taken            relative
    ==================================================  ==========================  ========
    Pixel Spacing, type FIDUCIAL                        as stated                   2.0 %
    Pixel Spacing, type GEOMETRY                        as stated                   3.0 %
    Pixel Spacing unlike the receptor's, without type   as stated                   3.0 %
    receptor pitch and a magnification factor above 1   pitch / factor              3.0 %
    receptor pitch, intra-oral                          pitch / 1.065               2.4 %
    receptor pitch or Pixel Spacing alone, other image  size / 1.15                 7.5 %
    ==================================================  ==========================  ========

    FIDUCIAL holds at the depth of the fiducial: 5 mm between it and the tooth change the magnification by
    5 / 190 (source 203 mm away) to 5 / 390 (406 mm), some 1.6 % as a standard deviation, beside 1 % for
    measuring the fiducial. GEOMETRY and a factor rest on an assumed depth, about twice as far off. Intra-oral
    magnification runs from 1.025 (10 mm from receptor, source at 406 mm) to 1.109 (20 mm, 203 mm): 1.065 with
    half-width 0.045. Other projections range from contact to panoramic, 1.0 to 1.3.

    Tilt of the tooth against the receptor (1.5 % shorter at 10°, 6 % at 20°) is not in these figures and is
    named in the notes: a scale made from the file in the canal carries most of it, a header cannot.

    Parameters
    ----------
    facts : SpacingFacts
        What the header says.

    Returns
    -------
    Scale
        With source ``"dicom"``; `basis` names the statement used.

    Raises
    ------
    CalibrationError
        The header says nothing about pixel size, or nothing a dental image can have, or contradicts itself.

    References
    ----------
    DICOM PS3.3 10.7.1 (spacing and calibration); PS3.3 C.8.7.1 (magnification factor = source-detector over
    source-object distance); JCGM 100:2008 4.3.7 (rectangular distribution).
    """
    pitch = _receptor_pitch(facts)
    _check_sizes(facts)
    if facts.pixel_mm is not None and facts.calibration_type in CALIBRATION_TYPES:
        return _calibrated(facts.pixel_mm, facts.calibration_type, pitch)
    if facts.pixel_mm is not None and pitch is not None and not _same(facts.pixel_mm, pitch[0]):
        return _calibrated(facts.pixel_mm, "", pitch)
    if pitch is not None:
        return _from_pitch(facts, *pitch)
    if facts.pixel_mm is not None:
        return _assumed(
            False, facts.pixel_mm, "Pixel Spacing, of which the header does not tell the plane, was"
        )
    raise CalibrationError(
        "The image header states no pixel size (Pixel Spacing, Imager Pixel Spacing and Nominal Scanned "
        f"Pixel Spacing are all absent). {OTHER_SOURCES}"
    )


def _receptor_pitch(facts: SpacingFacts) -> tuple[Pair, str] | None:
    """Pitch stated for the receptor, and the statement it comes from."""
    if facts.imager_mm is not None:
        return facts.imager_mm, "Imager Pixel Spacing"
    if facts.nominal_scanned_mm is not None:
        return facts.nominal_scanned_mm, "Nominal Scanned Pixel Spacing"
    if facts.pixel_mm is not None and facts.intra_oral and facts.calibration_type not in CALIBRATION_TYPES:
        return facts.pixel_mm, "Pixel Spacing, uncalibrated"
    return None


def _check_sizes(facts: SpacingFacts) -> None:
    """Refuse placeholders and wrecked numbers."""
    for name, pair in (
        ("Pixel Spacing", facts.pixel_mm),
        ("Imager Pixel Spacing", facts.imager_mm),
        ("Nominal Scanned Pixel Spacing", facts.nominal_scanned_mm),
    ):
        if pair is not None and not all(SMALLEST_MM <= size <= LARGEST_MM for size in pair):
            raise CalibrationError(
                f"{name} is {pair[0]:g}\\{pair[1]:g} mm; a dental radiograph has {SMALLEST_MM} to "
                f"{LARGEST_MM} mm, so this is a placeholder or a mistake. {OTHER_SOURCES}"
            )
    factor = facts.magnification
    if factor is not None and not 1 <= factor <= LARGEST_MAGNIFICATION:
        raise CalibrationError(
            f"The magnification factor in the image header is {factor:g}; source-detector over source-object "
            f"distance lies between 1 and {LARGEST_MAGNIFICATION:g}. {OTHER_SOURCES}"
        )


def _same(one: Pair, other: Pair) -> bool:
    """Equal up to the rounding of decimal strings in a header."""
    return all(abs(a / b - 1) < EQUAL_WITHIN for a, b in zip(one, other, strict=True))


def _calibrated(pixel_mm: Pair, kind: str, pitch: tuple[Pair, str] | None) -> Scale:
    """Scale in the plane the header was calibrated for."""
    notes = [TILT_NOTE]
    if pitch is not None:
        factor = float(np.sqrt(pitch[0][0] * pitch[0][1] / (pixel_mm[0] * pixel_mm[1])))
        if not SMALLEST_IMPLIED_MAGNIFICATION <= factor <= LARGEST_MAGNIFICATION:
            raise CalibrationError(
                f"Pixel Spacing {pixel_mm[0]:g}\\{pixel_mm[1]:g} mm and {pitch[1]} "
                f"{pitch[0][0]:g}\\{pitch[0][1]:g} mm contradict each other: they imply a magnification of "
                f"{factor:.3g}, possible are {SMALLEST_IMPLIED_MAGNIFICATION:g} to {LARGEST_MAGNIFICATION:g}."
                f" The image may have been resized. {OTHER_SOURCES}"
            )
        notes.insert(0, f"implied magnification {factor:.3f} against {pitch[1]}")
    if kind == "FIDUCIAL":
        basis = "Pixel Spacing calibrated on a fiducial (FIDUCIAL); holds at the depth of the fiducial"
    elif kind == "GEOMETRY":
        basis = "Pixel Spacing corrected for an assumed magnification (GEOMETRY); the depth is not stated"
    else:
        basis = (
            f"Pixel Spacing that differs from {pitch[1] if pitch else 'the receptor pitch'}, so corrected or "
            "calibrated (PS3.3 10.7.1.1); how is not stated"
        )
    relative = FIDUCIAL_RELATIVE_SD if kind == "FIDUCIAL" else GEOMETRY_RELATIVE_SD
    size = Input("pixel size of the header", mean_of(pixel_mm), relative * mean_of(pixel_mm), how=basis)
    return divided_pitch(pixel_mm, size, NOT_MAGNIFIED, "dicom", basis, notes)


def _from_pitch(facts: SpacingFacts, pitch_mm: Pair, name: str) -> Scale:
    """Scale from the receptor pitch and a stated or assumed magnification."""
    if facts.magnification is not None and facts.magnification > 1:
        basis = (
            f"{name}, taken as the receptor pitch and divided by the magnification factor "
            f"{facts.magnification:g} of the header"
        )
        factor = facts.magnification
        stated = Input("magnification", factor, GEOMETRY_RELATIVE_SD * factor, how="stated in the header")
        return divided_pitch(pitch_mm, exact_pitch(pitch_mm, name), stated, "dicom", basis, [TILT_NOTE])
    return _assumed(facts.intra_oral, pitch_mm, f"{name}, taken as the receptor pitch and")


def _assumed(intra_oral: bool, pitch_mm: Pair, what: str) -> Scale:
    kind = "intra-oral" if intra_oral else "contact to panoramic"
    factor, half_width = INTRA_ORAL_MAGNIFICATION if intra_oral else OTHER_MAGNIFICATION
    basis = f"{what} divided by an assumed magnification of {factor:g} ± {half_width:g} ({kind})"
    magnification = assumed_magnification(factor, half_width, kind)
    return divided_pitch(
        pitch_mm, exact_pitch(pitch_mm, "header"), magnification, "dicom", basis, [ASSUMED_NOTE, TILT_NOTE]
    )
