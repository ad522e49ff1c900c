"""The table that leaves: every row of a list of readings, compared or with the reason why not."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from radio.measure.electronic import TOLERANCES_MM, within
from radio.measure.readings_list import NOT_STATED, ComparedReading
from radio.record.atomic import write_text
from radio.record.readings_table import LostReading

COMPARED_COLUMNS = (
    "line",
    "image",
    "subject",
    "canal",
    "tooth",
    "electronic_mark",
    "readings",
    "electronic_mm",
    "electronic_sd_mm",
    "readings_spread_mm",
    "radiographic_mm",
    "radiographic_sd_mm",
    "radiographic_from",
    "electronic_difference_mm",
    "electronic_difference_sd_mm",
    "electronic_difference_low95",
    "electronic_difference_high95",
    *(f"within_{tolerance:g}_mm" for tolerance in TOLERANCES_MM),
    "tolerance_mm",
    "verdict",
    "causes_stated",
    "causes_possible",
    "chosen_mm",
    "chosen_basis",
    "chosen_reason",
    "chosen_by",
    "remarks",
    "skipped_because",
)


def compared_row(one: ComparedReading) -> dict[str, str]:
    """Make one row; a text for every column of :data:`COMPARED_COLUMNS`, empty where there is nothing."""
    listed, comparison = one.listed, one.comparison
    reading, choice, difference = listed.reading, listed.choice, comparison.difference
    interval = difference.interval95 or (None, None)
    row = dict.fromkeys(COMPARED_COLUMNS, "")
    row |= {
        "line": str(listed.line),
        "image": listed.image,
        "subject": listed.subject,
        "canal": reading.canal,
        "tooth": reading.tooth,
        "electronic_mark": reading.mark or NOT_STATED,
        "readings": str(len(reading.all_mm)),
        "electronic_mm": _number(comparison.electronic.value),
        "electronic_sd_mm": _number(comparison.electronic.sd),
        "readings_spread_mm": _number(reading.spread_mm),
        "radiographic_mm": _number(comparison.radiographic.value),
        "radiographic_sd_mm": _number(comparison.radiographic.sd),
        "radiographic_from": comparison.radiographic.basis,
        "electronic_difference_mm": _number(difference.value),
        "electronic_difference_sd_mm": _number(difference.sd),
        "electronic_difference_low95": _number(interval[0]),
        "electronic_difference_high95": _number(interval[1]),
        "tolerance_mm": _number(comparison.tolerance_mm),
        "verdict": comparison.verdict,
        "causes_stated": "; ".join(fits.cause.title for fits in comparison.causes if fits.stated),
        "causes_possible": "; ".join(fits.cause.title for fits in comparison.causes if not fits.stated),
        "remarks": " ".join(remark.text for remark in one.remarks),
    }
    for tolerance in TOLERANCES_MM:
        row[f"within_{tolerance:g}_mm"] = "yes" if within(difference.value, tolerance) else "no"
    if choice is not None:
        row |= {
            "chosen_mm": _number(choice.mm),
            "chosen_basis": choice.basis,
            "chosen_reason": choice.reason,
            "chosen_by": choice.reader,
        }
    return row


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.7g}"


def write_compared(path: Path, compared: Sequence[ComparedReading], lost: Sequence[LostReading]) -> None:
    """Write every row of the list in the order of its lines.

    Parameters
    ----------
    path : pathlib.Path
    compared : sequence of ComparedReading
    lost : sequence of LostReading
        Rows that were not compared; only who they are and the reason is written.

    Raises
    ------
    PeriapicalError
        The place cannot be written.
    """
    rows = [compared_row(one) for one in compared]
    for one in lost:
        told = {"line": str(one.line), "image": one.image, "subject": one.subject, "canal": one.canal}
        rows.append(told | {"skipped_because": one.reason})
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COMPARED_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(sorted(rows, key=lambda row: int(row["line"])))
    write_text(path, text.getvalue())
