"""DICOM: one grey projection image, its header facts and its pixel-size statements."""

from __future__ import annotations

import io
import warnings
import zlib
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.errors import ImageError
from radio.image.codestream import lossless_jpeg_fault, stream_size
from radio.image.decoded import LARGEST_BYTES, Decoded, check_size
from radio.image.dicom_header import OTHER_CLASS, header_facts, spacing_facts
from radio.image.film import film_mask
from radio.image.raster import refuse_true_colour
from radio.image.tone import to_radiopacity

AnyArray = npt.NDArray[Any]

_DEFLATED = "1.2.840.10008.1.2.1.99"
_RLE = "1.2.840.10008.1.2.5"
_EXTENDED = "1.2.840.10008.1.2.4.51"
_LOSSLESS_JPEG = ("1.2.840.10008.1.2.4.57", "1.2.840.10008.1.2.4.70")
# one decoder a transfer syntax, chosen for how it bears damaged streams; gdcm alone reads JPEG lossless
_DECODERS = {
    "1.2.840.10008.1.2.4.50": "pillow",
    _EXTENDED: "pillow",
    **dict.fromkeys(_LOSSLESS_JPEG, "gdcm"),
    "1.2.840.10008.1.2.4.80": "pyjpegls",
    "1.2.840.10008.1.2.4.81": "pyjpegls",
    "1.2.840.10008.1.2.4.90": "pylibjpeg",
    "1.2.840.10008.1.2.4.91": "pylibjpeg",
    _RLE: "pydicom",
}
_LOSSY = ("1.2.840.10008.1.2.4.50", _EXTENDED, "1.2.840.10008.1.2.4.81", "1.2.840.10008.1.2.4.91")


