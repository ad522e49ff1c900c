"""The machine-readable form of the curvature of the canals of one image, or of two views.

A JSON object with ``schema`` ``"napari-periapical curvature"`` and ``schema_version`` 1. The classes below
are its schema, field by field; :meth:`CurvatureDocument.model_json_schema` gives it as JSON Schema. Pixels of
an image are (row, col); points in space are (height, across, depth) in millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, FiniteFloat

from radio.measure.case import CaseFacts, Remark
from radio.measure.methods import CurvatureMethod
from radio.measure.own_plane import InOwnPlane
from radio.measure.perturb import SEED
from radio.measure.result import Measurement
from radio.measure.settings import CurvatureSettings
from radio.measure.view_pair import ViewPair
from radio.measure.what_if import WhatIf
from radio.record.curvature_case import CurvatureCase
from radio.record.document import Document, SkippedCanal, image_fields
from radio.record.measured import Class, Number, Word
from radio.record.tables import Skip
from radio.record.traced import Point, Proposed, Record, points_of
from radio.record.wording import all_measurements

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

_LENGTHS = ("scale_mm_per_px", "canal_length_px", "canal_length_mm")


class Method(Record):
    """A method that was asked for, with what is only from memory in its `standing`."""

    title: str
    definition: str
    source: str
    standing: str
    columns: tuple[str, ...]

    @classmethod
    def from_method(cls, method: CurvatureMethod) -> Method:
        """Take over a method."""
        columns = tuple(quantity.column for quantity in method.quantities)
        return cls(
            title=method.title,
            definition=method.definition,
            source=method.source,
            standing=method.standing,
            columns=columns,
        )


class MovedTo(Record):
    """What one move makes of every quantity; null where there is then no value."""

    part: Literal["axis", "departure", "end"]
    way: str
    move: str
    after: Mapping[str, FiniteFloat | str | None]


class Moves(Record):
    """Every quantity before and after each part of the construction was moved by `by` (in `unit`)."""

    by: FiniteFloat
    unit: Literal["mm", "px"]
    told: str
    before: Mapping[str, FiniteFloat | str | None]
    moves: tuple[MovedTo, ...]
    left_out: tuple[str, ...]

    @classmethod
    def from_what_if(cls, found: WhatIf) -> Moves:
        """Take over what was tried."""
        moves = tuple(
            MovedTo(
                part=move.part,
                way=move.way,
                move=move.text,
                after={one.column: one.after for one in found.changes if one.move == move},
            )
            for move in found.moves
        )
        return cls(
            by=found.by,
            unit=found.unit,
            told=found.told,
            before={one.column: one.before for one in found.changes},
            moves=moves,
            left_out=found.left_out,
        )


class PossibleTraces(Record):
    """Traces as they might have come out: how many the uncertainties are from, and the seed they come of."""

    count: int
    seed: int


class CurvatureCanal(Record):
    """The curvature of one canal: `quantities` by results-table column, `words` likewise.

    `lengths` holds scale and canal length; `parts` says of coronal axis and departure whether they were found
    by the rule or placed by hand. `settings` are the parameters of the methods; null without a canal line.
    """

    canal: str
    facts: CaseFacts
    clicks: Mapping[str, tuple[Point, ...]]
    settings: CurvatureSettings | None
    possible_traces: PossibleTraces | None
    lengths: Mapping[str, Number]
    parts: Mapping[str, str]
    quantities: Mapping[str, Number]
    words: Mapping[str, Word]
    classes: tuple[Class, ...]
    not_measured: Mapping[str, str]
    what_if: Moves | None
    traced: Proposed
    remarks: tuple[Remark, ...]

    @classmethod
    def from_case(cls, case: CurvatureCase) -> CurvatureCanal:
        """Take over one canal as it is told."""
        lengths = all_measurements(case.result)
        stack = case.result.stack
        found = {quantity.column: one for _, quantity, one in case.quantities}
        return cls(
            canal=case.result.facts.canal,
            facts=case.result.facts,
            clicks={name: points_of(points) for name, points in case.clicks.items()},
            settings=None if stack is None else stack.settings,
            possible_traces=None if stack is None else PossibleTraces(count=stack.possible, seed=SEED),
            lengths={name: Number.from_measurement(lengths[name]) for name in _LENGTHS if name in lengths},
            parts=case.parts,
            quantities={
                name: Number.from_measurement(one)
                for name, one in found.items()
                if isinstance(one, Measurement)
            },
            words={
                name: Word.from_finding(one)
                for name, one in found.items()
                if not isinstance(one, Measurement)
            },
            classes=tuple(Class.from_classified(one) for one in case.classes),
            not_measured=case.absent,
            what_if=None if case.what_if is None else Moves.from_what_if(case.what_if),
            traced=Proposed.from_result(case.result),
            remarks=case.result.told,
        )


class View(Record):
    """One image and its canals."""

    image: str
    image_sha256: str
    image_shape: tuple[int, int]
    canals: tuple[CurvatureCanal, ...]
    skipped: tuple[SkippedCanal, ...]

    @classmethod
    def from_cases(
        cls, radiograph: Radiograph, cases: Sequence[CurvatureCase], skips: Sequence[Skip]
    ) -> View:
        """Take over one image with what was measured on it, and what was not."""
        rows, columns = radiograph.grey.shape
        return cls(
            **image_fields(radiograph),
            image_shape=(rows, columns),
            canals=tuple(CurvatureCanal.from_case(case) for case in cases),
            skipped=SkippedCanal.from_skips(skips),
        )


class OwnPlane(Record):
    """What the methods of one view give in the plane the canal bends in, by results-table column."""

    quantities: Mapping[str, Number]
    words: Mapping[str, Word]
    not_measured: Mapping[str, str]


class InSpace(Record):
    """One canal from two views; `points_mm` is its centreline, null when it could not be had."""

    canal: str
    between_views_deg: FiniteFloat
    between_views_sd_deg: FiniteFloat
    same_canal: bool
    mismatch_mm: FiniteFloat | None
    measurements: Mapping[str, Number]
    own_plane: OwnPlane | None
    points_mm: tuple[tuple[FiniteFloat, FiniteFloat, FiniteFloat], ...] | None
    not_measured: Mapping[str, str]
    assumptions: tuple[str, ...]
    remarks: tuple[str, ...]

    @classmethod
    def from_pair(cls, pair: ViewPair) -> InSpace:
        """Take over what two views gave together."""
        space = pair.in_space
        points = None if space is None else [tuple(point) for point in space.points_mm.round(3).tolist()]
        return cls.model_validate(
            {
                "canal": pair.name,
                "between_views_deg": pair.between_views_deg,
                "between_views_sd_deg": pair.between_views_sd_deg,
                "same_canal": bool(pair.same_canal),
                "mismatch_mm": None if space is None else space.mismatch_mm,
                "measurements": {
                    name: Number.from_measurement(one) for name, one in pair.measurements.items()
                },
                "own_plane": None if pair.own_plane is None else _own_plane(pair.own_plane),
                "points_mm": None if points is None else tuple(points),
                "not_measured": pair.absent,
                "assumptions": pair.assumptions,
                "remarks": pair.remarks,
            }
        )


def _own_plane(found: InOwnPlane) -> OwnPlane:
    return OwnPlane(
        quantities={name: Number.from_measurement(one) for name, one in found.measurements.items()},
        words={name: Word.from_finding(one) for name, one in found.findings.items()},
        not_measured=found.absent,
    )


class CurvatureDocument(Document):
    """Curvature of the canals of one image, or of two; `unmatched` names canals seen in one of two views."""

    schema_name: Annotated[Literal["napari-periapical curvature"], Field(alias="schema")]
    methods: Mapping[str, Method]
    views: tuple[View, ...]
    in_space: tuple[InSpace, ...]
    unmatched: tuple[str, ...]


def curvature_json(
    views: Sequence[View],
    methods: Sequence[CurvatureMethod],
    pairs: Sequence[ViewPair] = (),
    unmatched: Sequence[str] = (),
) -> str:
    """Write the curvature of one image, or of two views, as JSON text.

    Parameters
    ----------
    views : sequence of View
        One or two.
    methods : sequence of CurvatureMethod
        Those that were asked for.
    pairs : sequence of ViewPair
        Canals that were measured in both views.
    unmatched : sequence of str
        What is said of canals that were not.

    Returns
    -------
    str
        The text of a :class:`CurvatureDocument`.
    """
    return CurvatureDocument.text(
        methods={method.name: Method.from_method(method) for method in methods},
        views=tuple(views),
        in_space=tuple(InSpace.from_pair(pair) for pair in pairs),
        unmatched=tuple(unmatched),
    )
