"""How fine the detail of an image is, against what its pixels could carry: an enlarged image has less."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_LENGTH_PX = 256
_ROWS = 200
# Power counts as detail above this share of the greatest, and this many times what rounding makes.
_LEAST_POWER, _OVER_ROUNDING = 0.06, 3.0


def detail_share(grey: npt.NDArray[np.floating], bits: int) -> float | None:
    """Share of the finest pattern that pixels can carry (half a cycle a pixel) up to which there is any.

    Power spectrum of differences along rows and columns, the median over pieces of 256 pixels. The noise of a
    detector reaches to 1; interpolation makes none, so that an image enlarged n times ends near 1 / n.

    Parameters
    ----------
    grey : ndarray, shape (rows, cols)
        0 to 1.
    bits : int
        Depth it was stored with.

    Returns
    -------
    float or None
        None of an image that is too small, or flat.
    """
    found = [one for image in (grey, grey.T) if (one := _spectrum(np.asarray(image), bits)) is not None]
    if not found:
        return None
    power = np.convolve(np.mean(found, axis=0), np.ones(5) / 5, mode="same")
    shares = np.linspace(0.0, 1.0, len(power))
    return float(shares[power > _LEAST_POWER].max(initial=0.0))


def _spectrum(image: npt.NDArray[np.floating], bits: int) -> FloatArray | None:
    """Power along rows above that of rounding, the greatest being 1."""
    rows, cols = image.shape
    starts = range(0, cols - _LENGTH_PX + 1, _LENGTH_PX)
    if not len(starts):
        return None
    some = image[:: max(rows // _ROWS, 1)]
    pieces = np.concatenate([some[:, at : at + _LENGTH_PX] for at in starts]).astype(np.float64)
    pieces = pieces[np.ptp(pieces, axis=1) > 0]
    if not len(pieces):
        return None
    window = np.hanning(_LENGTH_PX - 1)
    power = np.median(np.abs(np.fft.rfft(np.diff(pieces, axis=1) * window, axis=1)) ** 2, axis=0)
    # rounding is a rectangular error of one step; differences have 4 sin² of its white spectrum
    step = 1.0 / (2**bits - 1)
    half_turn = np.linspace(0.0, 0.5 * np.pi, len(power))
    rounding = 4.0 * np.sin(half_turn) ** 2 * float((window**2).sum()) * step**2 / 12.0
    return np.asarray(
        np.where(power > _OVER_ROUNDING * rounding, power, 0.0) / max(float(power.max()), 1e-30)
    )
