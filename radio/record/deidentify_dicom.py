"""A DICOM image without what says whose it is, by the Basic profile of DICOM PS3.15 Annex E.

The new object is made from a list of what may stay: numbers and coded terms of the picture itself, each
checked to be such. What is not on the list is not there any more, known to the profile or not, private or
not; so a place nobody thought of is empty, too.
"""

from __future__ import annotations

import math
import re
import warnings
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from radio.image.dicom_header import RADIOGRAPH_CLASSES
from radio.image.radiograph import sha256_of
from radio.record.dicom_codes import person_name, tooth_of_code
from radio.record.dicom_object import SECONDARY_CAPTURE, code_item, complete, put_meta
from radio.record.pseudonyms import Pseudonyms

if TYPE_CHECKING:
    from pydicom import Dataset

Dates = Literal["remove", "shift"]

_LARGEST_NUMBER = 1e6
_NUMBERS = (
    "PixelSpacing",
    "ImagerPixelSpacing",
    "NominalScannedPixelSpacing",
    "PixelAspectRatio",
    "EstimatedRadiographicMagnificationFactor",
    "DistanceSourceToDetector",
    "DistanceSourceToPatient",
    "DetectorElementPhysicalSize",
    "DetectorElementSpacing",
    "PixelIntensityRelationshipSign",
    "RescaleIntercept",
    "RescaleSlope",
    "WindowCenter",
    "WindowWidth",
    "PixelPaddingValue",
    "PixelPaddingRangeLimit",
    "KVP",
    "ExposureTime",
    "XRayTubeCurrent",
    "SeriesNumber",
    "InstanceNumber",
    "LossyImageCompressionRatio",
)
_TERMS: Mapping[str, frozenset[str]] = {
    "Modality": frozenset({"IO", "DX", "CR", "RG", "OT", "SC"}),
    "PresentationIntentType": frozenset({"FOR PRESENTATION", "FOR PROCESSING"}),
    "PresentationLUTShape": frozenset({"IDENTITY", "INVERSE"}),
    "PixelIntensityRelationship": frozenset({"LIN", "LOG", "DISP"}),
    "VOILUTFunction": frozenset({"LINEAR", "LINEAR_EXACT", "SIGMOID"}),
    "LossyImageCompression": frozenset({"00", "01"}),
    "LossyImageCompressionMethod": frozenset({"ISO_10918_1", "ISO_14495_1", "ISO_15444_1"}),
    "ImageLaterality": frozenset({"R", "L", "B", "U"}),
    "Laterality": frozenset({"R", "L"}),
    "PositionerType": frozenset({"NONE", "CEPHALOSTAT", "RIGID"}),
    "DetectorType": frozenset({"DIRECT", "SCINTILLATOR", "STORAGE", "FILM"}),
    "ConversionType": frozenset({"DV", "DI", "DF", "WSD", "SD", "SI", "DRW", "SYN"}),
    "PixelSpacingCalibrationType": frozenset({"GEOMETRY", "FIDUCIAL"}),
    "RescaleType": frozenset({"US", "OD"}),
    "ImageType": frozenset({"ORIGINAL", "DERIVED", "PRIMARY", "SECONDARY"}),
    "PatientOrientation": frozenset("APLRHF"),
    "BurnedInAnnotation": frozenset({"YES", "NO"}),
    "BodyPartExamined": frozenset({"JAW", "MANDIBLE", "MAXILLA", "HEAD"}),
}
_LOOK_UP_TABLES = ("ModalityLUTSequence", "VOILUTSequence")
_REGIONS: Mapping[str, str] = {
    "28035005": "Teeth, gums and supporting structures",
    "91609006": "Mandible",
    "661005": "Jaw region",
    "70925003": "Maxilla",
}
_DATES = ("StudyDate", "SeriesDate", "AcquisitionDate", "ContentDate")
# further ones of type 2: where they were they stay, without a value
_EMPTIED = (
    *("ContentDate", "ContentTime", "Manufacturer", "Laterality", "PatientOrientation", "DetectorType"),
    "AcquisitionContextSequence",
)
_NAMING = frozenset({"PN", "LO", "SH", "ST", "LT", "UT", "UC", "AE"})
_TEXT = _NAMING | {"DA", "DT", "TM", "AS", "UR", "CS", "IS", "DS"}


