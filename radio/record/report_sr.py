"""Measurements as a DICOM structured report, Comprehensive SR by TID 1500, and back into tracings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

import radio
from radio.errors import PeriapicalError
from radio.measure.result import Measurement
from radio.record.book_tables import measurements_of
from radio.record.dicom_codes import (
    from_graphic,
    own_concept,
    own_scheme,
    person_name,
    quantity_concept,
    to_graphic,
    tooth_concept,
    uid_from,
    uid_of,
    unit_concept,
)
from radio.record.dicom_object import MAKER, MODEL, date_by
from radio.record.kept import KeptCanal
from radio.record.kept_lines import kept_lines
from radio.record.tracing import Tracing, tracings_from_text, tracings_text
from radio.record.wording import CAUTION, name_of

if TYPE_CHECKING:
    from pydicom import Dataset

FloatArray = npt.NDArray[np.float64]

# The whole tracing goes along in an element of our own (PS3.5 7.8): coordinates in a report are single
# precision, and much of a tracing has no place in one.
_GROUP, _ELEMENT, CREATOR = 0x0F11, 0x01, "napari-periapical tracings"
_STRUCTURED_REPORT = "1.2.840.10008.5.1.4.1.1.88.33"
_SERIES_NUMBER = 9101
# Single precision of a coordinate, and the digits of a number in a report.
_SAME_PX, _SAME_SHARE = 0.01, 1e-6
_OF_FILE_AND_GAP = (
    "working_length_mm",
    "target_length_mm",
    "electronic_difference_mm",
    "proportion_length_mm",
)


def measurement_report(kept: Sequence[KeptCanal], image: Dataset) -> Dataset:
    """Report the canals one reader traced on one image.

    Parameters
    ----------
    kept : sequence of KeptCanal
        At least one; all of the same image and reader.
    image : pydicom.Dataset
        That image, as :func:`radio.record.dicom_source.source_image` gives it.

    Returns
    -------
    pydicom.Dataset
        Comprehensive SR, root template TID 1500, a group by TID 1501 for each canal; measured values by
        TID 300 with the method as modifier and the ends of the 95 % interval as uncertainty. The UID follows
        from the content: the same tracings of the same image give the same report.
    """
    from highdicom.sr import ComprehensiveSR, MeasurementReport

    groups = [_group(one, image) for one in kept]
    document = tracings_text([one.tracing for one in kept])
    content = MeasurementReport(
        observation_context=_observers(kept[0].tracing),
        procedure_reported=own_concept("radiograph", "Measurement of root canals on a radiograph"),
        imaging_measurements=groups,
    )
    report = ComprehensiveSR(
        evidence=[image],
        content=content[0],
        series_instance_uid=uid_of("reports", str(image.StudyInstanceUID), kept[0].tracing.reader),
        series_number=_SERIES_NUMBER,
        sop_instance_uid=uid_of("report", str(image.SOPInstanceUID), document),
        instance_number=1,
        manufacturer=MAKER,
        is_complete=True,
        series_description="Root canal measurements",
    )
    report.SpecificCharacterSet = "ISO_IR 192"
    report.ManufacturerModelName = MODEL
    report.SoftwareVersions = radio.__version__
    report.CompletionFlagDescription = CAUTION.split(".", maxsplit=1)[0]
    report.CodingSchemeIdentificationSequence = [own_scheme()]
    date_by(report, (one.tracing for one in kept), "Content")
    block = report.private_block(_GROUP, CREATOR, create=True)
    block.add_new(_ELEMENT, "UT", document)
    return report


def read_report(path: Path) -> tuple[Tracing, ...]:
    """Read tracings back from a report of :func:`measurement_report`.

    Parameters
    ----------
    path : pathlib.Path

    Raises
    ------
    PeriapicalError
        It is no such report, the tracings were taken out of it, or what it reports is not what they say.
    """
    from pydicom import dcmread
    from pydicom.errors import InvalidDicomError

    try:
        ds = dcmread(path)
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise PeriapicalError(f"The report {path} cannot be read ({reason}); check the place.") from problem
    except (InvalidDicomError, ValueError, KeyError, EOFError) as problem:
        raise PeriapicalError(f"{path.name} is no whole DICOM object: {problem}.") from problem
    if ds.get("SOPClassUID") != _STRUCTURED_REPORT:
        raise PeriapicalError(
            f"{path.name} is no Comprehensive SR; needed is a report written by 'periapical casebook export'."
        )
    try:
        text = str(ds.private_block(_GROUP, CREATOR)[_ELEMENT].value)
    except KeyError:
        raise PeriapicalError(
            f"{path.name} holds no tracings: it was made by another program, or private elements were taken "
            "out of it, as de-identification does. Its numbers stay readable, its points cannot be taken up."
        ) from None
    tracings = tracings_from_text(text, path.name)
    _check_against(ds, tracings, path.name)
    return tracings


def _group(kept: KeptCanal, image: Dataset) -> Any:
    from highdicom.sr import FindingSite, MeasurementsAndQualitativeEvaluations, TrackingIdentifier

    tooth = tooth_concept(kept.tooth)
    numbers = measurements_of(kept)
    lines = _lines_by_column(kept.tracing, numbers)
    named = " ".join(part for part in (kept.subject, kept.tooth, f"canal {kept.canal}") if part)
    return MeasurementsAndQualitativeEvaluations(
        tracking_identifier=TrackingIdentifier(uid_from(kept.tracing.uuid), named),
        finding_type=own_concept("root_canal", "Root canal of a tooth"),
        finding_sites=None if tooth is None else [FindingSite(tooth)],
        measurements=[
            _measured(one, kept.tracing.software, lines.get(one.name, ()), image) for one in numbers.values()
        ],
    )


def _measured(one: Measurement, software: str, lines: Sequence[FloatArray], image: Dataset) -> Any:
    from highdicom.sr import (
        AlgorithmIdentification,
        CoordinatesForMeasurement,
        Measurement,
        MeasurementProperties,
        SourceImageForRegion,
    )

    title, unit = name_of(one), unit_concept(one.unit)
    low, high = one.interval95 or (math.nan, math.nan)
    beside: dict[str, Any] = {
        "lower_measurement_uncertainty": one.value - low,
        "upper_measurement_uncertainty": high - one.value,
    }
    known: dict[str, Any] = {
        name: value for name, value in beside.items() if math.isfinite(value) and value >= 0
    }
    properties = MeasurementProperties(**known) if known else None
    for item in properties or ():
        # the unit of the value it is of; the library writes "no units"
        item.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0] = unit
    source = SourceImageForRegion(image.SOPClassUID, image.SOPInstanceUID)
    name, _, version = software.rpartition(" ")
    return Measurement(
        name=quantity_concept(one, title),
        value=one.value,
        unit=unit,
        method=own_concept(one.name, title),
        algorithm_id=AlgorithmIdentification(
            name or MODEL, version or radio.__version__, list(_told(one)), manufacturer=MAKER
        ),
        properties=properties,
        referenced_coordinates=[
            CoordinatesForMeasurement("POLYLINE", to_graphic(line), source) for line in lines
        ]
        or None,
    )


def _told(one: Measurement) -> Iterator[str]:
    yield f"column={one.name}"
    yield f"method={one.method}"
    yield f"basis={one.basis}"
    if one.sd is not None:
        yield f"standard uncertainty={one.sd:g} {one.unit}; range of uncertainty: ends of the 95 % interval"
    yield from (f"note={note}" for note in one.notes)


def _lines_by_column(tracing: Tracing, columns: Iterable[str]) -> dict[str, list[FloatArray]]:
    """Lines each number was taken from, as (row, col)."""
    lines = kept_lines(tracing)
    by_length = tracing.scale is not None and tracing.scale.source == "file"
    # what a number has no lines of its own for was taken from the canal
    own = {
        **dict.fromkeys(_OF_FILE_AND_GAP, ("FILE", "GAP")),
        "gap_mm": ("GAP",) if "GAP" in lines else ("CANAL",),
        "file_length_px": ("FILE",),
        "scale_mm_per_px": ("FILE",) if by_length else (),
        "schneider_deg": ("AXIS", "CHORD") if "AXIS" in lines else ("CANAL",),
    }
    return {
        column: [lines[name] for name in own.get(column, ("CANAL",)) if name in lines] for column in columns
    }


def _observers(tracing: Tracing) -> Any:
    from highdicom.sr import (
        DeviceObserverIdentifyingAttributes,
        ObservationContext,
        ObserverContext,
        PersonObserverIdentifyingAttributes,
    )
    from pydicom.sr.codedict import codes

    person = None
    if tracing.reader:
        person = ObserverContext(
            codes.DCM.Person, PersonObserverIdentifyingAttributes(person_name(tracing.reader))
        )
    device = DeviceObserverIdentifyingAttributes(
        uid_of("device", tracing.software), name=tracing.software, manufacturer_name=MAKER, model_name=MODEL
    )
    return ObservationContext(person, ObserverContext(codes.DCM.Device, device))


def _check_against(ds: Dataset, tracings: Sequence[Tracing], name: str) -> None:
    """Compare what anybody reads in a report with the tracings in it."""
    by_uid = {uid_from(one.uuid): one for one in tracings}
    reported: set[str] = set()
    for group in _containers(ds):
        uid = next((str(item.UID) for item in group if _code(item) == ("112040", "DCM")), "")
        one = by_uid.get(uid)
        if one is None:
            continue
        reported.add(uid)
        numbers = measurements_of(KeptCanal("", "", "", one))
        kept = _lines_by_column(one, numbers)
        found = {column: (value, lines) for column, value, lines in _numbers(group)}
        same = set(found) == set(numbers) and all(
            math.isclose(value, numbers[column].value, rel_tol=_SAME_SHARE)
            and _same_lines(lines, kept[column])
            for column, (value, lines) in found.items()
        )
        if not same:
            raise PeriapicalError(
                f"{name} was changed after it was written: what it reports is not what its tracings say. "
                "Nothing is taken from it; use the report as it was written."
            )
    if reported != set(by_uid):
        raise PeriapicalError(
            f"{name} was changed after it was written: not every tracing is reported in it."
        )


def _containers(ds: Dataset) -> Iterator[Any]:
    for item in ds.get("ContentSequence", ()):
        if _code(item) == ("126010", "DCM"):
            for group in item.get("ContentSequence", ()):
                yield group.get("ContentSequence", ())


def _numbers(group: Any) -> Iterator[tuple[str, float, list[FloatArray]]]:
    """Column, value and lines of every measured value of a group."""
    for item in group:
        if item.ValueType != "NUM":
            continue
        column, lines = "", []
        for beside in item.get("ContentSequence", ()):
            if _code(beside) == ("370129005", "SCT"):
                method = beside.ConceptCodeSequence[0]
                column = str(method.get("CodeValue") or method.get("LongCodeValue"))
            elif beside.ValueType == "SCOORD":
                lines.append(from_graphic(beside.GraphicData))
        yield column, _value(item.MeasuredValueSequence[0]), lines


def _value(measured: Any) -> float:
    # a decimal string has 16 signs; the floating value beside it has all
    return float(measured.get("FloatingPointValue", measured.NumericValue))


def _same_lines(found: Sequence[FloatArray], kept: Sequence[FloatArray]) -> bool:
    return len(found) == len(kept) and all(
        a.shape == b.shape and np.allclose(a, b, rtol=0.0, atol=_SAME_PX)
        for a, b in zip(found, kept, strict=True)
    )


def _code(item: Any) -> tuple[str, str]:
    if "ConceptNameCodeSequence" not in item:
        return "", ""
    code = item.ConceptNameCodeSequence[0]
    return str(code.get("CodeValue", "")), str(code.CodingSchemeDesignator)
