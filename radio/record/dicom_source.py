"""The DICOM image that measurements are reported of: the traced one, or a secondary capture of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph, read_radiograph
from radio.record.dicom_codes import person_name, uid_of
from radio.record.kept import KeptCanal
from radio.record.wording import MADE_BY

if TYPE_CHECKING:
    from pydicom import Dataset

MAKER, MODEL = "napari-periapical", "napari-periapical"
_SECONDARY_CAPTURE = "1.2.840.10008.5.1.4.1.1.7"
_EXPLICIT_LITTLE = "1.2.840.10008.1.2.1"
# what a report refers to the image by; an image without them cannot be referred to
_NEEDED = ("SOPClassUID", "SOPInstanceUID", "StudyInstanceUID", "SeriesInstanceUID")
# asked of every report and every image, and allowed to be empty
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


def source_image(kept: KeptCanal, *, wrap: bool) -> tuple[Dataset, bool]:
    """Find the DICOM image of a canal, or make one of an image that is none.

    Parameters
    ----------
    kept : KeptCanal
    wrap : bool
        Make a secondary capture where the image is no DICOM image that can be referred to.

    Returns
    -------
    dataset : pydicom.Dataset
    wrapped : bool
        Whether it was made here and has to be kept with the report.

    Raises
    ------
    PeriapicalError
        The image is not there or another one, or it has to be wrapped and is not to be.
    """
    from pydicom import dcmread

    name, path = kept.tracing.image_name, kept.image_path
    if path is None:
        raise PeriapicalError(
            f"{name}: the image is not where it was last seen; 'periapical casebook find' looks for it."
        )
    radiograph = read_radiograph(path)
    if radiograph.sha256 != kept.tracing.image_sha256:
        raise PeriapicalError(f"{path.name} is not the image that was traced any more; nothing is reported.")
    missing: list[str] = []
    if radiograph.file_format == "DICOM":
        ds = dcmread(path, force=True)
        missing = [one for one in _NEEDED if not ds.get(one)]
        if not missing:
            return _complete(ds), False
    if not wrap:
        why = f"its {', '.join(missing)} is missing" if missing else f"it is {radiograph.file_format}"
        raise PeriapicalError(
            f"{name} cannot be referred to by a DICOM report: {why}. "
            "With --wrap it is kept with the report as a DICOM secondary capture."
        )
    return wrapped_image(radiograph, kept.subject, path.stat().st_size), True


def wrapped_image(radiograph: Radiograph, subject: str, packed_bytes: int) -> Dataset:
    """Wrap an image as a DICOM Secondary Capture (PS3.3 A.8.1); the pixels keep their places.

    Nothing is said of the size of a pixel: that is what was measured. The same image of the same subject has
    the same UIDs each time.

    Parameters
    ----------
    radiograph : Radiograph
    subject : str
        Pseudonym; the patient's name and ID.
    packed_bytes : int
        Size the image was stored in.
    """
    from pydicom import Dataset
    from pydicom.dataset import FileMetaDataset

    ds = Dataset()
    ds.SpecificCharacterSet = "ISO_IR 192"
    ds.SOPClassUID = _SECONDARY_CAPTURE
    ds.SOPInstanceUID = uid_of("image", radiograph.sha256, subject)
    ds.StudyInstanceUID = uid_of("study", radiograph.sha256, subject)
    ds.SeriesInstanceUID = uid_of("series", radiograph.sha256, subject)
    ds.PatientName, ds.PatientID = person_name(subject), subject[:64]
    ds.Laterality = None
    ds.SeriesNumber, ds.InstanceNumber = 1, 1
    ds.Modality, ds.ConversionType = "IO", "WSD"
    ds.SecondaryCaptureDeviceManufacturer, ds.SecondaryCaptureDeviceSoftwareVersions = MAKER, MADE_BY
    ds.PatientOrientation = None
    ds.DerivationDescription = f"wrapped; SHA-256 of the source {radiograph.sha256}"
    if radiograph.lossy:
        ds.LossyImageCompression = "01"
        ds.LossyImageCompressionMethod = "ISO_10918_1"
        ds.LossyImageCompressionRatio = f"{radiograph.stored.nbytes / packed_bytes:.2f}"
    _put_pixels(ds, radiograph)
    ds.file_meta = FileMetaDataset()
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
    ds.file_meta.TransferSyntaxUID = _EXPLICIT_LITTLE
    return _complete(ds)


def _put_pixels(ds: Any, radiograph: Radiograph) -> None:
    stored = radiograph.stored
    # stored values of a DICOM image have a meaning of their own, and others than whole numbers have no place
    plain = radiograph.file_format != "DICOM" and stored.dtype in (np.dtype("u1"), np.dtype("u2"))
    pixels = stored if plain else np.round(radiograph.grey * 65535).astype(np.uint16)
    bits = pixels.dtype.itemsize * 8
    ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, "MONOCHROME2"
    ds.Rows, ds.Columns = pixels.shape
    ds.BitsAllocated = bits
    ds.BitsStored = radiograph.bits_stored if plain else bits
    ds.HighBit, ds.PixelRepresentation = ds.BitsStored - 1, 0
    if radiograph.pixel_aspect != 1.0:
        ds.PixelAspectRatio = [round(radiograph.pixel_aspect * 10000), 10000]
    data = np.ascontiguousarray(pixels.astype(pixels.dtype.newbyteorder("<"))).tobytes()
    ds.add_new("PixelData", "OW" if bits > 8 else "OB", data + b"\0" * (len(data) % 2))


def _complete(ds: Any) -> Any:
    """Give a data set the elements that have to be there and may be empty."""
    for name in _MAY_BE_EMPTY:
        if name not in ds:
            setattr(ds, name, "" if name.startswith("Patient") or "Name" in name else None)
    return ds
