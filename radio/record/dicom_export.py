"""Write what a casebook holds as DICOM: a report and a presentation state for each image and reader."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from radio.errors import PeriapicalError
from radio.record.atomic import make_directory, write_bytes
from radio.record.dicom_source import source_image
from radio.record.kept import KeptCanal
from radio.record.page import file_stems
from radio.record.presentation import presentation_state
from radio.record.report_sr import measurement_report

if TYPE_CHECKING:
    from pydicom import Dataset


def write_dicom(
    kept: Sequence[KeptCanal], out: Path, *, wrap: bool
) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Write a structured report and a presentation state for each image and reader.

    Parameters
    ----------
    kept : sequence of KeptCanal
    out : pathlib.Path
        Folder, made where it is not there.
    wrap : bool
        Keep images that are no DICOM images, or cannot be referred to, as secondary captures beside.

    Returns
    -------
    written : tuple of pathlib.Path
    refused : tuple of str
        Images of which nothing could be reported, each with the reason.

    Raises
    ------
    PeriapicalError
        The place cannot be written.
    """
    together: dict[tuple[str, str, str], list[KeptCanal]] = {}
    for one in kept:
        key = (one.subject, one.tracing.image_sha256, one.tracing.reader)
        together.setdefault(key, []).append(one)
    groups = list(together.values())
    stems = file_stems(
        "-".join(
            part
            for part in (g[0].subject, g[0].tooth, Path(g[0].tracing.image_name).stem, g[0].tracing.reader)
            if part
        )
        for g in groups
    )
    written: list[Path] = []
    refused: list[str] = []
    make_directory(out)
    for group, stem in zip(groups, stems, strict=True):
        try:
            image, wrapped = source_image(group[0], wrap=wrap)
        except PeriapicalError as problem:
            refused.append(str(problem))
            continue
        made = {"report": measurement_report(group, image), "presentation": presentation_state(group, image)}
        if wrapped:
            made["image"] = image
        for what, ds in made.items():
            written.append(out / f"{stem}-{what}.dcm")
            write_bytes(written[-1], _stored(ds))
    return tuple(written), tuple(refused)


def _stored(ds: Dataset) -> bytes:
    stream = BytesIO()
    ds.save_as(stream, enforce_file_format=True)
    return stream.getvalue()
