"""What diameters of a file beside its length say about a lean toward or away from the detector."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.scale import Scale
from radio.measure.girth_scale import SCALE_ALONG, GirthScale, scale_from_girth

_COVERAGE = 1.96
# A hint, or its reverse, is given where chance alone gives it once in a hundred files (normal, one side).
_CLEARLY = 2.326


@dataclass(frozen=True)
class GirthComparison:
    """The scale from diameters beside another one.

    Parameters
    ----------
    ratio, sd : float
        Scale from diameters over the other scale, and its standard uncertainty.
    lean_deg : float or None
        Lean toward or away from the detector that would explain a ratio below 1: its arc cosine. None where
        the ratio is not clearly below 1.
    lean_interval_deg : tuple of float or None
        95 % interval of the lean.
    text : str
        What can be said.
    """

    ratio: float
    sd: float
    lean_deg: float | None
    lean_interval_deg: tuple[float, float] | None
    text: str

    @property
    def interval95(self) -> tuple[float, float]:
        """95 % interval of the ratio."""
        return self.ratio - _COVERAGE * self.sd, self.ratio + _COVERAGE * self.sd


def compare_with(found: GirthScale, other: Scale) -> GirthComparison:
    """The scale from diameters beside that from the file's length.

    A file that leans toward or away from the detector by an angle looks shorter by its cosine, but no
    thinner; so a ratio below 1 hints at a lean. The size or the length may be misstated as well: a hint is
    given only where chance would give it once in a hundred files, and names both. Where along the file a
    diameter is, its length tells, for that leans with it: the ratio is the cosine itself.

    Parameters
    ----------
    found : GirthScale
    other : Scale
        From the length of the same file.
    """
    found = scale_from_girth(found.girth, found.file, tip_sd_px=found.tip_sd_px, along=other)
    width = other.col_mm_per_px
    ratio = found.mm_per_px / width
    # the scale by length is in the scale by diameters too: over one another, less of its error is left
    (along,) = (row for row in found.budget.rows if row.name == SCALE_ALONG)
    alone = np.sqrt(max(found.sd_mm_per_px**2 - along.contribution**2, 0.0)) / found.mm_per_px
    left = (1.0 - (along.sensitivity or 0.0) / ratio) * other.relative_sd
    sd = ratio * float(np.hypot(alone, left))
    low, high = ratio - _COVERAGE * sd, ratio + _COVERAGE * sd
    seen_mm = found.tip_diameter_px * width
    by_length = f"by the other scale ({other.source}) its tip would be {seen_mm:.2f} mm wide"
    size = f"size {found.file.size:02d}"
    if ratio + _CLEARLY * sd < 1.0:
        lean, most, least = (_lean_deg(value) for value in (ratio, low, high))
        text = (
            f"The file looks short for its thickness (ratio {ratio:.2f}, 95 % {low:.2f} to {high:.2f}): "
            f"it may lean toward or away from the detector by up to {most:.0f} degrees; or its length or "
            f"{size} is misstated ({by_length}), or another file lies over it."
        )
        return GirthComparison(ratio, sd, lean, (least, most), text)
    if ratio - _CLEARLY * sd > 1.0:
        text = (
            f"The file looks long for its thickness (ratio {ratio:.2f}, 95 % {low:.2f} to {high:.2f}), "
            f"which no lean explains: check the stated length and {size} ({by_length})."
        )
    else:
        text = (
            f"Length and thickness of the file do not clearly differ (ratio {ratio:.2f}, 95 % {low:.2f} to "
            f"{high:.2f}); a lean of up to {_lean_deg(low):.0f} degrees would not be seen."
        )
    return GirthComparison(ratio, sd, None, None, text)


def _lean_deg(ratio: float) -> float:
    return float(np.degrees(np.arccos(np.clip(ratio, 0.0, 1.0))))
