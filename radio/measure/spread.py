"""Standard uncertainty and 95 % interval of a value, from draws of it as it might have come out."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Half a 95 % interval in standard deviations of a normal distribution.
_NORMAL95 = 1.96
# From so many draws on, a further one lies beyond the least or the greatest of them with 5 % or less.
_RANKED = 39


def spread(
    value: float, drawn: FloatArray, by_scale: float, least: float, *, noise_adds: bool
) -> tuple[float, float, float]:
    """Standard uncertainty of a value and its 95 % interval, from draws that waver about its trace.

    The interval is where a further draw would lie, even about the value or not (JCGM 101:2008, 7.7). Where
    every waver adds, it is known which way draws are off: as they show more than the trace, the trace shows
    more than the canal, and the interval is the longer downward.

    Parameters
    ----------
    value : float
    drawn : ndarray, shape (K,)
    by_scale : float
        Standard uncertainty beside that of the draws, same unit.
    least : float
        No standard uncertainty is stated below this.
    noise_adds : bool
        Whether every waver adds.

    Returns
    -------
    sd, low, high : float
        The root mean square of the draws about the value, with the scale's part; where noise adds, what the
        width of the interval is that of.
    """
    if not len(drawn):
        sd = max(by_scale, least)
        return sd, value - _NORMAL95 * sd, value + _NORMAL95 * sd
    low, high = _further(drawn)
    mean = float(drawn.mean())
    off = mean - value
    middle = mean if noise_adds else value
    low, high = _widened(value, middle - low, high - middle, by_scale, least)
    if noise_adds:
        low -= max(off, 0.0)
        return (high - low) / (2 * _NORMAL95), low, high
    return max(float(np.hypot(np.hypot(drawn.std(), by_scale), off)), least), low, high


def bounded(
    value: float, bounds: tuple[float, float], by_scale: float, least: float
) -> tuple[float, float, float]:
    """The same from an interval that is known, but for the scale's part."""
    low, high = _widened(value, value - bounds[0], bounds[1] - value, by_scale, least)
    return (high - low) / (2 * _NORMAL95), low, high


def _widened(value: float, below: float, above: float, by_scale: float, least: float) -> tuple[float, float]:
    """Ends of an interval so far below and above a value, not below the least, with the scale's part."""
    down, up = (np.hypot(max(one, _NORMAL95 * least), _NORMAL95 * by_scale) for one in (below, above))
    return float(value - down), float(value + up)


def _further(drawn: FloatArray) -> tuple[float, float]:
    """Interval that a further draw lies in with 95 %.

    Between order statistics, whatever the distribution (Wilks 1941, Ann Math Stat 12:91, from memory); of
    fewer draws than that takes, of which none would lie outside, by Student's t as of a normal one.
    """
    count = len(drawn)
    if count >= _RANKED:
        low, high = np.quantile(drawn, (0.025, 0.975), method="weibull")
        return float(low), float(high)
    if count < 2:
        return float(drawn.min()), float(drawn.max())
    from scipy.special import stdtrit

    half = float(stdtrit(count - 1, 0.975) * drawn.std(ddof=1) * np.sqrt(1.0 + 1.0 / count))
    mean = float(drawn.mean())
    return mean - half, mean + half
