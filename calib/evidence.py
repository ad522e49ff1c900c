"""What is known of an image's scale without the stated file length, and what it leads one to expect."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, isfinite

import numpy as np
import numpy.typing as npt

from calib.errors import CalibrationError
from calib.scale import Scale

FloatArray = npt.NDArray[np.float64]

# Natural logarithms of ratios of scales are looked at on this grid.
_STEP, _REACH = 0.0005, 1.3
_LEAST_RELATIVE_SD = 0.001
# Probability that something else is wrong altogether and every ratio as likely, so that odds stay finite.
_ASTRAY = 1e-3
# Values of magnification and of lean that stand for all between their limits.
_PARTS = 200


@dataclass(frozen=True)
class PitchEvidence:
    """The detector pitch is known, the magnification within limits.

    Parameters
    ----------
    pitch_mm : float
        Geometric mean size of a pixel on the receptor, mm.
    least_magnification, usual_magnification, greatest_magnification : float
        Limits of source-receptor over source-object distance: every value up to the usual limit as likely,
        less and less beyond it up to the greatest. The defaults are common practice of intra-oral images, no
        source; the usual limit is that of an object 20 mm from the receptor, the source at 203 mm.
    tilt_deg : float
        Greatest lean of the file against the receptor, every angle up to it as likely. It makes the file
        look short. Common practice, no source.

    Raises
    ------
    CalibrationError
        The pitch is not positive, the limits are not within 1 to 3 and in order, or the tilt not 0 to 60
        degrees.
    """

    pitch_mm: float
    least_magnification: float = 1.0
    usual_magnification: float = 1.11
    greatest_magnification: float = 1.15
    tilt_deg: float = 15.0

    def __post_init__(self) -> None:
        if not (self.pitch_mm > 0 and isfinite(self.pitch_mm)):
            raise CalibrationError(f"The detector pitch is {self.pitch_mm:g} mm; it must be above 0.")
        limits = (self.least_magnification, self.usual_magnification, self.greatest_magnification)
        if not (1 <= limits[0] <= limits[1] <= limits[2] <= 3):
            raise CalibrationError(
                f"The limits of magnification are {', '.join(f'{limit:g}' for limit in limits)}; allowed is "
                "1 to 3, the least first, then the usual and the greatest."
            )
        _check_tilt(self.tilt_deg)

    @property
    def mm_per_px(self) -> float:
        """What the scale is compared with, mm per pixel."""
        return self.pitch_mm

    @property
    def basis(self) -> str:
        """What the evidence rests on, in words."""
        return (
            f"detector pitch {self.pitch_mm:g} mm; magnification {self.least_magnification:g} to "
            f"{self.usual_magnification:g}, seldom up to {self.greatest_magnification:g}, and lean of the "
            f"file up to {self.tilt_deg:g}°: common practice, no source"
        )


@dataclass(frozen=True)
class ScaleEvidence:
    """Another scale of the same image is known, such as that of a ball or a second file.

    Parameters
    ----------
    scale : Scale
        Made without the stated file length.
    tilt_deg : float
        Greatest lean of the file against the receptor. Common practice, no source.
    other_tilt_deg : float
        Greatest lean of what the other scale was made from: 0 for a ball, as for the file for another file.
    depth_relative_sd : float
        For the two lying in different planes: 5 mm of depth, rectangular, at 200 mm from the source are
        1.4 %.

    Raises
    ------
    CalibrationError
        A tilt is not 0 to 60 degrees, or the allowance for depth below 0.
    """

    scale: Scale
    tilt_deg: float = 15.0
    other_tilt_deg: float = 0.0
    depth_relative_sd: float = 0.014

    def __post_init__(self) -> None:
        _check_tilt(self.tilt_deg)
        _check_tilt(self.other_tilt_deg)
        if not (self.depth_relative_sd >= 0 and isfinite(self.depth_relative_sd)):
            raise CalibrationError(
                f"The allowance for depth is {self.depth_relative_sd!r}; it must be 0 or more, 0.01 is 1 %."
            )

    @property
    def mm_per_px(self) -> float:
        """What the scale is compared with, mm per pixel."""
        return self.scale.mm_per_px

    @property
    def basis(self) -> str:
        """What the evidence rests on, in words."""
        return (
            f"scale {self.scale.mm_per_px:.5f} mm/px from {self.scale.source}; {self.depth_relative_sd:.1%} "
            f"for a difference in depth, lean of the file up to {self.tilt_deg:g}°: common practice, no "
            "source"
        )


Evidence = PitchEvidence | ScaleEvidence


@dataclass(frozen=True, eq=False)
class Expected:
    """What the logarithm of evidence over scale may be where the stated length is right.

    Parameters
    ----------
    edges : ndarray, shape (N + 1,)
        Of the cells of a grid.
    cumulative : ndarray, shape (N + 1,)
        Probability of lying below each edge.
    """

    edges: FloatArray
    cumulative: FloatArray

    @staticmethod
    def of(evidence: Evidence, relative_sd: float) -> Expected:
        """Limits of magnification and lean, widened by the uncertainty of measuring."""
        lean = _spread(0.0, evidence.tilt_deg)
        if isinstance(evidence, PitchEvidence):
            factor = _falling(
                evidence.least_magnification, evidence.usual_magnification, evidence.greatest_magnification
            )
            sd = relative_sd
        else:
            factor = 1 / np.cos(np.deg2rad(_spread(0.0, evidence.other_tilt_deg)))
            sd = hypot(relative_sd, evidence.scale.relative_sd, evidence.depth_relative_sd)
        ratio = np.log(factor)[:, None] + np.log(np.cos(np.deg2rad(lean)))
        cells = round(2 * _REACH / _STEP)
        edges = np.linspace(-_REACH, _REACH, cells + 1)
        share = np.histogram(ratio, edges)[0] / ratio.size
        sd = max(sd, _LEAST_RELATIVE_SD)
        half = min(int(np.ceil(5 * sd / _STEP)), cells // 2 - 1)
        blur = np.exp(-0.5 * (np.arange(-half, half + 1) * _STEP / sd) ** 2)
        share = np.convolve(share, blur / blur.sum(), mode="same")
        return Expected(edges, np.concatenate([[0.0], np.cumsum(share)]) / share.sum())

    def below(self, ratio: float) -> float:
        """Probability of a lesser value."""
        return float(np.interp(ratio, self.edges, self.cumulative))

    def quantile(self, probability: float) -> float:
        """Value that a given share lies below."""
        return float(np.interp(probability, self.cumulative, self.edges))

    def density(self, ratio: float) -> float:
        """Probability density, with a little for anything else being wrong."""
        inside = (self.below(ratio + _STEP) - self.below(ratio - _STEP)) / (2 * _STEP)
        return (1 - _ASTRAY) * inside + _ASTRAY / (2 * _REACH)


def _spread(low: float, high: float) -> FloatArray:
    """Values evenly between two limits; the limit alone where they agree."""
    parts = 1 if low == high else _PARTS
    return np.asarray(low + (high - low) * (np.arange(parts) + 0.5) / parts)


def _falling(low: float, shoulder: float, high: float) -> FloatArray:
    """Values as likely from `low` to `shoulder` and linearly less on to `high`, by their quantiles."""
    flat, tail = shoulder - low, high - shoulder
    passed = _spread(0.0, flat + tail / 2)
    beyond = np.maximum(passed - flat, 0.0)
    return np.asarray(
        low + np.minimum(passed, flat) + tail - np.sqrt(np.maximum(tail**2 - 2 * tail * beyond, 0))
    )


def _check_tilt(tilt_deg: float) -> None:
    if not 0 <= tilt_deg <= 60:
        raise CalibrationError(f"The limit of the lean is {tilt_deg:g} degrees; allowed is 0 to 60.")
