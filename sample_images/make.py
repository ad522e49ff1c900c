"""Make the sample images, tables and truth anew: ``python sample_images/make.py [--out DIR]``."""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from radio.image.synthetic import SyntheticCanal, SyntheticCase, Truth, make_case
from radio.image.synthetic.curves import arc_length, foot, resample
from radio.image.synthetic.writing import write_dicom, write_jpeg, write_png, write_tiff

IMAGE_COLUMNS = (
    "image",
    "canal",
    "tooth",
    "view",
    "scale_from",
    "file_length_mm",
    "file_start_at",
    "file_size",
    "ball_diameter_mm",
    "mm_per_px",
    "electronic_mm",
    "electronic_mark",
    "subject",
)
LINE_STEP_PX, SPACE_STEP_MM = 4.0, 0.1
CLICK_COLUMNS = ("image", "canal", "landmark", "order", "row", "col")


@dataclass(frozen=True)
class Sample:
    """One entry of ``series.json``.

    Parameters
    ----------
    name, subject : str
        Name of the image; invented subject label.
    seed : int
        Seed of everything that is not fixed.
    fixed : mapping
        Fixed parameters of the generator.
    write : mapping
        How the image is stored: ``as`` and what that way of storing needs.
    canals : tuple of str
        Names of the canals that have rows in the tables.
    view : str
        View label.
    electronic : mapping
        Canal to (error in mm, mark) of an invented electronic reading.
    in_space : bool
        One of several views of a tooth: the truth holds the axis of the canal in space too.
    """

    name: str
    subject: str
    seed: int
    fixed: Mapping[str, Any]
    write: Mapping[str, Any]
    canals: Sequence[str] = ("1",)
    view: str = "straight"
    electronic: Mapping[str, tuple[float, Literal["zero", "half"]]] = field(default_factory=dict)
    in_space: bool = False


def read_series() -> list[Sample]:
    """Read what the samples are made from."""
    series = json.loads((Path(__file__).parent / "series.json").read_text(encoding="utf-8"))
    return [Sample(**(entry | {"fixed": series["common"] | entry["fixed"]})) for entry in series["samples"]]


def write_image(case: SyntheticCase, sample: Sample, path: Path) -> None:
    """Store a case the way its entry asks for."""
    how = dict(sample.write)
    kind = how.pop("as")
    if kind == "dicom":
        factor = round(case.truth.magnification, 2) if how.pop("magnification", False) else None
        write_dicom(case, path, subject=sample.subject, magnification=factor, **how)
    else:
        {"png": write_png, "tiff": write_tiff, "jpeg": write_jpeg}[kind](case, path, **how)


def _points(line: np.ndarray, step: float) -> list[list[float]]:
    return [_rounded(point) for point in resample(line, step)]


def truth_of(truth: Truth, *, in_space: bool) -> dict[str, Any]:
    """Truth of one canal as plain numbers: points rounded to 0.001 px or mm, lengths to 0.0001 mm.

    Parameters
    ----------
    truth : Truth
    in_space : bool
        With the axis in space.
    """
    record: dict[str, Any] = {}
    for name, value in vars(truth).items():
        if name == "canal_axis_mm":
            if in_space:
                record[name] = _points(value, SPACE_STEP_MM)
        elif isinstance(value, np.ndarray):
            record[name] = _points(value, LINE_STEP_PX) if value.ndim == 2 else _rounded(value)
        elif isinstance(value, float):
            record[name] = round(value, 7 if name.endswith("mm_per_px") else 4)
        else:
            record[name] = value
    return record


def _rounded(point: np.ndarray) -> list[float]:
    return [round(float(value), 3) for value in point]


def canals_of(sample: Sample, case: SyntheticCase) -> list[SyntheticCanal]:
    """All canals of a sample with their names and what else is stated about them."""
    found = [SyntheticCanal(case.facts, case.clicks, case.truth), *case.others]
    named = []
    for label, canal in zip(sample.canals, found, strict=True):
        facts = replace(canal.facts, canal=label, view=sample.view, subject=sample.subject)
        if label in sample.electronic:
            error, mark = sample.electronic[label]
            facts = replace(facts, electronic_mm=_electronic(canal.truth, error), electronic_mark=mark)
        named.append(SyntheticCanal(facts, canal.clicks, canal.truth))
    return named


def _electronic(truth: Truth, error_mm: float) -> float:
    """File length at which the tip would stand at the canal end, with an error, in steps of 0.1 mm."""
    assert truth.file_length_mm is not None
    assert truth.file_tip_px is not None
    left = arc_length(truth.canal_axis_px)[-1] - foot(truth.canal_axis_px, truth.file_tip_px)
    return round(truth.file_length_mm + float(left) * truth.mm_per_px + error_mm, 1)


def _image_row(sample: Sample, canal: SyntheticCanal) -> dict[str, Any]:
    facts = canal.facts
    row = {name: getattr(facts, name) for name in IMAGE_COLUMNS if name != "image"}
    if facts.file_length_mm is None:
        row["file_start_at"] = None
    blank = {name: "" if value is None else value for name, value in row.items()}
    return {"image": sample.name, **blank}


def _click_rows(sample: Sample, canal: SyntheticCanal) -> list[dict[str, Any]]:
    return [
        {
            "image": sample.name,
            "canal": canal.facts.canal,
            "landmark": landmark,
            "order": number,
            "row": f"{point[0]:.1f}",
            "col": f"{point[1]:.1f}",
        }
        for landmark, points in canal.clicks.items()
        for number, point in enumerate(points, start=1)
    ]


def _write_table(path: Path, columns: tuple[str, ...], rows: list[dict[str, Any]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def make_samples(out: Path, names: tuple[str, ...] | None = None) -> None:
    """Write sample images, IMAGES.csv, CLICKS.csv and truth.json.

    Parameters
    ----------
    out : pathlib.Path
        Folder, made if it is not there.
    names : tuple of str or None
        Only these images; None for all.
    """
    out.mkdir(parents=True, exist_ok=True)
    images: list[dict[str, Any]] = []
    clicks: list[dict[str, Any]] = []
    truth: dict[str, Any] = {}
    for sample in read_series():
        if names is not None and sample.name not in names:
            continue
        case = make_case(sample.seed, **sample.fixed)
        write_image(case, sample, out / sample.name)
        for canal in canals_of(sample, case):
            images.append(_image_row(sample, canal))
            clicks += _click_rows(sample, canal)
            truth.setdefault(sample.name, {})[canal.facts.canal] = truth_of(
                canal.truth, in_space=sample.in_space
            )
    _write_table(out / "IMAGES.csv", IMAGE_COLUMNS, images)
    _write_table(out / "CLICKS.csv", CLICK_COLUMNS, clicks)
    (out / "truth.json").write_text(json.dumps(truth, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder to write to")
    make_samples(parser.parse_args().out)
