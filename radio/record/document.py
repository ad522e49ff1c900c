"""What every JSON document that leaves this program begins with, and how it is written."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, get_args

from pydantic import Field

from radio.record.tables import Skip
from radio.record.traced import Record
from radio.record.wording import CAUTION, MADE_BY

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph


class Document(Record):
    """A document; each kind names its own schema as the one text that `schema_name` may be."""

    schema_name: Annotated[str, Field(alias="schema")]
    schema_version: Literal[1]
    caution: str
    software: str

    @classmethod
    def text(cls, **content: Any) -> str:
        """JSON text of a document with this content, its head filled in."""
        (schema,) = get_args(cls.model_fields["schema_name"].annotation)
        head = {"schema": schema, "schema_version": 1, "caution": CAUTION, "software": MADE_BY}
        return cls.model_validate({**head, **content}).model_dump_json(by_alias=True, indent=1) + "\n"


class SkippedCanal(Record):
    """One canal that was not measured, and why."""

    canal: str
    reason: str

    @classmethod
    def from_skips(cls, skips: Sequence[Skip]) -> tuple[Self, ...]:
        """Take over the canals of an image that were skipped."""
        return tuple(cls(canal=one.canal, reason=one.reason) for one in skips)


def image_fields(radiograph: Radiograph) -> dict[str, str]:
    """Name and hash of an image, as a document states them."""
    return {"image": radiograph.path.name if radiograph.path else "", "image_sha256": radiograph.sha256}
