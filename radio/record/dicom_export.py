"""Write what a casebook holds as DICOM: a report and a presentation state for each image and reader."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from radio.errors import PeriapicalError
from radio.record.atomic import make_directory, write_bytes
from radio.record.dicom_object import object_bytes
from radio.record.dicom_source import source_image
from radio.record.kept import KeptCanal, grouped
from radio.record.page import file_stems
from radio.record.presentation import presentation_state
from radio.record.report_sr import measurement_report


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
    groups = list(grouped(kept, lambda k: (k.subject, k.tracing.image_sha256, k.tracing.reader)).values())
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
            write_bytes(written[-1], object_bytes(ds))
    return tuple(written), tuple(refused)
