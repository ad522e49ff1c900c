"""What a check of one canal can look at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from radio.image.radiograph import Radiograph
from radio.measure.bend import square
from radio.measure.case import CaseFacts
from radio.measure.check_rules.contract import answer_to
from radio.measure.receptor_pitch import Pitch, receptor_pitches
from radio.measure.result import Finding, Measurement
from radio.measure.trace_case import TracedCase
from radio.trace.line import Line

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Seen:
    """One canal on one image with everything that came of it.

    Parameters
    ----------
    radiograph : Radiograph
    facts : CaseFacts
        With the answers given.
    clicked : mapping of str to ndarray, shape (N, 2)
        Clicks by landmark.
    traced : TracedCase
    scale : Scale or None
    no_scale : str
        Why there is none; empty where there is one, or none was wanted.
    magnification : float or None
        Detector pitch over scale.
    measurements : mapping of str to Measurement
    findings : mapping of str to Finding
    """

    radiograph: Radiograph
    facts: CaseFacts
    clicked: Mapping[str, FloatArray]
    traced: TracedCase
    scale: Scale | None
    no_scale: str
    magnification: float | None
    measurements: Mapping[str, Measurement]
    findings: Mapping[str, Finding]

    @property
    def mm_per_px(self) -> float:
        """Size of a column, mm; a rough one where there is no scale."""
        return self.traced.approximate_mm_per_px if self.scale is None else self.scale.col_mm_per_px

    @property
    def pitches(self) -> tuple[Pitch, ...]:
        """What is known of the pitch of the detector: as stated, then of the header."""
        facts, image = self.facts, self.radiograph
        return receptor_pitches(facts.detector_pitch_mm, facts.dpi, image.spacing, image.pixel_aspect)

    @property
    def pitch_mm(self) -> float | None:
        """Geometric mean pitch of the detector, where it is known, mm."""
        return self.pitches[0].mm if self.pitches else None

    def line_mm(self, line: Line) -> FloatArray:
        """Points of a line in millimetres, shape (N, 2)."""
        return square(line.points_px, self.traced.aspect) * self.mm_per_px

    def value(self, name: str) -> float | None:
        """Value of a measurement, or None."""
        one = self.measurements.get(name)
        return None if one is None else one.value

    def said(self, check: str) -> str:
        """What a person answered to a check; empty where nothing."""
        given = answer_to(check, self.facts.answers)
        return "" if given is None else given.answer
