"""The rows of the accuracy tables: which measures, in which words, with which aims."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One measure.

    Parameters
    ----------
    name : str
        Key in `tests.benchmarks.judge.Errors`.
    label : str
        In words, with its unit.
    aim : tuple of float or None
        Wanted median and 95th percentile of the absolute error.
    """

    name: str
    label: str
    aim: tuple[float, float] | None = None


ERRORS = (
    Row("scale_file_pct", "scale from file, against the file's own projection, %", (0.4, 1.5)),
    Row("scale_plane_pct", "scale from file, against a pixel in the canal's plane, %", (0.4, 1.5)),
    Row("tip_mm", "file tip, mm", (0.06, 0.15)),
    Row("gap_mm", "gap, mm", (0.10, 0.30)),
    Row("working_length_mm", "working length, mm"),
    Row("reference_length_mm", "length from the reference, by the scale, mm"),
    Row("canal_length_file_mm", "canal length with file, mm", (0.10, 0.30)),
    Row("canal_length_no_file_mm", "canal length without file, mm"),
    Row("ball_5mm_pct", "scale from a 5 mm ball, %", (0.3, 1.0)),
    Row("ball_pct", "scale from a ball, all diameters, %"),
    Row("line_file_mm", "canal line with file, mean distance, mm", (0.02, 0.08)),
    Row("line_no_file_mm", "canal line without file, mean distance, mm", (0.04, 0.15)),
    Row("schneider_file_deg", "Schneider with file, degrees", (1.0, 3.0)),
    Row("schneider_no_file_deg", "Schneider without file, degrees", (1.5, 5.0)),
    Row("seconds", "seconds for trace and measure", (0.05, 0.15)),
)

# Where the errors above come from; no aims of their own.
PARTS = (
    Row("schneider_lean_deg", "Schneider with file: the lean of the exact file alone, degrees"),
    Row("schneider_rest_deg", "Schneider with file: what is left beside that lean, degrees"),
    Row("tip_along_mm", "file tip, along the file, mm"),
    Row("tip_aside_mm", "file tip, aside of the file, mm"),
    Row("orifice_file_mm", "orifice with file, along the canal, mm"),
    Row("orifice_no_file_mm", "orifice without file, along the canal, mm"),
    Row("canal_end_file_mm", "canal end with file, along the canal, mm"),
    Row("canal_end_no_file_mm", "canal end without file, along the canal, mm"),
    Row("canal_length_file_end_clicked_mm", "canal length with file, canal end clicked, mm"),
    Row("canal_length_no_file_end_clicked_mm", "canal length without file, canal end clicked, mm"),
)

INTERVALS = (
    Row("scale_file_pct", "scale from file, against its own projection"),
    Row("scale_plane_pct", "scale from file, against the canal's plane"),
    Row("ball_pct", "scale from a ball"),
    Row("scale_header_pct", "scale from the detector pitch"),
    Row("gap_mm", "gap"),
    Row("working_length_mm", "working length"),
    Row("reference_length_mm", "length from the reference, by the scale"),
    Row("canal_length_file_mm", "canal length with file"),
    Row("canal_length_no_file_mm", "canal length without file"),
    Row("schneider_file_deg", "Schneider with file"),
    Row("schneider_no_file_deg", "Schneider without file"),
    Row("tip_along_mm", "file tip, along the file"),
    Row("tip_aside_mm", "file tip, aside of the file"),
    Row("orifice_file_mm", "orifice with file"),
    Row("orifice_no_file_mm", "orifice without file"),
    Row("canal_end_file_mm", "canal end with file"),
    Row("canal_end_no_file_mm", "canal end without file"),
)
INTERVAL_AIM = (0.90, 0.99)

DIFFICULTY = tuple(
    row
    for row in ERRORS
    if row.name
    in (
        "scale_file_pct",
        "tip_mm",
        "gap_mm",
        "canal_length_file_mm",
        "line_file_mm",
        "line_no_file_mm",
        "schneider_file_deg",
        "schneider_no_file_deg",
    )
)
