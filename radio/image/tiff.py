"""TIFF: one grey page of 8 or 16 bits or floating point."""

from __future__ import annotations

import io
import itertools
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.errors import ImageError
from radio.image.decoded import Decoded, check_size
from radio.image.raster import grey_channel, pillow_pixels

AnyArray = npt.NDArray[Any]

_JPEG_IN_TIFF = (6, 7)
_LZW_IN_TIFF = 5


def read_tiff(data: bytes) -> Decoded:
    """Decode a single-page TIFF of 8 or 16 bits or floating point.

    Parameters
    ----------
    data : bytes
        The stored bytes.

    Raises
    ------
    ImageError
        Not one grey page, an unsupported sample type, or damaged.
    """
    import tifffile

    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        page = _only_page(tiff)
        check_size(page.imagelength, page.imagewidth)
        if page.imagedepth != 1 or page.bitspersample not in (8, 16, 32, 64) or page.dtype is None:
            raise ImageError(
                f"The TIFF image stores {page.bitspersample} bits a sample; 8 or 16 bits or floating point "
                "are needed. Export it again."
            )
        compression = int(page.compression)
        inverted = int(page.photometric) == 0
        extra = tuple(int(kind) for kind in page.extrasamples)
        header = {"photometric": page.photometric.name, **_tiff_density(page)}
        if compression in (_LZW_IN_TIFF, *_JPEG_IN_TIFF):
            image, pixels = pillow_pixels(data, "TIFF")
            if page.dtype != pixels.dtype:
                raise ImageError(
                    f"The TIFF image holds {page.dtype} samples with compression {page.compression.name}, "
                    "which cannot be read. Save it without compression."
                )
            if inverted and image.mode == "L":
                pixels = np.asarray(255 - pixels)  # the decoder has turned 8-bit MinIsWhite round
        else:
            pixels = page.asarray()
            if pixels.ndim == 3 and page.planarconfig == 2:
                pixels = np.moveaxis(pixels, 0, -1)
            if int(page.photometric) == 3:
                pixels = page.colormap[:, pixels].transpose(1, 2, 0)
                header["photometric"] = "PALETTE"
    return _tiff_grey(pixels, header, inverted, extra, lossy=compression in _JPEG_IN_TIFF)


def _only_page(tiff: Any) -> Any:
    """Return the one full-size page; thumbnails are marked as reduced (bit 0 of NewSubfileType)."""
    full_size = []
    for page in itertools.islice(tiff.pages, 32):
        if not page.aspage().subfiletype & 1:
            full_size.append(page.aspage())
        if len(full_size) > 1:
            raise ImageError(
                "The TIFF image has more than one page; exactly one is needed. "
                "Save the page to be measured alone."
            )
    if not full_size:
        raise ImageError("The TIFF image has no full-size page. Export it again.")
    return full_size[0]


def _tiff_grey(
    pixels: AnyArray, header: dict[str, str], inverted: bool, extra: tuple[int, ...], *, lossy: bool
) -> Decoded:
    if pixels.ndim == 3 and pixels.shape[2] in (2, 4) and not extra:
        raise ImageError("The TIFF image has colour channels of an unknown kind; a grey image is needed.")
    if pixels.dtype.kind == "f":
        decoded = _float_grey(pixels, header)
    elif pixels.dtype in (np.dtype(np.uint8), np.dtype(np.uint16)):
        decoded = grey_channel(pixels, "TIFF", 8 * pixels.dtype.itemsize, header)
    elif pixels.dtype in (np.dtype(np.int8), np.dtype(np.int16)):
        decoded = _float_grey(pixels.astype(np.float32), header)
        decoded.stored, decoded.bits_stored = pixels, 8 * pixels.dtype.itemsize
    else:
        raise ImageError(
            f"The TIFF image holds {pixels.dtype} samples; 8- or 16-bit integers or floating point are "
            "needed. Convert it."
        )
    decoded.lossy = lossy
    if inverted:
        decoded.value = _turned_round(decoded.value)
        decoded.history.append("turned round: the header says that the lowest value is white")
    return decoded


def _turned_round(value: AnyArray) -> AnyArray:
    """Values in reverse order, same type."""
    if value.dtype.kind == "f":
        return np.asarray(-value)
    return np.asarray(np.iinfo(value.dtype).max - value)


def _float_grey(pixels: AnyArray, header: dict[str, str]) -> Decoded:
    """Grey image of floating point; what is not a number is padding."""
    if pixels.ndim != 2:
        raise ImageError("The TIFF image has floating-point colour channels; a grey image is needed.")
    with np.errstate(over="ignore"):
        value = pixels.astype(np.float32)
    finite = np.isfinite(value)
    if not finite.any():
        raise ImageError("The TIFF image holds no finite number. Export it again.")
    decoded = Decoded(pixels, value, 8 * pixels.dtype.itemsize, "TIFF", header=header)
    if not finite.all():
        value[~finite] = value[finite].min()
        decoded.known_padding = ~finite
        decoded.history.append("values that are not finite numbers taken as padding")
    return decoded


def _tiff_density(page: Any) -> dict[str, str]:
    try:
        if int(page.tags["ResolutionUnit"].value) not in (2, 3):  # inch, centimetre
            return {}
        per_inch = page.get_resolution(unit=2)
        return {"resolution_dpi": f"{per_inch[0]:g} x {per_inch[1]:g}"}
    except (TypeError, ValueError, LookupError, ZeroDivisionError):
        return {}
