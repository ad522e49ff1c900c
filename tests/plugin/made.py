"""Small stand-ins, so that the controller is tested without tracing."""

from __future__ import annotations

import hashlib

import numpy as np

from radio.errors import TraceError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult
from radio.measure.result import Measurement


def plain_radiograph(shape=(80, 60), seed=0, aspect=1.0) -> Radiograph:
    grey = np.random.default_rng(seed).random(shape, dtype=np.float32)
    return Radiograph(
        grey=grey,
        film=np.ones(shape, dtype=bool),
        stored=(grey * 255).astype(np.uint8),
        bits_stored=8,
        sha256=hashlib.sha256(grey.tobytes()).hexdigest(),
        path=None,
        file_format="PNG",
        pixel_aspect=aspect,
    )


def straight_length(radiograph, clicks, facts, _settings=None) -> CaseResult:
    """Measure only the straight distance from orifice to apex, pixels."""
    if "orifice" not in clicks or "apex" not in clicks:
        raise TraceError("This stand-in needs orifice and apex.")
    length = float(np.hypot(*(clicks["apex"][0] - clicks["orifice"][0])))
    number = Measurement("canal_length_px", length, "px", 1.0, "straight", "two clicks")
    return CaseResult(facts, None, None, None, None, {}, {number.name: number}, None)


class HeldRunner:
    """Keeps jobs until told to run them, so that a test decides the order of events."""

    def __init__(self) -> None:
        self.jobs = []

    def __call__(self, job, done) -> None:
        self.jobs.append((job, done))

    def run(self, index=0) -> None:
        job, done = self.jobs.pop(index)
        done(job())
