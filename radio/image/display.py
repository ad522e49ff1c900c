"""How grey values are shown: contrast for the eye, on a copy, never on the data that are measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from radio.image.radiograph import Radiograph

GreyImage = npt.NDArray[np.float32]

# Blur of the unsharp mask: detail of a few pixels is what sharpening is wanted for; a share of the longer
# side, so that two resolutions of one image look alike, and no less than a pixel and a half.
_UNSHARP_SHARE, _UNSHARP_LEAST_PX = 1 / 800, 1.5
# What the strongest sharpening adds, times the difference from the blurred image.
_UNSHARP_MOST = 3.0


@dataclass(frozen=True)
class Display:
    """How a radiograph is put before the eye; nothing here touches what is measured.

    Parameters
    ----------
    low, high : float or None
        Grey (0..1) shown as black and as white; None for both takes them from the film.
    gamma : float
        Exponent, 0.1 to 10; below 1 opens the dark parts, above 1 the bright ones.
    invert : bool
        Show radiopaque dark.
    local_contrast, sharpen : float
        0 (nothing) to 1 (strongest).
    beside_original : bool
        Show the image as exposed beside it.

    Raises
    ------
    ValueError
        A value is out of its limits, or only one end of the window is given.
    """

    low: float | None = None
    high: float | None = None
    gamma: float = 1.0
    invert: bool = False
    local_contrast: float = 0.0
    sharpen: float = 0.0
    beside_original: bool = False

    def __post_init__(self) -> None:
        if (self.low is None) != (self.high is None):
            raise ValueError(f"window {self.low} to {self.high} given; give both ends or neither")
        if self.low is not None and self.high is not None and not 0 <= self.low < self.high <= 1:
            raise ValueError(f"window {self.low} to {self.high} given; 0 <= low < high <= 1 is needed")
        if not 0.1 <= self.gamma <= 10:
            raise ValueError(f"gamma {self.gamma} given; 0.1 to 10 is allowed")
        for name in ("local_contrast", "sharpen"):
            if not 0 <= getattr(self, name) <= 1:
                raise ValueError(f"{name} {getattr(self, name)} given; 0 to 1 is allowed")

    @property
    def changes_grey(self) -> bool:
        """Whether the eye sees other grey values than those of the image as exposed."""
        return replace(self, beside_original=False) != Display()

    @property
    def window(self) -> tuple[float, float] | None:
        """Grey shown as black and as white, where it was chosen."""
        return None if self.low is None or self.high is None else (self.low, self.high)

    @property
    def text(self) -> str:
        """What is on, in short words; empty when the image is shown as exposed."""
        words = [
            self.window and f"window {self.window[0]:.2f} to {self.window[1]:.2f}",
            self.gamma != 1 and f"gamma {self.gamma:.2f}",
            self.invert and "inverted",
            self.local_contrast and f"local contrast {self.local_contrast:.0%}",
            self.sharpen and f"sharpened {self.sharpen:.0%}",
        ]
        told = [word for word in words if word]
        if told and self.beside_original:
            told.append("original beside")
        return ", ".join(told)


def displayed(radiograph: Radiograph, display: Display) -> GreyImage:
    """Show a radiograph with the aids that are on, for the eye only.

    In this order: window, local contrast, sharpening, gamma, inversion. Padding around the film is shown as
    it is, and nothing of it leaks into the film.

    Parameters
    ----------
    radiograph : Radiograph
        The image; left as it is.
    display : Display
        What is on.

    Returns
    -------
    ndarray of float32, shape (H, W)
        A new array, 0..1.
    """
    window = display.window or grey_window(radiograph)
    plain = shown(radiograph.grey, window)
    image = local_contrast(radiograph, display.local_contrast, window=window)
    if display.sharpen:
        image = _sharpened(image, radiograph.film, display.sharpen)
    image = shown(image, gamma=display.gamma, invert=display.invert)
    return np.where(radiograph.film, image, plain)


def _sharpened(image: GreyImage, film: npt.NDArray[np.bool_], strength: float) -> GreyImage:
    """Unsharp mask; at the border of the film the blur is taken over the film alone."""
    import cv2

    sigma = max(_UNSHARP_LEAST_PX, _UNSHARP_SHARE * max(image.shape))
    inside = film.astype(np.float32)

    def blurred(values: GreyImage) -> GreyImage:
        smooth = cv2.GaussianBlur(values, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
        return np.asarray(smooth, dtype=np.float32)

    smooth = blurred(image * inside)
    if not film.all():
        smooth /= np.maximum(blurred(inside), np.float32(1e-6))
    return np.asarray(np.clip(image + np.float32(_UNSHARP_MOST * strength) * (image - smooth), 0, 1))


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


def local_contrast(
    radiograph: Radiograph,
    strength: float = 0.5,
    tiles: int = 8,
    *,
    window: tuple[float, float] | None = None,
) -> GreyImage:
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
    window : tuple of float, optional
        Grey shown as black and as white; from the film unless given.

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

    image = shown(radiograph.grey, window or grey_window(radiograph))
    if strength == 0:
        return image
    levels = np.rint(image * 65535).astype(np.uint16)
    levels[~radiograph.film] = np.uint16(np.median(levels[radiograph.film]))
    equalised = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(tiles, tiles)).apply(levels)
    mixed = (1 - strength) * image + strength * equalised.astype(np.float32) / 65535
    return np.asarray(np.where(radiograph.film, mixed, image), dtype=np.float32)
