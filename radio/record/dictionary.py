"""What each column of the tables means: name, unit, definition, method and source."""

from __future__ import annotations

from dataclasses import dataclass

from radio.measure.methods import METHODS
from radio.record.wording import MEASURE_NAMES

DICTIONARY_COLUMNS = ("column", "table", "unit", "definition", "method", "source")
_OURS = "own definition of this program"

# Who measured what, at the head of the long and the wide table.
ABOUT_COLUMNS = {
    "subject": "Pseudonym of the person or specimen; empty where none is stated",
    "tooth": "Tooth in ISO 3950 two-digit notation",
    "tooth_universal": "The same tooth in Universal numbering",
    "canal": "Name of the canal",
    "image": "Name of the image when it was traced",
    "image_sha256": "SHA-256 of the stored image, hexadecimal",
    "view": "Direction of view as stated",
    "reader": "Who placed the points",
    "revision": "Number of the revision of the tracing, from 1",
    "revision_uuid": "Name of the revision in the casebook",
    "created": "When the revision was made, ISO 8601 with time zone",
    "software": "Program and version that made the numbers",
}
LONG_COLUMNS = {
    "kind": "What the row is: measurement, reading (electronic) or course (length at a stage)",
    "quantity": "Column name of the measured quantity in this dictionary",
    "stage": "Stage of the treatment, of a course; the mark, of an electronic reading",
    "value": "The estimate, in unit",
    "unit": "Unit of value, standard uncertainty and interval: mm, px, deg, mm/px, 1/mm, deg/mm or ratio",
    "standard_uncertainty": "Standard uncertainty of value; empty where none can be stated",
    "low95": "Lower end of the 95 % interval",
    "high95": "Upper end of the 95 % interval; inf where it has none",
    "method": "How the value was made",
    "basis": "What it rests on: source of the scale, landmarks, tolerance",
    "notes": "What must be said beside the value",
}
WIDE_COLUMNS = {
    "scale_source": "What the scale was made from",
    "remarks": "Warnings and notes beside the numbers",
    "checks": "Pre-flight checks that found something, with level and answer",
    "curvature_settings": "Parameters the curvature methods were run with, JSON",
    "display": "Display aids that were on while the points were placed",
}
LONG_SOURCES = {
    "low95": "JCGM 100:2008, 6.2.1; of a radius or a sum of bends by order statistics of possible traces",
    "standard_uncertainty": "JCGM 100:2008, 2.3.1",
    "tooth": "ISO 3950",
}
_LENGTHS = {
    "scale_mm_per_px": "Millimetres per pixel in the plane of the calibrating object, by geometric mean",
    "file_length_px": "Length of the traced file from its start to its tip",
    "gap_mm": "Signed distance along the canal from file tip to radiographic apex; positive where the tip is "
    "short of it",
    "working_length_mm": "Known length of the file plus the gap",
    "reference_length_mm": "Length along the canal from the coronal reference to the radiographic apex",
    "estimated_length_mm": "Length from the reference to the radiographic apex, without a file in the canal",
    "target_length_mm": "Length to the radiographic apex less what the named rule takes off",
    "proportion_length_mm": "Known length of the file times the ratio of canal to file on the image",
    "electronic_difference_mm": "Electronic reading minus working length; the two are never averaged",
    "canal_length_px": "Length of the traced canal from orifice to canal end",
    "canal_length_mm": "Length of the traced canal from orifice to canal end",
    "electronic_mm": "File length at which the electronic reading stood; its mark stands in stage",
    "course_length_mm": "Length from the coronal reference at a stage of the treatment",
}


@dataclass(frozen=True)
class Term:
    """One column, told; `table` says where it stands: long, wide, both, or a quantity."""

    column: str
    table: str
    unit: str
    definition: str
    method: str
    source: str

    @property
    def cells(self) -> tuple[str, ...]:
        """In the order of :data:`DICTIONARY_COLUMNS`."""
        return self.column, self.table, self.unit, self.definition, self.method, self.source


def sd_column(column: str) -> str:
    """Column of the standard uncertainty that stands beside a column, as in the results table.

    Examples
    --------
    >>> sd_column("gap_mm"), sd_column("total_turning_deg"), sd_column("sinuosity")
    ('gap_sd_mm', 'total_turning_sd_deg', 'sinuosity_sd')
    """
    for ending in ("_mm_per_px", "_deg_per_mm", "_per_mm", "_mm", "_deg", "_px"):
        if column.endswith(ending):
            return f"{column.removesuffix(ending)}_sd{ending}"
    return f"{column}_sd"


def data_dictionary() -> tuple[Term, ...]:
    """Every column the tables may have, in the order they stand."""
    told = [Term(n, "both", "", text, "", LONG_SOURCES.get(n, _OURS)) for n, text in ABOUT_COLUMNS.items()]
    told += [Term(n, "long", "", text, "", LONG_SOURCES.get(n, _OURS)) for n, text in LONG_COLUMNS.items()]
    told += [Term(n, "wide", "", text, "", _OURS) for n, text in WIDE_COLUMNS.items()]
    for column, text in _LENGTHS.items():
        unit = "mm/px" if column.endswith("mm_per_px") else column.rpartition("_")[2]
        told += _quantity(column, unit, text, MEASURE_NAMES.get(column, "as stated"), _OURS)
    for method in METHODS:
        for one in method.quantities:
            if one.unit != "word":
                text = f"{one.title}. {method.definition}"
                told += _quantity(one.column, one.unit, text, method.title, method.source)
    return tuple(told)


def _quantity(column: str, unit: str, text: str, method: str, source: str) -> list[Term]:
    beside = f"Standard uncertainty of {column}"
    ends = [
        Term(
            f"{column}_{end}95", "wide", unit, f"{word} end of the 95 % interval of {column}", method, source
        )
        for end, word in (("low", "Lower"), ("high", "Upper"))
    ]
    return [
        Term(column, "quantity", unit, text, method, source),
        Term(sd_column(column), "wide", unit, beside, method, LONG_SOURCES["standard_uncertainty"]),
        *ends,
    ]
