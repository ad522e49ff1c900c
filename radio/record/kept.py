"""What a casebook gives out of one canal on one image: the form every export takes its content from."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph, read_radiograph
from radio.measure.readings_list import ListedReading
from radio.record.course import Course
from radio.record.tracing import Tracing

_Key = TypeVar("_Key")


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


def traced_radiograph(kept: KeptCanal) -> tuple[Radiograph, Path]:
    """Read the very image a canal was traced on; gives where it is, too.

    Raises
    ------
    PeriapicalError
        It is not there, cannot be read, or is another one by now.
    """
    name, path = kept.tracing.image_name, kept.image_path
    if path is None:
        raise PeriapicalError(
            f"{name}: the image is not where it was last seen; 'periapical casebook find' looks for it."
        )
    radiograph = read_radiograph(path)
    if radiograph.sha256 != kept.tracing.image_sha256:
        raise PeriapicalError(f"{path.name} is not the image that was traced any more; it is left out.")
    return radiograph, path


def grouped(kept: Iterable[KeptCanal], key: Callable[[KeptCanal], _Key]) -> dict[_Key, list[KeptCanal]]:
    """Canals that belong together, in the order they come."""
    together: dict[_Key, list[KeptCanal]] = {}
    for one in kept:
        together.setdefault(key(one), []).append(one)
    return together
