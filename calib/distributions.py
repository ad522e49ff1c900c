"""Tails and quantiles of Student's and the chi-square distribution for whole degrees of freedom.

Closed forms, so that no statistics package is needed.
"""

from __future__ import annotations

from math import atan, cos, erfc, exp, fsum, inf, lgamma, log, pi, sin, sqrt
from statistics import NormalDist

_HALVINGS = 200


def student_inside(t: float, dof: int) -> float:
    """Probability that Student's t with `dof` degrees of freedom lies within ± `t`.

    Finite sums of trigonometric terms (Abramowitz and Stegun 26.7.3 and 26.7.4, from memory).

    Parameters
    ----------
    t : float
        Not below 0.
    dof : int
        At least 1.
    """
    angle = atan(t / sqrt(dof))
    c = cos(angle) ** 2
    if dof % 2:
        term, total = cos(angle), 0.0
        for i in range(3, dof + 1, 2):
            total += term
            term *= c * (i - 1) / i
        return 2 / pi * (angle + sin(angle) * total)
    term, total = 1.0, 0.0
    for i in range(2, dof + 1, 2):
        total += term
        term *= c * (i - 1) / i
    return sin(angle) * total


def coverage_factor(dof: float, level: float = 0.95) -> float:
    """Coverage factor k: an interval of ± k standard uncertainties holds the value with probability `level`.

    Degrees of freedom are cut to the whole number below (JCGM 100:2008, G.4.1 note 1); from 1000 on the
    normal distribution takes the place of Student's, which changes k by less than 0.3 %.

    Parameters
    ----------
    dof : float
        Effective degrees of freedom, at least 1; infinity for a normal distribution.
    level : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        `dof` is below 1 or `level` not between 0 and 1.
    """
    if not (dof >= 1 and 0 < level < 1):
        raise ValueError(f"dof is {dof!r} and level {level!r}; allowed are dof from 1 on and 0 < level < 1.")
    if dof >= 1000:
        return NormalDist().inv_cdf((1 + level) / 2)
    low, high = 0.0, 1.0
    while student_inside(high, int(dof)) < level:
        high *= 2
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if student_inside(middle, int(dof)) < level else (low, middle)
    return (low + high) / 2


def chi_square_above(chi_square: float, dof: int) -> float:
    """Probability that chi-square with `dof` degrees of freedom exceeds a value.

    Finite sums (Abramowitz and Stegun 26.4.4 and 26.4.5, from memory).

    Parameters
    ----------
    chi_square : float
        Not below 0.
    dof : int
        At least 1.
    """
    half = chi_square / 2
    if half == 0:
        return 1.0
    if half == inf:
        return 0.0
    odd = dof % 2
    powers = [j + odd / 2 for j in range(dof // 2)]
    terms = [exp(a * log(half) - half - lgamma(a + 1)) for a in powers]
    return min(fsum([erfc(sqrt(half)) if odd else 0.0, *terms]), 1.0)
