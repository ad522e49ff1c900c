"""The tracing: everything one reader placed on one image for one canal, kept so that nothing is ever lost.

A document on disk is JSON: ``{"schema": ..., "schema_version": 1, "caution": ..., "tracings": [...]}``.
Each tracing in it is one revision; a newer revision names the one it supersedes, and both stay.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal, Self
from uuid import UUID, uuid4

import numpy as np
import numpy.typing as npt
from pydantic import (
    AwareDatetime,
    Field,
    FiniteFloat,
    ValidationError,
    model_validator,
)

from calib.scale import Scale
from radio.errors import TableError
from radio.image.radiograph import Radiograph
from radio.measure.case import (
    LANDMARKS,
    REPEATED_LANDMARKS,
    CaseFacts,
    CaseResult,
    Clicks,
    Remark,
)
from radio.measure.check_rules.contract import Check
from radio.measure.result import Measurement
from radio.measure.settings import CurvatureSettings
from radio.record.atomic import directory_lock, write_text
from radio.record.traced import Point, Proposed, Record, points_of
from radio.record.wording import CAUTION, MADE_BY

DOCUMENT_SCHEMA = "napari-periapical tracings"


class Tracing(Record):
    """One revision of what one reader placed on one image for one canal, with what came of it.

    Parameters
    ----------
    uuid : uuid.UUID
        Names this revision.
    revision : int
        1 for the first, one more for each that supersedes another.
    supersedes : uuid.UUID or None
        The revision this one takes the place of.
    created : datetime.datetime
        With time zone.
    reader, software : str
        Who placed the points; which version made the rest.
    image_name, image_sha256 : str
        The image, by name for people and by hash for certain.
    image_shape : tuple of int
        Rows and columns.
    facts : CaseFacts
        What the reader stated.
    clicks : mapping of str to tuple of (row, col)
        Hand-placed points by landmark, pixels.
    proposed : Proposed
        Refined landmarks, lines and construction.
    scale : Scale or None
        Millimetres per pixel.
    implied_magnification : float or None
        Detector pitch over scale.
    measurements : mapping of str to Measurement
        Numbers as they were at that time, by results-table column.
    remarks : tuple of Remark
        What stood beside them.
    checks : tuple of Check
        What the pre-flight checks found, each with its answer; none in older documents.
    display : str
        Display aids that were on while points were placed, in words; empty where the image was shown as
        exposed, and in older documents. The numbers are read from the original data always.
    settings : CurvatureSettings or None
        Parameters of the curvature methods the numbers were made with; None in older documents.
    """

    uuid: UUID
    revision: Annotated[int, Field(ge=1)]
    supersedes: UUID | None
    created: AwareDatetime
    reader: str
    software: str
    image_name: str
    image_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    image_shape: tuple[int, int]
    facts: CaseFacts
    clicks: Mapping[str, tuple[Point, ...]]
    proposed: Proposed
    scale: Scale | None
    implied_magnification: FiniteFloat | None
    measurements: Mapping[str, Measurement]
    remarks: tuple[Remark, ...]
    checks: tuple[Check, ...] = ()
    display: str = ""
    settings: CurvatureSettings | None = None

    @model_validator(mode="after")
    def _revision_fits(self) -> Self:
        if (self.revision == 1) != (self.supersedes is None):
            raise ValueError("revision 1 supersedes nothing, and every later revision supersedes another")
        for landmark, points in self.clicks.items():
            if landmark not in LANDMARKS:
                raise ValueError(f"unknown landmark {landmark!r}; allowed are {', '.join(LANDMARKS)}")
            if not points or (len(points) > 1 and landmark not in REPEATED_LANDMARKS):
                raise ValueError(f"{landmark} has {len(points)} points; one is allowed")
        return self

    @classmethod
    def from_case(
        cls,
        radiograph: Radiograph,
        clicks: Clicks,
        result: CaseResult,
        *,
        supersedes: Tracing | None = None,
        reader: str = "",
        display: str = "",
        settings: CurvatureSettings | None = None,
    ) -> Tracing:
        """Keep what was placed and measured.

        Parameters
        ----------
        radiograph : Radiograph
            The image.
        clicks : mapping of str to ndarray, shape (N, 2)
            Hand-placed (row, col) by landmark.
        result : CaseResult
            What was measured from them.
        supersedes : Tracing or None
            The revision this one takes the place of.
        reader : str
            Who placed the points.
        display : str
            Display aids that were on while the points were placed, in words.
        settings : CurvatureSettings or None
            Parameters of the curvature methods.

        Raises
        ------
        TableError
            `supersedes` is of another image, or a landmark is unknown or has a point that is not finite.
        """
        if supersedes is not None and supersedes.image_sha256 != radiograph.sha256:
            raise TableError(
                f"A tracing of {supersedes.image_name} cannot be superseded by one of another image; "
                "start a new tracing for this image."
            )
        try:
            return cls.model_validate(
                {
                    "uuid": uuid4(),
                    "revision": 1 if supersedes is None else supersedes.revision + 1,
                    "supersedes": None if supersedes is None else supersedes.uuid,
                    "created": datetime.now().astimezone(),
                    "reader": reader,
                    "software": MADE_BY,
                    "image_name": radiograph.path.name if radiograph.path else "",
                    "image_sha256": radiograph.sha256,
                    "image_shape": radiograph.grey.shape,
                    "display": display,
                    "settings": settings,
                    "clicks": {name: points_of(points) for name, points in clicks.items() if len(points)},
                    **_snapshot(result),
                }
            )
        except ValidationError as problem:
            raise TableError(f"This tracing cannot be kept: {_first_problem(problem)}.") from problem

    def as_result(self) -> CaseResult:
        """What was measured, as it is kept: for drawing; nothing is measured anew."""
        kept = self.proposed
        return CaseResult(
            facts=self.facts,
            scale=self.scale,
            implied_magnification=self.implied_magnification,
            file_line=None if kept.file_line is None else kept.file_line.as_line("file"),
            canal_line=None if kept.canal_line is None else kept.canal_line.as_line("canal"),
            landmarks=kept.landmarks,
            measurements=self.measurements,
            construction=None if kept.construction is None else kept.construction.as_schneider(),
            remarks=self.remarks,
            checks=self.checks,
        )

    def clicks_px(self) -> dict[str, npt.NDArray[np.float64]]:
        """Hand-placed points by landmark, each shape (N, 2) as (row, col), pixels."""
        return {name: np.array(points, dtype=np.float64) for name, points in self.clicks.items()}


class TracingsDocument(Record):
    """Every revision of some tracings; nothing of it is rounded."""

    schema_name: Annotated[Literal["napari-periapical tracings"], Field(alias="schema")]
    schema_version: Literal[1]
    caution: str = CAUTION
    tracings: tuple[Tracing, ...]


def save_tracings(path: Path, tracings: Iterable[Tracing]) -> None:
    """Save tracings, adding to what the document already holds.

    Revisions that are there stay as they are, whatever is given; only new ones are added, at the end.

    Parameters
    ----------
    path : pathlib.Path
        The JSON document; made if it is not there.
    tracings : iterable of Tracing
        Revisions to keep; those already saved may be among them.

    Raises
    ------
    TableError
        The document there is damaged (it is left alone), or a saved revision was changed.
    PeriapicalError
        The place cannot be written.
    """
    given = tuple(tracings)
    if not path.parent.is_dir():
        raise TableError(f"The folder {path.parent} is not there; make it or choose another place.")
    with directory_lock(path.parent, wait=True):
        kept = {one.uuid: one for one in load_tracings(path)} if path.exists() else {}
        for one in given:
            if kept.setdefault(one.uuid, one) != one:
                raise TableError(
                    f"Revision {one.revision} of the tracing of {one.image_name} ({one.uuid}) is saved "
                    f"in {path.name} with other content; a saved revision never changes, make a new one."
                )
        write_text(path, tracings_text(kept.values()))


def tracings_text(tracings: Iterable[Tracing]) -> str:
    """JSON text of tracings; it reads back as exactly the same ones."""
    document = TracingsDocument.model_validate(
        {"schema": DOCUMENT_SCHEMA, "schema_version": 1, "tracings": tuple(tracings)}
    )
    return document.model_dump_json(by_alias=True, indent=1) + "\n"


def load_tracings(path: Path) -> tuple[Tracing, ...]:
    """Read every revision of a document, in the order they were saved.

    Parameters
    ----------
    path : pathlib.Path
        The JSON document.

    Raises
    ------
    TableError
        It cannot be read, is damaged, or is of another kind or a later version; the text says where.
    """
    try:
        text = path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise TableError(f"The tracings {path} cannot be read ({reason}); check the place.") from problem
    return tracings_from_text(text, path.name)


def tracings_from_text(text: str | bytes, name: str) -> tuple[Tracing, ...]:
    """Read every revision of a document from its JSON text; `name` is for messages.

    Raises
    ------
    TableError
        It is damaged, or is of another kind or a later version; the text says where.
    """
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as problem:
        raise TableError(f"{name} is damaged, it is not whole JSON text: {problem}.") from problem
    kind = content.get("schema") if isinstance(content, dict) else None
    if kind != DOCUMENT_SCHEMA:
        raise TableError(f"{name} holds no tracings: its schema is {kind!r}, needed is {DOCUMENT_SCHEMA!r}.")
    if content.get("schema_version") != 1:
        raise TableError(
            f"{name} is of schema version {content.get('schema_version')!r}; this program reads "
            "version 1. Use a newer version of napari-periapical."
        )
    try:
        return TracingsDocument.model_validate_json(text).tracings
    except ValidationError as problem:
        raise TableError(f"{name} is damaged: {_first_problem(problem)}.") from problem


def is_tracing_document(path: Path) -> bool:
    """Tell whether a document is one of :func:`save_tracings`, even a damaged one."""
    try:
        with path.open("rb") as stream:
            return DOCUMENT_SCHEMA.encode() in stream.read(200)
    except OSError:
        return False


def latest(tracings: Sequence[Tracing]) -> tuple[Tracing, ...]:
    """Keep the revisions that no other one of `tracings` supersedes, in order."""
    superseded = {one.supersedes for one in tracings}
    return tuple(one for one in tracings if one.uuid not in superseded)


def _snapshot(result: CaseResult) -> dict[str, object]:
    return {
        "facts": result.facts,
        "proposed": Proposed.from_result(result),
        "scale": result.scale,
        "implied_magnification": result.implied_magnification,
        # JSON knows no infinity: a number without a finite uncertainty is a number without one
        "measurements": {
            name: replace(one, sd=one.sd if one.sd is not None and math.isfinite(one.sd) else None)
            for name, one in result.measurements.items()
            if math.isfinite(one.value)
        },
        "remarks": result.remarks,
        "checks": result.checks,
    }


def _first_problem(problem: ValidationError) -> str:
    first = problem.errors(include_url=False, include_context=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"{first['msg']}{f' at {place}' if place else ''} (given {str(first.get('input'))[:60]!r})"
