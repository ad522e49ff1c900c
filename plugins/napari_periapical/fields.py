"""The facts a person can state about a canal: labels, what may be chosen, how text is taken; no Qt."""

from __future__ import annotations

import math
from dataclasses import replace

from radio.errors import TableError, echoed
from radio.measure.case import CaseFacts
from radio.measure.reading import ReadingFacts
from radio.measure.settings import DEFAULT_SETTINGS, LIMITS, CurvatureSettings
from radio.record.cells import FILE_SIZES
from radio.record.fact_cells import facts_from_cells
from radio.record.reading_words import ALLOWED, EXAMPLE, cells_of_words, reading_words

# fact, label, hint in the empty field
LINES = (
    ("canal", "Canal name", "1"),
    ("tooth", "Tooth (ISO 3950)", "for example 36"),
    ("file_length_mm", "File length, mm", "as set or measured"),
    ("ball_diameter_mm", "Ball diameter, mm", "if one is shown"),
    ("mm_per_px", "Pixel size, mm", "if known"),
    ("detector_pitch_mm", "Detector pitch, mm", "checks the scale"),
    ("electronic_mm", "Electronic, mm", "file length at reading"),
    ("electronic", "Electronic, state", EXAMPLE),
    ("electronic_tolerance_mm", "Accepted, mm", "0.5 unless given"),
    ("length_rule", "Length rule", "mm, or resorption"),
)
# fact, label, (text shown, value as text)
CHOICES: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = (
    ("file_start_at", "File length from", (("stop", "stop"), ("handle", "handle"))),
    ("file_size", "File size (ISO)", (("not stated", ""), *((f"{s:02d}", str(s)) for s in FILE_SIZES))),
    (
        "scale_from",
        "Scale from",
        (
            ("the best found", ""),
            ("file", "file"),
            ("ball", "ball"),
            ("image header", "dicom"),
            ("pixel size", "given"),
            ("angles only", "none"),
        ),
    ),
    (
        "electronic_mark",
        "Electronic mark",
        (("not stated", ""), ("zero mark", "zero"), ("half mark", "half")),
    ),
    (
        "resorption",
        "Resorption",
        (("not stated", ""), ("none", "none"), ("bone", "bone"), ("bone and root", "bone+root")),
    ),
)
TOOLTIPS = {
    "electronic": f"State of the canal and of the reading, set apart by semicolons: {ALLOWED}.",
    "electronic_tolerance_mm": "Difference between electronic reading and radiograph that is accepted",
}
LABELS = {name: label for name, label, _ in (*LINES, *CHOICES)}


def with_fact(facts: CaseFacts, name: str, text: str) -> tuple[CaseFacts, str]:
    """State one fact as text; empty takes it back.

    Returns
    -------
    CaseFacts, str
        The new facts and no problem, or the old ones and what is wrong with the text.
    """
    try:
        cells = cells_of_words(text) if name == "electronic" else {name: text.strip()}
    except TableError as problem:
        return facts, _sentence(str(problem))
    stated, problems = facts_from_cells(cells, _said, facts)
    return (facts, _sentence(problems[0].removeprefix(": "))) if problems else (stated, "")


# setting, label
SETTINGS = (
    ("departure_tolerance_mm", "Departure, mm"),
    ("departure_tolerance_px", "Departure, px"),
    ("apical_portion_mm", "Apical portion, mm"),
    ("long_axis_portion", "Long-axis share"),
    ("smoothing_mm", "Smoothing, mm"),
)
_OUT_OF_LIMITS = "Given {}; allowed is {}. Empty takes {:.4g}."


def with_setting(settings: CurvatureSettings, name: str, text: str) -> tuple[CurvatureSettings, str]:
    """State one setting of the curvature methods as text; empty takes the usual value.

    Returns
    -------
    CurvatureSettings, str
        The new settings and no problem, or the old ones and what is wrong with the text.
    """
    limits, usual = LIMITS[name], getattr(DEFAULT_SETTINGS, name)
    try:
        value = float(text.strip().replace(",", ".")) if text.strip() else usual
    except ValueError:
        value = math.nan
    if not limits.hold(value):
        return settings, _OUT_OF_LIMITS.format(echoed(text.strip()), limits.words, usual)
    return replace(settings, **{name: value}), ""


def _said(column: str) -> str:
    """Name a part of a field that holds several; a field of one fact needs no name beside its label."""
    return "" if column in LABELS else column.removeprefix("electronic_").replace("_", " ")


def _sentence(told: str) -> str:
    return told[:1].upper() + told[1:]


def text_of(facts: CaseFacts, name: str) -> str:
    """Write a fact as its field shows it; empty where it is not stated."""
    value = getattr(facts, name)
    if isinstance(value, ReadingFacts):
        return reading_words(value)
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)
