"""From transmitted intensity to stored grey values: blur, noise, processing, film edge."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.bone import smooth_noise
from radio.image.synthetic.parameters import Parameters

Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]


def expose(intensity: Float32Array, parameters: Parameters, rng: np.random.Generator) -> Float32Array:
    """Return the detected signal as a share of the open beam: blur, veil, quantum and electronic noise.

    Parameters
    ----------
    intensity : ndarray of float32, shape (H, W)
        Transmitted share of the open beam.
    parameters : Parameters
        Blur, noise, veil.
    rng : numpy.random.Generator
        Source of chance.
    """
    import cv2

    p = parameters
    signal = cv2.GaussianBlur(intensity, (0, 0), p.blur_mm / p.pitch_mm)
    signal = signal * np.float32(1 - p.veil) + np.float32(p.veil)
    spread = np.sqrt(np.maximum(signal, 1e-5) / np.float32(p.photons_per_px))
    noise = rng.standard_normal(signal.shape, dtype=np.float32)
    if p.noise_blur_px > 0.05:
        # neighbouring pixels share light or stored charge, which correlates their noise
        noise = cv2.GaussianBlur(noise, (0, 0), p.noise_blur_px)
    signal = signal + noise * spread
    signal += np.float32(p.electronic_noise) * rng.standard_normal(signal.shape, dtype=np.float32)
    if p.fixed_pattern > 0:
        columns = rng.standard_normal(signal.shape[1], dtype=np.float32)
        signal *= 1 + np.float32(p.fixed_pattern) * (
            0.4 * columns + smooth_noise(rng, signal.shape, p.pitch_mm, 9.0)
        )
    return np.asarray(np.clip(signal, 2e-4, 1.0), dtype=np.float32)


def develop(signal: Float32Array, parameters: Parameters) -> Float32Array:
    """Grey values 0..1, radiopaque bright: logarithm, window, gamma, sharpening, local contrast."""
    import cv2

    p = parameters
    grey = (-np.log(signal) - np.float32(p.black_point)) / np.float32(p.contrast)
    if p.unsharp > 0:
        grey = grey + np.float32(p.unsharp) * (grey - cv2.GaussianBlur(grey, (0, 0), 0.12 / p.pitch_mm))
    grey = np.clip(grey, 0, 1) ** np.float32(p.gamma)
    if p.local_contrast > 0:
        from skimage.exposure import equalize_adapthist

        tile = [max(side // 4, 1) for side in grey.shape]
        # clipped at twice the mean of 256 bins; OpenCV's is left aside, 5.0 does it otherwise than 4.14
        equal = equalize_adapthist(grey, tile, clip_limit=2.0 / 256).astype(np.float32)
        grey = grey * np.float32(1 - p.local_contrast) + equal * np.float32(p.local_contrast)
    return np.asarray(np.clip(grey, 0, 1), dtype=np.float32)


def add_dust(grey: Float32Array, parameters: Parameters, rng: np.random.Generator) -> Float32Array:
    """Bright specks and short scratches as old phosphor plates have them."""
    import cv2

    if parameters.dust == 0:
        return grey
    rows, cols = grey.shape
    marks = np.zeros_like(grey)
    for _ in range(parameters.dust):
        row, col = rng.uniform(0, rows), rng.uniform(0, cols)
        length = rng.uniform(0.05, 1.2) / parameters.pitch_mm * (rng.random() < 0.4)
        angle = rng.uniform(0, np.pi)
        line = [(row, col)]
        for _ in range(3):
            angle += rng.normal(0, 0.5)
            row, col = row + length / 3 * np.sin(angle), col + length / 3 * np.cos(angle)
            line.append((row, col))
        points = np.round(np.array([[c, r] for r, c in line]) * 16).astype(np.int32)
        thickness = max(round(rng.uniform(0.03, 0.12) / parameters.pitch_mm), 1)
        cv2.polylines(marks, [points], False, float(rng.uniform(0.1, 0.4)), thickness, cv2.LINE_AA, 4)
    marks = cv2.GaussianBlur(marks, (0, 0), 0.7)
    return np.asarray(np.clip(grey + marks, 0, 1), dtype=np.float32)


def film_mask(parameters: Parameters, shape: tuple[int, int], rng: np.random.Generator) -> BoolArray:
    """Exposed area: everything, or a slightly turned rectangle with rounded corners."""
    import cv2

    if parameters.padding == "none":
        return np.ones(shape, dtype=bool)
    rows, cols = shape
    inset = rng.uniform(0.1, 0.7) / parameters.pitch_mm
    corner = rng.uniform(1.5, 4.5) / parameters.pitch_mm
    turn = rng.normal(0, 0.7)
    small = np.full(shape, 255, dtype=np.uint8)
    row, col = np.mgrid[0:rows, 0:cols].astype(np.float32)
    cos, sin = np.float32(np.cos(np.deg2rad(turn))), np.float32(np.sin(np.deg2rad(turn)))
    y, x = row - (rows - 1) / 2, col - (cols - 1) / 2
    along_x, along_y = np.abs(x * cos + y * sin), np.abs(y * cos - x * sin)
    over_x = np.maximum(along_x - (cols / 2 - inset - corner), 0)
    over_y = np.maximum(along_y - (rows / 2 - inset - corner), 0)
    small[np.hypot(over_x, over_y) > corner] = 0
    if rng.random() < 0.5:
        size = max(round(0.3 / parameters.pitch_mm), 1)
        small = cv2.erode(small, np.ones((size, 1), np.uint8))
    return np.asarray(small > 127)


def store(
    grey: Float32Array, film: BoolArray, parameters: Parameters
) -> npt.NDArray[np.uint8] | npt.NDArray[np.uint16]:
    """Quantise to stored values in the image's own polarity, with its padding."""
    top = 2**parameters.bits - 1
    shown = np.where(film, grey, np.float32(1.0 if parameters.padding == "white" else 0.0))
    if parameters.monochrome1:
        shown = 1 - shown
    values = np.rint(shown * top)
    if parameters.bits <= 8:
        return np.asarray(values, dtype=np.uint8)
    return np.asarray(values, dtype=np.uint16)
