"""What a casebook gives out of one canal on one image: the form every export takes its content from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from radio.measure.readings_list import ListedReading
from radio.record.course import Course
from radio.record.tracing import Tracing


@dataclass(frozen=True)
class KeptCanal:
    """One canal on one image, as it stands in a casebook now.

    Parameters
    ----------
    subject : str
        Pseudonym; empty where none is stated.
    tooth : str
        ISO 3950; empty where it is not stated.
    canal : str
    tracing : Tracing
        Its current revision, with image, points, scale, settings, numbers, checks and answers.
    image_path : pathlib.Path or None
        Where the image is now; None where it was not found.
    readings : tuple of ListedReading
        Electronic readings of this canal.
    course : Course or None
        Lengths of this canal through the treatment.
    """

    subject: str
    tooth: str
    canal: str
    tracing: Tracing
    image_path: Path | None = None
    readings: tuple[ListedReading, ...] = ()
    course: Course | None = None
