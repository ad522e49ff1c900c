"""What a decoder hands on: values that run the right way, not yet scaled to grey, and the size limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from calib.dicom_spacing import SpacingFacts
from radio.errors import ImageError

SMALLEST_SIDE_PX = 32
LARGEST_SIDE_PX = 20_000
LARGEST_AREA_PX = 150_000_000
LARGEST_BYTES = 2**30


@dataclass(eq=False)
class Decoded:
    """One decoded image on its way to a radiograph.

    Parameters
    ----------
    stored : ndarray, shape (H, W)
        Values as stored.
    value : ndarray of uint8, uint16 or float32, shape (H, W)
        Finite values, radiopaque bright, of any range.
    bits_stored : int
        Significant bits of a stored value.
    file_format : str
        ``"DICOM"``, ``"PNG"``, ``"TIFF"`` or ``"JPEG"``.
    lossy : bool
        A lossy codec was involved.
    known_padding : ndarray of bool or None, shape (H, W)
        Pixels declared not to be image.
    film : ndarray of bool or None, shape (H, W)
        The film, where the decoder had to look for it already.
    spacing, pixel_aspect, header, history
        As in :class:`radio.image.radiograph.Radiograph`.
    """

    stored: npt.NDArray[Any]
    value: npt.NDArray[Any]
    bits_stored: int
    file_format: str
    lossy: bool = False
    known_padding: npt.NDArray[np.bool_] | None = None
    film: npt.NDArray[np.bool_] | None = None
    spacing: SpacingFacts = field(default_factory=SpacingFacts)
    pixel_aspect: float = 1.0
    header: dict[str, str] = field(default_factory=dict)
    history: list[str] = field(default_factory=list)


def check_size(rows: int, columns: int) -> None:
    """Refuse sizes no radiograph has, before memory is asked for.

    Raises
    ------
    ImageError
        A side or the area is out of bounds.
    """
    if min(rows, columns) < SMALLEST_SIDE_PX:
        raise ImageError(
            f"The image is {rows} × {columns} pixels (rows × columns); at least {SMALLEST_SIDE_PX} on each "
            "side are needed. Use the full-size image, not a thumbnail."
        )
    if max(rows, columns) > LARGEST_SIDE_PX or rows * columns > LARGEST_AREA_PX:
        raise ImageError(
            f"The image is {rows} × {columns} pixels (rows × columns); at most {LARGEST_SIDE_PX} on a side "
            f"and {LARGEST_AREA_PX // 10**6} megapixels in all are allowed. Crop or export it again."
        )