@dataclass(frozen=True)
class PlainDicom:
    """A new object, and what was done to make it.

    Parameters
    ----------
    dataset : pydicom.Dataset
        Without pixels.
    subject : str
        Pseudonym.
    removed : mapping of str to int
        How many elements of each name are gone; private and unnamed ones together.
    words : frozenset of str
        What stood in them, to be looked for elsewhere; never to be written.
    photometric : str
        How the pixels were meant.
    says_burnt_in : bool
        Whether the header says that letters are burnt in.
    """

    dataset: Dataset
    subject: str
    removed: Mapping[str, int]
    words: frozenset[str]
    photometric: str
    says_burnt_in: bool


def plain_dicom(data: bytes, key: Pseudonyms, *, subject: str = "", dates: Dates = "remove") -> PlainDicom:
    """Make a DICOM image anew from what may stay.

    Parameters
    ----------
    data : bytes
        The stored image; it has been decoded before, so it is one.
    key : Pseudonyms
    subject : str
        Whose it is, where that is stated elsewhere; else the patient it names.
    dates : {"remove", "shift"}
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pydicom remarks on every irregular header
        return _made_anew(data, key, subject, dates)


def _made_anew(data: bytes, key: Pseudonyms, subject: str, dates: Dates) -> PlainDicom:
    from pydicom import Dataset, dcmread

    old = dcmread(BytesIO(data), force=True)
    pseudonym = key.subject(subject or str(old.get("PatientID") or old.get("PatientName") or ""))
    ds = Dataset()
    known = str(old.get("SOPClassUID", ""))
    ds.SOPClassUID = known if known in RADIOGRAPH_CLASSES else SECONDARY_CAPTURE
    for name in ("SOPInstanceUID", "StudyInstanceUID", "SeriesInstanceUID", "FrameOfReferenceUID"):
        if old.get(name) or name != "FrameOfReferenceUID":
            ds[name] = _element(name, key.uid(str(old.get(name) or f"{name} of {sha256_of(data)}")))
    ds.PatientName, ds.PatientID = person_name(pseudonym), pseudonym
    _keep(old, ds)
    for name in _EMPTIED:
        if name not in ds and name in old:
            ds[name] = _element(name, None)
    complete(ds)
    if dates == "shift":
        _shift_dates(old, ds, key, pseudonym)
    _say_so(ds, dates)
    put_meta(ds)
    photometric = str(old.get("PhotometricInterpretation") or "MONOCHROME2")
    burnt = str(old.get("BurnedInAnnotation") or "").strip().upper() == "YES"
    return PlainDicom(ds, pseudonym, *_gone(old, ds), photometric, burnt)


def _keep(old: Any, ds: Any) -> None:
    for name in _NUMBERS:
        numbers = _numbers(old.get(name))
        if numbers:
            ds[name] = _element(name, numbers if len(numbers) > 1 else numbers[0])
    for name, allowed in _TERMS.items():
        value = old.get(name)
        given = [value] if isinstance(value, str) else list(value or ())
        letters = name == "PatientOrientation"
        if given and all(_is_term(str(one), allowed, letters=letters) for one in given):
            ds[name] = _element(name, [str(one) for one in given] if len(given) > 1 else str(given[0]))
    if "ImageType" not in ds and old.get("ImageType"):
        ds.ImageType = ["DERIVED", "SECONDARY"]
    for name in _LOOK_UP_TABLES:
        tables = [_plain_table(item) for item in old.get(name) or ()]
        if tables:
            ds[name] = _element(name, tables)
    structures = [_tooth_item(item) for item in old.get("PrimaryAnatomicStructureSequence") or ()]
    regions = [_region_item(item) for item in old.get("AnatomicRegionSequence") or ()]
    for name, items in (
        ("PrimaryAnatomicStructureSequence", structures),
        ("AnatomicRegionSequence", regions),
    ):
        there = [item for item in items if item is not None]
        if there:
            ds[name] = _element(name, there)


def _is_term(text: str, allowed: frozenset[str], *, letters: bool) -> bool:
    if letters:
        return 0 < len(text) <= 3 and set(text) <= allowed
    return text in allowed or text == ""


def _numbers(value: Any) -> list[Any]:
    """Numbers of a plausible size, or none at all: a long one may be somebody's number."""
    given = value if isinstance(value, Iterable) and not isinstance(value, str) else [value]
    found = []
    for one in given:
        try:
            number = float(one)
        except (TypeError, ValueError):
            return []
        if not math.isfinite(number) or abs(number) >= _LARGEST_NUMBER:
            return []
        found.append(int(number) if number == int(number) else float(f"{number:.9g}"))
    return found


