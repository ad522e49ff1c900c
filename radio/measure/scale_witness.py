"""What one scale of an image says of another: the magnification implied, and which file length was meant."""

from __future__ import annotations

from dataclasses import dataclass

from calib.evidence import Evidence, ScaleEvidence
from calib.meant_length import MeantLength, meant_length
from calib.scale import Scale
from radio.measure.case import CaseFacts

LEAST_MAGNIFICATION, GREATEST_MAGNIFICATION = 0.95, 1.2
"""Outside of these an implied magnification is warned of; cut-offs of this program."""
_LEANING = ("file", "wire", "grid")
# Common practice, no source; the same as of the file itself.
_LEAN_DEG = 15.0


@dataclass(frozen=True)
class Magnification:
    """Detector pitch over a scale, with its standard uncertainty."""

    value: float
    sd: float


def implied_magnification(scale: Scale, pitch_mm: float) -> Magnification:
    """Magnification a scale implies: detector pitch over scale, the pitch taken as exact.

    Parameters
    ----------
    scale : Scale
        Nothing follows from one that was made from that pitch.
    pitch_mm : float
        Geometric mean size of a pixel on the receptor, mm.
    """
    value = pitch_mm / scale.mm_per_px
    return Magnification(value, value * scale.relative_sd)


def witness_of(scale: Scale) -> ScaleEvidence:
    """What a scale is worth as evidence of a file's length, by how its object may lie.

    Parameters
    ----------
    scale : Scale
        Of another object; or of the diameters of the file itself, which share its depth.
    """
    if scale.source == "diameter":
        return ScaleEvidence(scale, depth_relative_sd=0.0)
    return ScaleEvidence(scale, other_tilt_deg=_LEAN_DEG if scale.source in _LEANING else 0.0)


def length_judged(facts: CaseFacts, by_file: Scale, evidence: Evidence) -> MeantLength:
    """Judge the stated length of a file by evidence that does not rest on it.

    Parameters
    ----------
    facts : CaseFacts
        With `file_length_mm`.
    by_file : Scale
        Made from that length.
    evidence : PitchEvidence or ScaleEvidence
    """
    assert facts.file_length_mm is not None
    return meant_length(facts.file_length_mm, by_file, evidence, start_at=facts.file_start_at)
