"""Drafts: what was placed and stated on one image, kept by itself; one document an image and session."""

from __future__ import annotations

import contextlib
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from uuid import UUID

from pydantic import AwareDatetime, Field, ValidationError, model_validator

from napari_periapical.sheet import Canal, Sheet
from radio.errors import TableError
from radio.image.radiograph import Radiograph
from radio.measure.case import REPEATED_LANDMARKS, CaseFacts
from radio.measure.methods import METHODS
from radio.record.atomic import make_directory, write_text
from radio.record.document import Document, image_fields
from radio.record.traced import Record

SCHEMA = "napari-periapical draft"
VERSION = 1
MOST_OF_AN_IMAGE = 20
"""How many drafts of one image are kept; the oldest go."""
_PREFIX = 16
_METHODS = frozenset(method.name for method in METHODS)


def drafts_folder() -> Path:
    """Where drafts are kept: a folder of this person's own data, away from the images."""
    import platformdirs

    return Path(platformdirs.user_data_dir("napari-periapical", appauthor=False)) / "drafts"


class SavedAs(Record):
    """Which revision of which document a canal, by its uid, was last saved as."""

    uid: int
    document: str
    uuid: UUID
    revision: Annotated[int, Field(ge=1)]


class Continued(Record):
    """A draft that was taken up: of which session, and as it stood when."""

    session: UUID
    saved: AwareDatetime


class BegunLine(Record):
    """A line that is being traced: of which canal, and the canal as it was before."""

    uid: int
    kind: Literal["file", "canal"]
    before: Canal


class Draft(Document):
    """Everything that was placed and stated on one image, as it stood after a step.

    Parameters
    ----------
    image, image_sha256 : str
        The image, by name for people and by hash for certain.
    session : uuid.UUID
        The session it was done in.
    saved : datetime.datetime
        When, with time zone.
    given : tuple of CaseFacts
        What was stated with the image when it was opened.
    sheet : Sheet
        All canals, which one is worked on, and how they are shown.
    saved_as : tuple of SavedAs
        For each canal that was saved as a revision.
    continues : tuple of Continued
        The drafts it began with.
    begun : tuple of BegunLine
        Lines that were being traced.
    """

    schema_name: Annotated[Literal["napari-periapical draft"], Field(alias="schema")]
    image: str
    image_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    session: UUID
    saved: AwareDatetime
    given: tuple[CaseFacts, ...]
    sheet: Sheet
    saved_as: tuple[SavedAs, ...] = ()
    continues: tuple[Continued, ...] = ()
    begun: tuple[BegunLine, ...] = ()

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        sheet = self.sheet
        uids = [canal.uid for canal in sheet.canals]
        if not 0 <= sheet.active < len(uids) or len(set(uids)) < len(uids):
            raise ValueError(f"canals {uids} with number {sheet.active} worked on; each must be there once")
        for name in (sheet.view.method, *sheet.view.kept):
            if name not in _METHODS:
                raise ValueError(f"unknown method {name!r}; allowed are {', '.join(sorted(_METHODS))}")
        for canal in (*sheet.canals, *(one.before for one in self.begun)):
            _check_points(canal)
        return self


def _check_points(canal: Canal) -> None:
    """Raise ValueError unless the points of a canal are such as a hand can have placed."""
    if not all(math.isfinite(at) for _, points in canal.clicks for point in points for at in point):
        raise ValueError(f"canal {canal.facts.canal} has a point that is not finite")
    # placed anew, the points must come out the same: known landmarks in their order, exact ones among them
    if replace(canal, clicks=()).with_clicks(canal.clicks_px()) != canal:
        raise ValueError(f"canal {canal.facts.canal} has an unknown landmark, or points out of order")
    for name, points in canal.clicks:
        if len(points) > 1 and name not in REPEATED_LANDMARKS:
            raise ValueError(f"{name} of canal {canal.facts.canal} has {len(points)} points; one is allowed")


def draft_path(folder: Path, sha256: str, session: UUID) -> Path:
    """Place of the draft of one image and one session."""
    return folder / f"{sha256[:_PREFIX]}-{session.hex}.json"


