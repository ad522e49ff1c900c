"""The DICOM image that measurements are reported of: the traced one, or a secondary capture of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph
from radio.record.dicom_codes import person_name, uid_of
from radio.record.dicom_object import MAKER, SECONDARY_CAPTURE, complete, put_meta, put_pixels
from radio.record.kept import KeptCanal, traced_radiograph
from radio.record.wording import MADE_BY

if TYPE_CHECKING:
    from pydicom import Dataset

# what a report refers to the image by; an image without them cannot be referred to
_NEEDED = ("SOPClassUID", "SOPInstanceUID", "StudyInstanceUID", "SeriesInstanceUID")


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

    radiograph, path = traced_radiograph(kept)
    missing: list[str] = []
    if radiograph.file_format == "DICOM":
        ds = dcmread(path, force=True)
        missing = [one for one in _NEEDED if not ds.get(one)]
        if not missing:
            return complete(ds), False
    if not wrap:
        why = f"its {', '.join(missing)} is missing" if missing else f"it is {radiograph.file_format}"
        raise PeriapicalError(
            f"{kept.tracing.image_name} cannot be referred to by a DICOM report: {why}. "
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

    ds = Dataset()
    ds.SpecificCharacterSet = "ISO_IR 192"
    ds.SOPClassUID = SECONDARY_CAPTURE
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
    _put_image(ds, radiograph)
    put_meta(ds)
    return complete(ds)


def _put_image(ds: Any, radiograph: Radiograph) -> None:
    stored = radiograph.stored
    # stored values of a DICOM image have a meaning of their own, and others than whole numbers have no place
    plain = radiograph.file_format != "DICOM" and stored.dtype in (np.dtype("u1"), np.dtype("u2"))
    pixels = stored if plain else np.round(radiograph.grey * 65535).astype(np.uint16)
    put_pixels(ds, pixels, radiograph.bits_stored if plain else 16, "MONOCHROME2")
    if radiograph.pixel_aspect != 1.0:
        ds.PixelAspectRatio = [round(radiograph.pixel_aspect * 10000), 10000]
