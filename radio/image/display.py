"""How grey values are shown: contrast for the eye, on a copy, never on the data that are measured."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from radio.image.radiograph import Radiograph

GreyImage = npt.NDArray[np.float32]


def grey_window(
    radiograph: Radiograph, low_percent: float = 0.5, high_percent: float = 99.8
) -> tuple[float, float]:
    """Find the grey values to show as black and white, from the film alone.

    The percentiles leave out a little more at the dark end (air) than at the bright one (the file).

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    low_percent, high_percent : float, optional
        Percentiles of the film shown as black and as white.

    Returns
    -------
    low, high : float
        0 <= low < high <= 1.

    Raises
    ------
    ValueError
        The percentiles are not in order within 0 to 100.
    """
    if not 0 <= low_percent < high_percent <= 100:
        raise ValueError(
            f"percentiles {low_percent} and {high_percent} given; 0 <= low < high <= 100 is needed"
        )
    # a tenth of a megapixel settles percentiles as well as ten megapixels do
    step = max(1, int(np.sqrt(radiograph.grey.size / 1e5)))
    values = radiograph.grey[::step, ::step][radiograph.film[::step, ::step]]
    if values.size < 1000:
        values = radiograph.grey[radiograph.film]
    low, high = (float(v) for v in np.percentile(values, (low_percent, high_percent)))
    if not high > low:
        low, high = float(values.min()), float(values.max())
    return (low, high) if high > low else (0.0, 1.0)


def shown(
    grey: npt.NDArray[np.floating[Any]],
    window: tuple[float, float] = (0.0, 1.0),
    *,
    gamma: float = 1.0,
    invert: bool = False,
) -> GreyImage:
    """Grey values as they are put on the screen.

    Parameters
    ----------
    grey : ndarray of float, shape (H, W)
        0..1.
    window : tuple of float, optional
        Grey shown as black and as white.
    gamma : float, optional
        Exponent; below 1 opens the dark parts, above 1 the bright ones.
    invert : bool, optional
        Show radiopaque dark.

    Returns
    -------
    ndarray of float32, shape (H, W)
        A new array, 0 (black) to 1 (white).

    Raises
    ------
    ValueError
        The window is empty or gamma is not positive.
    """
    low, high = window
    if not high > low:
        raise ValueError(f"window {low} to {high} given; the upper end must lie above the lower")
    if not (np.isfinite(gamma) and gamma > 0):
        raise ValueError(f"gamma {gamma} given; a number above 0 is needed")
    image = np.clip((np.asarray(grey, dtype=np.float32) - low) / (high - low), 0, 1)
    if gamma != 1:
        image = image**gamma
    return np.asarray(1 - image if invert else image, dtype=np.float32)


def local_contrast(radiograph: Radiograph, strength: float = 0.5, tiles: int = 8) -> GreyImage:
    """Equalise contrast region by region, for the eye only.

    Contrast-limited adaptive histogram equalisation (Zuiderveld, Graphics Gems IV, 1994); padding is filled
    with the film's median beforehand so that its edge does not use up the contrast of the film.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    strength : float, optional
        0 (nothing) to 1 (strongest).
    tiles : int, optional
        Regions along each side.

    Returns
    -------
    ndarray of float32, shape (H, W)
        A new array, 0..1.

    Raises
    ------
    ValueError
        `strength` is not within 0 to 1 or there is not at least one tile.
    """
    if not 0 <= strength <= 1 or tiles < 1:
        raise ValueError(
            f"strength {strength} and {tiles} tiles given; strength 0 to 1 and at least 1 tile needed"
        )
    import cv2

    image = shown(radiograph.grey, grey_window(radiograph))
    if strength == 0:
        return image
    levels = np.rint(image * 65535).astype(np.uint16)
    levels[~radiograph.film] = np.uint16(np.median(levels[radiograph.film]))
    equalised = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(tiles, tiles)).apply(levels)
    mixed = (1 - strength) * image + strength * equalised.astype(np.float32) / 65535
    return np.asarray(np.where(radiograph.film, mixed, image), dtype=np.float32)
