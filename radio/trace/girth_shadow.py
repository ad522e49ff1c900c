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
_UNIT_SAMPLES = 801
_FINE_PX = 0.5
# A dental beam holds many energies: mean about half of the peak of 60 to 70 kV, spread about 10 keV (common
# practice, no source), here as three energies by Gauss-Hermite quadrature. Metal stops them about as the
# third power of the wavelength (from memory), so that the soft ones are gone in a tenth of a millimetre: the
# signal rises steeply at the edge and slowly inside.
_BEAM_KEV = 35.0 + 10.0 * np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])
_BEAM_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0
_BEAM_ABSORPTION = (35.0 / _BEAM_KEV) ** 3
_BEYOND_PX = 7.0


@dataclass(frozen=True)
class Optics:
    """How metal becomes grey; lengths in pixels.

    Parameters
    ----------
    blur_px : float
        Standard deviation of the blur of the beam's signal.
    absorption_per_px : float
        Attenuation of the middle of the beam's energies per pixel of metal.
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
    areas : ndarray, shape (K, L)
        Integral of :func:`unit_chords` across, from -1 on.
    """

    offsets_px: FloatArray
    section: Section
    areas: FloatArray

    @staticmethod
    def of(section: Section, offsets_px: FloatArray) -> ShadowModel:
        """Make the model of a section."""
        chords = unit_chords(section)
        steps = (chords[:, 1:] + chords[:, :-1]) / (_UNIT_SAMPLES - 1)
        return ShadowModel(offsets_px, section, np.cumsum(np.pad(steps, ((0, 0), (1, 0))), axis=1))

    @property
    def turns(self) -> int:
        """How many turns of the section are told apart."""
        return len(self.areas)

    def at(self, offsets_px: FloatArray) -> ShadowModel:
        """The same at other offsets."""
        return replace(self, offsets_px=offsets_px)

    def smeared(self, turns_sd: float) -> ShadowModel:
        """The same with every turn averaged with its neighbours, as blur along a twisted file does.

        Parameters
        ----------
        turns_sd : float
            Standard deviation in steps of turn.
        """
        if self.turns == 1:
            return self
        apart = np.arange(self.turns)
        apart = np.minimum(apart, self.turns - apart)
        round_about = apart[:, None] + self.turns * np.arange(-2, 3)
        kernel = np.exp(-0.5 * (round_about / max(turns_sd, 1e-3)) ** 2).sum(axis=1)
        kernel /= kernel.sum()
        circle = (np.arange(self.turns)[:, None] - np.arange(self.turns)) % self.turns
        return replace(self, areas=kernel[circle] @ self.areas)

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
        # means over cells, not values at points: the signal then changes smoothly with the diameter
        edges = np.append(fine - _FINE_PX / 2, fine[-1] + _FINE_PX / 2)
        # beside the thickest place there is no metal, and nothing to reckon
        first = max(int(np.searchsorted(edges, -radius.max(), "right")) - 1, 0)
        end = min(int(np.searchsorted(edges, radius.max(), "left")), len(fine))
        edges = edges[first : end + 1]
        place = (np.clip(edges[None, :] / radius[:, None], -1.0, 1.0) + 1.0) / 2.0 * (_UNIT_SAMPLES - 1)
        below = np.minimum(place.astype(np.int64), _UNIT_SAMPLES - 2)
        share = place - below
        rows = phases[:, None]
        area = self.areas[rows, below] * (1 - share) + self.areas[rows, below + 1] * share
        chord = np.diff(area, axis=1) * radius[:, None] ** 2 / _FINE_PX
        through = np.ones((len(chord), len(fine)))
        through[:, first:end] = sum(
            weight * np.exp(-optics.absorption_per_px * harder * chord)
            for weight, harder in zip(_BEAM_WEIGHTS, _BEAM_ABSORPTION, strict=True)
        )
        beam = through @ _gaussian(fine, optics.blur_px)
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
