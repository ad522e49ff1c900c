"""The machine-readable form of a list of electronic readings compared with radiographs.

A JSON object with ``schema`` ``"napari-periapical readings"`` and ``schema_version`` 1. The classes below are
its schema, field by field; :meth:`ReadingsDocument.model_json_schema` gives it as JSON Schema.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Literal

from pydantic import Field, FiniteFloat

from radio.measure import differences
from radio.measure.disagreement import Cause, FittingCause
from radio.measure.reading import FLAGS, Choice
from radio.measure.readings_list import ComparedList, ComparedReading, MarkAgreement
from radio.record.document import Document
from radio.record.measured import Number
from radio.record.readings_table import LostReading
from radio.record.traced import Record

Interval = tuple[FiniteFloat, FiniteFloat]


class Limit(Record):
    """One limit of agreement, mm."""

    value: FiniteFloat
    interval95: Interval

    @classmethod
    def from_estimate(cls, one: differences.Estimate) -> Limit:
        """Take over an estimate."""
        return cls(value=one.value, interval95=(one.low95, one.high95))


class LimitPair(Record):
    """Bias minus and plus `multiplier` standard deviations; `source` is that of the intervals."""

    multiplier: FiniteFloat
    lower: Limit
    upper: Limit
    source: str


class ShareWithin(Record):
    """Share of differences within a tolerance, with the interval of Wilson."""

    tolerance_mm: FiniteFloat
    count: int
    share: FiniteFloat
    interval95: Interval


class Agreement(Record):
    """Readings at one mark against radiographs; `bias_mm` is the mean of electronic minus radiographic.

    `verdicts` count by the differences themselves, `surely_within` those whose whole 95 % interval is within.
    """

    mark: str
    readings: int
    canals: int
    bias_mm: FiniteFloat
    bias_interval95: Interval | None
    sd_mm: FiniteFloat | None
    limits: tuple[LimitPair, ...]
    within: tuple[ShareWithin, ...]
    verdicts: Mapping[str, int]
    surely_within: int
    notes: tuple[str, ...]

    @classmethod
    def from_group(cls, group: MarkAgreement) -> Agreement:
        """Take over what was found at one mark."""
        found = group.differences
        return cls(
            mark=group.mark,
            readings=found.n,
            canals=group.canals,
            bias_mm=found.bias,
            bias_interval95=found.bias_interval95,
            sd_mm=found.sd,
            limits=tuple(
                LimitPair(
                    multiplier=one.multiplier,
                    lower=Limit.from_estimate(one.lower),
                    upper=Limit.from_estimate(one.upper),
                    source=one.source,
                )
                for one in found.limits
            ),
            within=tuple(
                ShareWithin(
                    tolerance_mm=tolerance,
                    count=one.count,
                    share=one.share,
                    interval95=(one.low95, one.high95),
                )
                for tolerance, one in group.shares.items()
            ),
            verdicts=dict(group.verdicts),
            surely_within=group.surely_within,
            notes=group.notes,
        )


class PossibleCause(Record):
    """A cause that fits a difference: its name in `causes`, whether the row states it, and why it fits."""

    name: str
    stated: bool
    why: str

    @classmethod
    def from_cause(cls, one: FittingCause) -> PossibleCause:
        """Take over a fitting cause."""
        return cls(name=one.cause.name, stated=one.stated, why=one.why)


class Chosen(Record):
    """The length that a person chose."""

    mm: FiniteFloat
    basis: str
    reason: str
    by: str

    @classmethod
    def from_choice(cls, one: Choice | None) -> Chosen | None:
        """Take over a choice; None stays None."""
        if one is None:
            return None
        return cls(mm=one.mm, basis=one.basis, reason=one.reason, by=one.reader)


class Told(Record):
    """A remark with its level."""

    level: str
    text: str


class Row(Record):
    """One reading compared; `state` holds the facts on the canal that were stated."""

    line: int
    image: str
    subject: str
    canal: str
    tooth: str
    mark: str | None
    readings_mm: tuple[FiniteFloat, ...]
    file_size: int | None
    time: str
    state: Mapping[str, bool | str]
    electronic: Number
    radiographic: Number
    difference: Number
    verdict: str
    causes: tuple[PossibleCause, ...]
    choice: Chosen | None
    remarks: tuple[Told, ...]

    @classmethod
    def from_compared(cls, one: ComparedReading) -> Row:
        """Take over one compared reading."""
        listed, comparison = one.listed, one.comparison
        reading = listed.reading
        return cls(
            line=listed.line,
            image=listed.image,
            subject=listed.subject,
            canal=reading.canal,
            tooth=reading.tooth,
            mark=reading.mark,
            readings_mm=reading.all_mm,
            file_size=reading.file_size,
            time=reading.time,
            state={name: getattr(reading, name) for name in FLAGS if name in reading.stated_flags},
            electronic=Number.from_measurement(comparison.electronic),
            radiographic=Number.from_measurement(comparison.radiographic),
            difference=Number.from_measurement(comparison.difference),
            verdict=comparison.verdict,
            causes=tuple(PossibleCause.from_cause(cause) for cause in comparison.causes),
            choice=Chosen.from_choice(listed.choice),
            remarks=tuple(Told(level=remark.level, text=remark.text) for remark in one.remarks),
        )


class SkippedRow(Record):
    """A row that was not compared, with the reason."""

    line: int
    image: str
    subject: str
    canal: str
    reason: str


class CauseDetail(Record):
    """A cause in full; `standing` says where it comes from and what is only from memory."""

    title: str
    directions: tuple[str, ...]
    why: str
    do: str
    standing: str

    @classmethod
    def from_cause(cls, one: Cause) -> CauseDetail:
        """Take over a cause."""
        return cls(title=one.title, directions=one.directions, why=one.why, do=one.do, standing=one.standing)


class ReadingsDocument(Document):
    """A list compared; `by_mark` keeps the marks apart, `causes` holds those that fit a row."""

    schema_name: Annotated[Literal["napari-periapical readings"], Field(alias="schema")]
    tolerance_mm: FiniteFloat
    by_mark: tuple[Agreement, ...]
    compared: tuple[Row, ...]
    skipped: tuple[SkippedRow, ...]
    causes: Mapping[str, CauseDetail]
    warnings: tuple[str, ...]


def readings_json(found: ComparedList, lost: Sequence[LostReading], warnings: Sequence[str]) -> str:
    """Write a compared list as JSON text.

    Parameters
    ----------
    found : ComparedList
    lost : sequence of LostReading
        Rows that were not compared.
    warnings : sequence of str
        What was passed over in the tables.

    Returns
    -------
    str
        The text of a :class:`ReadingsDocument`.
    """
    fitting = (fits.cause for one in found.compared for fits in one.comparison.causes)
    return ReadingsDocument.text(
        tolerance_mm=found.tolerance_mm,
        by_mark=tuple(Agreement.from_group(group) for group in found.by_mark),
        compared=tuple(Row.from_compared(one) for one in found.compared),
        skipped=tuple(_skipped(lost)),
        causes={cause.name: CauseDetail.from_cause(cause) for cause in fitting},
        warnings=tuple(warnings),
    )


def _skipped(lost: Iterable[LostReading]) -> list[SkippedRow]:
    return [
        SkippedRow(line=o.line, image=o.image, subject=o.subject, canal=o.canal, reason=o.reason)
        for o in lost
    ]
