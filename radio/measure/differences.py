"""Bias, limits of agreement and shares of paired differences, each with its confidence interval."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from radio.errors import PeriapicalError

# How many standard deviations the limits lie from the bias: 1.96 by Bland & Altman 1999 (Stat Methods Med Res
# 8:135), 2 by Bland & Altman 1986 (Lancet i:307). Both are in use, and differ by 2 %.
MULTIPLIERS = (1.96, 2.0)

_Z95 = 1.959963984540054


@dataclass(frozen=True)
class Estimate:
    """A value with its 95 % confidence interval."""

    value: float
    low95: float
    high95: float


@dataclass(frozen=True)
class Limits:
    """Limits of agreement: bias minus and plus `multiplier` standard deviations.

    Parameters
    ----------
    multiplier : float
    lower, upper : Estimate
    source : str
        Whose limits and intervals they are.
    """

    multiplier: float
    lower: Estimate
    upper: Estimate
    source: str


@dataclass(frozen=True)
class Differences:
    """What paired differences say together.

    Parameters
    ----------
    n : int
    bias : float
        Mean difference.
    bias_interval95 : tuple of float or None
        By Student's t; None of a single difference.
    sd : float or None
        Standard deviation (n - 1); None of a single difference.
    limits : tuple of Limits
        One for each of :data:`MULTIPLIERS`; empty of a single difference.
    """

    n: int
    bias: float
    bias_interval95: tuple[float, float] | None
    sd: float | None
    limits: tuple[Limits, ...]

    def limits_at(self, multiplier: float) -> Limits | None:
        """Limits with one multiplier, or None of a single difference."""
        return next((one for one in self.limits if one.multiplier == multiplier), None)


@dataclass(frozen=True)
class Share:
    """A share of n, with its 95 % confidence interval."""

    count: int
    n: int
    share: float
    low95: float
    high95: float


def describe_differences(differences: Sequence[float]) -> Differences:
    """Bias, standard deviation and limits of agreement.

    The differences are taken as independent and about normally distributed. The standard error of a limit is
    ``s * sqrt(1/n + m**2 / (2 (n - 1)))`` for m = 1.96 (Bland & Altman 1999), and ``s * sqrt(3/n)`` for m = 2
    (Bland & Altman 1986); both go with Student's t of n - 1 degrees of freedom, and are approximate.

    Parameters
    ----------
    differences : sequence of float

    Returns
    -------
    Differences

    Raises
    ------
    PeriapicalError
        There is none, or one is not finite.
    """
    n = len(differences)
    if n == 0 or not all(math.isfinite(one) for one in differences):
        raise PeriapicalError(
            "differences: given none, or one that is not a number; give one or more numbers."
        )
    bias = statistics.fmean(differences)
    if n == 1:
        return Differences(1, bias, None, None, ())
    from scipy.stats import t

    sd, quantile = statistics.stdev(differences), float(t.ppf(0.975, n - 1))
    half = quantile * sd / math.sqrt(n)
    errors = {1.96: sd * math.sqrt(1 / n + 1.96**2 / (2 * (n - 1))), 2.0: sd * math.sqrt(3 / n)}
    sources = {1.96: "Bland & Altman 1999", 2.0: "Bland & Altman 1986"}
    limits = tuple(
        Limits(
            multiplier,
            _about(bias - multiplier * sd, quantile * errors[multiplier]),
            _about(bias + multiplier * sd, quantile * errors[multiplier]),
            sources[multiplier],
        )
        for multiplier in MULTIPLIERS
    )
    return Differences(n, bias, (bias - half, bias + half), sd, limits)


def _about(value: float, half: float) -> Estimate:
    return Estimate(value, value - half, value + half)


def share_of(count: int, n: int) -> Share:
    """A share with the interval of Wilson 1927 (J Am Stat Assoc 22:209), without continuity correction.

    Parameters
    ----------
    count, n : int
        `count` of `n`.

    Raises
    ------
    PeriapicalError
        Not 0 <= count <= n with n of 1 or more.
    """
    if not (n >= 1 and 0 <= count <= n):
        raise PeriapicalError(f"share: given {count} of {n}; allowed is 0 to n of a number n of 1 or more.")
    share, z2 = count / n, _Z95**2
    centre = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = _Z95 * math.sqrt(share * (1 - share) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    # at the ends rounding must not leave the interval open by 1e-17
    low = 0.0 if count == 0 else centre - half
    return Share(count, n, share, low, 1.0 if count == n else centre + half)
