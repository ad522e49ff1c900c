"""PNG and JPEG: one grey frame, whatever the container calls it."""

from __future__ import annotations

import io
import struct
import warnings
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.errors import ImageError
from radio.image.codestream import stream_size
from radio.image.decoded import Decoded, check_size

AnyArray = npt.NDArray[Any]

GREY_TOLERANCE = 3
"""Largest channel difference, in 8-bit levels, that JPEG rounding of a grey image leaves."""
GREY_OUTLIER = 12
"""Largest channel difference anywhere: more is a coloured mark."""

_TURNS = {
    2: "mirrored left to right",
    3: "turned by 180°",
    4: "mirrored top to bottom",
    5: "mirrored about the falling diagonal",
    6: "turned clockwise by 90°",
    7: "mirrored about the rising diagonal",
    8: "turned anticlockwise by 90°",
}
_PNG_COLOUR = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # channels by colour type, PNG specification 11.2.2


def read_png(data: bytes) -> Decoded:
    """Decode a PNG of 8 or 16 bits: grey, grey in colour channels, or a grey palette.

    Parameters
    ----------
    data : bytes
        The stored bytes.

    Raises
    ------
    ImageError
        Not one grey frame of 8 or 16 bits, or damaged.
    """
    if len(data) < 33 or data[12:16] != b"IHDR":
        raise ImageError("The PNG image is cut off in its header. Export it again.")
    columns, rows, bits, colour = struct.unpack(">IIBB", data[16:26])
    check_size(rows, columns)
    if bits < 8 or colour not in _PNG_COLOUR:
        raise ImageError(
            f"The PNG image has {bits} bit(s) a sample (colour type {colour}); 8 or 16 bits are needed to "
            "tell a canal from dentine. Export it with at least 8 bits."
        )
    image, pixels = pillow_pixels(data, "PNG")
    header = {"photometric": str(image.mode), **_density(image)}
    padding = _transparent_key(image, pixels)
    if image.mode == "P":
        indices, pixels = pixels, np.asarray(image.convert("RGBA"))
        decoded = grey_channel(pixels, "PNG", bits, header)
        decoded.stored = indices
        decoded.history.insert(0, "palette applied")
        return decoded
    if bits == 16 and colour != 0:
        pixels = _png_sixteen_bit_channels(data)
    decoded = grey_channel(pixels, "PNG", bits, header)
    if padding is not None:
        decoded.known_padding = padding
    return decoded


def read_jpeg(data: bytes) -> Decoded:
    """Decode a baseline or progressive JPEG and set it upright.

    Parameters
    ----------
    data : bytes
        The stored bytes.

    Raises
    ------
    ImageError
        Not one grey frame, or damaged.
    """
    size = stream_size(data)
    if size is not None:
        check_size(*size)
    image, pixels = pillow_pixels(data, "JPEG")
    if image.mode == "CMYK":
        raise ImageError("The JPEG image is in printing colours (CMYK); a grey radiograph is needed.")
    orientation = _exif_orientation(image)
    decoded = grey_channel(pixels, "JPEG", 8, {"photometric": str(image.mode), **_density(image)})
    decoded.lossy = True
    if orientation in _TURNS:
        decoded.stored = _upright(decoded.stored, orientation)
        decoded.value = decoded.stored
        decoded.header["exif_orientation"] = str(orientation)
        decoded.history.append(f"{_TURNS[orientation]} as EXIF orientation {orientation} asks")
    return decoded


def pillow_pixels(data: bytes, kind: str) -> tuple[Any, AnyArray]:
    """Decode with Pillow, which refuses truncated data and wrong checksums.

    Parameters
    ----------
    data : bytes
        The stored bytes.
    kind : str
        Name of the one format to try.

    Returns
    -------
    image : PIL.Image.Image
        For its metadata.
    pixels : ndarray, shape (H, W) or (H, W, C)
        Decoded samples.

    Raises
    ------
    ImageError
        More than one frame, or an absurd size.
    """
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = Image.open(io.BytesIO(data), formats=[kind])
        check_size(image.height, image.width)
        if getattr(image, "n_frames", 1) != 1 and kind != "TIFF":
            raise ImageError(f"The {kind} image has {image.n_frames} frames; exactly one is needed.")
        image.load()
        return image, np.asarray(image)


