"""What each measured number is called, how it is written, and why it may be missing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Set

import radio
from calib.scale import Scale
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.length_rules import why_no_target
from radio.measure.methods import QUANTITIES
from radio.measure.result import Measurement
from radio.measure.space_measures import SPACE_TITLES

CAUTION = (
    "Educational and research use, not a medical device. Measurements are checked by the treating clinician "
    "under local codes. No exposure is made only to feed the tool."
)

MADE_BY = f"napari-periapical {radio.__version__}"

MEASURE_NAMES: Mapping[str, str] = {
    "scale_mm_per_px": "Scale",
    "file_length_px": "File, start to tip",
    "gap_mm": "Gap, file tip to radiographic apex",
    "working_length_mm": "Working length",
    "estimated_length_mm": "Estimated length without a file",
    "target_length_mm": "Target length by rule",
    "proportion_length_mm": "Length by proportion",
    "reference_length_mm": "Length from reference to radiographic apex",
    "electronic_difference_mm": "Difference to the electronic reading",
    "canal_length_px": "Canal length",
    "canal_length_mm": "Canal length",
    **{column: quantity.title for column, quantity in QUANTITIES.items()},
}

# of a canal seen in two views
PAIR_NAMES: Mapping[str, str] = SPACE_TITLES | {
    "resultant_bend_deg": "Bend from the two angles",
    "bend_plane_deg": "Plane of that bend",
}

# the numbers whose absence is explained; the others appear where they could be made
EXPECTED = (
    "scale_mm_per_px",
    "file_length_px",
    "gap_mm",
    "working_length_mm",
    "electronic_difference_mm",
    "canal_length_px",
    "canal_length_mm",
    "schneider_deg",
)

# Of the curvature methods, what stands beside lengths; `periapical curvature` shows them all.
_MAIN = (
    "schneider_deg",
    "weine_deg",
    "tangent_circle_deg",
    "tangent_circle_radius_mm",
    "smallest_radius_mm",
)

UNDETERMINED_KEY = "Not determined: a radius whose uncertainty exceeds it; its interval stands."

REMARK_WORDS: Mapping[str, str] = {"stop": "STOP", "warn": "Warning", "note": "Note"}

DECIMALS = {"mm": 2, "px": 1, "deg": 1, "mm/px": 5, "1/mm": 3, "deg/mm": 2, "ratio": 2}
_SIGNED = ("gap_mm", "electronic_difference_mm")
UNIT_SIGNS: Mapping[str, str] = {"deg": "°", "deg/mm": "°/mm", "ratio": ""}


def all_measurements(result: CaseResult) -> dict[str, Measurement]:
    """Gather every number of a canal, the scale first, in the order they are shown."""
    found = dict(result.measurements)
    if result.scale is not None:
        found["scale_mm_per_px"] = _scale_measurement(result.scale, result.implied_magnification)
    order = [*MEASURE_NAMES, *(name for name in found if name not in MEASURE_NAMES)]
    return {name: found[name] for name in order if name in found}


def main_measurements(result: CaseResult) -> dict[str, Measurement]:
    """Gather the numbers that are shown where there is no room for every curvature method."""
    return {n: one for n, one in all_measurements(result).items() if n not in QUANTITIES or n in _MAIN}


def _scale_measurement(scale: Scale, magnification: float | None) -> Measurement:
    notes = scale.notes
    if magnification is not None:
        notes = (*notes, f"Implied magnification (detector pitch over scale) {magnification:.3f}.")
    return Measurement(
        "scale_mm_per_px",
        scale.mm_per_px,
        "mm/px",
        scale.sd_mm_per_px or None,
        f"from {scale.source}",
        scale.basis,
        notes,
    )


def how_text(measurement: Measurement) -> str:
    """Write how a number was made: method, basis and notes as one text."""
    how = "; ".join(part.rstrip(".") for part in (measurement.method, measurement.basis) if part)
    return " ".join([f"{how}.", *(f"{note.rstrip('.')}." for note in measurement.notes)])


def name_of(measurement: Measurement) -> str:
    """Name a measurement for people."""
    return MEASURE_NAMES.get(
        measurement.name, measurement.name.rpartition("_")[0].replace("_", " ").capitalize()
    )


def value_text(measurement: Measurement, *, with_sd: bool = True, unit: str = "") -> str:
    """Write value ± standard uncertainty and a unit; a signed quantity always shows its sign.

    A radius whose uncertainty exceeds it is not determined, and no number of it is written.
    """
    if is_undetermined(measurement):
        return "not determined"
    decimals = DECIMALS.get(measurement.unit, 3)
    sign = "+" if measurement.name in _SIGNED else ""
    value = f"{measurement.value:{sign}.{decimals}f}"
    spread = "" if measurement.sd is None or not with_sd else f" ± {measurement.sd:.{decimals}f}"
    return f"{value}{spread}{unit}"


def is_undetermined(measurement: Measurement) -> bool:
    """Whether it is a radius whose standard uncertainty exceeds it: the canal may as well be straight."""
    return "radius" in measurement.name and (measurement.sd or 0.0) > abs(measurement.value)


def interval_text(measurement: Measurement) -> str:
    """Write the 95 % interval, or a dash where there is none."""
    if measurement.interval95 is None:
        return "–"
    decimals = DECIMALS.get(measurement.unit, 3)
    low, high = measurement.interval95
    return f"{low:.{decimals}f} to {'∞' if high == math.inf else format(high, f'.{decimals}f')}"


def title_of(facts: CaseFacts) -> str:
    """Name a canal for people: tooth, where stated, and canal."""
    return f"Tooth {facts.tooth}, canal {facts.canal}" if facts.tooth else f"Canal {facts.canal}"


def remark_texts(result: CaseResult) -> list[str]:
    """Write what stands beside the numbers, each with its weight as a word."""
    return [f"{REMARK_WORDS[one.level]}: {one.text}" for one in result.told]


def missing_measures(result: CaseResult, clicked: Set[str]) -> dict[str, str]:
    """Say why each expected number is not there.

    Parameters
    ----------
    result : CaseResult
        What was measured.
    clicked : set of str
        Landmarks the user placed.

    Returns
    -------
    dict of str to str
        Reason by column name, for the expected numbers that are missing.
    """
    there = all_measurements(result)
    expected = (*EXPECTED, "target_length_mm") if result.facts.length_rule else EXPECTED
    missing = [name for name in expected if name not in there]
    return {name: result.absent.get(name) or _why(name, result, clicked) for name in missing}


def _why(name: str, result: CaseResult, clicked: Set[str]) -> str:
    facts = result.facts
    if name == "scale_mm_per_px":
        return "scale_from is none" if facts.scale_from == "none" else _why_no_scale(facts)
    if name == "working_length_mm" and facts.file_length_mm is None:
        return "file_length_mm is not given"
    if name == "target_length_mm":
        return why_no_target(facts, result.measurements)
    if name == "electronic_difference_mm" and facts.electronic_mm is None:
        return "electronic_mm is not given"
    lacking = _lacking_points(name, clicked)
    if lacking:
        return f"no click for {lacking}"
    if name == "electronic_difference_mm" and "working_length_mm" not in result.measurements:
        return "there is no working length to compare with"
    if name.endswith("_mm") and result.scale is None:
        return "there is no scale"
    line = result.file_line if name == "file_length_px" else result.canal_line
    if name in ("file_length_px", "canal_length_px", "canal_length_mm", "schneider_deg") and line is None:
        return "the line was not found on the image; see the remarks"
    return "see the remarks"


def _lacking_points(name: str, clicked: Set[str]) -> str:
    end = "canal_end or apex" if not clicked & {"canal_end", "apex"} else ""
    needed = {
        "file_length_px": ("file_start", "file_tip"),
        "gap_mm": ("file_tip", "apex"),
        "working_length_mm": ("file_tip", "apex"),
        "electronic_difference_mm": ("file_tip", "apex"),
        "canal_length_px": ("orifice",),
        "canal_length_mm": ("orifice",),
        "schneider_deg": ("orifice",),
    }.get(name, ())
    lacking = [landmark for landmark in needed if landmark not in clicked]
    if name.startswith(("canal_", "schneider")) and end:
        lacking.append(end)
    return " and ".join(lacking)


def _why_no_scale(facts: CaseFacts) -> str:
    wants = {
        "file": "the file needs file_length_mm and clicks for file_start and file_tip",
        "ball": "the ball needs ball_diameter_mm and a click for ball_centre",
        "dicom": "the image states no pixel size that can be used",
        "given": "mm_per_px is not given",
    }
    if facts.scale_from in wants:
        source = f"scale_from is {facts.scale_from}: {wants[facts.scale_from]}"
    else:
        source = (
            "there is no file of known length, no ball of known diameter, no given mm_per_px and no pixel "
            "size in the image that could be used"
        )
    return f"{source}; see the remarks"
