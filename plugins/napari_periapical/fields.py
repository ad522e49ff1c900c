"""The facts a person can state about a canal: labels, what may be chosen, how text is taken; no Qt."""

from __future__ import annotations

import math
from dataclasses import replace

from radio.measure.case import CaseFacts
from radio.measure.settings import DEFAULT_SETTINGS, LIMITS, CurvatureSettings
from radio.record.cells import FILE_SIZES, facts_from_cells

# fact, label, hint in the empty field
LINES = (
    ("canal", "Canal name", "1"),
    ("tooth", "Tooth (ISO 3950)", "for example 36"),
    ("file_length_mm", "File length, mm", "as set or measured"),
    ("ball_diameter_mm", "Ball diameter, mm", "if one is shown"),
    ("mm_per_px", "Pixel size, mm", "if known"),
    ("electronic_mm", "Electronic, mm", "file length at reading"),
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
            ("given pixel size", "given"),
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
ORDER = (
    "canal",
    "tooth",
    "file_length_mm",
    "file_start_at",
    "file_size",
    "scale_from",
    "ball_diameter_mm",
    "mm_per_px",
    "electronic_mm",
    "electronic_mark",
    "length_rule",
    "resorption",
)
LABELS = {name: label for name, label, _ in (*LINES, *CHOICES)}


def with_fact(facts: CaseFacts, name: str, text: str) -> tuple[CaseFacts, str]:
    """State one fact as text; empty takes it back.

    Returns
    -------
    CaseFacts, str
        The new facts and no problem, or the old ones and what is wrong with the text.
    """
    stated, problems = facts_from_cells({name: text.strip()}, lambda _: "")
    if problems:
        told = problems[0].removeprefix(": ")
        return facts, told[:1].upper() + told[1:]
    return replace(facts, **{name: getattr(stated, name)}), ""


# setting, label
SETTINGS = (
    ("departure_tolerance_mm", "Departure, mm"),
    ("departure_tolerance_px", "Departure, px"),
    ("apical_portion_mm", "Apical portion, mm"),
    ("long_axis_portion", "Long-axis share"),
    ("smoothing_mm", "Smoothing, mm"),
)
_OUT_OF_LIMITS = "Given {!r}; allowed is {}. Empty takes {:.4g}."


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
        return settings, _OUT_OF_LIMITS.format(text.strip(), limits.words, usual)
    return replace(settings, **{name: value}), ""
