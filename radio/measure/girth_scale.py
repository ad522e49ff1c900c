"""A second scale: diameters of the traced file against ISO 3630-1, and what it says about a lean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.budget import Budget, Input, budget
from calib.distributions import chi_square_above
from calib.instruments import LEAST_WORKING_PART_MM, HandFile
from calib.scale import Scale
from calib.uncertainty import rectangular
from radio.errors import PeriapicalError, TraceError
from radio.image.radiograph import Radiograph
from radio.measure.result import Measurement
from radio.trace.girth import Girth, measure_girth
from radio.trace.line import Line
from radio.trace.polarity import metal_is_bright
from radio.trace.workspace import make_workspace

FloatArray = npt.NDArray[np.float64]

# Standard uncertainty of the tip's place along the file where none is stated, mm.
USUAL_TIP_SD_MM = 0.15
# A measurement is done again where the scale found differs this much from the one it was begun with: the
# working part then ends elsewhere.
_FAR_OFF = 0.08
_MARGIN_MM = 2.0
_COVERAGE = 1.96
_FLUTES = {
    "round": "No flutes were made out: the section was taken as round. Were it fluted, the scale would be "
    "too large, because flutes make a file look narrower than its nominal diameter.",
    "square": "Flutes were made out, as of a square section: its silhouette is 10 % narrower on average "
    "than the nominal diameter, which is that of the circle its corners lie on; this is allowed for.",
    "triangle": "Flutes were made out, as of a triangular section: its silhouette is 17 % narrower on "
    "average than the nominal diameter, which is that of the circle its corners lie on; this is allowed for.",
}
_TOLERANCE = (
    "The tolerance on the diameter is from memory of ISO 3630-1; another edition may have another. Most of "
    "the uncertainty of a small size comes from it."
)


@dataclass(frozen=True, eq=False)
class GirthScale:
    """Millimetres per pixel from the diameters of a file.

    Parameters
    ----------
    mm_per_px, sd_mm_per_px : float
        Width of a pixel (a column), and its standard uncertainty.
    chi_square : float
        Of the places about the line of the nominal taper.
    dof : int
        Its degrees of freedom.
    budget : Budget
        What contributes how much to `mm_per_px`.
    file : HandFile
    tip_diameter_px : float
        Diameter at the tip that the diameters along the shaft imply.
    girth : Girth
    basis : str
    notes : tuple of str
    """

    mm_per_px: float
    sd_mm_per_px: float
    chi_square: float
    dof: int
    budget: Budget
    file: HandFile
    tip_diameter_px: float
    girth: Girth
    basis: str
    notes: tuple[str, ...]

    @property
    def relative_sd(self) -> float:
        """Standard uncertainty as a fraction of the scale."""
        return self.sd_mm_per_px / self.mm_per_px

    @property
    def chance(self) -> float:
        """Probability that places scatter at least as much by chance."""
        return chi_square_above(self.chi_square, self.dof)

    def measurement(self) -> Measurement:
        """The scale as one measured number."""
        return Measurement(
            "girth_scale_mm_per_px",
            self.mm_per_px,
            "mm/px",
            self.sd_mm_per_px,
            "diameters along the file against ISO 3630-1",
            self.basis,
            self.notes,
        )


@dataclass(frozen=True)
class GirthComparison:
    """The scale from diameters beside another one.

    Parameters
    ----------
    ratio, sd : float
        Scale from diameters over the other scale, and its standard uncertainty.
    lean_deg : float or None
        Lean toward or away from the detector that would explain a ratio below 1: its arc cosine. None where
        the ratio is not below 1 by more than its uncertainty.
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


def scale_from_girth(girth: Girth, file: HandFile, *, tip_sd_px: float | None = None) -> GirthScale:
    """Scale at which diameters along a file are those of its size.

    With D(x) = D0 + taper x, and x by the same scale as D, a diameter in pixels is D0/scale + taper x in
    pixels. So every place gives D0 in pixels, and the scale is the nominal D0 over their weighted mean. The
    taper cancels from what is stated and measured; an error of a diameter counts D/D0 times. Uncertainty by
    JCGM 100:2008; places that scatter more than they should widen it by the Birge ratio.

    Parameters
    ----------
    girth : Girth
    file : HandFile
        Size and taper.
    tip_sd_px : float, optional
        Standard uncertainty of the tip's place along the file; :data:`USUAL_TIP_SD_MM` where not stated.

    Raises
    ------
    PeriapicalError
        The diameters do not belong to a file of this taper.
    """
    kept = np.ones(len(girth.from_tip_px), dtype=bool)
    for _ in range(len(kept)):
        tip_px, own_sd, chi_square = _tip_diameter(girth, file.taper, kept)
        if not tip_px > 0:
            raise PeriapicalError(
                f"Along the file the diameters are too small for a taper of {file.taper:g}: at the tip they "
                f"would be {tip_px:.1f} px. Check the taper, and that the traced line lies on the file."
            )
        inside = girth.from_tip_px * file.d0_mm / tip_px <= LEAST_WORKING_PART_MM
        if inside[kept].all() or inside.sum() < 3:
            break
        kept = inside
    dof = int(kept.sum()) - 1
    tip_sd = USUAL_TIP_SD_MM * tip_px / file.d0_mm if tip_sd_px is None else tip_sd_px
    half = file.diameter_tolerance_mm
    made = budget(
        lambda d0, px, common, tip: d0 / (px + common + file.taper * tip),
        (
            Input("nominal tip diameter", file.d0_mm, rectangular(half), how=_limits(half)),
            Input("tip diameter in the image", tip_px, own_sd, how=f"{dof + 1} places along the file"),
            Input("blur, tone and section", 0.0, girth.common_sd_px, how="shared by all places"),
            Input("place of the tip", 0.0, tip_sd, how="counts by the taper"),
        ),
    )
    reach = (girth.from_tip_px[kept][[0, -1]] * made.value).round(1)
    basis = (
        f"size {file.size:02d}, taper {file.taper:g}: {dof + 1} diameters {reach[0]:g} to {reach[1]:g} mm "
        f"from the tip imply {tip_px:.1f} px at the tip; holds across the file at its depth"
    )
    notes = (_FLUTES[girth.section], _TOLERANCE)
    return GirthScale(made.value, made.sd, chi_square, dof, made, file, tip_px, girth, basis, notes)


