"""Several scales of one image set beside each other: whether they agree, and what they would be together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import fsum, hypot, inf, sqrt

from calib.distributions import chi_square_above
from calib.errors import CalibrationError
from calib.scale import Scale

DIFFERENT_BEYOND = 0.03
"""Two scales that differ by more than this call for a look: a lean of 15 degrees makes 3.4 % (own rule)."""
AGREE_LEVEL = 0.05
"""Chi-square less likely than this means that the scales do not agree within their uncertainties."""
_COVERAGE = 2.0
# Usual distances from source to object, mm: short and long cone. Common practice, no source.
_SOURCE_MM = (200.0, 400.0)
_SAME_ASPECT = 0.001


@dataclass(frozen=True)
class NamedScale:
    """A scale with the name of what it was made from, such as the canal its file lies in."""

    name: str
    scale: Scale


@dataclass(frozen=True)
class ScalePair:
    """Two scales of one image.

    Parameters
    ----------
    one, other : str
        Their names.
    ratio : float
        The first over the second.
    sd : float
        Standard uncertainty of the ratio.
    apart : bool
        They differ by more than 3 %.
    distinguishable : bool
        They differ by more than two standard uncertainties.
    """

    one: str
    other: str
    ratio: float
    sd: float
    apart: bool
    distinguishable: bool

    @property
    def z(self) -> float:
        """How many standard uncertainties the two differ by; infinity where neither states one."""
        off = abs(self.ratio - 1)
        return off / self.sd if self.sd > 0 else (inf if off > 0 else 0.0)

    @property
    def depth_mm(self) -> tuple[float, float]:
        """How far apart in depth two objects lie whose scales are both right and differ so, mm.

        A scale grows as the distance of its object from the source (similar triangles), here 200 and 400 mm.
        """
        nearer = min(self.ratio, 1 / self.ratio)
        return _SOURCE_MM[0] * (1 - nearer), _SOURCE_MM[1] * (1 - nearer)

    @property
    def words(self) -> str:
        """The two and their difference."""
        z = f" (z = {self.z:.1f})" if self.sd > 0 else ""
        return f"{self.one} and {self.other} differ by {abs(self.ratio - 1):.1%}{z}"


@dataclass(frozen=True)
class Proposal:
    """A weighted mean of scales that agree: a proposal for a person to take or leave.

    Parameters
    ----------
    mm_per_px, sd_mm_per_px : float
        Mean, weighted by the inverse of the variances, and its standard uncertainty, mm/px; widened by the
        Birge ratio where that exceeds 1.
    weights : tuple of (str, float)
        Name and weight of each scale; the weights add up to 1.
    basis : str
    """

    mm_per_px: float
    sd_mm_per_px: float
    weights: tuple[tuple[str, float], ...]
    basis: str


@dataclass(frozen=True)
class Several:
    """How several scales of one image agree.

    Parameters
    ----------
    pairs : tuple of ScalePair
        Every two.
    chi_square : float or None
        Of the scales that state an uncertainty about their weighted mean; None for fewer than two.
    dof : int
        One less than the number of these.
    p_value : float or None
        Probability of a greater chi-square where all uncertainties are right.
    birge_ratio : float or None
        Root of chi-square over `dof`; much above 1 where they disagree.
    agree : bool
        Chi-square is not too great and no two scales are more than 3 % apart.
    proposal : Proposal or None
        Only where they agree; never used by itself.
    left_out : tuple of str
        Scales that state no uncertainty: they stand in the pairs but have no weight.
    """

    pairs: tuple[ScalePair, ...]
    chi_square: float | None
    dof: int
    p_value: float | None
    birge_ratio: float | None
    agree: bool
    proposal: Proposal | None
    left_out: tuple[str, ...]

    @property
    def words(self) -> str:
        """What was found, in a few sentences."""
        apart = [pair for pair in self.pairs if pair.apart]
        told = [
            pair.words + ("" if pair.distinguishable else ", within their uncertainties") for pair in apart
        ]
        if told:
            why = "A length may be mistyped, or one may lean or lie deeper than the other."
            return f"{'; '.join(told)}. {why}"
        if not self.agree:
            most = max(self.pairs, key=lambda pair: pair.z if pair.sd > 0 else 0.0)
            near, far = most.depth_mm
            return (
                f"The scales differ by more than their uncertainties allow: {most.words}. Both are right "
                f"where the two objects lie {near:.1f} to {far:.1f} mm apart in depth (source at 200 to 400 "
                "mm); else look for what is wrong in one."
            )
        if self.chi_square is None:
            return (
                f"The scales lie within {DIFFERENT_BEYOND:.0%} of each other; too few of them state an "
                "uncertainty to say more."
            )
        return "The scales agree."


def compare_scales(scales: Sequence[NamedScale]) -> Several:
    """Set several scales of one image beside each other.

    Chi-square about the weighted mean (JCGM 100:2008 has no such test; the ratio is Birge's of 1932, from
    memory), and every ratio of two. Uncertainties are taken as independent; two file lengths set at the same
    ruler share its error, which this does not see. Scales hold in the planes of their objects, so that a
    difference may be one of depth or lean and both be right: a mean is only proposed, and only where they
    agree.

    Parameters
    ----------
    scales : sequence of NamedScale
        At least two, with names that differ, of the same image.

    Returns
    -------
    Several

    Raises
    ------
    CalibrationError
        Fewer than two scales, a name twice, or pixels of another shape, so not the same image.
    """
    _check(scales)
    pairs = tuple(_pair(one, other) for one, other in combinations(scales, 2))
    weighed = [one for one in scales if one.scale.sd_mm_per_px > 0]
    left_out = tuple(one.name for one in scales if one.scale.sd_mm_per_px == 0)
    near = not any(pair.apart for pair in pairs)
    if len(weighed) < 2:
        return Several(pairs, None, 0, None, None, near, None, left_out)
    weights = [one.scale.sd_mm_per_px**-2 for one in weighed]
    total = fsum(weights)
    mean = fsum(w * one.scale.mm_per_px for w, one in zip(weights, weighed, strict=True)) / total
    chi_square = fsum(w * (one.scale.mm_per_px - mean) ** 2 for w, one in zip(weights, weighed, strict=True))
    dof = len(weighed) - 1
    p_value, birge = chi_square_above(chi_square, dof), sqrt(chi_square / dof)
    agree = near and p_value >= AGREE_LEVEL
    shares = tuple((one.name, w / total) for one, w in zip(weighed, weights, strict=True))
    proposal = _proposal(mean, total, birge, shares) if agree else None
    return Several(pairs, chi_square, dof, p_value, birge, agree, proposal, left_out)


def _pair(one: NamedScale, other: NamedScale) -> ScalePair:
    ratio = one.scale.mm_per_px / other.scale.mm_per_px
    sd = ratio * hypot(one.scale.relative_sd, other.scale.relative_sd)
    # the limit holds whichever of the two is named first
    apart = max(ratio, 1 / ratio) > 1 + DIFFERENT_BEYOND
    return ScalePair(one.name, other.name, ratio, sd, apart, abs(ratio - 1) > _COVERAGE * sd)


def _proposal(mean: float, total: float, birge: float, weights: tuple[tuple[str, float], ...]) -> Proposal:
    widened = f", widened by the Birge ratio {birge:.2f}" if birge > 1 else ""
    shares = ", ".join(f"{name} {weight:.0%}" for name, weight in weights)
    return Proposal(
        mean,
        sqrt(1 / total) * max(birge, 1.0),
        weights,
        f"mean weighted by the inverse of the variances ({shares}){widened}; errors taken as independent; a "
        "proposal, not in use",
    )


def _check(scales: Sequence[NamedScale]) -> None:
    names = [one.name for one in scales]
    if len(scales) < 2 or len(set(names)) < len(names):
        raise CalibrationError(
            "To compare scales takes at least two with names that differ; given are "
            f"{', '.join(map(repr, names)) or 'none'}."
        )
    aspects = [one.scale.row_mm_per_px / one.scale.col_mm_per_px for one in scales]
    if max(aspects) > min(aspects) * (1 + _SAME_ASPECT):
        raise CalibrationError(
            "The scales have pixels of different shape, row over column "
            f"{min(aspects):.4g} to {max(aspects):.4g}; only scales of one image can be compared."
        )
