"""A record of one tooth on one page of paper: HTML that needs nothing else and prints to A4 or Letter."""

from __future__ import annotations

import base64
import io
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph
from radio.record.atomic import make_directory, write_text
from radio.record.book_tables import measurements_of
from radio.record.course import CourseEntry, FileUsed
from radio.record.kept import KeptCanal, grouped, traced_radiograph
from radio.record.page import file_stems
from radio.record.picture_drawing import Drawing
from radio.record.picture_view import crop_to_tooth, draw_scale_bar, show_radiograph
from radio.record.teeth import universal
from radio.record.wording import CAUTION, MADE_BY, UNIT_SIGNS, interval_text, name_of, value_text

Paper = Literal["A4", "Letter"]
PAPERS: Mapping[Paper, tuple[int, int]] = {"A4": (210, 297), "Letter": (216, 279)}
WORDING_NAME = "tooth_sheet.toml"

# of every curvature method only these stand on one page; the tables have them all
_SHOWN = (
    "scale_mm_per_px",
    "gap_mm",
    "working_length_mm",
    "target_length_mm",
    "estimated_length_mm",
    "reference_length_mm",
    "electronic_difference_mm",
    "canal_length_mm",
    "canal_length_px",
    "schneider_deg",
)
_PICTURE_IN = (3.4, 4.1)
_DPI = 170
# by number of canals, so that it fits on a page: size of the text, height of the picture, checks told
_FITS = {1: (8.3, 96, 6), 2: (7.4, 66, 5), 3: (6.6, 54, 4), 4: (6.0, 38, 3)}
_MOST_CANALS = max(_FITS)


@dataclass(frozen=True)
class Sheet:
    """One page: a tooth of one subject on one image by one reader; names for people and the HTML."""

    name: str
    html: str


def checked_paper(given: str) -> Paper:
    """Find a paper by its name, whatever its case.

    Raises
    ------
    PeriapicalError
        It is another one.
    """
    for name in PAPERS:
        if name.casefold() == given.strip().casefold():
            return name
    raise PeriapicalError(f"The paper is given as {given!r}; allowed is {' or '.join(PAPERS)}.")


def default_wording() -> str:
    """The words of a sheet, TOML, to be changed and given to :func:`read_wording`."""
    return (files("radio.record") / WORDING_NAME).read_text(encoding="utf-8")


def read_wording(path: Path | None) -> dict[str, str]:
    """Read words of one's own; those that are left out are the usual ones.

    Parameters
    ----------
    path : pathlib.Path or None
        TOML, each line ``key = "words"``.

    Raises
    ------
    PeriapicalError
        It cannot be read, is no TOML, or has a key that there is not; the keys there are are named.
    """
    usual: dict[str, str] = tomllib.loads(default_wording())
    if path is None:
        return usual
    try:
        own = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise PeriapicalError(f"The wording {path} cannot be read ({reason}); check the place.") from problem
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise PeriapicalError(f"{path.name} is no TOML text in UTF-8: {problem}.") from problem
    for key, words in own.items():
        if key not in usual:
            raise PeriapicalError(f"{path.name} has the key {key!r}; the keys are {', '.join(usual)}.")
        if not isinstance(words, str):
            raise PeriapicalError(f"{path.name}: {key} is {words!r}; it must be a text in quotation marks.")
    return usual | own


def tooth_sheets(
    kept: Sequence[KeptCanal],
    *,
    paper: Paper = "A4",
    wording: Path | None = None,
    with_universal: bool = False,
) -> tuple[Sheet, ...]:
    """Make a sheet of each tooth on each image by each reader.

    Parameters
    ----------
    kept : sequence of KeptCanal
    paper : {"A4", "Letter"}
    wording : pathlib.Path, optional
        Words of one's own, as :func:`read_wording` takes them.
    with_universal : bool
        The Universal number beside ISO 3950.

    Raises
    ------
    PeriapicalError
        The wording cannot be used.
    """
    words = read_wording(wording)
    together = grouped(kept, lambda k: (k.subject, k.tooth, k.tracing.image_sha256, k.tracing.reader))
    # a tooth of more canals than fit on a page has a second one
    groups = [
        (key, canals[start : start + _MOST_CANALS])
        for key, canals in together.items()
        for start in range(0, len(canals), _MOST_CANALS)
    ]
    names = file_stems(
        "-".join(part for part in ("sheet", key[0], key[1] or "tooth", key[3]) if part) for key, _ in groups
    )
    template = _template()
    return tuple(
        Sheet(name, template.render(**_content(canals, words, paper, with_universal=with_universal)))
        for name, canals in zip(names, (canals for _, canals in groups), strict=True)
    )


def write_tooth_sheets(out: Path, sheets: Iterable[Sheet]) -> tuple[Path, ...]:
    """Write sheets into a folder, made where it is not there; gives where they are.

    Raises
    ------
    PeriapicalError
        The place cannot be written.
    """
    make_directory(out)
    written = []
    for one in sheets:
        written.append(out / f"{one.name}.html")
        write_text(written[-1], one.html)
    return tuple(written)


@cache
def _template() -> Any:
    from jinja2 import Environment, StrictUndefined

    # everything that is put in is escaped; a name that is missing is an error, not an empty place
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return made.from_string((files("radio.record") / "tooth_sheet.html").read_text(encoding="utf-8"))