def _plain_table(item: Any) -> Any:
    from pydicom import Dataset

    made = Dataset()
    signed = int(item.LUTDescriptor[1]) < 0
    made.add_new("LUTDescriptor", "SS" if signed else "US", [int(one) for one in item.LUTDescriptor])
    raw = item["LUTData"].value
    values = np.frombuffer(raw, "<u2") if isinstance(raw, bytes) else np.asarray(raw, dtype=np.int64)
    made.add_new("LUTData", "OW", values.astype("<u2").tobytes())
    if "ModalityLUTType" in item:
        made.ModalityLUTType = "US"
    return made


def _tooth_item(item: Any) -> Any:
    tooth = tooth_of_code(str(item.get("CodeValue", "")))
    return None if tooth is None else code_item(tooth.value, "SCT", tooth.meaning)


def _region_item(item: Any) -> Any:
    value = str(item.get("CodeValue", ""))
    return code_item(value, "SCT", _REGIONS[value]) if value in _REGIONS else None


def _shift_dates(old: Any, ds: Any, key: Pseudonyms, subject: str) -> None:
    for name in _DATES:
        try:
            day = datetime.strptime(str(old.get(name) or ""), "%Y%m%d").date()
        except ValueError:
            continue
        try:
            moved: date = key.shifted(day, subject)
        except OverflowError:
            continue
        ds[name] = _element(name, f"{moved:%Y%m%d}")


def _say_so(ds: Any, dates: Dates) -> None:
    """What was done, as PS3.15 E.1.1 and PS3.3 C.12.1.1 want it said."""
    from pydicom.sr.codedict import codes

    done = [codes.DCM.BasicApplicationConfidentialityProfile]
    if dates == "shift":
        done.append(codes.DCM.RetainLongitudinalTemporalInformationModifiedDatesOption)
    ds.PatientIdentityRemoved = "YES"
    ds.DeidentificationMethod = "made anew from a list of what may stay"
    ds.DeidentificationMethodCodeSequence = [code_item(one.value, "DCM", one.meaning) for one in done]
    ds.LongitudinalTemporalInformationModified = "MODIFIED" if dates == "shift" else "REMOVED"


def _gone(old: Any, ds: Any) -> tuple[dict[str, int], frozenset[str]]:
    """Names of what is not there any more or changed, and the words that stood in it."""
    count: Counter[str] = Counter()
    words: set[str] = set()
    for element in _all_elements(old):
        if element.tag in ds and ds[element.tag].value == element.value:
            continue
        name = element.keyword or ("private" if element.tag.is_private else "unnamed")
        if element.tag != 0x7FE00010:
            count[name] += 1
        if element.VR in _TEXT:
            words |= set(_words(element))
    return dict(sorted(count.items())), frozenset(words)


def _all_elements(ds: Any) -> Iterable[Any]:
    for element in ds:
        yield element
        if element.VR == "SQ":
            for item in element.value:
                yield from _all_elements(item)


def _words(element: Any) -> Iterable[str]:
    values = element.value if element.VM > 1 else [element.value]
    for value in values:
        text = str(value).strip()
        if element.VR == "PN":
            yield from (part for part in re.split(r"[\^=\s]+", text) if len(part) >= 3)
        elif element.VR in _NAMING and len(text) >= 4:
            yield text
        elif element.VR in ("DA", "DT") and len(text) >= 8:
            yield text[:8]


def _element(name: str, value: Any) -> Any:
    from pydicom import DataElement
    from pydicom.datadict import dictionary_VR, tag_for_keyword

    tag = tag_for_keyword(name)
    assert tag is not None
    vr = dictionary_VR(tag).split(" or ")[0]
    if vr == "SQ":
        from pydicom import Sequence

        value = Sequence(value or [])
    return DataElement(tag, vr, value)
