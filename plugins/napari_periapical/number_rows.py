"""The lines of the table of numbers, as text; no Qt."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from napari_periapical.construction import KeyEntry, steps_of
from napari_periapical.fields import LABELS
from napari_periapical.guide import GUIDE
from napari_periapical.sheet import Canal
from radio.measure.case import CaseResult, Remark
from radio.measure.methods import METHODS, QUANTITIES, CurvatureMethod, Quantity
from radio.measure.result import Measurement
from radio.record.classed import classes_of_result
from radio.record.wording import (
    MEASURE_NAMES,
    UNIT_SIGNS,
    all_measurements,
    interval_text,
    main_measurements,
    missing_measures,
    name_of,
    value_text,
)

_FIRST = (
    "working_length_mm",
    "target_length_mm",
    "estimated_length_mm",
    "gap_mm",
    "electronic_difference_mm",
    "canal_length_mm",
    "schneider_deg",
)
# what is worked to first; there is an estimate only where there is no working length
_IN_VIEW = ("target_length_mm", "working_length_mm", "estimated_length_mm", "gap_mm", "canal_length_mm")
_HEADLINE = (*_IN_VIEW, "schneider_deg")
# shorter than in a table of results: the panel is narrow
_NAMES = {
    "gap_mm": "Gap, tip to apex",
    "reference_length_mm": "From reference",
    "estimated_length_mm": "Estimate, no file",
    "target_length_mm": "Target by rule",
    "proportion_length_mm": "By proportion",
    "electronic_difference_mm": "vs electronic",
    "tangent_circle_deg": "Circle, angle",
    "tangent_circle_radius_mm": "Circle, radius",
}
# shorter still, where a number stands on the image
_SHORT = {
    "target_length_mm": "Target",
    "estimated_length_mm": "Estimate",
    "working_length_mm": "WL",
    "gap_mm": "Gap",
    "canal_length_mm": "Canal",
    "schneider_deg": "Schneider",
}
_SOURCES = {
    "file": "the file",
    "ball": "the ball",
    "dicom": "the image header",
    "given": "the stated pixel size",
}
_SIGNS = {"stop": "!!", "warn": "!", "note": "·"}


@dataclass(frozen=True)
class NumberRow:
    """One line: the name, the value with uncertainty and unit, and what it rests on."""

    name: str
    value: str
    details: str


def scale_rows(result: CaseResult, canal: Canal) -> tuple[NumberRow, ...]:
    """Make the line of the scale, or say why there is none."""
    return _rows(result, canal, lambda name: name == "scale_mm_per_px")


def length_rows(result: CaseResult, canal: Canal) -> tuple[NumberRow, ...]:
    """Make the lines of the lengths: what was measured, then what could not be, with the reason."""
    return _rows(result, canal, lambda name: name != "scale_mm_per_px" and name not in QUANTITIES)


def angle_rows(result: CaseResult, canal: Canal) -> tuple[NumberRow, ...]:
    """Make the lines of the best known curvature numbers, whichever method is chosen."""
    return _rows(result, canal, lambda name: name in QUANTITIES)


def _rows(result: CaseResult, canal: Canal, wanted: Callable[[str], bool]) -> tuple[NumberRow, ...]:
    there = [_row(one) for one in sorted(main_measurements(result).values(), key=_rank) if wanted(one.name)]
    why = missing_measures(result, canal.placed())
    missing = [
        NumberRow(
            _NAMES.get(name, MEASURE_NAMES[name]),
            f"– {_unit_of(name)}",
            f"Not measured: {in_words(reason)}.",
        )
        for name, reason in why.items()
        if wanted(name) and not (name.startswith("electronic") and canal.facts.electronic_mm is None)
    ]
    return (*there, *missing)


def short_value(result: CaseResult, name: str) -> str:
    """Write one number with its uncertainty and unit; empty where it is not there."""
    found = all_measurements(result).get(name)
    return "" if found is None else _row(found).value


def scale_source(result: CaseResult) -> str:
    """Say in two words where the millimetres come from."""
    assert result.scale is not None
    return f"from {_SOURCES.get(result.scale.source, result.scale.source)}"


def method_rows(result: CaseResult, method: CurvatureMethod) -> tuple[NumberRow, ...]:
    """Make the lines of one curvature method: numbers, words, and what it cannot give, with the reason."""
    rows = []
    for quantity in method.quantities:
        name = _short(quantity.title, method.title)
        if quantity.column in result.measurements:
            rows.append(replace(_row(result.measurements[quantity.column]), name=name))
        elif quantity.column in result.findings:
            found = result.findings[quantity.column]
            told = f"{found.share:.0%} of the traces as they might have come out give the same word"
            details = "\n".join([told, f"Method: {found.method}", f"Basis: {found.basis}", *found.notes])
            rows.append(NumberRow(name, found.word, details))
        else:
            rows.append(NumberRow(name, "–", f"Not measured: {_absence(result, quantity)}."))
    return tuple(rows)


def method_missing(result: CaseResult | None, method: CurvatureMethod) -> str:
    """Say why a method gives no number, or not all of them, and what to do about it."""
    if result is None or result.canal_line is None:
        return "Drawn as soon as the canal is marked: orifice, and canal end or radiographic apex."
    absent = [one for one in method.quantities if one.column not in {*result.measurements, *result.findings}]
    if result.scale is None and any(one.needs_mm or method.needs_mm for one in absent):
        missing = "This construction" if method.needs_mm else "What is missing"
        return (
            f"{missing} needs millimetres, and there is no scale: mark the file and state its length, mark a "
            "ball of known diameter, or state the pixel size."
        )
    reasons = dict.fromkeys(_absence(result, one) for one in absent)
    return "\n".join(f"Not measured: {why}." for why in reasons)


def _absence(result: CaseResult, quantity: Quantity) -> str:
    return result.absent.get(quantity.column, "there is no canal line")


def method_story(result: CaseResult | None, method: CurvatureMethod) -> str:
    """Tell a method: definition, the steps of its construction, source, and the classes that rest on it."""
    parts = [method.definition]
    steps = steps_of(result, method)
    if result is not None and steps:
        parts.append("\n".join(f"{k}. {step.text}" for k, step in enumerate(steps, 1)))
        columns = {quantity.column for quantity in method.quantities}
        parts += [one.text for one in classes_of_result(result) if one.scheme.quantity in columns]
    return "\n\n".join([*parts, f"Source: {method.source}. {method.standing}"])


def step_text(result: CaseResult | None, method: CurvatureMethod, step: int) -> str:
    """Say which step of a construction is drawn last; empty where there is no construction."""
    steps = steps_of(result, method)
    if not steps:
        return ""
    if not 0 < step <= len(steps):
        return f"All {len(steps)} steps"
    return f"Step {step} of {len(steps)}: {steps[step - 1].text}"


def key_html(key: Iterable[KeyEntry]) -> str:
    """Write the key of a construction; on dark in every theme, as the lines are seen on a radiograph."""
    chip = '<span style="background:#303030;color:{}">&nbsp;{}&nbsp;</span>&nbsp;{}'
    return "<br>".join(chip.format(one.colour, "━&nbsp;━" if one.dashed else "━━━", one.title) for one in key)


def _short(title: str, of_method: str) -> str:
    """What a quantity is called below the name of its method."""
    rest = title.removeprefix(of_method).lstrip(", ")
    return rest[:1].upper() + rest[1:] if rest else title


def remark_lines(remarks: Iterable[Remark]) -> list[str]:
    """Write remarks, the grave ones first."""
    order = list(_SIGNS)
    ordered = sorted(remarks, key=lambda remark: order.index(remark.level))
    return [f"{_SIGNS[remark.level]} {in_words(remark.text)}" for remark in ordered]


def _row(one: Measurement) -> NumberRow:
    unit = UNIT_SIGNS.get(one.unit, f" {one.unit}")
    parts = [f"{name_of(one)}, 95 % interval {interval_text(one)}{unit}"]
    parts += [f"Method: {one.method}", f"Basis: {one.basis}", *one.notes]
    return NumberRow(_NAMES.get(one.name, name_of(one)), value_text(one, unit=unit), "\n".join(parts))


def _unit_of(name: str) -> str:
    """Unit of a number that is missing, told by its name: some are known in pixels and not in millimetres."""
    unit = "mm/px" if name.endswith("mm_per_px") else name.rpartition("_")[2]
    return UNIT_SIGNS.get(unit, unit)


def _rank(one: Measurement) -> tuple[int, int]:
    """Put what is acted on first, then the scale, then what is in pixels."""
    names = list(MEASURE_NAMES)
    first = names.index(one.name) if one.name in names else len(names)
    return {"mm/px": 1, "px": 2}.get(one.unit, 0), _FIRST.index(one.name) if one.name in _FIRST else first + 9


def headline(result: CaseResult | None) -> tuple[NumberRow, ...]:
    """Pick the numbers that stay in view while points are placed."""
    there = main_measurements(result) if result else {}
    return tuple(_row(there[name]) for name in _HEADLINE if name in there)


def beside_canal(result: CaseResult | None, method: CurvatureMethod = METHODS[0]) -> str:
    """Write the lengths and the main number of a method in as little room as they need, for the image."""
    if result is None:
        return ""
    there = main_measurements(result)
    lines = [f"{_SHORT[name]} {_row(there[name]).value}" for name in _IN_VIEW if name in there]
    bend = next((one for one in method.quantities if _value_of(result, one)), None)
    if bend is not None:
        lines.append(f"{_SHORT.get(bend.column, bend.title)} {_value_of(result, bend)}")
    return "\n".join(lines)


def _value_of(result: CaseResult, quantity: Quantity) -> str:
    """Write the number or the word of one quantity; empty where there is none."""
    if quantity.column in result.measurements:
        return _row(result.measurements[quantity.column]).value
    found = result.findings.get(quantity.column)
    return "" if found is None else found.word


def in_words(text: str) -> str:
    """Put what a person sees in the panel in the place of column and landmark names."""
    seen = {name: one.label for name, one in GUIDE.items()}
    seen |= {name: label.split(",")[0] for name, label in LABELS.items()}
    for name in sorted((name for name in seen if "_" in name), key=len, reverse=True):
        text = text.replace(name, f"“{seen[name]}”")
    return text