def _content(
    canals: Sequence[KeptCanal], words: Mapping[str, str], paper: Paper, *, with_universal: bool
) -> dict[str, Any]:
    first = canals[0]
    one = first.tracing
    tooth = first.tooth or "not stated"
    if with_universal and first.tooth:
        tooth += f" (Universal {universal(first.tooth)})"
    width, height = PAPERS[paper]
    size_pt, picture_mm, most = _FITS[len(canals)]
    picture, why_none = _picture(canals)
    return {
        "words": words,
        "paper": paper,
        "width_mm": width,
        "height_mm": height,
        "size_pt": size_pt,
        "picture_mm": picture_mm - (PAPERS["A4"][1] - height) * picture_mm // 100,
        "head": {
            "subject": first.subject or "not stated",
            "tooth": tooth,
            "canals": ", ".join(kept.canal for kept in canals),
            "image": one.image_name,
            "view": one.facts.view or "not stated",
            "reader": one.reader or "not stated",
            "traced": f"{one.created:%Y-%m-%d %H:%M %Z}",
        },
        "picture": picture,
        "why_none": why_none,
        "rows": [row for kept in canals for row in _rows(kept)],
        "course": _course(canals),
        "readings": [row for kept in canals for row in _readings(kept)],
        "checks": list(_limited(_checks(canals), most)),
        "caution": CAUTION,
        "provenance": [
            f"{MADE_BY} wrote this sheet; {one.software} made the numbers.",
            f"Image SHA-256 {one.image_sha256}.",
            *(f"Canal {k.canal}: revision {k.tracing.revision}, {k.tracing.uuid}." for k in canals),
        ],
    }


def _rows(kept: KeptCanal) -> Iterable[dict[str, str]]:
    found = measurements_of(kept)
    for name in _SHOWN:
        # in pixels only where there are no millimetres
        if name not in found or (name == "canal_length_px" and "canal_length_mm" in found):
            continue
        one = found[name]
        how = "; ".join(part.rstrip(".") for part in (one.method, one.basis) if part)
        unit = UNIT_SIGNS.get(one.unit, f" {one.unit}")
        yield {
            "canal": kept.canal,
            "name": name_of(one),
            "value": value_text(one, unit=unit),
            "interval": interval_text(one),
            "how": how,
        }


def _course(canals: Sequence[KeptCanal]) -> dict[str, Any]:
    """Stages one below the other, canals side by side: each length by what it is compared with."""
    followed = [(kept.canal, kept.course.entries) for kept in canals if kept.course is not None]
    stages = sorted({one.stage for _, entries in followed for one in entries}, key=lambda stage: stage.rank)
    return {
        "canals": [canal for canal, _ in followed],
        "rows": [
            {
                "stage": str(stage),
                "cells": [[_length(one) for one in entries if one.stage == stage] for _, entries in followed],
            }
            for stage in stages
        ],
    }


def _length(entry: CourseEntry) -> dict[str, str]:
    sd = "" if entry.length_sd_mm is None else f" ± {entry.length_sd_mm:.2f}"
    file = "" if entry.file == FileUsed() else f"file {entry.file}"
    told = (entry.method, entry.basis, file, entry.reference, entry.time, entry.note)
    return {"length": f"{entry.length_mm:.2f}{sd} mm", "how": "; ".join(part for part in told if part)}


def _readings(kept: KeptCanal) -> Iterable[dict[str, str]]:
    facts = kept.tracing.facts
    told = []
    if facts.electronic_mm is not None:
        told.append(f"{facts.electronic_mm:.2f} mm, mark: {facts.electronic_mark or 'not stated'}")
    for one in kept.readings:
        lengths = ", ".join(f"{value:.2f}" for value in one.reading.all_mm)
        told.append(f"{lengths} mm, mark: {one.reading.mark or 'not stated'}")
    if told:
        yield {"canal": kept.canal, "told": "; ".join(told)}


def _checks(canals: Sequence[KeptCanal]) -> Iterable[str]:
    weights = {"stop": 0, "warn": 1, "note": 2}
    found = []
    for kept in canals:
        for check in kept.tracing.checks:
            level = "note" if check.settled else check.level
            found.append((weights[level], f"Canal {kept.canal}, {level}: {check.text}"))
        found += [
            (weights[one.level], f"Canal {kept.canal}, {one.level}: {one.text}")
            for one in kept.tracing.remarks
        ]
    return dict.fromkeys(text for _, text in sorted(found, key=lambda pair: pair[0]))


def _limited(told: Iterable[str], most: int) -> Iterable[str]:
    """Keep the gravest, and say how many are not on the page."""
    told = list(told)
    yield from told[:most]
    if len(told) > most:
        yield f"{len(told) - most} more, not graver than these, stand in the casebook."


def _picture(canals: Sequence[KeptCanal]) -> tuple[str, str]:
    """Picture as a data URI, and why there is none."""
    try:
        return _drawn(traced_radiograph(canals[0])[0], canals), ""
    except PeriapicalError as problem:
        return "", str(problem)


def _drawn(radiograph: Radiograph, canals: Sequence[KeptCanal]) -> str:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    results = [one.tracing.as_result() for one in canals]
    crop = crop_to_tooth(radiograph, results)
    ratio = crop.width_px / (crop.height_px * radiograph.pixel_aspect)
    wide, tall = _PICTURE_IN
    size = (min(wide, tall * ratio), min(tall, wide / ratio))
    figure = Figure(figsize=size, dpi=_DPI)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    show_radiograph(axes, radiograph, crop)
    Drawing(axes, radiograph, crop).draw(results)
    draw_scale_bar(axes, crop, results)
    axes.set_axis_off()
    stream = io.BytesIO()
    # nothing of the image but its pixels goes along: no name, no header, no date
    figure.savefig(stream, format="png", dpi=_DPI, metadata={"Software": MADE_BY})
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode()
