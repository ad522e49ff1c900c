"""An electronic length reading set beside the radiographic length; never averaged with it."""

from __future__ import annotations

from radio.measure.result import Measurement

# Electronic readings are commonly taken as good to ± 0.5 mm, about a 95 % interval.
# Common practice, no source.
ELECTRONIC_SD_MM = 0.25


def electronic_difference(
    working_length: Measurement, electronic_mm: float, electronic_mark: str | None
) -> Measurement:
    """Electronic reading minus radiographic length, with the uncertainty of both.

    Parameters
    ----------
    working_length : Measurement
        Length to the radiographic apex, mm.
    electronic_mm : float
        File length at which the reading stood, mm.
    electronic_mark : {"zero", "half"} or None
        Mark the reading was taken at.

    Returns
    -------
    Measurement
        ``electronic_difference_mm``; positive when the electronic length is the longer one.
    """
    mark = electronic_mark or "not stated"
    notes = ["The two lengths are compared, never averaged."]
    if electronic_mark == "half":
        notes.append("Read at the half mark: the numbers between marks are not millimetres.")
    elif electronic_mark is None:
        notes.append("Mark not stated: a reading without its mark is ambiguous.")
    sd = (ELECTRONIC_SD_MM**2 + (working_length.sd or 0.0) ** 2) ** 0.5
    return Measurement(
        "electronic_difference_mm",
        electronic_mm - working_length.value,
        "mm",
        sd,
        f"electronic reading (mark: {mark}) minus length to radiographic apex",
        f"reading {electronic_mm:g} mm; {working_length.basis}",
        tuple(notes),
    )
