"""Which of two canals lies buccally, from two images of one tooth between which the tube was moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from radio.trace.along import CLICK_SD_MM

Way = Literal["mesial", "distal"]
Side = Literal["left", "right"]

WAYS: tuple[Way, ...] = ("mesial", "distal")
RULE = (
    "What lies lingually (palatally) moves on the image with the tube, what lies buccally against it. "
    "Verified in teaching slides; a rule of projection, not of this program."
)
# of the least shift that is told, in standard uncertainties
_SURE = 1.96


@dataclass(frozen=True)
class Shift:
    """How one canal moved beside another between two views.

    Parameters
    ----------
    canal, other : str
        Their names.
    moved_mm : float
        How far `canal` moved mesially beside `other`, mm; below 0 distally.
    sd_mm : float
        Standard uncertainty of that, mm.
    lingual : str
        Name of the canal that lies lingually of the other; empty where the shift is too small to tell.
    """

    canal: str
    other: str
    moved_mm: float
    sd_mm: float
    lingual: str

    @property
    def text(self) -> str:
        """What was seen and what follows, for people."""
        way = "mesially" if self.moved_mm >= 0 else "distally"
        seen = f"{self.canal} moved {abs(self.moved_mm):.1f} ± {self.sd_mm:.1f} mm {way} beside {self.other}"
        if not self.lingual:
            return f"{seen}: too little to tell which lies buccally."
        buccal = self.other if self.lingual == self.canal else self.canal
        return f"{seen}: {self.lingual} lies lingually, {buccal} buccally."


def shifts(
    first_mm: Mapping[str, float],
    second_mm: Mapping[str, float],
    *,
    tube_to: Way,
    mesial_at: Side,
    sd_mm: float = CLICK_SD_MM,
) -> tuple[Shift, ...]:
    """Compare every two canals that are placed on both images.

    Only the distance between two canals counts, so that it does not matter where the tooth stands on either
    image: the tube was moved, and what is farther from the receptor's side of the tooth goes the other way.

    Parameters
    ----------
    first_mm, second_mm : mapping of str to float
        Place of each canal across the tooth, to the right on the image, mm, by name; in the first image and
        in the one taken after the tube was moved.
    tube_to : {"mesial", "distal"}
        Where the tube was moved to for the second image.
    mesial_at : {"left", "right"}
        Where mesial lies on both images.
    sd_mm : float
        Standard uncertainty of each place, mm.

    Returns
    -------
    tuple of Shift
        For every pair of names in both, in the order of the first image.

    Notes
    -----
    Rule of the buccal object (same lingual, opposite buccal): verified in teaching slides. Which side is
    buccal is told by the shift alone; names do not count.
    """
    there = [name for name in first_mm if name in second_mm]
    mesially = 1.0 if mesial_at == "right" else -1.0
    of_shift = float(np.sqrt(4.0) * sd_mm)
    found = []
    for canal, other in combinations(there, 2):
        apart = [one[canal] - one[other] for one in (first_mm, second_mm)]
        moved = mesially * (apart[1] - apart[0])
        lingual = ""
        if abs(moved) > _SURE * of_shift:
            with_tube = (moved > 0) == (tube_to == "mesial")
            lingual = canal if with_tube else other
        found.append(Shift(canal, other, moved, of_shift, lingual))
    return tuple(found)