def read_dicom(data: bytes) -> Decoded:
    """Decode a single-frame grey DICOM image.

    Parameters
    ----------
    data : bytes
        The stored bytes, with or without preamble and meta header.

    Raises
    ------
    ImageError
        Not a single-frame grey image of 8 to 16 bits, or damaged.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pydicom remarks on every irregular header
        ds = _dataset(data)
        _check_header(ds)
        header = header_facts(ds)
        notes: list[str] = []
        spacing, aspect = spacing_facts(ds, notes)
        stored = _stored_values(ds)
        lossy = _syntax(ds) in _LOSSY or str(ds.get("LossyImageCompression", "")) == "01"
        decoded = Decoded(
            stored, stored, int(ds.BitsStored), "DICOM", lossy=lossy, spacing=spacing, pixel_aspect=aspect
        )
        decoded.known_padding = _declared_padding(stored, ds)
        decoded.header = header
        if header.get("sop_class") == OTHER_CLASS:
            notes.append("the SOP class is not one of a radiograph: distances may mean something else")
        if decoded.known_padding is not None:
            notes.append("pixels at the Pixel Padding Value taken as padding")
        decoded.value, decoded.film, tone = to_radiopacity(
            stored, ds, lambda value: film_mask(value, decoded.known_padding, lossy=lossy)
        )
        decoded.history = notes + tone
    return decoded


def looks_like_dicom(data: bytes) -> bool:
    """Tell whether bytes begin as DICOM does, with the preamble (PS3.10 7.1) or without.

    Parameters
    ----------
    data : bytes
        The first 132 bytes or more.
    """
    if data[128:132] == b"DICM":
        return True
    # a data set without preamble begins with group 2 (meta) or 8, in either byte order
    return data[:4] in (b"\x02\x00\x00\x00", b"\x02\x00\x01\x00", b"\x02\x00\x02\x00") or (
        len(data) > 8 and (data[:2] == b"\x08\x00" or data[:2] == b"\x00\x08")
    )


def _dataset(data: bytes) -> Any:
    import pydicom
    from pydicom.uid import ExplicitVRBigEndian, ExplicitVRLittleEndian, ImplicitVRLittleEndian

    _check_deflated(data)
    ds = pydicom.dcmread(io.BytesIO(data), force=True)
    if not ds.file_meta.get("TransferSyntaxUID"):
        implicit, little = ds.original_encoding
        ds.file_meta.TransferSyntaxUID = (
            ImplicitVRLittleEndian if implicit else ExplicitVRLittleEndian if little else ExplicitVRBigEndian
        )
    return ds


def _check_deflated(data: bytes) -> None:
    """Refuse a deflated data set that would unpack without bound."""
    start = 132 if data[128:132] == b"DICM" else 0
    if _DEFLATED.encode() not in data[start : start + 1024]:
        return
    # the meta header begins with its own length: tag, VR and size take 8 bytes, the number 4 (PS3.10 7.1)
    end = start + 12 + int.from_bytes(data[start + 8 : start + 12], "little")
    unpacker = zlib.decompressobj(-zlib.MAX_WBITS)
    unpacker.decompress(data[end:], LARGEST_BYTES)
    if unpacker.unconsumed_tail:
        raise ImageError("The deflated DICOM object unpacks to more than 1 GiB. It is not a radiograph.")


def _syntax(ds: Any) -> str:
    return str(ds.file_meta.TransferSyntaxUID)


def _check_header(ds: Any) -> None:
    """Refuse what is no single grey frame, before a pixel is decoded."""
    name = str(getattr(ds.get("SOPClassUID"), "name", "")) or "unknown class"
    if "FloatPixelData" in ds or "DoubleFloatPixelData" in ds:
        raise ImageError(
            "The DICOM object holds floating-point pixels; stored values of 8 to 16 bits are needed."
        )
    missing = [key for key in ("Rows", "Columns", "BitsAllocated", "PixelData") if ds.get(key) is None]
    if missing or not ds.PixelData:
        raise ImageError(
            f"The DICOM object holds no image ({name}; missing: {', '.join(missing) or 'PixelData'}). "
            "Choose the image itself, not a report or a presentation state."
        )
    frames = int(ds.get("NumberOfFrames", 1) or 1)
    if frames != 1:
        raise ImageError(f"The DICOM object holds {frames} frames; exactly one is needed. Export one frame.")
    check_size(int(ds.Rows), int(ds.Columns))
    allocated = int(ds.BitsAllocated)
    ds.BitsStored = bits = int(ds.get("BitsStored") or allocated)
    ds.HighBit = int(ds.get("HighBit") or bits - 1)
    ds.SamplesPerPixel = int(ds.get("SamplesPerPixel") or 1)
    ds.PixelRepresentation = int(ds.get("PixelRepresentation") or 0)
    ds.PhotometricInterpretation = str(ds.get("PhotometricInterpretation") or "MONOCHROME2")
    if allocated not in (8, 16) or not 8 <= bits <= allocated or not bits - 1 <= ds.HighBit < allocated:
        raise ImageError(
            f"The DICOM image stores {bits} of {allocated} bits with high bit {ds.HighBit}; "
            "8 to 16 bits stored in 8 or 16 are needed."
        )


def _stored_values(ds: Any) -> AnyArray:
    """Decode the pixel data to stored values, shape (H, W), without unused bits."""
    from pydicom.pixels import get_decoder

    syntax = ds.file_meta.TransferSyntaxUID
    if syntax.is_encapsulated and str(syntax) != _RLE:
        _check_stream(ds)
    if str(syntax) == _EXTENDED and ds.BitsStored > 8:
        raise ImageError(
            f"The DICOM image is lossy JPEG with {ds.BitsStored} bits, which cannot be decoded here. "
            "Export it without compression or lossless."
        )
    try:
        pixels, _ = get_decoder(syntax).as_array(
            ds, index=0, decoding_plugin=_DECODERS.get(str(syntax), ""), correct_unused_bits=False
        )
    except NotImplementedError as error:
        raise ImageError(
            f"The DICOM image is encoded as {syntax.name}, which cannot be decoded here ({error}). "
            "Export it without compression."
        ) from error
    if ds.PhotometricInterpretation == "PALETTE COLOR":
        from pydicom.pixels import apply_color_lut

        pixels = np.asarray(apply_color_lut(pixels, ds))
    if pixels.ndim == 3:
        refuse_true_colour(pixels, "DICOM")
        ds.PhotometricInterpretation = "MONOCHROME2"
        return np.ascontiguousarray(pixels[..., 1])
    return _used_bits(pixels, ds, packed=not syntax.is_encapsulated or str(syntax) == _RLE)


def _used_bits(pixels: AnyArray, ds: Any, *, packed: bool) -> AnyArray:
    """Keep the stored bits of each word (PS3.5 8.1.1); what surrounds them may be anything.

    Values of JPEG-like codecs are numbers already and need at most their sign.
    """
    pixels = pixels.astype(pixels.dtype.newbyteorder("="), copy=False)
    container = 8 * pixels.dtype.itemsize
    below = ds.HighBit + 1 - ds.BitsStored if packed else 0
    above = container - ds.BitsStored - below
    if (above > 0 or below > 0) and (packed or ds.PixelRepresentation == 1):
        pixels = (pixels << above) >> (above + below)
    return pixels


def _check_stream(ds: Any) -> None:
    """Compare the size in the compressed stream with the header, so that no decoder is led astray."""
    from pydicom.encaps import get_frame

    stream = get_frame(ds.PixelData, 0, number_of_frames=1)
    size = stream_size(stream)
    if size != (int(ds.Rows), int(ds.Columns)):
        found = f"{size[0]} × {size[1]}" if size else "no readable"
        raise ImageError(
            f"The DICOM header announces {ds.Rows} × {ds.Columns} pixels, the compressed pixel stream has "
            f"{found} size. The image is damaged; export it again."
        )
    if _syntax(ds) in _LOSSLESS_JPEG:
        fault = lossless_jpeg_fault(stream, ds.BitsAllocated)
        if fault:
            raise ImageError(f"The lossless JPEG stream is damaged: {fault}. Copy or export the image again.")


def _declared_padding(stored: AnyArray, ds: Any) -> npt.NDArray[np.bool_] | None:
    """Pixels at the Pixel Padding Value or up to the Pixel Padding Range Limit (PS3.3 C.7.5.1.1.2)."""
    value = ds.get("PixelPaddingValue")
    if not isinstance(value, int):
        return None
    limit = ds.get("PixelPaddingRangeLimit")
    limit = limit if isinstance(limit, int) else value
    padding = (stored >= min(value, limit)) & (stored <= max(value, limit))
    return padding if padding.any() and not padding.all() else None
