"""What the shadow of a thin file looks like across: its section, the beam, blur, sharpening, tone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Section = Literal["round", "square", "triangle"]

SECTIONS: tuple[Section, ...] = ("round", "square", "triangle")
_CORNERS: dict[Section, int] = {"round": 0, "square": 4, "triangle": 3}
PHASES = 12
"""Turns of a section with corners that are told apart, over one corner to the next."""
_UNIT_SAMPLES = 401
_FINE_PX = 0.5
_BEYOND_PX = 7.0


@dataclass(frozen=True)
class Optics:
    """How metal becomes grey; lengths in pixels.

    Parameters
    ----------
    blur_px : float
        Standard deviation of the blur of the beam's signal.
    absorption_per_px : float
        Attenuation of the beam per pixel of metal.
    sharpening, sharpening_px : float
        Strength and reach of an edge enhancement: what a Gaussian of this standard deviation takes away is
        added this many times.
    tone : float
        Exponent of the curve from optical depth to grey.
    stray : float
        Signal behind metal that stops all of the beam, over the signal beside it.
    """

    blur_px: float
    absorption_per_px: float
    sharpening: float
    sharpening_px: float
    tone: float
    stray: float


def unit_chords(section: Section) -> FloatArray:
    """Thickness met by parallel rays through a section whose corners lie on a circle of radius 1.

    Files are twisted or ground so that the corners lie on the circle the nominal diameter is of: common
    practice, no source.

    Returns
    -------
    ndarray, shape (K, M)
        One row for each turn of the section, over the angle from one corner to the next; columns are offsets
        from -1 to 1 at equal steps. A round section has one row.
    """
    across = np.linspace(-1.0, 1.0, _UNIT_SAMPLES)
    corners = _CORNERS[section]
    if not corners:
        return 2.0 * np.sqrt(np.maximum(1.0 - across**2, 0.0))[None]
    apart = 2.0 * np.pi / corners
    # a convex section is where every side's half plane holds
    side = (np.arange(corners) + 0.5) * apart
    inner = np.cos(apart / 2.0)
    out = np.empty((PHASES, _UNIT_SAMPLES))
    for number in range(PHASES):
        normal = side + apart * number / PHASES
        c, s = np.cos(normal)[:, None], np.sin(normal)[:, None]
        steep = np.abs(s) > 1e-9
        at = (inner - c * across[None, :]) / np.where(steep, s, 1.0)
        low = np.where(steep & (s < 0), at, -np.inf).max(axis=0)
        high = np.where(steep & (s > 0), at, np.inf).min(axis=0)
        cut = (~steep & (c * across[None, :] > inner)).any(axis=0)
        out[number] = np.where(cut, 0.0, np.maximum(high - low, 0.0))
    return out


@dataclass(frozen=True, eq=False)
class ShadowModel:
    """Grey of a file's shadow at given offsets, up to a gain and the ground it lies on.

    Parameters
    ----------
    offsets_px : ndarray, shape (M,)
        Offsets across at equal steps.
    section : {"round", "square", "triangle"}
    chords : ndarray, shape (K, 401)
        As of :func:`unit_chords`.
    """

    offsets_px: FloatArray
    section: Section
    chords: FloatArray

    @staticmethod
    def of(section: Section, offsets_px: FloatArray) -> ShadowModel:
        """Make the model of a section."""
        return ShadowModel(offsets_px, section, unit_chords(section))

    def at(self, offsets_px: FloatArray) -> ShadowModel:
        """The same at other offsets."""
        return replace(self, offsets_px=offsets_px)

    def signal(self, diameters_px: FloatArray, phases: IntArray, optics: Optics) -> FloatArray:
        """Grey of the shadows, shape (N, M), for N diameters of the circle about the section.

        The beam is weakened along the chord (Beer-Lambert), blurred by the receptor, brought to a logarithmic
        scale with some stray radiation, sharpened, and passed through a power curve. The curve begins at an
        optical depth of 1, about what lies before and behind the file; the grey of that is the ground.

        Parameters
        ----------
        diameters_px : ndarray, shape (N,)
        phases : ndarray of int, shape (N,)
            Turn of the section in each row.
        optics : Optics
        """
        reach = float(np.abs(self.offsets_px).max()) + _BEYOND_PX
        fine = np.arange(-reach, reach + _FINE_PX, _FINE_PX)
        radius = np.maximum(diameters_px, 0.6) / 2.0
        place = (np.clip(fine[None, :] / radius[:, None], -1.0, 1.0) + 1.0) / 2.0 * (_UNIT_SAMPLES - 1)
        below = np.minimum(place.astype(np.int64), _UNIT_SAMPLES - 2)
        share = place - below
        rows = phases[:, None]
        chord = self.chords[rows, below] * (1 - share) + self.chords[rows, below + 1] * share
        beam = np.exp(-optics.absorption_per_px * radius[:, None] * chord) @ _gaussian(fine, optics.blur_px)
        depth = -np.log((beam + optics.stray) / (1.0 + optics.stray))
        depth += optics.sharpening * (depth - depth @ _gaussian(fine, optics.sharpening_px))
        grey = (np.maximum(1.0 + depth, 0.3) ** optics.tone - 1.0) / optics.tone
        at = (self.offsets_px + reach) / _FINE_PX
        low = np.clip(at.astype(np.int64), 0, len(fine) - 2)
        part = at - low
        return np.asarray(grey[:, low] * (1 - part) + grey[:, low + 1] * part)


def _gaussian(at: FloatArray, sd: float) -> FloatArray:
    """Matrix that blurs values at equal steps; columns sum to 1."""
    weights = np.exp(-0.5 * ((at[:, None] - at[None, :]) / sd) ** 2)
    return np.asarray(weights / weights.sum(axis=0, keepdims=True))
