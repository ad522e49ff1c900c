"""One canal on one image: what goes in, what comes out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from radio.measure.check_rules.contract import Answer, Check
from radio.measure.reading import ReadingFacts
from radio.measure.result import Finding, Measurement
from radio.measure.stack import TraceStack
from radio.trace.circle import Ball
from radio.trace.line import LandmarkFix, Line

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Clicks = Mapping[str, FloatArray]

LANDMARKS = (
    "file_start",
    "file_via",
    "file_tip",
    "orifice",
    "canal_via",
    "canal_end",
    "apex",
    "reference",
    "ball_centre",
    "coronal_axis",
    "departure",
    "tooth_axis",
)
# given by two points
AXIS_LANDMARKS = ("coronal_axis", "tooth_axis")
REPEATED_LANDMARKS = ("file_via", "canal_via", *AXIS_LANDMARKS)


@dataclass(frozen=True)
class CaseFacts:
    """What the user states about one canal on one image (one row of the images table).

    Parameters
    ----------
    canal, tooth, view, subject : str
        Labels; `tooth` in ISO 3950 two-digit notation.
    scale_from : {"file", "ball", "dicom", "given", "none"} or None
        Where millimetres come from; None lets the tool take the best one it has.
    file_length_mm : float or None
        Known length from `file_start_at` to the tip, mm.
    file_start_at : {"stop", "handle"}
        What `file_start` marks: the face of the stop that rests on the tooth, or the end of the handle.
    file_size : int or None
        ISO 3630-1 size (tip diameter in hundredths of a millimetre).
    ball_diameter_mm, mm_per_px : float or None
        Diameter of a calibrating ball; a given pixel size.
    electronic_mm : float or None
        File length at which the electronic reading stood, mm.
    electronic_mark : {"zero", "half"} or None
        Which mark the electronic reading was taken at.
    length_rule : str
        What is taken off the length to the radiographic apex, as in `radio.measure.length_rules`; empty
        where nothing is.
    resorption : {"none", "bone", "bone+root"} or None
        What the image shows resorbed about the apex; the rule by resorption goes by it.
    answers : tuple of Answer
        Answers to pre-flight checks.
    exact : tuple of (landmark, index)
        Points that stay where they were put, by landmark and place within it, sorted: lines pass through them
        and no finder moves them (a ball is fitted all the same). Their uncertainty stays that of a click; a
        hand is not more certain by insisting.
    electronic_tolerance_mm : float or None
        Difference of reading and radiograph that is accepted, mm; None is 0.5.
    electronic : ReadingFacts
        What else was stated of the electronic reading: repeats, its file, the state of the canal, the time.
    detector_pitch_mm, dpi : float or None
        Width of a pixel on the receptor; resolution a film was scanned with, dots per inch. They check a
        scale and make none.
    mm_per_px_sd : float or None
        Standard uncertainty of `mm_per_px`.
    """

    canal: str = "1"
    tooth: str = ""
    view: str = ""
    scale_from: Literal["file", "ball", "dicom", "given", "none"] | None = None
    file_length_mm: float | None = None
    file_start_at: Literal["stop", "handle"] = "stop"
    file_size: int | None = None
    ball_diameter_mm: float | None = None
    mm_per_px: float | None = None
    electronic_mm: float | None = None
    electronic_mark: Literal["zero", "half"] | None = None
    subject: str = ""
    length_rule: str = ""
    resorption: Literal["none", "bone", "bone+root"] | None = None
    answers: tuple[Answer, ...] = ()
    exact: tuple[tuple[str, int], ...] = ()
    electronic_tolerance_mm: float | None = None
    electronic: ReadingFacts = field(default_factory=ReadingFacts)
    detector_pitch_mm: float | None = None
    dpi: float | None = None
    mm_per_px_sd: float | None = None

    def is_exact(self, landmark: str, count: int) -> BoolArray:
        """Which of the `count` points of a landmark stay where they were put; shape (count,)."""
        return np.array([(landmark, index) in self.exact for index in range(count)], dtype=bool)


@dataclass(frozen=True)
class Remark:
    """Something the user must know beside the numbers."""

    level: Literal["stop", "warn", "note"]
    text: str


@dataclass(frozen=True, eq=False)
class SchneiderConstruction:
    """The lines and points a Schneider angle is made of, all in pixels as (row, col)."""

    axis_start_px: FloatArray
    axis_end_px: FloatArray
    departure_px: FloatArray
    canal_end_px: FloatArray
    departure_index: int
    tolerance_px: float


@dataclass(frozen=True, eq=False)
class CaseResult:
    """Everything measured on one canal; what could not be measured is absent, never zero.

    Parameters
    ----------
    facts : CaseFacts
        What the user stated.
    scale : Scale or None
        Millimetres per pixel, or None where there is none.
    implied_magnification : float or None
        Detector pitch over scale, where the pitch is known.
    file_line, canal_line : Line or None
        Traced lines.
    landmarks : mapping of str to LandmarkFix
        Refined landmarks by name (the repeated via points are not among them).
    measurements : mapping of str to Measurement
        By results-table column, e.g. ``"gap_mm"``, ``"schneider_deg"``.
    construction : SchneiderConstruction or None
        How the Schneider angle was made.
    findings : mapping of str to Finding
        Words by results-table column, e.g. ``"s_shaped"``.
    absent : mapping of str to str
        Why a curvature column has no value, and which check withholds a number.
    stack : TraceStack or None
        The canal in millimetres (or square pixels) and traces as it might have come out; every method's
        construction can be drawn from it.
    remarks : tuple of Remark
        Warnings and notes that are no checks.
    seconds : float
        Time for tracing and measuring, image loading apart.
    checks : tuple of Check
        What the pre-flight checks found.
    ball : Ball or None
        Calibrating ball found, whether or not the scale is from it, in square pixels (columns).
    """

    facts: CaseFacts
    scale: Scale | None
    implied_magnification: float | None
    file_line: Line | None
    canal_line: Line | None
    landmarks: Mapping[str, LandmarkFix]
    measurements: Mapping[str, Measurement]
    construction: SchneiderConstruction | None
    remarks: tuple[Remark, ...] = field(default=())
    seconds: float = 0.0
    findings: Mapping[str, Finding] = field(default_factory=dict)
    absent: Mapping[str, str] = field(default_factory=dict)
    stack: TraceStack | None = None
    checks: tuple[Check, ...] = ()
    ball: Ball | None = None

    @property
    def told(self) -> tuple[Remark, ...]:
        """Everything to be known beside the numbers: checks, a settled one as a note, and remarks."""
        checks = (Remark("note" if one.settled else one.level, one.text) for one in self.checks)
        return (*checks, *self.remarks)
