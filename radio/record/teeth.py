"""Teeth in ISO 3950 two-digit notation, and the same in the Universal system where a person asks for it."""

from __future__ import annotations

from radio.errors import PeriapicalError, echoed

_QUADRANTS = range(1, 9)


def universal(tooth: str) -> str:
    """Give the Universal name of a tooth: 1 to 32 of permanent teeth, A to T of deciduous ones.

    Parameters
    ----------
    tooth : str
        ISO 3950, such as ``"36"``; empty stays empty.

    Raises
    ------
    PeriapicalError
        It is no tooth in ISO 3950.

    Notes
    -----
    Permanent teeth are counted from the last on the upper right over the upper left to the lower left and
    back to the right; deciduous ones likewise by letters. The rule gives the values of the HL7 terminology
    page for teeth 1 to 10, 21, 22, 30 and 31; the others follow by it.
    """
    if not tooth:
        return ""
    named = len(tooth) == 2 and tooth.isascii() and tooth.isdigit()
    quadrant, place = (int(digit) for digit in tooth) if named else (0, 0)
    if quadrant not in _QUADRANTS or not 1 <= place <= (8 if quadrant <= 4 else 5):
        raise PeriapicalError(
            f"The tooth is given as {echoed(tooth)}; allowed is ISO 3950: quadrant 1 to 4 and tooth 1 to 8, "
            "such as 36, or of deciduous teeth quadrant 5 to 8 and tooth 1 to 5."
        )
    if quadrant <= 4:
        return str({1: 9 - place, 2: 8 + place, 3: 25 - place, 4: 24 + place}[quadrant])
    letter = {5: 6 - place, 6: 5 + place, 7: 16 - place, 8: 15 + place}[quadrant]
    return chr(ord("A") + letter - 1)
