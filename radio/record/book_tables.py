"""The tables a casebook leaves as: long, one row a number, and wide, one row a canal."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

from radio.measure.result import Measurement
from radio.record.dictionary import (
    ABOUT_COLUMNS,
    DICTIONARY_COLUMNS,
    LONG_COLUMNS,
    WIDE_COLUMNS,
    data_dictionary,
    sd_column,
)
from radio.record.kept import KeptCanal
from radio.record.teeth import universal
from radio.record.wording import MEASURE_NAMES, REMARK_WORDS

Cell = str | float | int | None


@dataclass(frozen=True)
class Table:
    """A table with a name; a missing number is None, never 0.

    Parameters
    ----------
    name : str
    columns : tuple of str
    numeric : frozenset of str
        Columns that hold numbers.
    rows : tuple of tuple
        One cell a column.
    """

    name: str
    columns: tuple[str, ...]
    numeric: frozenset[str]
    rows: tuple[tuple[Cell, ...], ...]


def tables_of(kept: Sequence[KeptCanal]) -> tuple[Table, ...]:
    """Long table, wide table and data dictionary of what stands in a casebook.

    Parameters
    ----------
    kept : sequence of KeptCanal
        Canals, in the order of the rows.
    """
    told = tuple(one.cells for one in data_dictionary())
    return _long(kept), _wide(kept), Table("dictionary", DICTIONARY_COLUMNS, frozenset(), told)


def measurements_of(kept: KeptCanal) -> dict[str, Measurement]:
    """Every number of a canal by column, the scale among them, in the order they are shown."""
    tracing = kept.tracing
    found = dict(tracing.measurements)
    if tracing.scale is not None:
        one = tracing.scale
        sd = one.sd_mm_per_px or None
        method = f"from {one.source}"
        found["scale_mm_per_px"] = Measurement(
            "scale_mm_per_px", one.mm_per_px, "mm/px", sd, method, one.basis, one.notes
        )
    order = [*MEASURE_NAMES, *(name for name in found if name not in MEASURE_NAMES)]
    return {name: found[name] for name in order if name in found}


def _about(kept: KeptCanal) -> dict[str, Cell]:
    one = kept.tracing
    return {
        "subject": kept.subject,
        "tooth": kept.tooth,
        "tooth_universal": universal(kept.tooth),
        "canal": kept.canal,
        "image": one.image_name,
        "image_sha256": one.image_sha256,
        "view": one.facts.view,
        "reader": one.reader,
        "revision": one.revision,
        "revision_uuid": str(one.uuid),
        "created": one.created.isoformat(),
        "software": one.software,
    }


def _long(kept: Sequence[KeptCanal]) -> Table:
    columns = (*ABOUT_COLUMNS, *LONG_COLUMNS)
    rows: list[tuple[Cell, ...]] = []
    # readings and course belong to a canal, not to each image and reader of it
    told: set[tuple[str, str, str]] = set()
    for one in kept:
        about = _about(one)
        found = list(_measured(one))
        whose = (one.subject, one.tooth, one.canal)
        lengths = [] if whose in told else list(_lengths(one))
        told.add(whose)
        blank: dict[str, Cell] = dict.fromkeys(ABOUT_COLUMNS)
        plain = blank | {n: about[n] for n in ("subject", "tooth", "tooth_universal", "canal")}
        rows += [tuple({**about, **row}.get(c) for c in columns) for row in found]
        rows += [tuple({**plain, **row}.get(c) for c in columns) for row in lengths]
    numeric = frozenset({"revision", "value", "standard_uncertainty", "low95", "high95"})
    return Table("long", columns, numeric, tuple(rows))


def _measured(kept: KeptCanal) -> Iterator[dict[str, Cell]]:
    for name, one in measurements_of(kept).items():
        low, high = one.interval95 or (None, None)
        yield {
            "kind": "measurement",
            "quantity": name,
            "value": one.value,
            "unit": one.unit,
            "standard_uncertainty": one.sd,
            "low95": low,
            "high95": high,
            "method": one.method,
            "basis": one.basis,
            "notes": " ".join(one.notes),
        }


def _lengths(kept: KeptCanal) -> Iterator[dict[str, Cell]]:
    for one in kept.readings:
        about: dict[str, Cell] = {"kind": "reading", "quantity": "electronic_mm", "unit": "mm"}
        mark = one.reading.mark or "mark not stated"
        for value in one.reading.all_mm:
            yield about | {
                "stage": mark,
                "value": value,
                "method": "electronic reading",
                "image": one.image,
                "notes": " ".join(one.notes),
                "created": one.reading.time,
            }
    for entry in kept.course.entries if kept.course is not None else ():
        yield {
            "kind": "course",
            "quantity": "course_length_mm",
            "stage": str(entry.stage),
            "value": entry.length_mm,
            "unit": "mm",
            "standard_uncertainty": entry.length_sd_mm,
            "method": entry.method,
            "basis": entry.basis,
            "notes": entry.note,
            "created": entry.time,
        }


def _wide(kept: Sequence[KeptCanal]) -> Table:
    measured = [measurements_of(one) for one in kept]
    there = {name for found in measured for name in found}
    order = [*MEASURE_NAMES, *sorted(there - set(MEASURE_NAMES))]
    names = [name for name in order if name in there]
    numbers = tuple(c for n in names for c in (n, sd_column(n), f"{n}_low95", f"{n}_high95"))
    columns = (*ABOUT_COLUMNS, *numbers, *WIDE_COLUMNS)
    rows = []
    for one, found in zip(kept, measured, strict=True):
        row = _about(one) | _beside(one)
        for name, number in found.items():
            ends = number.interval95 or (None, None)
            row |= {name: number.value, sd_column(name): number.sd}
            row |= {f"{name}_low95": ends[0], f"{name}_high95": ends[1]}
        rows.append(tuple(row.get(column) for column in columns))
    return Table("wide", columns, frozenset({"revision", *numbers}), tuple(rows))


def _beside(kept: KeptCanal) -> dict[str, Cell]:
    one = kept.tracing
    return {
        "scale_source": "" if one.scale is None else one.scale.source,
        "remarks": "; ".join(f"{REMARK_WORDS[told.level]}: {told.text}" for told in one.remarks),
        "checks": "; ".join(check.short for check in one.checks),
        "curvature_settings": "" if one.settings is None else json.dumps(asdict(one.settings)),
        "display": one.display,
    }
