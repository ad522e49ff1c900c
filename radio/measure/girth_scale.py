"""A second scale: diameters of the traced file against ISO 3630-1."""

from __future__ import annotations

from collections.abc import Sequence
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
SCALE_ALONG = "scale along the file, by its length"
"""Name of that input in the budget."""
_ROUND = (
    "No flutes were made out: the section was taken as round. Were it fluted, the scale would be too large, "
    "because flutes make a file look narrower than its nominal diameter."
)
_CORNERS = (
    "{}, as of a {} section: its silhouette is {} % narrower on average than the nominal diameter, which is "
    "that of the circle its corners lie on; this is allowed for."
)
_SEEN, _HIDDEN = "Flutes were made out", "Flutes are taken to be there, hidden by blur"
_NARROWER = {"square": ("square", 10), "triangle": ("triangular", 17)}
_TOLERANCE = (
    "The tolerance on the diameter is from memory of ISO 3630-1; another edition may have another. Much of "
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
    along : Scale or None
        By the stated length of the file, where it tells how far from the tip a diameter is.
    tip_sd_px : float or None
        Standard uncertainty of the tip's place along the file, where it is stated.
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
    along: Scale | None = None
    tip_sd_px: float | None = None

    @property
    def relative_sd(self) -> float:
        """Standard uncertainty as a fraction of the scale."""
        return self.sd_mm_per_px / self.mm_per_px

    @property
    def chance(self) -> float:
        """Probability that places scatter at least as much by chance."""
        return chi_square_above(self.chi_square, self.dof)

    def independent(self) -> GirthScale:
        """The scale from the same diameters that rests on no stated length: evidence for or against one."""
        return scale_from_girth(self.girth, self.file, tip_sd_px=self.tip_sd_px)


def scale_from_girth(
    girth: Girth, file: HandFile, *, tip_sd_px: float | None = None, along: Scale | None = None
) -> GirthScale:
    """Scale at which diameters along a file are those of its size.

    The nominal diameter at a distance x from the tip is D0 + taper x. Where the file's own length gives a
    scale along it, x is known in millimetres, however the file leans: the scale is the weighted mean of
    nominal diameters over that of the diameters in the image, and an error counts by the diameter there.
    Without it x has to be taken by the very scale that is looked for. Then the taper, a ratio of two lengths,
    says nothing of the scale, which is D0 over what the diameters imply at the tip in pixels; an error of a
    diameter counts D/D0 times, for size 15 twice; and a lean, which shortens x alone, makes it too small.
    Uncertainty by JCGM 100:2008; places that scatter more than they should widen it by the Birge ratio.

    Parameters
    ----------
    girth : Girth
    file : HandFile
        Size and taper.
    tip_sd_px : float, optional
        Standard uncertainty of the tip's place along the file; :data:`USUAL_TIP_SD_MM` where not stated.
    along : Scale, optional
        From the stated length of the same file.

    Raises
    ------
    PeriapicalError
        The diameters do not belong to a file of this taper.
    """
    kept = np.ones(len(girth.from_tip_px), dtype=bool)
    for _ in range(len(kept)):
        means = _means(girth, file, kept, along)
        if not means.tip_px > 0:
            raise PeriapicalError(
                f"Along the file the diameters are too small for a taper of {file.taper:g}: at the tip they "
                f"would be {means.tip_px:.1f} px. Check the taper, and that the traced line lies on the file."
            )
        inside = girth.from_tip_px * means.along_mm_per_px <= LEAST_WORKING_PART_MM
        if inside[kept].all() or inside.sum() < 3:
            break
        kept = inside
    tip_sd = USUAL_TIP_SD_MM / means.along_mm_per_px if tip_sd_px is None else tip_sd_px
    made = _budget(girth, file, means, tip_sd, along)
    reach = (girth.from_tip_px[kept][[0, -1]] * means.along_mm_per_px).round(1)
    known = "this scale itself" if along is None else "its stated length"
    basis = (
        f"size {file.size:02d}, taper {file.taper:g}: {means.count} diameters {reach[0]:g} to {reach[1]:g} "
        f"mm from the tip by {known} imply {means.tip_px:.1f} px at the tip; it holds across the file, at "
        "its depth"
    )
    notes = (_flutes(girth), _TOLERANCE)
    fit = (means.chi_square, means.count - 1, made, file, means.tip_px)
    return GirthScale(made.value, made.sd, *fit, girth, basis, notes, along, tip_sd_px)


@dataclass(frozen=True)
class _Means:
    """Weighted means over the places kept; `sd_px` is of the diameter."""

    diameter_px: float
    sd_px: float
    from_tip_px: float
    tip_px: float
    along_mm_per_px: float
    chi_square: float
    count: int


def _means(girth: Girth, file: HandFile, kept: npt.NDArray[np.bool_], along: Scale | None) -> _Means:
    diameter, place = girth.diameter_px[kept], girth.from_tip_px[kept]
    weight = 1.0 / girth.sd_px[kept] ** 2
    if along is None:
        by_place = file.taper * place
        expected = by_place + float((weight * (diameter - by_place)).sum() / weight.sum())
        tip_px = float(expected[0] - by_place[0])
        along_mm_per_px = file.d0_mm / tip_px
        shares = weight / weight.sum()
    else:
        # least squares through nothing: thick places tell more of the scale than thin ones
        along_mm_per_px = along.col_mm_per_px
        nominal = file.d0_mm + file.taper * place * along_mm_per_px
        shares = weight * nominal / (weight * nominal).sum()
        expected = nominal * float((shares * diameter).sum() / (shares * nominal).sum())
        tip_px = file.d0_mm * float(expected[0] / nominal[0])
    chi_square = float((weight * (diameter - expected) ** 2).sum())
    birge = np.sqrt(max(chi_square / max(len(place) - 1, 1), 1.0))
    return _Means(
        float((shares * diameter).sum()),
        float(birge * np.sqrt((shares**2 / weight).sum())),
        float((shares * place).sum()),
        tip_px,
        along_mm_per_px,
        chi_square,
        len(place),
    )


def _budget(girth: Girth, file: HandFile, means: _Means, tip_sd_px: float, along: Scale | None) -> Budget:
    half, place = file.diameter_tolerance_mm, means.from_tip_px
    inputs = (
        Input("nominal tip diameter", file.d0_mm, rectangular(half), how=_limits(half)),
        Input("diameter in the image", means.diameter_px, means.sd_px, how=f"mean of {means.count} places"),
        Input("blur, tone and section", 0.0, girth.common_sd_px, how="shared by all places"),
        Input("place of the tip", 0.0, tip_sd_px, how="counts by the taper"),
    )
    if along is None:
        return budget(lambda d0, px, common, tip: d0 / (px + common - file.taper * (place + tip)), inputs)
    width = along.col_mm_per_px
    known = Input(SCALE_ALONG, width, along.relative_sd * width, how="tells where along the file a place is")
    return budget(
        lambda d0, px, common, tip, by_length: (d0 + file.taper * by_length * (place + tip)) / (px + common),
        (*inputs, known),
    )


def _flutes(girth: Girth) -> str:
    if girth.section == "round":
        return _ROUND
    return _CORNERS.format(_HIDDEN if girth.twist_per_mm is None else _SEEN, *_NARROWER[girth.section])


def _limits(half_mm: float) -> str:
    return f"rectangular ± {half_mm:g} mm, tolerance of ISO 3630-1: from memory"


def girth_scale(
    radiograph: Radiograph,
    file_line: Line,
    file: HandFile,
    *,
    mm_per_px: float,
    tip_sd_px: float | None = None,
    along: Scale | None = None,
    others: Sequence[Line] = (),
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
    tip_sd_px, along : optional
        As of :func:`scale_from_girth`.
    others : sequence of Line
        Other files of the image, beside and over which nothing is measured.

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
        girth = measure_girth(
            image,
            line,
            mm_per_px=mm_per_px,
            along_mm_per_px=None if along is None else along.col_mm_per_px,
            tip_diameter_mm=file.d0_mm,
            taper=file.taper,
            others=[space.from_image(one.points_px) for one in others],
        )
        found = scale_from_girth(girth, file, tip_sd_px=tip_sd_px, along=along)
        if abs(found.mm_per_px / mm_per_px - 1.0) < max(_FAR_OFF, 2 * found.relative_sd):
            break
        mm_per_px = float(np.clip(found.mm_per_px, 0.7 * mm_per_px, 1.4 * mm_per_px))
    assert found is not None
    return found