def _limits(half_mm: float) -> str:
    return f"rectangular ± {half_mm:g} mm, tolerance of ISO 3630-1: from memory"


def _tip_diameter(girth: Girth, taper: float, kept: npt.NDArray[np.bool_]) -> tuple[float, float, float]:
    """Weighted mean of the diameters brought to the tip, its standard uncertainty, and chi-square."""
    at_tip = (girth.diameter_px - taper * girth.from_tip_px)[kept]
    weight = 1.0 / girth.sd_px[kept] ** 2
    mean = float((weight * at_tip).sum() / weight.sum())
    chi_square = float((weight * (at_tip - mean) ** 2).sum())
    birge = np.sqrt(max(chi_square / max(len(at_tip) - 1, 1), 1.0))
    return mean, float(birge / np.sqrt(weight.sum())), chi_square


def girth_scale(
    radiograph: Radiograph,
    file_line: Line,
    file: HandFile,
    *,
    mm_per_px: float,
    tip_sd_px: float | None = None,
) -> GirthScale:
    """Scale from the diameters of a file traced in a radiograph.

    Parameters
    ----------
    radiograph : Radiograph
    file_line : Line
        The file from its start to its tip, pixels of the image.
    file : HandFile
        Size and taper.
    mm_per_px : float
        Approximate width of a pixel (a column); where the result is far from it, it is measured again.
    tip_sd_px : float, optional
        As of :func:`scale_from_girth`.

    Raises
    ------
    TraceError
        The file is too short, or too little of it can be used.
    PeriapicalError
        The diameters do not belong to a file of this taper.
    """
    if not 0.002 <= mm_per_px <= 1.0:
        raise TraceError(f"The approximate scale is {mm_per_px:g} mm/px; allowed is 0.002 to 1.")
    space = make_workspace(
        radiograph.grey,
        file_line.points_px,
        margin_px=_MARGIN_MM / mm_per_px,
        aspect=radiograph.pixel_aspect,
    )
    points = space.from_image(file_line.points_px)
    line = Line(file_line.kind, points, file_line.sd_px, file_line.confident)
    image = space.image
    ends = {"file_start": points[:1], "file_via": points[[len(points) // 2]], "file_tip": points[-1:]}
    inverted = (
        radiograph.file_format != "DICOM" and metal_is_bright(image, ends, mm_per_px=mm_per_px) is False
    )
    if inverted:
        image = np.ascontiguousarray(1.0 - image)
    found = None
    for _ in range(2):
        girth = measure_girth(image, line, mm_per_px=mm_per_px, tip_diameter_mm=file.d0_mm, taper=file.taper)
        found = scale_from_girth(girth, file, tip_sd_px=tip_sd_px)
        if abs(found.mm_per_px / mm_per_px - 1.0) < max(_FAR_OFF, 2 * found.relative_sd):
            break
        mm_per_px = float(np.clip(found.mm_per_px, 0.7 * mm_per_px, 1.4 * mm_per_px))
    assert found is not None
    return found


def compare_with(found: GirthScale, other: Scale) -> GirthComparison:
    """The scale from diameters beside that from the file's length.

    A file that leans toward or away from the detector by an angle looks shorter by its cosine, but no
    thinner; so a ratio below 1 hints at a lean. The size or the length may be misstated as well: a hint is
    given only beyond the uncertainty, and names both.

    Parameters
    ----------
    found : GirthScale
    other : Scale
        From the length of the same file.
    """
    width = other.col_mm_per_px
    ratio = found.mm_per_px / width
    sd = ratio * float(np.hypot(found.relative_sd, other.relative_sd))
    low, high = ratio - _COVERAGE * sd, ratio + _COVERAGE * sd
    seen_mm = found.tip_diameter_px * width
    by_length = f"by the other scale ({other.source}) its tip would be {seen_mm:.2f} mm wide"
    size = f"size {found.file.size:02d}"
    if high < 1.0:
        lean, most, least = (_lean_deg(value) for value in (ratio, low, high))
        text = (
            f"The file looks short for its thickness (ratio {ratio:.2f}, 95 % {low:.2f} to {high:.2f}): "
            f"it may lean toward or away from the detector by up to {most:.0f} degrees; or its length or "
            f"{size} is misstated ({by_length})."
        )
        return GirthComparison(ratio, sd, lean, (least, most), text)
    if low > 1.0:
        text = (
            f"The file looks long for its thickness (ratio {ratio:.2f}, 95 % {low:.2f} to {high:.2f}), "
            f"which no lean explains: check the stated length and {size} ({by_length})."
        )
    else:
        text = (
            f"Length and thickness of the file agree within their uncertainty (ratio {ratio:.2f}, 95 % "
            f"{low:.2f} to {high:.2f}); a lean of up to {_lean_deg(low):.0f} degrees would not be seen."
        )
    return GirthComparison(ratio, sd, None, None, text)


def _lean_deg(ratio: float) -> float:
    return float(np.degrees(np.arccos(np.clip(ratio, 0.0, 1.0))))