def write_draft(
    folder: Path,
    radiograph: Radiograph,
    session: UUID,
    *,
    given: Iterable[CaseFacts],
    sheet: Sheet,
    saved_as: Iterable[SavedAs] = (),
    continues: Iterable[Continued] = (),
    begun: Iterable[BegunLine] = (),
) -> datetime:
    """Write a draft in the place of the one before of this image and session.

    Returns
    -------
    datetime.datetime
        The time it bears.

    Raises
    ------
    PeriapicalError
        The place cannot be written; the error that says why is its cause.
    """
    now = datetime.now().astimezone()
    content: dict[str, Any] = {
        **image_fields(radiograph),
        "session": session,
        "saved": now,
        "given": tuple(given),
        "sheet": sheet,
        "saved_as": tuple(saved_as),
        "continues": tuple(continues),
        "begun": tuple(begun),
    }
    text = Draft.text(**content)
    path = draft_path(folder, radiograph.sha256, session)
    new = not path.exists()
    _make_private(folder)
    write_text(path, text)
    if new:
        _prune(folder, radiograph.sha256)
    return now


def remove_draft(folder: Path, sha256: str, session: UUID) -> None:
    """Take the draft of one image and one session away, if there is one."""
    with contextlib.suppress(OSError):
        draft_path(folder, sha256, session).unlink(missing_ok=True)


def drafts_of(folder: Path, sha256: str) -> tuple[tuple[Draft, ...], tuple[str, ...]]:
    """Find the drafts of an image that can be read.

    Returns
    -------
    tuple of Draft
        The one written last first.
    tuple of str
        What is said of those that can not; they are left alone.
    """
    found, told = [], []
    for path in _documents(folder, sha256):
        try:
            found.append(read_draft(path))
        except TableError as problem:
            told.append(str(problem))
    return tuple(one for one in found if one.image_sha256 == sha256), tuple(told)


def not_in(drafts: Sequence[Draft], taken: Draft) -> tuple[Draft, ...]:
    """Keep the drafts whose work is not in another one that was taken up.

    A draft holds the work of one that it began with, as far as that had come when it was taken up; whoever
    went on with that one did something else.
    """
    held: dict[UUID, datetime] = {taken.session: taken.saved}
    known = {one.session: one for one in drafts}
    ahead = [taken]
    while ahead:
        for one in ahead.pop().continues:
            if one.session in known and one.session not in held:
                ahead.append(known[one.session])
            held[one.session] = max(one.saved, held.get(one.session, one.saved))
    return tuple(one for one in drafts if one.session not in held or one.saved > held[one.session])


def read_draft(path: Path) -> Draft:
    """Read one draft.

    Raises
    ------
    TableError
        It cannot be read, is damaged or is of a later version.
    """
    damaged = f"The draft {path.name} is damaged and was left alone."
    try:
        text = path.read_bytes()
        content = json.loads(text)
        schema, version = content["schema"], content["schema_version"]
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise TableError(f"The draft {path.name} cannot be read ({reason}); it was left alone.") from problem
    except (ValueError, RecursionError, KeyError, TypeError) as problem:
        raise TableError(damaged) from problem
    if schema == SCHEMA and isinstance(version, int) and version > VERSION:
        raise TableError(
            f"The draft {path.name} is of a later version of this program and was left alone; that version "
            "brings it back."
        )
    try:
        return Draft.model_validate_json(text)
    except ValidationError as problem:
        raise TableError(damaged) from problem


def _documents(folder: Path, sha256: str) -> list[Path]:
    """Drafts of an image, the one written last first."""
    found = []
    for path in folder.glob(f"{sha256[:_PREFIX]}-*.json"):
        with contextlib.suppress(OSError):  # another process took it away meanwhile
            found.append((path.stat().st_mtime_ns, path.name, path))
    return [path for *_, path in sorted(found, reverse=True)]


def _make_private(folder: Path) -> None:
    """Make the folder where it is not there, for this person alone: names of images may tell of people."""
    if not folder.is_dir():
        make_directory(folder)
        with contextlib.suppress(OSError):  # some shares know no such rights
            folder.chmod(0o700)


def _prune(folder: Path, sha256: str) -> None:
    """Remove the oldest drafts of an image; what this version cannot read is not its to remove."""
    for path in [one for one in _documents(folder, sha256) if _can_be_read(one)][MOST_OF_AN_IMAGE:]:
        with contextlib.suppress(OSError):
            path.unlink()


def _can_be_read(path: Path) -> bool:
    try:
        read_draft(path)
    except TableError:
        return False
    return True
