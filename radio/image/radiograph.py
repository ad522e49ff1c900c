"""One radiograph as loaded."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from calib.dicom_spacing import SpacingFacts
from radio.errors import ImageError
from radio.image.decoded import LARGEST_BYTES, Decoded


@dataclass(frozen=True, eq=False)
class Radiograph:
    """Grey values with radiopaque = bright, and what is known about where they came from.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
        0..1, radiopaque bright, read-only.
    film : ndarray of bool, shape (H, W)
        False on padding and outside rounded corners; True on the exposed image.
    stored : ndarray, shape (H, W)
        Values as stored, before any look-up table or polarity change, read-only.
    bits_stored : int
        Significant bits of a stored value.
    sha256 : str
        Hex digest of the stored bytes of the image.
    path : pathlib.Path or None
        Where it was read from.
    file_format : str
        ``"DICOM"``, ``"PNG"``, ``"TIFF"`` or ``"JPEG"``.
    spacing : SpacingFacts
        Pixel-size statements of the header, kept apart by kind.
    pixel_aspect : float
        Row spacing over column spacing; 1 for square pixels.
    header : mapping of str to str
        Non-identifying header facts (modality, photometric interpretation, view, ...).
    history : tuple of str
        What was done to the stored values to make `grey`, in order.
    lossy : bool
        The image was stored with loss.
    """

    grey: npt.NDArray[np.float32]
    film: npt.NDArray[np.bool_]
    stored: npt.NDArray[np.generic]
    bits_stored: int
    sha256: str
    path: Path | None
    file_format: str
    spacing: SpacingFacts = field(default_factory=SpacingFacts)
    pixel_aspect: float = 1.0
    header: Mapping[str, str] = field(default_factory=dict)
    history: tuple[str, ...] = ()
    lossy: bool = False


def read_radiograph(path: str | Path) -> Radiograph:
    """Read one radiograph: DICOM, PNG, TIFF or JPEG, recognised by content and not by name.

    Parameters
    ----------
    path : str or pathlib.Path
        Where the image lies.

    Returns
    -------
    Radiograph
        Grey values with radiopaque = bright and what is known about them.

    Raises
    ------
    ImageError
        There is no single-frame grey image there; the text names the reason.
    """
    path = Path(path)
    data = _stored_bytes(path)
    try:
        radiograph = _from_bytes(data, path)
    except ImageError as error:
        raise ImageError(f"{path.name}: {error}") from error
    except Exception as error:  # decoders meet damaged data with every kind of exception
        reason = " ".join(str(error).split())[:200] or type(error).__name__
        raise ImageError(
            f"{path.name}: The image is damaged, cut off or of an unknown variety ({reason}). "
            "Copy or export it again."
        ) from error
    return radiograph


def _stored_bytes(path: Path) -> bytes:
    if path.is_dir():
        raise ImageError(f"{path} is a folder; the path of one image is needed.")
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise ImageError(
                f"{path.name}: {size / 2**30:.1f} GiB is too large for a radiograph; 1 GiB is the limit."
            )
        data = path.read_bytes()
    except FileNotFoundError:
        raise ImageError(f"There is no image at {path}. Check the path and its spelling.") from None
    except OSError as error:
        raise ImageError(
            f"{path} cannot be read ({error.strerror or error}). Check the permissions."
        ) from error
    if not data:
        raise ImageError(f"{path.name}: the image is empty (0 bytes). Copy it again.")
    return data


def _from_bytes(data: bytes, path: Path) -> Radiograph:
    decoded = decode_image(data)
    grey, film, note = grey_of(decoded)
    for array in (grey, film, decoded.stored):
        array.flags.writeable = False
    return Radiograph(
        grey=grey,
        film=film,
        stored=decoded.stored,
        bits_stored=decoded.bits_stored,
        sha256=sha256_of(data),
        path=path,
        file_format=decoded.file_format,
        spacing=decoded.spacing,
        pixel_aspect=decoded.pixel_aspect,
        header=decoded.header,
        history=(*decoded.history, note),
        lossy=decoded.lossy,
    )


def sha256_of(data: bytes) -> str:
    """Name of an image that stays when it is moved: SHA-256 of its stored bytes, hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def grey_of(decoded: Decoded) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_], str]:
    """Grey values 0..1 of a decoded image, its film, and what was done, for the history.

    Raises
    ------
    ImageError
        There is nothing on it.
    """
    from radio.image.film import film_mask, scale_to_grey

    if decoded.value.min() == decoded.value.max():
        raise ImageError(
            "All pixels have the same value; there is nothing to measure. Export the image again."
        )
    film = decoded.film
    if film is None:
        film = film_mask(decoded.value, decoded.known_padding, lossy=decoded.lossy)
    grey, note = scale_to_grey(decoded.value, film)
    return grey, film, note


def decode_image(data: bytes) -> Decoded:
    """Decode stored bytes, the decoder chosen by the first of them.

    Raises
    ------
    ImageError
        It is no single grey frame of a form that is read; damaged data raise whatever the decoder does.
    """
    from radio.image import dicom, raster, tiff

    # DICOM first: its preamble may hold a TIFF header
    if data[128:132] == b"DICM":
        return dicom.read_dicom(data)
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return raster.read_png(data)
    if data.startswith(b"\xff\xd8\xff"):
        return raster.read_jpeg(data)
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return tiff.read_tiff(data)
    if dicom.looks_like_dicom(data):
        return dicom.read_dicom(data)
    raise ImageError("This is no DICOM, PNG, TIFF or JPEG image. Export the radiograph as one of these.")
