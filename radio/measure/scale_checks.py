"""Cross-checks of the scales of an image: magnification, length meant, agreement, and what tilt can do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from calib.evidence import Evidence, PitchEvidence
from calib.meant_length import MeantLength
from calib.projection import INTRA_ORAL_MAGNIFICATION
from calib.scale import Scale
from calib.several import DIFFERENT_BEYOND, NamedScale, Several, compare_scales
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult
from radio.measure.file_scale import scale_of_girth
from radio.measure.girth_lean import GirthComparison, compare_with
from radio.measure.receptor_pitch import Pitch
from radio.measure.scale_blame import blame_text, lengths_by_pitch, likely_mistake
from radio.measure.scale_bounds import DEFAULT_LIMITS, BoundedLength, PoseLimits, bounded_lengths
from radio.measure.scale_witness import (
    GREATEST_MAGNIFICATION,
    LEAST_MAGNIFICATION,
    Magnification,
    implied_magnification,
    length_judged,
    witness_of,
)
from radio.measure.scales import ImageScale, ScalesOfImage, StatedScales, scales_of_image

Kind = Literal["magnification", "file length", "lean", "agreement", "projection", "pixels"]
# Diameters of one file are told of loudly only where its length is this far from them.
_FAR_SDS = 3.0


@dataclass(frozen=True)
class CrossCheck:
    """One finding: `level` is ``"warn"`` where it needs a look, `standing` tells what it rests on."""

    kind: Kind
    level: Literal["warn", "note"]
    text: str
    standing: str


@dataclass(frozen=True)
class Judged:
    """The stated file length judged by one piece of evidence, named in words."""

    evidence: str
    judged: MeantLength


@dataclass(frozen=True, eq=False)
class CanalScale:
    """What the scales of an image mean for one canal.

    Parameters
    ----------
    result : CaseResult
        What was measured.
    counts : ImageScale or None
        The scale its lengths were measured with.
    why_none : str
        Why there is none.
    magnification : Magnification or None
        That scale implies; None where it is itself made from the pitch, or no pitch is known.
    meant : tuple of Judged
        The stated file length against everything else that is known.
    lean : GirthComparison or None
        Scale by the diameters of the file beside that by its length.
    bounds : tuple of BoundedLength
        What tilt and depth could do to the lengths.
    checks : tuple of CrossCheck
        All of this in words.
    """

    result: CaseResult
    counts: ImageScale | None
    why_none: str
    magnification: Magnification | None
    meant: tuple[Judged, ...]
    lean: GirthComparison | None
    bounds: tuple[BoundedLength, ...]
    checks: tuple[CrossCheck, ...]


@dataclass(frozen=True, eq=False)
class ScaleReport:
    """The scales of an image with their cross-checks.

    Parameters
    ----------
    found : ScalesOfImage
    canals : tuple of CanalScale
    compared : Several or None
        Scales beside each other, but those that rest on an assumed magnification or are uncertain by more
        than 3 %; None for fewer than two.
    checks : tuple of CrossCheck
        Of the image as a whole.
    """

    found: ScalesOfImage
    canals: tuple[CanalScale, ...]
    compared: Several | None
    checks: tuple[CrossCheck, ...]


def scale_report(
    radiograph: Radiograph,
    results: Sequence[CaseResult],
    stated: StatedScales,
    limits: PoseLimits = DEFAULT_LIMITS,
    *,
    diameters: bool = True,
) -> ScaleReport:
    """Gather the scales of an image and check them against each other.

    Nothing is corrected: what is found stands beside the lengths.

    Parameters
    ----------
    radiograph : Radiograph
    results : sequence of CaseResult
        Its canals as measured.
    stated : StatedScales
    limits : PoseLimits
        How far file and canal may lean and lie apart.
    diameters : bool
        Whether to measure the diameters of files, which takes up to half a minute each.

    Raises
    ------
    CalibrationError, PeriapicalError
        What is stated of pixels is wrong, or the limits are.
    """
    found = scales_of_image(radiograph, results, stated, diameters=diameters)
    compared = _compared(found)
    checks = [CrossCheck("pixels", "warn", one, "arithmetic") for one in found.remarks]
    by_pitch = lengths_by_pitch(results, found)
    if compared is not None:
        checks.append(_agreement(compared, by_pitch))
    canals = tuple(_canal(one, found, limits, by_pitch) for one in results)
    return ScaleReport(found, canals, compared, tuple(checks))


def magnification_of(scale: Scale, pitch: Pitch | None, *, assumed: bool) -> Magnification | None:
    """Magnification a scale implies, where a pitch is known that it does not rest on.

    Parameters
    ----------
    scale : Scale
    pitch : Pitch or None
    assumed : bool
        The scale is the pitch over an assumed magnification, so that nothing follows from it.
    """
    return None if pitch is None or assumed else implied_magnification(scale, pitch.mm)


def _canal(
    result: CaseResult, found: ScalesOfImage, limits: PoseLimits, by_pitch: Mapping[str, MeantLength]
) -> CanalScale:
    name = found.counted[result.facts.canal]
    counts = None if name is None else found.named(name)
    why = "" if counts is not None else _why_none(result)
    implied = None
    if counts is not None:
        implied = magnification_of(counts.scale, found.pitch, assumed=counts.assumed)
    meant = tuple(_meant(result, found))
    lean, bounds = _lean(result, found), bounded_lengths(result, limits)
    checks = [] if implied is None or found.pitch is None else [_of_magnification(implied, found.pitch)]
    own = found.of_file(result.facts.canal)
    checks += [_of_length(one, "" if own is None else own.name, by_pitch) for one in meant]
    checks += [] if lean is None else [_of_lean(lean)]
    checks += [CrossCheck("projection", "note", one.words, one.standing) for one in bounds]
    return CanalScale(result, counts, why, implied, meant, lean, bounds, tuple(checks))


def _why_none(result: CaseResult) -> str:
    withheld = result.absent.get("scale_mm_per_px")
    if withheld:
        return withheld
    if result.facts.scale_from == "none":
        return "scale_from is none"
    wanted = f" from {result.facts.scale_from}" if result.facts.scale_from else ""
    return f"there is no scale{wanted}; see the checks"


def _of_magnification(implied: Magnification, pitch: Pitch) -> CrossCheck:
    outside = not LEAST_MAGNIFICATION <= implied.value <= GREATEST_MAGNIFICATION
    middle, half = INTRA_ORAL_MAGNIFICATION
    spread = f" ± {implied.sd:.3f}" if implied.sd else ""
    text = (
        f"The scale implies a magnification of {implied.value:.3f}{spread}: detector pitch "
        f"{pitch.mm:.4g} mm {pitch.where} over scale. By geometry {middle - half:.3g} to {middle + half:.3g}"
        " is usual; a lean of the known length lowers it."
    )
    if outside:
        text += (
            f" Outside {LEAST_MAGNIFICATION:g} to {GREATEST_MAGNIFICATION:g}: check the known length, the "
            "pitch, and whether the image was resized."
        )
    standing = "usual range derived from geometry; the outer limits are this program's own"
    return CrossCheck("magnification", "warn" if outside else "note", text, standing)


def _meant(result: CaseResult, found: ScalesOfImage) -> Iterator[Judged]:
    """Judge the stated file length by the pitch and by every other scale."""
    own = found.of_file(result.facts.canal)
    if own is None:
        return
    evidence: list[tuple[str, Evidence]] = []
    if found.pitch is not None:
        evidence.append((f"detector pitch {found.pitch.where}", PitchEvidence(found.pitch.mm)))
    for one in found.scales:
        if one is own or one.twin_of or (one.assumed and found.pitch is not None):
            continue
        if one.scale.source != "diameter":
            evidence.append((one.name, witness_of(one.scale)))
        elif one.canal == own.canal:
            # the one told of may rest on the very length that is to be judged
            alone = found.girths[result.facts.canal].independent()
            aspect = one.scale.row_mm_per_px / one.scale.col_mm_per_px
            evidence.append((one.name, witness_of(scale_of_girth(alone, aspect))))
    for name, witness in evidence:
        yield Judged(name, length_judged(result.facts, own.scale, witness))


def _lean(result: CaseResult, found: ScalesOfImage) -> GirthComparison | None:
    """Set the scale by the diameters of a file beside that by its length."""
    girth, own = found.girths.get(result.facts.canal), found.of_file(result.facts.canal)
    return None if girth is None or own is None else compare_with(girth, own.scale)


def _of_lean(lean: GirthComparison) -> CrossCheck:
    far = abs(lean.ratio - 1) > _FAR_SDS * lean.sd
    standing = (
        "that a lean shortens by its cosine and thins nothing is derived; the tolerance on diameters is from "
        f"memory of ISO 3630-1; a warning beyond {_FAR_SDS:g} u, a hint below: this program's own"
    )
    return CrossCheck("lean", "warn" if far else "note", lean.text, standing)


def _of_length(one: Judged, own: str, by_pitch: Mapping[str, MeantLength]) -> CrossCheck:
    """Tell of a stated length by one piece of evidence; no warning where the pitch blames that evidence."""
    judged = one.judged
    text = f"File length by {one.evidence}: {judged.words}"
    if judged.suspicious and likely_mistake(own, one.evidence, by_pitch) == one.evidence:
        return CrossCheck(
            "file length", "note", f"{text} {blame_text(one.evidence, own, by_pitch)}", judged.basis
        )
    slips = [slip for slip in judged.could_be if slip.noticed < 0.95]
    if not judged.suspicious and slips:
        named = ", ".join(f"{slip.length_mm:g} mm ({slip.noticed:.0%})" for slip in slips)
        text += f" Slips that would not always be noticed, and how often they would: {named}."
    return CrossCheck("file length", "warn" if judged.suspicious else "note", text, judged.basis)


def _compared(found: ScalesOfImage) -> Several | None:
    """Set scales beside each other that rest on no assumed magnification and could show 3 %.

    Diameters told apart along a file by its stated length are no witness of their own: its lean judges them.
    """
    resting = {canal for canal, girth in found.girths.items() if girth.along is not None}
    witnesses = [
        NamedScale(one.name, one.scale)
        for one in found.scales
        if not (one.assumed or one.twin_of or (one.scale.source == "diameter" and one.canal in resting))
        and one.scale.relative_sd <= DIFFERENT_BEYOND
    ]
    return compare_scales(witnesses) if len(witnesses) > 1 else None


def _agreement(compared: Several, by_pitch: Mapping[str, MeantLength]) -> CrossCheck:
    told = [compared.words]
    for pair in compared.pairs:
        mistaken = likely_mistake(pair.one, pair.other, by_pitch) if pair.apart else ""
        if mistaken:
            told.append(blame_text(mistaken, pair.other if mistaken == pair.one else pair.one, by_pitch))
    if compared.chi_square is not None and compared.p_value is not None:
        told.append(
            f"Chi-square {compared.chi_square:.2f} with {compared.dof} degrees of freedom, p = "
            f"{compared.p_value:.2g}."
        )
    if compared.left_out:
        told.append(f"Without a stated uncertainty and so without weight: {', '.join(compared.left_out)}.")
    if compared.proposal is not None:
        mean = compared.proposal
        told.append(
            f"Together they would give {mean.mm_per_px:.5f} ± {mean.sd_mm_per_px:.5f} mm/px ({mean.basis})."
        )
    grave = not compared.agree and any(pair.distinguishable for pair in compared.pairs)
    standing = "the cut-off of 3 % is this program's own; chi-square and Birge ratio from memory"
    return CrossCheck("agreement", "warn" if grave else "note", " ".join(told), standing)
