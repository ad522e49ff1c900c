"""Write DICOM radiographs of invented data in every encoding that is read."""

from __future__ import annotations

import io
import tempfile
from typing import Any

import numpy as np
import pydicom
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate, get_frame
from pydicom.uid import (
    ExplicitVRLittleEndian,
    JPEGBaseline8Bit,
    JPEGLossless,
    JPEGLosslessSV1,
    generate_uid,
)

INTRA_ORAL = "1.2.840.10008.5.1.4.1.1.1.3"
INTRA_ORAL_FOR_PROCESSING = "1.2.840.10008.5.1.4.1.1.1.3.1"
SECONDARY_CAPTURE = "1.2.840.10008.5.1.4.1.1.7"


def dataset(stored: np.ndarray, bits: int, syntax: str = ExplicitVRLittleEndian, **elements: Any) -> Dataset:
    """Make a data set of `stored`, encoded in `syntax`; None as an element deletes it."""
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds.SOPClassUID = ds.file_meta.MediaStorageSOPClassUID = elements.pop("SOPClassUID", INTRA_ORAL)
    ds.SOPInstanceUID = ds.file_meta.MediaStorageSOPInstanceUID = generate_uid()
    ds.Modality = "IO"
    ds.PatientName = "Invented^Person"
    ds.PatientID = "4711-INV"
    ds.Rows, ds.Columns = stored.shape[:2]
    ds.SamplesPerPixel = 1 if stored.ndim == 2 else 3
    if stored.ndim == 3:
        ds.PlanarConfiguration = 0
    ds.PhotometricInterpretation = "MONOCHROME2" if stored.ndim == 2 else "RGB"
    ds.BitsAllocated = 8 * stored.dtype.itemsize
    ds.BitsStored, ds.HighBit = bits, bits - 1
    ds.PixelRepresentation = int(stored.dtype.kind == "i")
    ds.PixelData = stored.tobytes()
    ds["PixelData"].VR = "OW" if stored.dtype.itemsize == 2 else "OB"
    for keyword, value in elements.items():
        if value is None:
            delattr(ds, keyword)
        else:
            setattr(ds, keyword, value)
    if syntax != ExplicitVRLittleEndian:
        _encode(ds, stored, syntax)
    return ds


def to_bytes(ds: Dataset, **options: Any) -> bytes:
    buffer = io.BytesIO()
    pydicom.dcmwrite(buffer, ds, enforce_file_format=options.pop("enforce_file_format", True), **options)
    return buffer.getvalue()


def _encode(ds: Dataset, stored: np.ndarray, syntax: str) -> None:
    syntax = pydicom.uid.UID(syntax)
    if syntax == JPEGBaseline8Bit:
        from PIL import Image

        buffer = io.BytesIO()
        Image.fromarray(stored).save(buffer, "JPEG", quality=95)
        ds.PixelData = encapsulate([buffer.getvalue()])
        ds["PixelData"].VR = "OB"
        ds.file_meta.TransferSyntaxUID = syntax
    elif syntax in (JPEGLossless, JPEGLosslessSV1):
        ds.PixelData = encapsulate([_jpeg_lossless(ds, syntax)])
        ds["PixelData"].VR = "OB"
        ds.file_meta.TransferSyntaxUID = syntax
    elif syntax.is_encapsulated:
        options = {"j2k_psnr": [60.0]} if syntax == pydicom.uid.JPEG2000 else {}
        ds.compress(syntax, generate_instance_uid=False, **options)
    else:
        if syntax == pydicom.uid.ExplicitVRBigEndian:
            ds.PixelData = stored.astype(stored.dtype.newbyteorder(">")).tobytes()
        ds.file_meta.TransferSyntaxUID = syntax


def _jpeg_lossless(ds: Dataset, syntax: str) -> bytes:
    """One frame of JPEG process 14, by gdcm."""
    import gdcm

    with tempfile.TemporaryDirectory() as folder:
        plain, packed = f"{folder}/plain.dcm", f"{folder}/packed.dcm"
        with open(plain, "wb") as stream:
            stream.write(to_bytes(ds))
        reader = gdcm.ImageReader()
        reader.SetFileName(plain)
        assert reader.Read()
        change = gdcm.ImageChangeTransferSyntax()
        change.SetTransferSyntax(gdcm.TransferSyntax(gdcm.TransferSyntax.GetTSType(str.__str__(syntax))))
        change.SetInput(reader.GetImage())
        assert change.Change()
        writer = gdcm.ImageWriter()
        writer.SetFileName(packed)
        writer.SetFile(reader.GetFile())
        writer.SetImage(change.GetOutput())
        assert writer.Write()
        return get_frame(pydicom.dcmread(packed).PixelData, 0, number_of_frames=1)
