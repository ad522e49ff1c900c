"""The machine-readable form of the scales of an image.

A JSON object with ``schema`` ``"napari-periapical scales"`` and ``schema_version`` 1; the classes below are
its schema.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, FiniteFloat

from calib.budget import Budget
from calib.meant_length import MeantLength, OtherLength
from calib.scale import Scale
from calib.several import Proposal, ScalePair, Several
from radio.measure.case import CaseFacts
from radio.measure.check_rules.contract import Check
from radio.measure.girth_lean import GirthComparison
from radio.measure.receptor_pitch import Pitch
from radio.measure.scale_bounds import BoundedLength
from radio.measure.scale_checks import (
    CanalScale,
    CrossCheck,
    Judged,
    ScaleReport,
    magnification_of,
)
from radio.measure.scale_witness import Magnification
from radio.measure.scales import ImageScale
from radio.record.document import Document, SkippedCanal, image_fields
from radio.record.scale_words import unit_of_input
from radio.record.tables import Skip
from radio.record.traced import Record

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph


class BudgetLine(Record):
    """One input; the sensitivity is in mm/px for one `unit` of it, the contribution in mm/px.

    `dof` is null where the uncertainty is taken as known.
    """

    input: str
    value: FiniteFloat | None
    sd: FiniteFloat | None
    unit: str
    sensitivity: FiniteFloat | None
    contribution_mm_per_px: FiniteFloat
    share: FiniteFloat
    dof: FiniteFloat | None
    how: str


class OneScale(Record):
    """One scale; `assumed` where it rests on an assumed magnification, `sd` is null where none is stated."""

    name: str
    source: str
    canal: str | None
    mm_per_px: FiniteFloat
    row_mm_per_px: FiniteFloat
    col_mm_per_px: FiniteFloat
    sd_mm_per_px: FiniteFloat | None
    assumed: bool
    same_as: str
    magnification: Magnification | None
    basis: str
    notes: tuple[str, ...]
    budget: tuple[BudgetLine, ...]

    @classmethod
    def from_scale(cls, one: ImageScale, pitch: Pitch | None) -> OneScale:
        """Take over a scale."""
        scale: Scale = one.scale
        return cls(
            name=one.name,
            source=scale.source,
            canal=one.canal,
            mm_per_px=scale.mm_per_px,
            row_mm_per_px=scale.row_mm_per_px,
            col_mm_per_px=scale.col_mm_per_px,
            sd_mm_per_px=scale.sd_mm_per_px or None,
            assumed=one.assumed,
            same_as=one.twin_of,
            magnification=magnification_of(scale, pitch, assumed=one.assumed),
            basis=scale.basis,
            notes=scale.notes,
            budget=() if scale.budget is None else _budget_lines(scale.budget),
        )


def _budget_lines(made: Budget) -> tuple[BudgetLine, ...]:
    return tuple(
        BudgetLine(
            input=row.name,
            value=row.value,
            sd=row.sd,
            unit="" if row.value is None else unit_of_input(row.name),
            sensitivity=row.sensitivity,
            contribution_mm_per_px=row.contribution,
            share=row.share,
            dof=row.dof if isfinite(row.dof) else None,
            how=row.how,
        )
        for row in made.rows
    )


class LengthMeant(Record):
    """A stated file length against one piece of evidence; `others` are the slips that fit, `could_be` all."""

    evidence: str
    stated_mm: FiniteFloat
    verdict: Literal["consistent", "suspicious"]
    ratio: FiniteFloat
    p_value: FiniteFloat
    fits_mm: tuple[FiniteFloat, FiniteFloat]
    others: tuple[OtherLength, ...]
    could_be: tuple[OtherLength, ...]
    words: str
    basis: str

    @classmethod
    def from_judged(cls, one: Judged) -> LengthMeant:
        """Take over a judgement."""
        judged: MeantLength = one.judged
        return cls(
            evidence=one.evidence,
            stated_mm=judged.stated_mm,
            verdict=judged.verdict,
            ratio=judged.ratio,
            p_value=judged.p_value,
            fits_mm=judged.fits_mm,
            others=judged.others,
            could_be=judged.could_be,
            words=judged.words,
            basis=judged.basis,
        )


class Lean(Record):
    """Scale by the diameters of a file over that by its length, and the lean that would explain it."""

    ratio: FiniteFloat
    sd: FiniteFloat
    interval95: tuple[FiniteFloat, FiniteFloat]
    lean_deg: FiniteFloat | None
    lean_interval95_deg: tuple[FiniteFloat, FiniteFloat] | None
    words: str

    @classmethod
    def from_comparison(cls, one: GirthComparison) -> Lean:
        """Take over a comparison."""
        return cls(
            ratio=one.ratio,
            sd=one.sd,
            interval95=one.interval95,
            lean_deg=one.lean_deg,
            lean_interval95_deg=one.lean_interval_deg,
            words=one.text,
        )


class Agreement(Record):
    """How scales agree that assume no magnification and could show 3 %; the proposal is used nowhere."""

    pairs: tuple[ScalePair, ...]
    chi_square: FiniteFloat | None
    dof: int
    p_value: FiniteFloat | None
    birge_ratio: FiniteFloat | None
    agree: bool
    proposal: Proposal | None
    left_out: tuple[str, ...]

    @classmethod
    def from_several(cls, one: Several) -> Agreement:
        """Take over a comparison."""
        return cls(**{name: getattr(one, name) for name in cls.model_fields})


class ScaleOfCanal(Record):
    """Which scale counts for one canal, and its cross-checks."""

    canal: str
    facts: CaseFacts
    counts: str | None
    why_none: str
    magnification: Magnification | None
    file_length_meant: tuple[LengthMeant, ...]
    diameters_against_length: Lean | None
    bounds: tuple[BoundedLength, ...]
    cross_checks: tuple[CrossCheck, ...]
    checks: tuple[Check, ...]

    @classmethod
    def from_canal(cls, one: CanalScale) -> ScaleOfCanal:
        """Take over a canal."""
        return cls(
            canal=one.result.facts.canal,
            facts=one.result.facts,
            counts=None if one.counts is None else one.counts.name,
            why_none=one.why_none,
            magnification=one.magnification,
            file_length_meant=tuple(LengthMeant.from_judged(judged) for judged in one.meant),
            diameters_against_length=None if one.lean is None else Lean.from_comparison(one.lean),
            bounds=one.bounds,
            cross_checks=one.checks,
            checks=one.result.checks,
        )


class NoScale(Record):
    """What gave no scale, and why."""

    name: str
    reason: str


class ScalesDocument(Document):
    """All scales of one image."""

    schema_name: Annotated[Literal["napari-periapical scales"], Field(alias="schema")]
    image: str
    image_sha256: str
    detector_pitch: Pitch | None
    scales: tuple[OneScale, ...]
    no_scale_from: tuple[NoScale, ...]
    agreement: Agreement | None
    cross_checks: tuple[CrossCheck, ...]
    canals: tuple[ScaleOfCanal, ...]
    skipped: tuple[SkippedCanal, ...]


def scales_json(radiograph: Radiograph, report: ScaleReport, skipped: Sequence[Skip]) -> str:
    """Write the scales of an image as JSON text, a :class:`ScalesDocument`.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    report : ScaleReport
    skipped : sequence of Skip
        Canals that were not measured.
    """
    found = report.found
    return ScalesDocument.text(
        **image_fields(radiograph),
        detector_pitch=found.pitch,
        scales=tuple(OneScale.from_scale(one, found.pitch) for one in found.scales),
        no_scale_from=tuple(NoScale(name=what, reason=why) for what, why in found.absent),
        agreement=None if report.compared is None else Agreement.from_several(report.compared),
        cross_checks=report.checks,
        canals=tuple(ScaleOfCanal.from_canal(one) for one in report.canals),
        skipped=SkippedCanal.from_skips(skipped),
    )
