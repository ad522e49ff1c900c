"""The machine-readable form of how much the canals of an image can shrink while they straighten.

A JSON object with ``schema`` ``"napari-periapical straightening"`` and ``schema_version`` 1. The classes
below are its schema, field by field. Points are (row, col) pixels of the image.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from pydantic import Field, FiniteFloat

from calib.instruments import HandFile
from radio.measure.case import CaseFacts, Remark
from radio.measure.drawn import image_px
from radio.measure.published_change import CONTRADICTIONS, PUBLISHED_CHANGES, Published
from radio.measure.straightening_case import COLUMNS, NOT_A_PREDICTION, CaseStraightening
from radio.record.document import Document, SkippedCanal, image_fields
from radio.record.measured import Number
from radio.record.tables import Skip
from radio.record.traced import Point, Record, points_of

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph


class Instrument(Record):
    """A file by its nominal shape."""

    size: int
    taper: FiniteFloat

    @classmethod
    def from_file(cls, file: HandFile | None) -> Instrument | None:
        """Take over a file; None stays None."""
        return None if file is None else cls(size=file.size, taper=file.taper)


class WallRecord(Record):
    """One wall: distance from each point of the centre line, mm; `seen` is false where it is bridged."""

    half_width_mm: tuple[FiniteFloat, ...]
    sd_mm: tuple[FiniteFloat, ...]
    seen: tuple[bool, ...]


class WayRecord(Record):
    """One corridor and the shortest way inside it, in pixels of the image."""

    left_px: tuple[Point, ...]
    right_px: tuple[Point, ...]
    path_px: tuple[Point, ...]
    path_mm: FiniteFloat


class StraighteningCanal(Record):
    """One canal. `measuring` is null for a thread, `prepared` where no widening was asked for."""

    canal: str
    facts: CaseFacts
    measuring: Instrument | None
    prepared: Instrument | None
    canal_length_mm: Number
    shrinks: Mapping[str, Number]
    centre_px: tuple[Point, ...]
    left_wall: WallRecord
    right_wall: WallRecord
    ways: Mapping[str, WayRecord]
    remarks: tuple[Remark, ...]

    @classmethod
    def from_found(cls, found: CaseStraightening, aspect: float) -> StraighteningCanal:
        """Take over the straightening of one canal."""
        walls, geometry, scale = found.walls, found.geometry, found.result.scale

        def placed(points_mm: np.ndarray) -> tuple[Point, ...]:
            return points_of(image_px(points_mm, scale, aspect).round(2))

        def wall(half: np.ndarray, sd: np.ndarray, seen: np.ndarray) -> WallRecord:
            return WallRecord(
                half_width_mm=tuple(half.round(4).tolist()),
                sd_mm=tuple(sd.round(4).tolist()),
                seen=tuple(seen.tolist()),
            )

        return cls(
            canal=found.result.facts.canal,
            facts=found.result.facts,
            measuring=Instrument.from_file(found.measuring),
            prepared=Instrument.from_file(found.prepared),
            canal_length_mm=Number.from_measurement(found.length),
            shrinks={COLUMNS[name]: Number.from_measurement(one) for name, one in found.shrinks.items()},
            centre_px=placed(geometry.centre_mm),
            left_wall=wall(walls.left_mm, walls.left_sd_mm, walls.left_seen),
            right_wall=wall(walls.right_mm, walls.right_sd_mm, walls.right_seen),
            ways={
                name: WayRecord(
                    left_px=placed(way.left_mm),
                    right_px=placed(way.right_mm),
                    path_px=placed(way.path.points),
                    path_mm=way.path.length,
                )
                for name, way in geometry.ways.items()
            },
            remarks=found.remarks,
        )


class StraighteningDocument(Document):
    """All canals of one image, with what has been published on changes of length beside them."""

    schema_name: Annotated[Literal["napari-periapical straightening"], Field(alias="schema")]
    meaning: str
    image: str
    image_sha256: str
    image_shape: tuple[int, int]
    canals: tuple[StraighteningCanal, ...]
    skipped: tuple[SkippedCanal, ...]
    published: tuple[Published, ...]
    contradictions: str


def straightening_json(
    radiograph: Radiograph, found: Sequence[CaseStraightening], skipped: Sequence[Skip]
) -> str:
    """Write the straightening of the canals of one image as JSON text.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    found : sequence of CaseStraightening
        Its canals.
    skipped : sequence of Skip
        Canals without a bound, with the reason.

    Returns
    -------
    str
        The text of a :class:`StraighteningDocument`.
    """
    return StraighteningDocument.text(
        meaning=NOT_A_PREDICTION,
        **image_fields(radiograph),
        image_shape=radiograph.grey.shape,
        canals=tuple(StraighteningCanal.from_found(one, radiograph.pixel_aspect) for one in found),
        skipped=SkippedCanal.from_skips(skipped),
        published=PUBLISHED_CHANGES,
        contradictions=CONTRADICTIONS,
    )
