"""Traced lines, landmarks and constructions in the form they are kept in."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Self

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, model_validator

from radio.measure.case import CaseResult, SchneiderConstruction
from radio.trace.line import LandmarkFix, Line, LineKind

Point = tuple[FiniteFloat, FiniteFloat]


class Record(BaseModel):
    """Base of everything kept: frozen, checked, and strict about unknown fields."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", revalidate_instances="always", ser_json_inf_nan="strings"
    )


class TracedLine(Record):
    """One traced line, coronal to apical, pixels.

    Parameters
    ----------
    points_px : tuple of (row, col)
        Sub-pixel points.
    sd_px : tuple of float or None
        Standard uncertainty of each point across the line; None where none can be stated.
    confident : tuple of bool
        False where the image does not support the line.
    """

    points_px: tuple[Point, ...]
    sd_px: tuple[FiniteFloat | None, ...]
    confident: tuple[bool, ...]

    @model_validator(mode="after")
    def _same_length(self) -> Self:
        if not len(self.points_px) == len(self.sd_px) == len(self.confident):
            raise ValueError(
                f"a line has {len(self.points_px)} points, {len(self.sd_px)} uncertainties and "
                f"{len(self.confident)} confidence marks; all three must be as many"
            )
        return self

    @classmethod
    def from_line(cls, line: Line | None) -> TracedLine | None:
        """Keep a traced line; None stays None."""
        if line is None:
            return None
        return cls(
            points_px=points_of(line.points_px),
            sd_px=tuple(sd if math.isfinite(sd) else None for sd in line.sd_px.tolist()),
            confident=tuple(line.confident.tolist()),
        )

    def as_line(self, kind: LineKind) -> Line:
        """The line again; an uncertainty that could not be stated is infinite."""
        sd = [math.inf if one is None else one for one in self.sd_px]
        return Line(kind, np.array(self.points_px), np.array(sd), np.array(self.confident, dtype=bool))


class Construction(Record):
    """The points a Schneider angle is made of, pixels as (row, col)."""

    axis_start_px: Point
    axis_end_px: Point
    departure_px: Point
    canal_end_px: Point
    departure_index: int
    tolerance_px: FiniteFloat

    @classmethod
    def from_schneider(cls, made: SchneiderConstruction | None) -> Construction | None:
        """Keep a construction; None stays None."""
        if made is None:
            return None
        return cls(
            axis_start_px=point_of(made.axis_start_px),
            axis_end_px=point_of(made.axis_end_px),
            departure_px=point_of(made.departure_px),
            canal_end_px=point_of(made.canal_end_px),
            departure_index=int(made.departure_index),
            tolerance_px=float(made.tolerance_px),
        )

    def as_schneider(self) -> SchneiderConstruction:
        """The construction again."""
        return SchneiderConstruction(
            axis_start_px=np.array(self.axis_start_px),
            axis_end_px=np.array(self.axis_end_px),
            departure_px=np.array(self.departure_px),
            canal_end_px=np.array(self.canal_end_px),
            departure_index=self.departure_index,
            tolerance_px=self.tolerance_px,
        )


class Proposed(Record):
    """What the tool made of the hand-placed points; never mixed with them."""

    landmarks: Mapping[str, LandmarkFix] = Field(default_factory=dict)
    file_line: TracedLine | None = None
    canal_line: TracedLine | None = None
    construction: Construction | None = None

    @classmethod
    def from_result(cls, result: CaseResult) -> Proposed:
        """Take over what the tool made of one canal."""
        return cls(
            landmarks=dict(result.landmarks),
            file_line=TracedLine.from_line(result.file_line),
            canal_line=TracedLine.from_line(result.canal_line),
            construction=Construction.from_schneider(result.construction),
        )


def point_of(point: npt.ArrayLike) -> tuple[float, float]:
    """Turn a point, shape (2,), into (row, col)."""
    row, col = np.asarray(point, dtype=np.float64).tolist()
    return row, col


def points_of(points: npt.ArrayLike) -> tuple[tuple[float, float], ...]:
    """Turn points, shape (N, 2), into (row, col) pairs."""
    return tuple(point_of(point) for point in np.asarray(points, dtype=np.float64).reshape(-1, 2))
