"""Write a synthetic radiograph as DICOM, PNG, TIFF or JPEG, the same bytes for the same case."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.case import SyntheticCase

if TYPE_CHECKING:
    from pydicom.dataset import Dataset

IO_FOR_PRESENTATION = "1.2.840.10008.5.1.4.1.1.1.3"
TRANSFER_SYNTAXES = {
    "explicit little endian": "1.2.840.10008.1.2.1",
    "RLE": "1.2.840.10008.1.2.5",
    "JPEG-LS lossless": "1.2.840.10008.1.2.4.80",
    "JPEG 2000 lossless": "1.2.840.10008.1.2.4.90",
}
_REGIONS = {"upper": ("70925003", "Maxilla"), "lower": ("91609006", "Mandible")}


def _code(value: str, meaning: str) -> Dataset:
    from pydicom.dataset import Dataset

    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, "SCT", meaning
    return item


def _shown_values(case: SyntheticCase, bits: int) -> npt.NDArray[np.uint8] | npt.NDArray[np.uint16]:
    """Values for a format without polarity: radiopaque bright, over the full range of `bits`."""
    top = 2**case.bits_stored - 1
    value = case.image.astype(np.float64)
    value = top - value if case.photometric == "MONOCHROME1" else value
    scaled = np.rint(value / top * (2**bits - 1))
    if bits == 8:
        return np.asarray(scaled, dtype=np.uint8)
    return np.asarray(scaled, dtype=np.uint16)


def write_png(case: SyntheticCase, path: Path, bits: int = 8) -> None:
    """Write an 8- or 16-bit grey PNG, radiopaque bright."""
    from PIL import Image

    Image.fromarray(_shown_values(case, bits)).save(path, format="PNG", optimize=bits == 8)


def write_tiff(case: SyntheticCase, path: Path) -> None:
    """Write a 16-bit grey TIFF with lossless compression, radiopaque bright."""
    from PIL import Image

    Image.fromarray(_shown_values(case, 16)).save(path, format="TIFF", compression="tiff_adobe_deflate")


def write_jpeg(case: SyntheticCase, path: Path, quality: int = 90) -> None:
    """Write an 8-bit grey JPEG, radiopaque bright."""
    from PIL import Image

    Image.fromarray(_shown_values(case, 8)).save(path, format="JPEG", quality=quality)


def _patient_and_study(ds: Dataset, subject: str, uid: Any) -> None:
    ds.PatientName, ds.PatientID, ds.PatientBirthDate, ds.PatientSex = "", subject, "", "O"
    ds.StudyDate = ds.StudyTime = ds.AccessionNumber = ds.StudyID = ds.ReferringPhysicianName = ""
    ds.PatientIdentityRemoved, ds.DeidentificationMethod = "YES", "Computed, no person imaged"
    ds.StudyInstanceUID, ds.SeriesInstanceUID = uid("study"), uid("series")
    ds.Modality, ds.SeriesNumber, ds.InstanceNumber = "IO", "1", "1"
    ds.PresentationIntentType, ds.Manufacturer = "FOR PRESENTATION", ""


def _intra_oral(ds: Dataset, case: SyntheticCase) -> None:
    jaw = "upper" if case.facts.tooth[:1] in ("1", "2") else "lower"
    ds.AnatomicRegionSequence = [_code(*_REGIONS[jaw])]
    ds.ImageLaterality = "R" if case.facts.tooth[:1] in ("1", "4") else "L"
    ds.PositionerType, ds.PatientOrientation = "NONE", ""
    ds.ImageType = ["ORIGINAL", "PRIMARY", ""]
    ds.BurnedInAnnotation, ds.LossyImageCompression = "NO", "00"
    ds.PixelIntensityRelationship = "LOG"
    ds.PixelIntensityRelationshipSign = 1 if case.photometric == "MONOCHROME1" else -1
    ds.RescaleIntercept, ds.RescaleSlope, ds.RescaleType = "0", "1", "US"
    ds.PresentationLUTShape = "INVERSE" if case.photometric == "MONOCHROME1" else "IDENTITY"
    ds.DetectorType, ds.AcquisitionContextSequence = "DIRECT", []
    ds.KVP = f"{case.parameters.tube_voltage_kv:.0f}"
    ds.ImageComments = "Synthetic image for teaching and testing; no person was imaged."


def dicom_dataset(
    case: SyntheticCase, *, subject: str, key: str, magnification: float | None = None
) -> Dataset:
    """Digital Intra-Oral X-Ray Image, For Presentation, with Imager Pixel Spacing and no personal data.

    Parameters
    ----------
    case : SyntheticCase
        The radiograph.
    subject : str
        Patient ID.
    key : str
        What the UIDs are derived from.
    magnification : float or None
        Estimated Radiographic Magnification Factor to state.
    """
    from pydicom.dataset import Dataset, FileMetaDataset
    from pydicom.uid import UID, generate_uid

    def uid(part: str) -> UID:
        return generate_uid(entropy_srcs=[key, part])

    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = UID(TRANSFER_SYNTAXES["explicit little endian"])
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID = UID(IO_FOR_PRESENTATION)
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID = uid("instance")
    _patient_and_study(ds, subject, uid)
    _intra_oral(ds, case)
    pitch = f"{case.parameters.pitch_mm:.5f}"
    ds.ImagerPixelSpacing = [pitch, pitch]
    ds.DistanceSourceToDetector = f"{case.parameters.source_distance_mm:.0f}"
    if magnification is not None:
        ds.EstimatedRadiographicMagnificationFactor = f"{magnification:.3f}"
    ds.Rows, ds.Columns = case.image.shape
    ds.SamplesPerPixel, ds.PixelRepresentation = 1, 0
    ds.PhotometricInterpretation = case.photometric
    ds.BitsAllocated = 8 if case.image.dtype == np.uint8 else 16
    ds.BitsStored, ds.HighBit = case.bits_stored, case.bits_stored - 1
    top = 2**case.bits_stored
    ds.WindowCenter, ds.WindowWidth = str(top // 2), str(top)
    ds.PixelData = case.image.astype("<u2" if ds.BitsAllocated == 16 else np.uint8).tobytes()
    ds["PixelData"].VR = "OW"
    return ds


def write_dicom(
    case: SyntheticCase,
    path: Path,
    *,
    subject: str,
    compression: str = "explicit little endian",
    magnification: float | None = None,
) -> None:
    """Write a DICOM intra-oral image.

    Parameters
    ----------
    case : SyntheticCase
        The radiograph.
    path : pathlib.Path
        Where to; its name also seeds the UIDs.
    subject : str
        Patient ID.
    compression : str
        A key of `TRANSFER_SYNTAXES`.
    magnification : float or None
        Estimated Radiographic Magnification Factor to state.

    Raises
    ------
    ValueError
        The compression is not known.
    """
    from pydicom.uid import UID

    if compression not in TRANSFER_SYNTAXES:
        raise ValueError(f"compression is {compression!r}; allowed are {', '.join(TRANSFER_SYNTAXES)}.")
    ds = dicom_dataset(case, subject=subject, key=path.name, magnification=magnification)
    if compression != "explicit little endian":
        ds.compress(UID(TRANSFER_SYNTAXES[compression]), generate_instance_uid=False)
    ds.save_as(path, enforce_file_format=True)
