"""Codes for what is reported as DICOM: teeth, quantities and units; and the one change of coordinates."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, UUID, uuid5

import numpy as np
import numpy.typing as npt

from radio.measure.result import Measurement

if TYPE_CHECKING:
    from highdicom.sr import CodedConcept

# Codes of our own, for what no standard code says; DICOM PS3.16 8.2 leaves designators beginning with 99 to
# whoever makes them.
SCHEME = "99PERIAPICAL"
_UID_SPACE = uuid5(NAMESPACE_URL, "napari-periapical")
_LONGEST_MEANING = 64

# ISO 3950 to SNOMED CT, DICOM PS3.16 CID 4018 (permanent) and CID 4019 (deciduous)
_SIDES = {1: "maxillary right", 2: "maxillary left", 3: "mandibular left", 4: "mandibular right"}
_TEETH: Mapping[str, str] = {
    "11": "422653006",
    "12": "424877001",
    "13": "860767006",
    "14": "57826002",
    "15": "36492000",
    "16": "865995000",
    "17": "863902006",
    "18": "68085002",
    "21": "424399000",
    "22": "423185002",
    "23": "860780009",
    "24": "61897005",
    "25": "23226009",
    "26": "865988009",
    "27": "863901004",
    "28": "87704003",
    "31": "425106001",
    "32": "423331005",
    "33": "860782001",
    "34": "2400006",
    "35": "24573005",
    "36": "866006002",
    "37": "863898000",
    "38": "74344005",
    "41": "424575004",
    "42": "423937004",
    "43": "860785004",
    "44": "80140008",
    "45": "8873007",
    "46": "866005003",
    "47": "863899008",
    "48": "38994002",
    "51": "88824007",
    "52": "65624003",
    "53": "30618001",
    "54": "17505006",
    "55": "27855007",
    "61": "51678005",
    "62": "43622005",
    "63": "73937000",
    "64": "45234009",
    "65": "51943008",
    "71": "89552004",
    "72": "14770005",
    "73": "43281008",
    "74": "38896004",
    "75": "49330006",
    "81": "67834006",
    "82": "22445006",
    "83": "6062009",
    "84": "58646007",
    "85": "61868007",
}
_PERMANENT = (
    "central incisor",
    "lateral incisor",
    "canine",
    "first premolar",
    "second premolar",
    "first molar",
    "second molar",
    "third molar",
)
_DECIDUOUS = ("central incisor", "lateral incisor", "canine", "first molar", "second molar")

# UCUM; what stands in braces is a remark in it
_UNITS: Mapping[str, tuple[str, str]] = {
    "mm": ("mm", "millimeter"),
    "deg": ("deg", "degree"),
    "px": ("{pixels}", "pixels"),
    "mm/px": ("mm/{pixels}", "millimeter per pixel"),
    "1/mm": ("/mm", "per millimeter"),
    "deg/mm": ("deg/mm", "degree per millimeter"),
    "ratio": ("1", "no units"),
}
_LENGTH = ("410668003", "SCT", "Length")
_PATH_LENGTH = ("121211", "DCM", "Path length")
_DISTANCE = ("121206", "DCM", "Distance")
_RADIUS = ("131190003", "SCT", "Radius")
_ANGLE = ("1483009", "SCT", "Angle")
# lengths that are none of a line between two places
_NAMED: Mapping[str, tuple[str, str, str]] = {
    "canal_length_mm": _PATH_LENGTH,
    "canal_length_px": _PATH_LENGTH,
    "file_length_px": _PATH_LENGTH,
    "gap_mm": _DISTANCE,
}
_OWN = ("electronic_difference_mm", "scale_mm_per_px")


def to_graphic(points_px: npt.ArrayLike) -> npt.NDArray[np.float32]:
    r"""Turn (row, col) with integers at pixel centres into DICOM (column, row) from the corner of the image.

    Parameters
    ----------
    points_px : array_like, shape (N, 2)

    Returns
    -------
    ndarray of float32, shape (N, 2)

    Notes
    -----
    DICOM PS3.3 C.18.6.1.1: the top left corner of the top left pixel is 0.0\0.0. Presentation states count
    the same way (PS3.3 C.10.5.1.1).
    """
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    return (points[:, ::-1] + 0.5).astype(np.float32)


def from_graphic(graphic: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Inverse of :func:`to_graphic`; shape (N, 2) as (row, col)."""
    return np.asarray(graphic, dtype=np.float64).reshape(-1, 2)[:, ::-1] - 0.5


def uid_of(*parts: str) -> str:
    """A UID that follows from a text, so that the same thing has the same one (DICOM PS3.5 B.2)."""
    return uid_from(uuid5(_UID_SPACE, "\n".join(parts)))


def uid_from(uuid: UUID) -> str:
    """The UID of a UUID (DICOM PS3.5 B.2)."""
    return f"2.25.{uuid.int}"


def tooth_concept(tooth: str) -> CodedConcept | None:
    """Code of a tooth in ISO 3950; None where it is not stated or has none."""
    if tooth not in _TEETH:
        return None
    quadrant, place = int(tooth[0]), int(tooth[1])
    side = _SIDES[(quadrant - 1) % 4 + 1]
    name = _PERMANENT[place - 1] if quadrant <= 4 else _DECIDUOUS[place - 1]
    lasting = "Permanent" if quadrant <= 4 else "Deciduous"
    return _concept(_TEETH[tooth], "SCT", f"{lasting} {side} {name} tooth")


def tooth_of_code(value: str) -> CodedConcept | None:
    """The tooth a SNOMED CT code of the context groups stands for; None where it is none of them."""
    return next((tooth_concept(tooth) for tooth, code in _TEETH.items() if code == value), None)


def unit_concept(unit: str) -> CodedConcept:
    """UCUM code of a unit of :class:`~radio.measure.result.Measurement`."""
    value, meaning = _UNITS[unit]
    return _concept(value, "UCUM", meaning)


def quantity_concept(one: Measurement, title: str) -> CodedConcept:
    """What was measured, by a standard code wherever there is one; how is for :func:`own_concept`."""
    if one.name in _NAMED:
        return _concept(*_NAMED[one.name])
    if one.name not in _OWN:
        if one.unit == "deg":
            return _concept(*_ANGLE)
        if one.unit == "mm":
            return _concept(*(_RADIUS if "radius" in one.name else _LENGTH))
    return own_concept(one.name, title)


def own_concept(value: str, meaning: str) -> CodedConcept:
    """A concept no standard has a code for; of a method, the name it has in every table, with its title."""
    return _concept(value, SCHEME, meaning)


def own_scheme() -> Any:
    """What the codes of our own are, an item of the Coding Scheme Identification Sequence (PS3.3 C.12.1)."""
    from pydicom import Dataset

    item = Dataset()
    item.CodingSchemeDesignator = SCHEME
    item.CodingSchemeName = "Measurements of napari-periapical, named as in its tables"
    item.CodingSchemeResponsibleOrganization = "napari-periapical"
    return item


def person_name(name: str) -> str:
    """A name or pseudonym as a person name of one part (PS3.5 6.2.1); empty stays empty."""
    # signs that part a name or a value have no place in it
    plain = "".join(" " if sign in "\\^=" or not sign.isprintable() else sign for sign in name)[:60].strip()
    return f"{plain}^" if plain else ""


def _concept(value: str, scheme: str, meaning: str) -> CodedConcept:
    from highdicom.sr import CodedConcept as Made

    return Made(value, scheme, meaning[:_LONGEST_MEANING])
