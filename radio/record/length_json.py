"""The machine-readable form of lengths and plans.

A JSON object with ``schema`` ``"napari-periapical lengths"`` or ``"napari-periapical plan"`` and
``schema_version`` 1; the classes below are its schema.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, FiniteFloat

from calib.budget import Budget
from radio.measure.case import CaseFacts, Remark
from radio.measure.case_lengths import CaseLengths
from radio.measure.length_rules import CONVENTION
from radio.measure.plan import STAGE_OF_LENGTH, Plan, Reason
from radio.measure.result import Measurement
from radio.record.document import Document, SkippedCanal, image_fields
from radio.record.measured import Number
from radio.record.tables import Skip
from radio.record.traced import Record

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph


class Ruled(Record):
    """The length by one rule."""

    rule: str
    subtract_mm: FiniteFloat
    title: str
    source: str
    standing: str
    chosen: bool
    target_length_mm: Number


class BudgetLine(Record):
    """One line of an uncertainty budget; a pair of correlated inputs has no value of its own."""

    input: str
    value: FiniteFloat | None
    sd: FiniteFloat | None
    contribution_mm: FiniteFloat
    share: FiniteFloat
    how: str


class Advice(Record):
    """What is taught for the gap, and the caution about exposures."""

    verdict: str
    told: tuple[str, ...]


class CanalLengths(Record):
    """The lengths of one canal; null what could not be measured."""

    canal: str
    facts: CaseFacts
    gap_mm: Number | None
    working_length_mm: Number | None
    reference_length_mm: Number | None
    estimated_length_mm: Number | None
    proportion_length_mm: Number | None
    proportion_budget: tuple[BudgetLine, ...]
    working_length_budget: tuple[BudgetLine, ...]
    by_rule: tuple[Ruled, ...]
    convention: str
    advice: Advice | None
    not_measured: Mapping[str, str]
    remarks: tuple[Remark, ...]

    @classmethod
    def from_lengths(cls, lengths: CaseLengths) -> CanalLengths:
        """Take over the lengths of a canal."""
        there, advice = lengths.result.measurements, lengths.advice
        no_target = {"target_length_mm": lengths.no_target} if lengths.no_target else {}
        ruled = (
            Ruled(
                rule=one.rule.name,
                subtract_mm=one.rule.subtract_mm,
                title=one.rule.title,
                source=one.rule.source,
                standing=one.rule.standing,
                chosen=one.chosen,
                target_length_mm=Number.from_measurement(one.target),
            )
            for one in lengths.ruled
        )
        return cls(
            canal=lengths.result.facts.canal,
            facts=lengths.result.facts,
            gap_mm=_number(there.get("gap_mm")),
            working_length_mm=_number(there.get("working_length_mm")),
            reference_length_mm=_number(lengths.from_reference),
            estimated_length_mm=_number(there.get("estimated_length_mm")),
            proportion_length_mm=_number(lengths.proportion),
            proportion_budget=_budget_lines(lengths.budget),
            working_length_budget=_budget_lines(lengths.length_budget),
            by_rule=tuple(ruled),
            convention=CONVENTION,
            advice=None if advice is None else Advice(verdict=advice.verdict, told=advice.lines),
            not_measured={**lengths.result.absent, **no_target},
            remarks=lengths.result.told,
        )


def _number(one: Measurement | None) -> Number | None:
    return None if one is None or not math.isfinite(one.value) else Number.from_measurement(one)


def _budget_lines(made: Budget | None) -> tuple[BudgetLine, ...]:
    rows = () if made is None else made.rows
    return tuple(
        BudgetLine(
            input=row.name,
            value=row.value,
            sd=row.sd,
            contribution_mm=row.contribution,
            share=row.share,
            how=row.how,
        )
        for row in rows
    )


class LengthsOfImage(Document):
    """The lengths of all canals of one image."""

    schema_name: Annotated[Literal["napari-periapical lengths"], Field(alias="schema")]
    image: str
    image_sha256: str
    canals: tuple[CanalLengths, ...]
    skipped: tuple[SkippedCanal, ...]


class PlannedCanal(Record):
    """An order for one canal; `stage_of_length` tells where a course records the first length of each."""

    canal: str
    first_file_size: int
    taper: FiniteFloat
    reaches_freely: bool
    tooth: str
    curvature: Number | None
    s_shaped: bool
    order: str
    condition: str
    reasons: tuple[Reason, ...]
    counter: tuple[Reason, ...]
    notes: tuple[Reason, ...]
    steps: dict[str, tuple[str, ...]]
    stage_of_length: dict[str, str]


class Plans(Document):
    """The orders of one image or of what was stated."""

    schema_name: Annotated[Literal["napari-periapical plan"], Field(alias="schema")]
    image: str
    canals: tuple[PlannedCanal, ...]


def lengths_json(radiograph: Radiograph, lengths: Sequence[CaseLengths], skipped: Sequence[Skip]) -> str:
    """Write the lengths of an image as JSON text, a :class:`LengthsOfImage`.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    lengths : sequence of CaseLengths
        Of its canals.
    skipped : sequence of Skip
        Canals that were not measured.
    """
    return LengthsOfImage.text(
        **image_fields(radiograph),
        canals=tuple(CanalLengths.from_lengths(one) for one in lengths),
        skipped=SkippedCanal.from_skips(skipped),
    )


def planned_canal(
    made: Plan,
    *,
    canal: str,
    first_file_size: int,
    taper: float,
    reaches_freely: bool,
    tooth: str,
    curvature: Measurement | None,
    s_shaped: bool,
) -> PlannedCanal:
    """Keep a plan together with what it was made from."""
    return PlannedCanal(
        canal=canal,
        first_file_size=first_file_size,
        taper=taper,
        reaches_freely=reaches_freely,
        tooth=tooth,
        curvature=_number(curvature),
        s_shaped=s_shaped,
        order=made.order,
        condition=made.condition,
        reasons=made.reasons,
        counter=made.counter,
        notes=made.notes,
        steps=made.steps,
        stage_of_length=dict(STAGE_OF_LENGTH),
    )


def plans_json(image: str, canals: Sequence[PlannedCanal]) -> str:
    """Write plans as JSON text, a :class:`Plans`; `image` is empty where there is none."""
    return Plans.text(image=image, canals=tuple(canals))
