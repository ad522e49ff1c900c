"""Size of a pixel on the receptor: as stated, of a scan, of the header; and where these differ."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from calib.dicom_spacing import SpacingFacts, mean_detector_pitch_mm
from calib.pitch import MM_PER_INCH

_SAME_PITCH = 0.01


@dataclass(frozen=True)
class Pitch:
    """Geometric mean size of a pixel on the receptor, mm, and who says so."""

    mm: float
    where: str


def receptor_pitches(
    stated_mm: float | None, dpi: float | None, spacing: SpacingFacts, aspect: float
) -> tuple[Pitch, ...]:
    """Every pitch of the receptor that is known, the one that counts first.

    A resolution that an image file carries is none of them: programs write one at will.

    Parameters
    ----------
    stated_mm : float or None
        Stated width of a column on the receptor, mm.
    dpi : float or None
        Stated resolution a film was scanned with, dots per inch.
    spacing : SpacingFacts
        Of the header.
    aspect : float
        Row spacing over column spacing.
    """
    squeeze, header = sqrt(aspect), mean_detector_pitch_mm(spacing)
    known = []
    if stated_mm is not None:
        known.append(Pitch(stated_mm * squeeze, "as stated"))
    if dpi is not None:
        known.append(Pitch(MM_PER_INCH / dpi * squeeze, f"of a scan with {dpi:g} dpi"))
    if header is not None:
        known.append(Pitch(header, "of the image header"))
    return tuple(known)


def pitch_conflicts(known: tuple[Pitch, ...]) -> tuple[str, ...]:
    """Say of each pitch that differs from the first."""
    return tuple(
        f"The detector pitch {known[0].where} is {known[0].mm:.4g} mm, that {other.where} {other.mm:.4g} mm: "
        "one of them is wrong, or the image was resized. The first one is used here."
        for other in known[1:]
        if abs(other.mm / known[0].mm - 1) > _SAME_PITCH
    )
