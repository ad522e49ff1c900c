"""What every DICOM object made here needs: its head, its pixels, its codes, its bytes."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from radio.record.tracing import Tracing

if TYPE_CHECKING:
    from pydicom import Dataset

MAKER, MODEL = "napari-periapical", "napari-periapical"
SECONDARY_CAPTURE = "1.2.840.10008.5.1.4.1.1.7"
_EXPLICIT_LITTLE = "1.2.840.10008.1.2.1"
# asked of every object, and allowed to be empty
_MAY_BE_EMPTY = (
    "PatientName",
    "PatientID",
    "PatientBirthDate",
    "PatientSex",
    "StudyDate",
    "StudyTime",
    "AccessionNumber",
    "ReferringPhysicianName",
    "StudyID",
)


def complete(ds: Any) -> Any:
    """Give a data set the elements that have to be there and may be empty; gives it back."""
    for name in _MAY_BE_EMPTY:
        if name not in ds:
            setattr(ds, name, "" if "Patient" in name or "Name" in name else None)
    return ds


def put_meta(ds: Any) -> None:
    """Give a data set its file meta information: Explicit VR Little Endian (PS3.10 7.1)."""
    from pydicom.dataset import FileMetaDataset

    ds.file_meta = FileMetaDataset()
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
    ds.file_meta.TransferSyntaxUID = _EXPLICIT_LITTLE


def put_pixels(ds: Any, stored: npt.NDArray[Any], bits_stored: int, photometric: str) -> None:
    """Give a data set its pixels: the stored bits alone, so that nothing hides in the unused ones.

    Parameters
    ----------
    ds : pydicom.Dataset
    stored : ndarray of int, shape (H, W)
        8 or 16 bits, with or without sign.
    bits_stored : int
    photometric : {"MONOCHROME1", "MONOCHROME2"}
    """
    signed = stored.dtype.kind == "i"
    wide = stored.dtype.itemsize > 1 or bits_stored > 8
    ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, photometric
    ds.Rows, ds.Columns = stored.shape
    ds.BitsAllocated, ds.BitsStored = (16 if wide else 8), bits_stored
    ds.HighBit, ds.PixelRepresentation = bits_stored - 1, int(signed)
    for name in ("PixelPaddingValue", "PixelPaddingRangeLimit"):
        if name in ds:
            ds.add_new(name, "SS" if signed else "US", ds[name].value)
    kind = ("<i" if signed else "<u") + ("2" if wide else "1")
    raw = np.ascontiguousarray(stored.astype(kind)).tobytes()
    ds.add_new("PixelData", "OW" if wide else "OB", raw + b"\0" * (len(raw) % 2))


def code_item(value: str, scheme: str, meaning: str) -> Dataset:
    """An item of a code sequence (PS3.3 8.8)."""
    from pydicom import Dataset

    made = Dataset()
    made.CodeValue, made.CodingSchemeDesignator, made.CodeMeaning = value, scheme, meaning[:64]
    return made


def date_by(ds: Any, tracings: Iterable[Tracing], *kinds: str) -> None:
    """Date what was made by when it was measured, so that the same content is the same object.

    Parameters
    ----------
    ds : pydicom.Dataset
    tracings : iterable of Tracing
        What it was made of; the last one counts.
    *kinds : str
        Beginnings of names of dates and times, such as ``"Content"``.
    """
    when: datetime = max(one.created for one in tracings)
    for kind in ("InstanceCreation", *kinds):
        setattr(ds, f"{kind}Date", when.strftime("%Y%m%d"))
        setattr(ds, f"{kind}Time", when.strftime("%H%M%S"))
    for item in ds.get("ContributingEquipmentSequence", ()):
        item.ContributionDateTime = when.strftime("%Y%m%d%H%M%S")
    for name in ("SeriesDate", "SeriesTime"):
        if name in ds:
            delattr(ds, name)


def object_bytes(ds: Any) -> bytes:
    """The object as it is stored (PS3.10)."""
    stream = BytesIO()
    ds.save_as(stream, enforce_file_format=True)
    return stream.getvalue()
