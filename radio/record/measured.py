"""The machine-readable form of what was measured on one image.

A JSON object with ``schema`` ``"napari-periapical measurements"`` and ``schema_version`` 1. The classes below
are its schema, field by field; :meth:`MeasuredImage.model_json_schema` gives it as JSON Schema. Pixels are
(row, col), an integer being the centre of a pixel. What was not measured is named with a reason, never zero.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, FiniteFloat

from radio.measure.case import CaseFacts, CaseResult, Clicks, Remark
from radio.measure.check_rules.contract import Check
from radio.measure.checks import open_questions
from radio.measure.classes import Classified
from radio.measure.result import Finding, Measurement
from radio.measure.settings import CurvatureSettings
from radio.record.classed import classes_of_result
from radio.record.document import Document, SkippedCanal, image_fields
from radio.record.tables import Skip
from radio.record.traced import Point, Proposed, Record, points_of
from radio.record.wording import all_measurements, missing_measures

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph


class Number(Record):
    """One measured number; `sd` is the standard uncertainty; `interval95` may have no upper end (null)."""

    value: FiniteFloat
    unit: str
    sd: FiniteFloat | None
    interval95: tuple[FiniteFloat, FiniteFloat | None] | None
    method: str
    basis: str
    notes: tuple[str, ...]

    @classmethod
    def from_measurement(cls, one: Measurement) -> Number:
        """Take over a measurement; an uncertainty that is not finite is none."""
        sd = one.sd if one.sd is not None and math.isfinite(one.sd) else None
        return cls(
            value=one.value,
            unit=one.unit,
            sd=sd,
            interval95=None if sd is None else _finite(one.interval95),
            method=one.method,
            basis=one.basis,
            notes=one.notes,
        )


def _finite(interval: tuple[float, float] | None) -> tuple[float, float | None] | None:
    """An interval whose infinite upper end, as of the radius of a canal that may be straight, is None."""
    if interval is None:
        return None
    return interval[0], interval[1] if math.isfinite(interval[1]) else None


class Word(Record):
    """One word read from the trace; `share` of the traces as they might have come out give the same."""

    word: str
    share: FiniteFloat
    method: str
    basis: str
    notes: tuple[str, ...]

    @classmethod
    def from_finding(cls, one: Finding) -> Word:
        """Take over a finding."""
        return cls(word=one.word, share=one.share, method=one.method, basis=one.basis, notes=one.notes)


class Class(Record):
    """The class of a canal by one scheme; None where the scheme has no class for the value."""

    scheme: str
    label: str | None
    touched: tuple[str, ...]
    text: str

    @classmethod
    def from_classified(cls, one: Classified) -> Class:
        """Take over a class."""
        return cls(scheme=one.scheme.name, label=one.label, touched=one.touched, text=one.text)


class MeasuredCanal(Record):
    """One canal: what was stated and clicked, the numbers by results-table column, and how they were made.

    `curvature_settings` are the parameters of the curvature methods; null where no canal was traced.
    `checks` are what the pre-flight checks found, `unanswered` those that ask a person.
    """

    canal: str
    facts: CaseFacts
    clicks: Mapping[str, tuple[Point, ...]]
    curvature_settings: CurvatureSettings | None
    measurements: Mapping[str, Number]
    findings: Mapping[str, Word]
    classes: tuple[Class, ...]
    not_measured: Mapping[str, str]
    scale_source: str | None
    implied_magnification: FiniteFloat | None
    traced: Proposed
    checks: tuple[Check, ...]
    unanswered: tuple[str, ...]
    remarks: tuple[Remark, ...]
    seconds: FiniteFloat

    @classmethod
    def from_result(cls, result: CaseResult, clicks: Clicks) -> MeasuredCanal:
        """Take over one result and the clicks it came from."""
        numbers = {name: one for name, one in all_measurements(result).items() if math.isfinite(one.value)}
        return cls(
            canal=result.facts.canal,
            facts=result.facts,
            clicks={name: points_of(points) for name, points in clicks.items()},
            curvature_settings=None if result.stack is None else result.stack.settings,
            measurements={name: Number.from_measurement(one) for name, one in numbers.items()},
            findings={name: Word.from_finding(one) for name, one in result.findings.items()},
            classes=tuple(Class.from_classified(one) for one in classes_of_result(result)),
            not_measured={**result.absent, **missing_measures(result, set(clicks))},
            scale_source=None if result.scale is None else result.scale.source,
            implied_magnification=result.implied_magnification,
            traced=Proposed.from_result(result),
            checks=result.checks,
            unanswered=tuple(rule.id for rule in open_questions(result)),
            remarks=result.remarks,
            seconds=result.seconds,
        )


class MeasuredImage(Document):
    """All canals of one image."""

    schema_name: Annotated[Literal["napari-periapical measurements"], Field(alias="schema")]
    image: str
    image_sha256: str
    image_shape: tuple[int, int]
    canals: tuple[MeasuredCanal, ...]
    skipped: tuple[SkippedCanal, ...]


def measured_json(
    radiograph: Radiograph, measured: Sequence[tuple[CaseResult, Clicks]], skipped: Sequence[Skip]
) -> str:
    """Write what was measured on one image as JSON text.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    measured : sequence of (CaseResult, clicks)
        Its canals, each with the clicks it came from.
    skipped : sequence of Skip
        Canals of the image that were not measured.

    Returns
    -------
    str
        The text of a :class:`MeasuredImage`.
    """
    return MeasuredImage.text(
        **image_fields(radiograph),
        image_shape=radiograph.grey.shape,
        canals=tuple(MeasuredCanal.from_result(result, clicks) for result, clicks in measured),
        skipped=SkippedCanal.from_skips(skipped),
    )
