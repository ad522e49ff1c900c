"""The tables that leave: one row for each canal measured, one for each canal skipped."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping
from pathlib import Path

from radio.measure.case import CaseResult
from radio.measure.case_reading import accepted_mm
from radio.measure.classes import NO_CLASS, SCHEMES
from radio.measure.electronic import judged
from radio.measure.length_rules import rule_named
from radio.measure.methods import METHODS, QUANTITIES
from radio.record.atomic import write_text
from radio.record.classed import classes_of_result
from radio.record.tables import Skip
from radio.trace.line import Line

# These stand first and in this order, whatever the methods are.
_FIXED_COLUMNS = (
    "image",
    "canal",
    "tooth",
    "scale_mm_per_px",
    "scale_sd_mm_per_px",
    "scale_source",
    "implied_magnification",
    "file_length_px",
    "file_tip_row",
    "file_tip_col",
    "gap_mm",
    "gap_sd_mm",
    "working_length_mm",
    "working_length_sd_mm",
    "electronic_difference_mm",
    "canal_length_px",
    "canal_length_mm",
    "canal_length_sd_mm",
    "schneider_deg",
    "schneider_sd_deg",
    "departure_tolerance_mm",
    "weine_deg",
    "weine_sd_deg",
    "long_axis_deg",
    "tangent_circle_deg",
    "tangent_circle_radius_mm",
    "access_angle_deg",
    "curve_height_mm",
    "curve_distance_mm",
    "total_turning_deg",
    "smallest_radius_mm",
    "s_shaped",
    "warnings",
    "seconds",
    "electronic_difference_sd_mm",
    "reference_length_mm",
    "reference_length_sd_mm",
    "placed_by_hand",
    "estimated_length_mm",
    "estimated_length_sd_mm",
    "target_length_mm",
    "target_length_sd_mm",
    "length_rule",
    "checks",
)
_OF_METHODS = tuple(
    column for quantity in QUANTITIES.values() for column in (quantity.column, quantity.beside)
)
# An interval that does not lie evenly about its value has columns of its own.
_UNEVEN = tuple(q for q in QUANTITIES.values() if q.reciprocal or q.noise_adds)
_OF_INTERVALS = tuple(f"{q.column}_{end}95" for q in _UNEVEN for end in ("low", "high"))
_OF_CLASSES = tuple(
    column for scheme in SCHEMES for column in (f"class_{scheme.name}", f"class_{scheme.name}_told")
)
RESULT_COLUMNS = (
    *_FIXED_COLUMNS,
    *(column for column in _OF_METHODS if column not in _FIXED_COLUMNS),
    *_OF_INTERVALS,
    "curvature_settings",
    *_OF_CLASSES,
    "canal_line",
    "file_line",
    "electronic_tolerance_mm",
    "electronic_verdict",
    "display",
)
SKIPPED_COLUMNS = ("image", "canal", "reason")


def result_row(image: str, result: CaseResult, *, display: str = "") -> dict[str, str]:
    """Make one row of the results table.

    Parameters
    ----------
    image : str
        The image as the user named it.
    result : CaseResult
        What was measured on one canal of it.
    display : str
        Display aids that were on while its points were placed; none where nobody looked, as in a batch.

    Returns
    -------
    dict of str to str
        A text for every column of :data:`RESULT_COLUMNS`; empty where nothing could be measured.
    """
    row = dict.fromkeys(RESULT_COLUMNS, "")
    row |= {"image": image, "canal": result.facts.canal, "tooth": result.facts.tooth}
    if result.scale is not None:
        row["scale_mm_per_px"] = _number(result.scale.mm_per_px)
        row["scale_sd_mm_per_px"] = _number(result.scale.sd_mm_per_px or None)
        row["scale_source"] = result.scale.source
        if result.construction is not None:
            tolerance_mm = result.construction.tolerance_px * result.scale.col_mm_per_px
            row["departure_tolerance_mm"] = _number(tolerance_mm)
    row["implied_magnification"] = _number(result.implied_magnification)
    for column in _FIXED_COLUMNS:
        source = result.measurements.get(column.replace("_sd_", "_"))
        if source is not None:
            row[column] = _number(source.sd if "_sd_" in column else source.value)
    for quantity in QUANTITIES.values():
        if quantity.column in result.measurements:
            one = result.measurements[quantity.column]
            row[quantity.column], row[quantity.beside] = _number(one.value), _number(one.sd)
        elif quantity.column in result.findings:
            found = result.findings[quantity.column]
            row[quantity.column], row[quantity.beside] = found.word, _number(found.share)
    for quantity in _UNEVEN:
        one_interval = result.measurements.get(quantity.column)
        if one_interval is not None and one_interval.interval95 is not None:
            ends = zip(("low", "high"), one_interval.interval95, strict=True)
            row |= {f"{quantity.column}_{end}95": _number(value) for end, value in ends}
    if result.stack is not None:
        told = {f"{method.name}: {method.settings(result.stack)}" for method in METHODS}
        row["curvature_settings"] = "; ".join(sorted(told))
    for classified in classes_of_result(result):
        row[f"class_{classified.scheme.name}"] = classified.label or NO_CLASS
        row[f"class_{classified.scheme.name}_told"] = classified.text
    row["placed_by_hand"] = ", ".join(_placed_by_hand(result))
    if "target_length_mm" in result.measurements:
        rule = rule_named(result.facts.length_rule, result.facts.resorption)
        row["length_rule"] = rule.name if rule else ""
    tip = result.landmarks.get("file_tip")
    if tip is not None:
        row["file_tip_row"], row["file_tip_col"] = _number(tip.row), _number(tip.col)
    row["warnings"] = "; ".join(remark.text for remark in result.told if remark.level != "note")
    row["checks"] = "; ".join((*(check.short for check in result.checks), *_other_answers(result)))
    difference = result.measurements.get("electronic_difference_mm")
    if difference is not None:
        accepted = accepted_mm(result.facts)
        row["electronic_tolerance_mm"] = _number(accepted)
        row["electronic_verdict"] = judged(difference, accepted)
    row["seconds"] = f"{result.seconds:.3f}"
    row["canal_line"], row["file_line"] = _line(result.canal_line), _line(result.file_line)
    row["display"] = display
    return row


def _placed_by_hand(result: CaseResult) -> list[str]:
    """Parts of the construction that were placed, and landmarks that stay exactly where they were put."""
    placed = result.stack.placed if result.stack is not None else None
    parts = {"axis": placed.axis, "departure": placed.departure} if placed is not None else {}
    exact = dict.fromkeys(landmark for landmark, _ in result.facts.exact)
    return [*(name for name, one in parts.items() if one is not None), *(f"{one} exactly" for one in exact)]


def _other_answers(result: CaseResult) -> list[str]:
    """Answers to checks that found nothing."""
    found = {check.id for check in result.checks}
    return [f"{one.check} ({one.words})" for one in result.facts.answers if one.check not in found]


def _number(value: float | None) -> str:
    # seven digits hold a pixel position to 0.0001 px and a scale to far below its uncertainty
    return "" if value is None or not math.isfinite(value) else f"{value:.7g}"


def _line(line: Line | None) -> str:
    return "" if line is None else json.dumps(line.points_px.round(1).tolist(), separators=(",", ":"))


def write_results(path: Path, rows: Iterable[Mapping[str, str]]) -> None:
    """Write the results table; rows as :func:`result_row` makes them."""
    _write(path, RESULT_COLUMNS, rows)


def write_skipped(path: Path, skips: Iterable[Skip]) -> None:
    """Write the table of canals that were not measured, each with its reason."""
    _write(path, SKIPPED_COLUMNS, ({"image": s.image, "canal": s.canal, "reason": s.reason} for s in skips))


def _write(path: Path, columns: tuple[str, ...], rows: Iterable[Mapping[str, str]]) -> None:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    write_text(path, text.getvalue())
