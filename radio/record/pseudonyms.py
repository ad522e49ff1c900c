"""The key of a de-identification: it makes the pseudonyms, knows who is who, and is kept apart."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import secrets
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from radio.errors import PeriapicalError
from radio.record.atomic import write_text
from radio.record.traced import Record

_SCHEMA = "napari-periapical key"
_FURTHEST_DAYS = 3650


class _Document(Record):
    """What stands in the key: the secret, and by pseudonym what it stands for."""

    schema_name: Annotated[Literal["napari-periapical key"], Field(alias="schema")]
    schema_version: Literal[1]
    keep_apart: str = "Whoever has this can say who is who. Never hand it on with the images."
    secret: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    subjects: dict[str, str]
    images: dict[str, str]
    decisions: dict[str, Literal["blank", "keep"]] = Field(default_factory=dict)


class Pseudonyms:
    """Pseudonyms, UIDs, names and shifts of dates that follow from a secret: the same thing, the same one.

    Without the secret they cannot be made from what they stand for, nor turned back (HMAC, RFC 2104, with
    SHA-256).

    Parameters
    ----------
    path : pathlib.Path
        The key; made by :meth:`save` where it is not there yet.

    Raises
    ------
    PeriapicalError
        What is there is no key.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.subjects: dict[str, str] = {}
        self.images: dict[str, str] = {}
        # what a person decided on lettering, by the new name of the image
        self.decisions: dict[str, Literal["blank", "keep"]] = {}
        if path.exists():
            kept = _read(path)
            self._secret = bytes.fromhex(kept.secret)
            self.subjects, self.images = dict(kept.subjects), dict(kept.images)
            self.decisions = dict(kept.decisions)
        else:
            self._secret = secrets.token_bytes(32)

    def subject(self, original: str) -> str:
        """Pseudonym of a subject; empty stays empty. One that this key made stays as it is."""
        original = original.strip()
        if not original or original in self.subjects:
            return original
        made = f"P-{self._text('subject', original.casefold())}"
        self.subjects[made] = original
        return made

    def image(self, original: Path, sha256: str) -> str:
        """New name of an image, without ending."""
        made = f"image-{self._text('image', sha256)}"
        self.images[made] = str(original)
        return made

    def uid(self, original: str) -> str:
        """UID in the place of another (DICOM PS3.5 B.2)."""
        return f"2.25.{int.from_bytes(self._digest('uid', original)[:16], 'big')}"

    def shifted(self, day: date, subject: str) -> date:
        """A date moved into the past, by as many days for each subject."""
        number = int.from_bytes(self._digest("days", subject)[:4], "big")
        return day - timedelta(days=number % _FURTHEST_DAYS + 1)

    def save(self) -> None:
        """Write the key, readable by its owner only.

        Raises
        ------
        PeriapicalError
            The place cannot be written.
        """
        document = _Document.model_validate(
            {
                "schema": _SCHEMA,
                "schema_version": 1,
                "secret": self._secret.hex(),
                "subjects": self.subjects,
                "images": self.images,
                "decisions": self.decisions,
            }
        )
        write_text(self.path, document.model_dump_json(by_alias=True, indent=1) + "\n")
        os.chmod(self.path, 0o600)

    def _digest(self, kind: str, original: str) -> bytes:
        return hmac.new(self._secret, f"{kind}\0{original}".encode(), hashlib.sha256).digest()

    def _text(self, kind: str, original: str) -> str:
        return base64.b32encode(self._digest(kind, original))[:10].decode()


def _read(path: Path) -> _Document:
    try:
        return _Document.model_validate_json(path.read_bytes())
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise PeriapicalError(f"The key {path} cannot be read ({reason}); check the place.") from problem
    except (ValidationError, json.JSONDecodeError) as problem:
        raise PeriapicalError(
            f"{path.name} is no key of a de-identification. Give the key that was made before, or a new name."
        ) from problem
