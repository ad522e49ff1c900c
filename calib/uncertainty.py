"""Standard uncertainties combined as in JCGM 100:2008 (the GUM), for inputs that are independent."""

from __future__ import annotations

from collections.abc import Mapping
from math import fsum, isfinite, sqrt


def combine(contributions: Mapping[str, float]) -> float:
    """Combined standard uncertainty from independent contributions.

    Parameters
    ----------
    contributions : mapping of str to float
        Sensitivity coefficient times standard uncertainty of each input, all in the unit of the result
        (JCGM 100:2008, 5.1.2, equation 10).

    Returns
    -------
    float

    Raises
    ------
    ValueError
        A contribution is not finite.
    """
    for name, value in contributions.items():
        if not isfinite(value):
            raise ValueError(f"The contribution {name!r} is {value}; every contribution must be finite.")
    return sqrt(fsum(value * value for value in contributions.values()))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known to lie within ± `half_width` (JCGM 100:2008, 4.3.7)."""
    return half_width / sqrt(3.0)


def triangular(half_width: float) -> float:
    """Standard uncertainty within ± `half_width` when the middle is likelier (JCGM 100:2008, 4.3.9)."""
    return half_width / sqrt(6.0)


def arcsine(half_width: float) -> float:
    """Standard uncertainty of what swings regularly between ± `half_width`, as a temperature under control.

    The value at a random moment has the arcsine distribution (JCGM 100:2008, H.1.3.4, from memory).
    """
    return half_width / sqrt(2.0)
