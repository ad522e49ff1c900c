"""The parameters of the curvature methods: what no source fixes, and so is the user's to choose."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal, NamedTuple

from radio.errors import PeriapicalError

Unit = Literal["mm", "px"]

# Lengths along the canal are stated in millimetres; without a scale the same share of the canal is taken that
# they are of one this long (2 mm: 15 %). Common practice, no source.
UNSCALED_CANAL_MM = 40 / 3


class Limits(NamedTuple):
    """Least and greatest value allowed for a setting, whether the least itself is, and the unit."""

    low: float
    high: float
    low_allowed: bool
    unit: str

    def hold(self, value: float) -> bool:
        """Whether a value is within them."""
        return self.low <= value <= self.high and (self.low_allowed or value > self.low)

    @property
    def words(self) -> str:
        """What is allowed, for people."""
        unit = f" {self.unit}" if self.unit else ""
        if self.low_allowed:
            return f"a number from {self.low:g} to {self.high:g}{unit}"
        return f"a number above {self.low:g}, at most {self.high:g}{unit}"


# Common practice, no source.
LIMITS = {
    "departure_tolerance_mm": Limits(0.0, 1.0, False, "mm"),
    "departure_tolerance_px": Limits(0.0, 100.0, False, "px"),
    "apical_portion_mm": Limits(0.1, 10.0, True, "mm"),
    "long_axis_portion": Limits(0.1, 0.5, True, "of the canal's length"),
    "smoothing_mm": Limits(0.5, 10.0, True, "mm"),
}


@dataclass(frozen=True)
class CurvatureSettings:
    """Parameters of the curvature methods, printed with every number that rests on them.

    Parameters
    ----------
    departure_tolerance_mm, departure_tolerance_px : float
        Distance from its coronal axis beyond which a canal has left it: on a calibrated image, and without a
        scale, in widths of a pixel.
    apical_portion_mm : float
        Length of the apical portion whose least-squares line is the apical direction; at most a third of the
        canal is taken.
    long_axis_portion : float
        Share of the canal whose long axis is taken at either end, by the long-axis method.
    smoothing_mm : float
        Length of a wave of the trace that smoothing halves before curvature is taken.

    Raises
    ------
    PeriapicalError
        A value is no number or outside its :data:`LIMITS`.

    Notes
    -----
    No source states the values (from memory: the portions of the long axis are a third in some readings).
    Without a scale, lengths along the canal become shares, see :data:`UNSCALED_CANAL_MM`.
    """

    departure_tolerance_mm: float = 0.10
    departure_tolerance_px: float = 5.0
    apical_portion_mm: float = 2.0
    long_axis_portion: float = 1 / 3
    smoothing_mm: float = 4.0

    def __post_init__(self) -> None:
        for one in fields(self):
            value, limits = getattr(self, one.name), LIMITS[one.name]
            if isinstance(value, int | float) and not isinstance(value, bool) and limits.hold(value):
                continue
            raise PeriapicalError(
                f"{one.name} is {value!r}; allowed is {limits.words}. Leave it out for {one.default:.4g}."
            )

    def tolerance(self, unit: Unit) -> float:
        """Departure tolerance in a unit."""
        return self.departure_tolerance_mm if unit == "mm" else self.departure_tolerance_px

    def apical_portion(self, unit: Unit, length: float) -> float:
        """Apical portion of a canal of a length, both in the unit."""
        return min(along_canal(self.apical_portion_mm, unit, length), length / 3)

    def smoothing(self, unit: Unit, length: float) -> float:
        """Wave that smoothing halves, on a canal of a length, both in the unit."""
        return along_canal(self.smoothing_mm, unit, length)


DEFAULT_SETTINGS = CurvatureSettings()


def along_canal(stated_mm: float, unit: Unit, length: float) -> float:
    """A length along a canal in a unit; without a scale, its share of the canal's length in that unit."""
    return stated_mm if unit == "mm" else stated_mm / UNSCALED_CANAL_MM * length


def spelled(value: float, decimals: int = 0) -> str:
    """A stated number in full, with at least so many decimals."""
    whole, _, rest = f"{value:.9f}".rstrip("0").partition(".")
    rest = rest.ljust(decimals, "0")
    return f"{whole}.{rest}" if rest else whole
