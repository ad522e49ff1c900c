"""The electronic reading stated of one canal, compared with its working length."""

from __future__ import annotations

from collections.abc import Mapping

from radio.measure.case import CaseFacts, Remark
from radio.measure.electronic import (
    TOLERANCES_MM,
    Comparison,
    compare,
    comparison_remarks,
    unstable_notes,
)
from radio.measure.reading import Reading, ReadingFacts
from radio.measure.result import Measurement


def accepted_mm(facts: CaseFacts) -> float:
    """Difference between reading and radiograph that is accepted, mm: the stated one, or the strict usual."""
    return TOLERANCES_MM[0] if facts.electronic_tolerance_mm is None else facts.electronic_tolerance_mm


def compared_reading(
    facts: CaseFacts, there: Mapping[str, Measurement]
) -> tuple[Comparison | None, tuple[Remark, ...]]:
    """Compare the stated reading with the working length, and say what must stand beside it.

    Parameters
    ----------
    facts : CaseFacts
    there : mapping of str to Measurement
        What was measured; ``working_length_mm`` is what the reading is compared with.

    Returns
    -------
    Comparison or None
        None without a reading or a working length, or where repeats are not one length.
    tuple of Remark
    """
    if facts.electronic_mm is None:
        if facts.electronic == ReadingFacts():
            return None, ()
        lost = "Something is stated of an electronic reading, but not the reading: give electronic_mm."
        return None, (Remark("note", lost),)
    length = there.get("working_length_mm")
    if length is None:
        alone = "The electronic reading has no radiographic working length to compare with."
        return None, (Remark("note", alone),)
    reading = Reading.of(
        facts.electronic_mm,
        facts.electronic_mark,
        facts.electronic,
        tooth=facts.tooth,
        canal=facts.canal,
    )
    if reading.scattered:
        return None, (Remark("warn", reading.scattered),)
    found = compare(length, reading, accepted_mm(facts))
    unstable = (Remark("warn", note) for note in unstable_notes(reading))
    return found, (*unstable, *comparison_remarks(found))
