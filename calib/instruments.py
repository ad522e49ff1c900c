"""Hand files of ISO 3630-1: sizes, diameters, lengths, colours, tolerances, and how well each is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from calib.errors import CalibrationError

FloatArray = npt.NDArray[np.float64]
Standing = Literal["verified", "secondary", "from memory", "derived", "own"]

TAPER = 0.02
LEAST_WORKING_PART_MM = 16.0
STANDARD_LENGTHS_MM = (21.0, 25.0, 28.0, 31.0)
LENGTH_TOLERANCE_MM = 0.5
SIZES = (6, 8, 10, *range(15, 65, 5), *range(70, 150, 10))
"""Tip diameters in hundredths of a millimetre."""

_LARGEST_OF_FINE_TOLERANCE = 60
_FINE_TOLERANCE_MM, _COARSE_TOLERANCE_MM = 0.02, 0.04
_SMALL_COLOURS = {6: "pink", 8: "grey", 10: "purple"}
_CYCLE = ("white", "yellow", "red", "blue", "green", "black")
_LARGEST_TAPER = 0.2


@dataclass(frozen=True)
class Fact:
    """One property of hand files and how well it is known.

    Parameters
    ----------
    name, text : str
        The property and what holds for it.
    standing : {"verified", "secondary", "from memory", "derived", "own"}
        Whether a page that states it was read, only a secondary one, none, or it follows by arithmetic.
    source : str
        Where it stands.
    """

    name: str
    text: str
    standing: Standing
    source: str


_KIM = "Kim 2010, J Korean Acad Conserv Dent 35(6), on ISO 3630-1 and ANSI 28/58"
FACTS = (
    Fact("taper", "0.02 mm for each mm of the working part", "verified", _KIM),
    Fact("standard lengths", "21, 25 and 31 mm", "verified", _KIM),
    Fact(
        "standard length 28",
        "28 mm is sold too; the article names only 21, 25 and 31",
        "from memory",
        "trade practice",
    ),
    Fact("working part", "at least 16 mm", "verified", _KIM),
    Fact(
        "diameter at 16 mm",
        "D16 = D0 + 0.32 mm; D(x) = D0 + 0.02 x",
        "derived",
        "taper times 16 mm; the rate from D0 to D16 also stands on a secondary page",
    ),
    Fact("sizes 15 to 60", "in steps of 5, beyond 60 in steps of 10", "secondary", "a teaching page"),
    Fact(
        "sizes 06, 08, 10 and the last, 140",
        "06, 08 and 10 below 15; 140 is the largest",
        "from memory",
        "ISO 3630-1",
    ),
    Fact(
        "colours from 15",
        "white, yellow, red, blue, green, black; again from 45 and from 90",
        "secondary",
        "a teaching page",
    ),
    Fact(
        "colours 06, 08, 10",
        "pink, grey, purple; one page calls size 10 black, which is the colour of 40, 80 and 140",
        "from memory",
        "ISO 3630-1",
    ),
    Fact(
        "tolerance on diameter",
        "± 0.02 mm up to size 60, ± 0.04 mm above; another edition may keep ± 0.02 mm",
        "from memory",
        "ISO 3630-1",
    ),
    Fact(
        "measured diameters",
        "of sizes 08 to 40 none equalled the nominal, all lay within the tolerance; neighbouring sizes may "
        "overlap",
        "verified",
        "J Endod 2002;28(5), abstract",
    ),
    Fact("tolerance on length", "± 0.5 mm", "from memory", "ISO 3630-1"),
    Fact(
        "shaft",
        "beyond the working part the diameter is taken to stay as it is at its end",
        "own",
        "assumption of this program",
    ),
)


@dataclass(frozen=True)
class HandFile:
    """A hand file by its nominal shape; what is from memory stands in :data:`FACTS`.

    Parameters
    ----------
    size : int
        ISO 3630-1 size: diameter at the tip, projected from the taper, in hundredths of a millimetre.
    taper : float
        Growth of the diameter, mm per mm; 0.02 for the files of the standard's first class.

    Raises
    ------
    CalibrationError
        The size is not one of :data:`SIZES`, or the taper not above 0 and at most 0.2.
    """

    size: int
    taper: float = TAPER

    def __post_init__(self) -> None:
        if self.size not in SIZES:
            raise CalibrationError(_no_such_size(self.size))
        if not 0 < self.taper <= _LARGEST_TAPER:
            raise CalibrationError(
                f"The taper is {self.taper!r}; it must be above 0 and at most {_LARGEST_TAPER:g} mm per mm "
                f"(hand files of ISO 3630-1 have {TAPER:g}; 6 % is 0.06)."
            )

    @property
    def d0_mm(self) -> float:
        """Nominal diameter at the tip, mm."""
        return self.size / 100

    @property
    def d16_mm(self) -> float:
        """Nominal diameter 16 mm from the tip, mm."""
        return self.d0_mm + self.taper * LEAST_WORKING_PART_MM

    @property
    def diameter_tolerance_mm(self) -> float:
        """Half-width of the tolerance on the diameter, mm (from memory, see :data:`FACTS`)."""
        return _FINE_TOLERANCE_MM if self.size <= _LARGEST_OF_FINE_TOLERANCE else _COARSE_TOLERANCE_MM

    @property
    def colour(self) -> str:
        """Colour of the handle; 06, 08 and 10 from memory."""
        if self.size in _SMALL_COLOURS:
            return _SMALL_COLOURS[self.size]
        return _CYCLE[(SIZES.index(self.size) - len(_SMALL_COLOURS)) % len(_CYCLE)]

    def diameter_mm(
        self, from_tip_mm: npt.ArrayLike, working_part_mm: float = LEAST_WORKING_PART_MM
    ) -> FloatArray:
        """Nominal diameter D(x) = D0 + taper x, as an array of the shape of `from_tip_mm`, mm.

        Parameters
        ----------
        from_tip_mm : array_like
            Distance from the tip along the file, mm, not below 0.
        working_part_mm : float
            Length of the tapered part, mm. Beyond it the shaft is taken to be as wide as at its end.

        Raises
        ------
        CalibrationError
            A distance is below 0 or no number, or the working part is shorter than 16 mm.
        """
        x = np.asarray(from_tip_mm, dtype=np.float64)
        if not np.all(x >= 0):
            raise CalibrationError(
                f"A distance from the tip is {np.min(x):g} mm; it is counted from the tip and not below 0."
            )
        if not working_part_mm >= LEAST_WORKING_PART_MM:
            raise CalibrationError(
                f"The working part is {working_part_mm:g} mm; ISO 3630-1 asks for at least "
                f"{LEAST_WORKING_PART_MM:g} mm."
            )
        return np.asarray(self.d0_mm + self.taper * np.minimum(x, working_part_mm))


def _no_such_size(size: object) -> str:
    """Words for a size that does not exist, with the sizes beside it."""
    text = f"File size {size} is none of ISO 3630-1; sizes are tip diameters in hundredths of a millimetre"
    if not isinstance(size, int | float) or not np.isfinite(size):
        return f"{text}: {', '.join(f'{one:02d}' for one in SIZES)}."
    if size in (one / 100 for one in SIZES):
        return f"{text}, so a tip of {size:g} mm is size {round(size * 100):02d}."
    below = [one for one in SIZES if one < size]
    above = [one for one in SIZES if one > size]
    near = [f"{one:02d}" for one in (*below[-1:], *above[:1])]
    return f"{text}. The nearest {'is' if len(near) == 1 else 'are'} {' and '.join(near)}."
