"""Which of several files of an image has the length that is likely mistaken: the detector pitch tells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from calib.evidence import PitchEvidence
from calib.meant_length import MeantLength
from radio.measure.case import CaseResult
from radio.measure.scale_witness import length_judged
from radio.measure.scales import ScalesOfImage


def lengths_by_pitch(results: Sequence[CaseResult], found: ScalesOfImage) -> dict[str, MeantLength]:
    """Judge the stated length of every file by the detector pitch.

    Parameters
    ----------
    results : sequence of CaseResult
        Canals of the image.
    found : ScalesOfImage

    Returns
    -------
    dict of str to MeantLength
        By the name of the scale made from it; empty where no pitch is known.
    """
    if found.pitch is None:
        return {}
    own = ((one, found.of_file(one.facts.canal)) for one in results)
    witness = PitchEvidence(found.pitch.mm)
    return {
        scale.name: length_judged(one.facts, scale.scale, witness) for one, scale in own if scale is not None
    }


def likely_mistake(one: str, other: str, by_pitch: Mapping[str, MeantLength]) -> str:
    """Name the file of two whose length the pitch does not fit, where it fits the other; else empty."""
    if one not in by_pitch or other not in by_pitch:
        return ""
    odd = [name for name in (one, other) if by_pitch[name].suspicious]
    return odd[0] if len(odd) == 1 else ""


def blame_text(mistaken: str, cleared: str, by_pitch: Mapping[str, MeantLength]) -> str:
    """Say which length is likely mistaken, and what the pitch makes of both."""
    fits, misfits = (f"{name} ({by_pitch[name].stated_mm:g} mm)" for name in (cleared, mistaken))
    return (
        f"The detector pitch fits the length stated for the {fits} and not that for the {misfits}: the "
        "latter is the likely mistake."
    )
