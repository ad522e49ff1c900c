"""Diameters of a traced file along its shaft, in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.errors import TraceError
from radio.trace.curve import arc_length
from radio.trace.girth_fit import Fitted, RowsFit
from radio.trace.girth_rows import Rows, recentred, rows_across
from radio.trace.girth_shadow import SECTIONS, Section
from radio.trace.girth_twist import is_a_twist, may_be_hidden
from radio.trace.line import Line

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# The tip is a cone, and where it ends is known to some tenths of a millimetre; stop and handle shine in a
# little way beyond their face.
TIP_LEFT_OUT_MM, START_LEFT_OUT_MM = 0.8, 0.5
_PLACE_MM = 1.0
_FEWEST_PLACES = 3
# The traced line may lie so far beside the file's middle, and wander about it over such a distance.
_FARTHEST_ASIDE_MM, _ASIDE_SMOOTH_MM = 0.1, 0.6
# A place counts where at least this share of its samples could be used.
_LEAST_USED = 0.35
# What the model of blur and tone misses, in standard deviations of the blur: files in synthetic images, whose
# tone the model does not hold exactly, are read so much too thick or too thin.
_MODEL_SD_BLURS = 0.25
# Sections are weighed by their misfits; misfits count this much less than of independent errors.
_DOUBT = 2.0
# Working parts are fluted (common practice, no source): corners count for so much beforehand.
_FLUTED = 10.0


@dataclass(frozen=True, eq=False)
class Girth:
    """Diameters along a file: of the circle its corners lie on, as nominal diameters are meant.

    Parameters
    ----------
    from_tip_px : ndarray, shape (P,)
        Distance of each place from the tip along the file, rising.
    diameter_px, sd_px : ndarray, shape (P,)
        Diameter there, and its own standard uncertainty.
    common_sd_px : float
        Standard uncertainty that all diameters share: blur, tone and section.
    section : {"round", "square", "triangle"}
        Section that fits best.
    section_share : float
        How much speaks for it, 0..1.
    twist_per_mm : float or None
        Corners that pass in a millimetre by the approximate scale; None where no flutes are seen.
    blur_px : float
        Standard deviation of the image's blur.
    used : float
        Share of the samples along the file that could be used.
    """

    from_tip_px: FloatArray
    diameter_px: FloatArray
    sd_px: FloatArray
    common_sd_px: float
    section: Section
    section_share: float
    twist_per_mm: float | None
    blur_px: float
    used: float


def measure_girth(
    image: Image,
    line: Line,
    *,
    mm_per_px: float,
    along_mm_per_px: float | None = None,
    tip_diameter_mm: float,
    taper: float,
    working_part_mm: float = 16.0,
    others: Sequence[FloatArray] = (),
) -> Girth:
    """Diameters of a traced file along its working part.

    All rows across the file are explained together by a body of that taper whose section is round, square or
    triangular (twisted where it has corners), met by parallel rays of many energies, blurred, and brought to
    grey by a tone curve; diameter, blur, tone and twist are found by robust least squares. Taper tells blur
    from width: a thin part loses more of its height to the same blur. Then every millimetre has a diameter
    of its own, with blur, tone and twist kept. Parts that are as bright as the image shows, that the trace
    bridged, or that other metal overlaps are left out.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    line : Line
        The file from its start (stop or handle) to its tip, pixels of `image`.
    mm_per_px : float
        Approximate scale, for search widths and for where the working part ends.
    along_mm_per_px : float, optional
        Scale along the file by its length: larger than that across it where the file leans. `mm_per_px` where
        not stated.
    tip_diameter_mm : float
        Nominal diameter at the tip, to begin with.
    taper : float
        Growth of the diameter, mm per mm.
    working_part_mm : float
        Length of the tapered part; what lies beyond is not looked at.
    others : sequence of ndarray, shape (N, 2)
        Lines of other files, pixels; where one comes near, the file is left out.

    Raises
    ------
    TraceError
        The file is too short, or too little of it can be used.
    """
    # a file that leans looks shorter, not thinner: per pixel along it, it grows faster
    squeezed = (along_mm_per_px or mm_per_px) / mm_per_px
    slope = taper * squeezed
    length_mm = arc_length(line.points_px) * mm_per_px
    far_mm = min(working_part_mm / squeezed, length_mm) - START_LEFT_OUT_MM
    rows = rows_across(
        image,
        line,
        mm_per_px=mm_per_px,
        from_tip_mm=(TIP_LEFT_OUT_MM, far_mm),
        widest_mm=tip_diameter_mm + taper * working_part_mm,
        others=others,
    )
    start_px = tip_diameter_mm / mm_per_px + slope * rows.middle_px
    begun = RowsFit(rows, "round", mm_per_px=mm_per_px, start_px=start_px, taper=slope).run()
    rows = recentred(rows, _aside(begun, rows, mm_per_px))
    fits = [
        RowsFit(rows, section, mm_per_px=mm_per_px, start_px=start_px, taper=slope) for section in SECTIONS
    ]
    fitted = [fit.run() for fit in fits]
    shares = _shares(fits, fitted)
    best = int(np.argmax(shares))
    middles = np.array([float(one.diameters_px.mean()) for one in fitted])
    between_px = float(np.sqrt(shares @ (middles - middles[best]) ** 2))
    girth = _places(rows, fitted[best], mm_per_px)
    model_px = _MODEL_SD_BLURS * fitted[best].optics.blur_px
    return replace(
        girth,
        common_sd_px=float(np.sqrt(fitted[best].sd_px ** 2 + between_px**2 + model_px**2)),
        section_share=float(shares[best]),
    )


def _shares(fits: list[RowsFit], fitted: list[Fitted]) -> FloatArray:
    """How much speaks for each section, sum 1: misfits on the same samples.

    Corners need a twist that is seen, or a blur that hides it: then the misfits say next to nothing, and
    that working parts are fluted decides. What turns too slowly or fast to be a twist is the model's misfit.
    """
    weights = np.minimum.reduce([one.weights for one in fitted])
    noise = min(one.noise for one in fitted)
    costs = np.array([fit.cost(weights, noise) for fit in fits])
    twists = [one.twist for one in fitted]
    known = np.array([one is None or is_a_twist(one) or may_be_hidden(one) for one in twists])
    before = np.array([1.0 if one is None else _FLUTED for one in twists])
    evidence = np.where(known, before * np.exp(-(costs - costs[known].min()) / _DOUBT), 0.0)
    return np.asarray(evidence / evidence.sum())


def _aside(fit: Fitted, rows: Rows, mm_per_px: float) -> FloatArray:
    """How far the file lies beside its traced line in every row, pixels; flutes are smoothed over."""
    from scipy.ndimage import gaussian_filter1d

    bounded = 1.0 / np.sqrt(1.0 + fit.residuals**2)
    pull = (bounded * fit.residuals * fit.sideways).sum(axis=1)
    force = (bounded * fit.sideways**2).sum(axis=1)
    over = _ASIDE_SMOOTH_MM / rows.step_mm
    aside = gaussian_filter1d(pull, over) / np.maximum(gaussian_filter1d(force, over), 1e-9)
    return np.asarray(np.clip(aside, -_FARTHEST_ASIDE_MM / mm_per_px, _FARTHEST_ASIDE_MM / mm_per_px))


def _places(rows: Rows, fit: Fitted, mm_per_px: float) -> Girth:
    """Diameter of every millimetre, with blur, tone and twist kept."""
    bounded = 1.0 / np.sqrt(1.0 + fit.residuals**2)
    pull = (bounded * fit.residuals * fit.slopes).sum(axis=1)
    force = (bounded * fit.slopes**2).sum(axis=1)
    shared = _samples_an_error(fit)
    number = np.floor((rows.from_tip_px - rows.from_tip_px.min()) * mm_per_px / _PLACE_MM).astype(int)
    inside = np.abs(rows.offsets_px)[None] <= fit.diameters_px[:, None] / 2
    used = (fit.weights * inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
    found = []
    for one in np.unique(number):
        here = number == one
        if used[here].mean() < _LEAST_USED or here.sum() * rows.step_mm < 0.5 * _PLACE_MM:
            continue
        off_px = pull[here].sum() / max(force[here].sum(), 1e-12)
        sd_px = float(np.sqrt(shared / max(force[here].sum(), 1e-12)))
        found.append((rows.from_tip_px[here].mean(), fit.diameters_px[here].mean() + off_px, sd_px))
    if len(found) < _FEWEST_PLACES:
        raise TraceError(
            f"Only {len(found)} mm of the file can be used for its diameter, at least {_FEWEST_PLACES} are "
            "needed: the rest is overlapped by other metal, bridged by the trace, or as bright as the image "
            "can show."
        )
    from_tip, diameter, sd = np.array(found).T
    return Girth(
        from_tip_px=from_tip,
        diameter_px=diameter,
        sd_px=sd,
        common_sd_px=fit.sd_px,
        section=fit.section,
        section_share=1.0,
        twist_per_mm=abs(fit.twist.per_mm) if fit.twist is not None and is_a_twist(fit.twist) else None,
        blur_px=fit.optics.blur_px,
        used=float(used.mean()),
    )


def _samples_an_error(fit: Fitted) -> float:
    """How many samples share one error, from how alike neighbours' misfits are along and across."""
    left, seen = np.clip(fit.residuals, -4, 4), fit.weights > 0
    out = 1.0
    for ahead, behind in ((np.s_[1:], np.s_[:-1]), (np.s_[:, 1:], np.s_[:, :-1])):
        both = seen[ahead] & seen[behind]
        a, b = left[ahead][both], left[behind][both]
        alike = float((a * b).sum() / max(np.sqrt((a**2).sum() * (b**2).sum()), 1e-12))
        alike = float(np.clip(alike, 0.0, 0.9))
        out *= (1 + alike) / (1 - alike)
    return out
