"""What a casebook holds: revisions of tracings, electronic readings and courses, each with who and when."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from datetime import UTC
from functools import cache
from typing import Any, Literal, cast
from uuid import UUID, uuid5

from pydantic import TypeAdapter, ValidationError

from radio.errors import BookError
from radio.measure.readings_list import ListedReading
from radio.record.book_schema import now
from radio.record.course import Course
from radio.record.tracing import Tracing
from radio.record.wording import MADE_BY

_NAMESPACE = UUID("5d1f6b0e-7a3e-4b52-9c7e-3a7be0c1a9d4")
Kind = Literal["tracing", "reading", "course"]
Body = Tracing | ListedReading | Course
COLUMNS = (
    "uuid",
    "kind",
    "created",
    "author",
    "software",
    "subject",
    "tooth",
    "canal",
    "image_sha256",
    "body",
    "digest",
)
_TYPES: dict[Kind, Any] = {"tracing": Tracing, "reading": ListedReading, "course": Course}


@dataclass(frozen=True)
class Revision:
    """One entry of a casebook as it was written; it never changes.

    Parameters
    ----------
    uuid : uuid.UUID
        Names it, in this and in every other book.
    kind : {"tracing", "reading", "course"}
    created : str
        When, ISO 8601, UTC.
    author, software : str
        Who, and which version of the tool.
    subject, tooth, canal, image_sha256 : str
        What it is of; empty where that is not stated.
    body : str
        The content as JSON text.
    supersedes : frozenset of uuid.UUID
        The revisions it takes the place of.
    """

    uuid: UUID
    kind: Kind
    created: str
    author: str
    software: str
    subject: str
    tooth: str
    canal: str
    image_sha256: str
    body: str
    supersedes: frozenset[UUID] = frozenset()

    @property
    def digest(self) -> str:
        """SHA-256 over all of it, hexadecimal: a change made behind the book's back is seen."""
        earlier = sorted(map(str, self.supersedes))
        return hashlib.sha256(json.dumps([*self.cells, earlier]).encode()).hexdigest()

    @property
    def cells(self) -> tuple[str, ...]:
        """Its cells but for the digest, in the order of :data:`COLUMNS`."""
        told = (self.author, self.software, self.subject, self.tooth, self.canal, self.image_sha256)
        return (str(self.uuid), self.kind, self.created, *told, self.body)

    def says_the_same(self, other: Revision) -> bool:
        """Whether another revision has this content, if in the words of another version of the tool."""
        if (self.kind, self.supersedes) != (other.kind, other.supersedes):
            return False
        return self.body == other.body or self.content == other.content

    @property
    def content(self) -> Body:
        """What was kept.

        Raises
        ------
        BookError
            The body is not what this version of the tool can read.
        """
        try:
            return cast(Body, _adapter(self.kind).validate_json(self.body))
        except ValidationError as problem:
            raise BookError(
                f"Revision {self.uuid} ({self.kind}) cannot be read: {problem.errors()[0]['msg']}."
            ) from problem


@cache
def _adapter(kind: Kind) -> TypeAdapter[Any]:
    return TypeAdapter(_TYPES[kind])


def revision_of(content: Body, author: str = "", supersedes: frozenset[UUID] = frozenset()) -> Revision:
    """Make the revision that keeps something.

    The same content always makes a revision of the same name, so that what two books were given apart is one
    when they are merged.

    Parameters
    ----------
    content : Tracing, ListedReading or Course
    author : str
        Who; of a tracing its reader.
    supersedes : frozenset of uuid.UUID
        Revisions it takes the place of; a tracing names its own besides.
    """
    if isinstance(content, Tracing):
        facts = content.facts
        earlier = supersedes | ({content.supersedes} if content.supersedes else set())
        return Revision(
            content.uuid,
            "tracing",
            content.created.astimezone(UTC).isoformat(),
            *(content.reader, content.software),
            *(facts.subject, facts.tooth, facts.canal, content.image_sha256),
            body=content.model_dump_json(),
            supersedes=frozenset(earlier),
        )
    kind: Kind = "reading" if isinstance(content, ListedReading) else "course"
    if isinstance(content, ListedReading):
        content = replace(content, line=0)  # where it stood in a table says nothing of it
    body = _adapter(kind).dump_json(content).decode()
    whose = content.reading if isinstance(content, ListedReading) else content
    uuid = uuid5(_NAMESPACE, json.dumps([kind, body, *sorted(map(str, supersedes))]))
    about = (content.subject, whose.tooth, whose.canal, "")
    return Revision(uuid, kind, now(), author, MADE_BY, *about, body=body, supersedes=supersedes)


def revision_from_row(row: tuple[str, ...], supersedes: frozenset[UUID]) -> Revision:
    """Take a row of the book; the digest that stands in it is left aside."""
    uuid, kind, created, author, software, subject, tooth, canal, sha256, body, _ = row
    about = (created, author, software, subject, tooth, canal, sha256, body)
    return Revision(UUID(uuid), cast(Kind, kind), *about, supersedes=supersedes)