def _png_sixteen_bit_channels(data: bytes) -> AnyArray:
    """Colour and alpha channels of a 16-bit PNG, of which Pillow keeps the upper byte only."""
    import cv2

    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels is None:
        raise ImageError("The PNG image is damaged and cannot be decoded. Export it again.")
    return np.asarray(pixels)


def grey_channel(pixels: AnyArray, file_format: str, bits: int, header: dict[str, str]) -> Decoded:
    """Take the one grey channel out of one to four, alpha last.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (H, W) or (H, W, C)
        Decoded samples.
    file_format : str
        Name of the format.
    bits : int
        Significant bits of a sample.
    header : dict of str to str
        Header facts to hand on.

    Raises
    ------
    ImageError
        True colour, or transparent throughout.
    """
    if pixels.ndim == 2:
        return Decoded(pixels, pixels, bits, file_format, header=header)
    history: list[str] = []
    padding = None
    if pixels.shape[2] in (2, 4):
        alpha = pixels[..., -1]
        opaque = alpha >= np.iinfo(alpha.dtype).max // 2
        pixels = pixels[..., :-1]
        history.append("alpha channel dropped")
        if not opaque.any():
            raise ImageError(f"The {file_format} image is transparent throughout. Export it without alpha.")
        if not opaque.all():
            padding = ~opaque
            history.append("transparent pixels taken as padding")
    grey = pixels[..., 0]
    if pixels.shape[2] == 3:
        refuse_true_colour(pixels, file_format, padding)
        grey = np.ascontiguousarray(pixels[..., 1])
        history.append("green channel taken of three equal colour channels")
    grey = np.ascontiguousarray(grey)
    return Decoded(grey, grey, bits, file_format, known_padding=padding, header=header, history=history)


def refuse_true_colour(
    pixels: AnyArray, file_format: str, padding: npt.NDArray[np.bool_] | None = None
) -> None:
    """Accept three channels only where they say the same.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (H, W, 3)
        Red, green, blue in any order.
    file_format : str
        For the error text.
    padding : ndarray of bool, shape (H, W), optional
        Pixels whose colour does not matter.

    Raises
    ------
    ImageError
        The channels differ by more than rounding.
    """
    import cv2

    first, second, third = cv2.split(np.ascontiguousarray(pixels))
    lowest = cv2.min(cv2.min(first, second), third)
    differing = cv2.subtract(cv2.max(cv2.max(first, second), third), lowest)
    level = (int(np.iinfo(pixels.dtype).max) + 1) // 256
    if padding is not None:
        differing = np.where(padding, 0, differing)
    share = float(np.count_nonzero(differing > GREY_TOLERANCE * level)) / differing.size
    if share > 0.001 or differing.max() > GREY_OUTLIER * level:
        raise ImageError(
            f"The {file_format} image is in true colour: its channels differ by up to "
            f"{int(differing.max()) / level:.0f} of 255 levels, on {share:.1%} of the pixels by more than "
            f"{GREY_TOLERANCE}. A grey radiograph without coloured marks is needed."
        )


def _transparent_key(image: Any, pixels: AnyArray) -> npt.NDArray[np.bool_] | None:
    """Pixels of the one grey value a PNG may declare transparent."""
    key = image.info.get("transparency")
    if not isinstance(key, int) or pixels.ndim != 2 or image.mode == "P":
        return None
    hidden = pixels == key
    return hidden if hidden.any() and not hidden.all() else None


def _exif_orientation(image: Any) -> int:
    try:
        return int(image.getexif().get(0x0112, 1))
    except Exception:  # a damaged EXIF block says nothing about the pixels
        return 1


def _upright(pixels: AnyArray, orientation: int) -> AnyArray:
    """Undo an EXIF orientation 2 to 8 (EXIF 2.32, tag 274: which side row 0 and column 0 are)."""
    if orientation >= 5:
        pixels = pixels.T
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    return np.ascontiguousarray(pixels)


def _density(image: Any) -> dict[str, str]:
    """Stated resolution: a fact of the header, never a scale (it describes printing, not the tooth)."""
    dpi = image.info.get("dpi")
    try:
        return {"resolution_dpi": f"{float(dpi[0]):g} x {float(dpi[1]):g}"} if dpi else {}
    except (TypeError, ValueError, LookupError, ZeroDivisionError):
        return {}
