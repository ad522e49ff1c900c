"""Trabecular texture: a projected network of broken struts round marrow spaces."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Float32Array = npt.NDArray[np.float32]

COARSE_MM = 0.07


def _band(rng: np.random.Generator, shape: tuple[int, int], scale_px: float, stretch: float) -> Float32Array:
    """Unit-variance band-pass noise with features of about `scale_px`, longer along the columns."""
    import cv2

    noise = rng.standard_normal(shape, dtype=np.float32)
    fine, wide = 0.28 * scale_px, 0.55 * scale_px
    kept = cv2.GaussianBlur(noise, (0, 0), fine * stretch, sigmaY=fine)
    kept = kept - cv2.GaussianBlur(noise, (0, 0), wide * stretch, sigmaY=wide)
    return np.asarray(kept / max(float(kept.std()), 1e-9), dtype=np.float32)


def _warped(rng: np.random.Generator, field: Float32Array, size_px: float, by_px: float) -> Float32Array:
    """Pull a field about slowly, so that struts run in no one direction."""
    import cv2

    rows, cols = field.shape
    row, col = np.mgrid[0:rows, 0:cols].astype(np.float32)
    pull = [np.float32(by_px) * _band(rng, field.shape, size_px, 1.0) for _ in range(2)]
    return np.asarray(
        cv2.remap(field, col + pull[0], row + pull[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT),
        dtype=np.float32,
    )


def trabecular_texture(
    rng: np.random.Generator, shape: tuple[int, int], pitch_mm: float, marrow_mm: float
) -> Float32Array:
    """Relative amount of trabecular bone in the beam, mean about 1, at least 0.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    shape : tuple of int
        Rows and columns.
    pitch_mm : float
        Pixel size.
    marrow_mm : float
        Typical size of a marrow space on the image.

    Returns
    -------
    ndarray of float32, shape `shape`

    Notes
    -----
    Zero crossings of band-pass noise are closed thin lines. Weighted with a second noise they break up into
    struts about open marrow spaces; sums over sizes and a cloudy part stand for the depth of the bone.
    """
    import cv2

    rows, cols = (max(int(np.ceil(side * pitch_mm / COARSE_MM)) + 4, 12) for side in shape)
    small = (rows, cols)
    unit = marrow_mm / COARSE_MM
    total = np.zeros(small, dtype=np.float32)
    for scale, weight, sharp in ((1.9, 1.0, 2.2), (1.3, 1.0, 2.2), (0.85, 0.7, 2.2)):
        for _ in range(2):
            lines = np.exp(
                -((np.float32(sharp) * _band(rng, small, scale * unit, rng.uniform(0.8, 1.5))) ** 2) / 2
            )
            present = np.clip(0.5 + 0.5 * _band(rng, small, 1.2 * scale * unit, 1.0), 0, 1.5)
            total += np.float32(weight) * lines * present
    for scale, weight in ((0.35, 0.08), (0.6, 0.10), (1.0, 0.12), (2.2, 0.14), (5.0, 0.20)):
        total += np.float32(weight) * _band(rng, small, scale * unit, 1.0)
    total = _warped(rng, total, 5.0 * unit, 0.18 * unit)
    total = 1 + (total - total.mean()) / np.float32(max(float(total.std()), 1e-6)) * np.float32(0.45)
    full = cv2.resize(total, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.maximum(full, 0), dtype=np.float32)


def smooth_noise(
    rng: np.random.Generator, shape: tuple[int, int], pitch_mm: float, size_mm: float
) -> Float32Array:
    """Slow variation with unit standard deviation and features of about `size_mm`."""
    import cv2

    cells = (max(int(shape[0] * pitch_mm / size_mm), 1) + 3, max(int(shape[1] * pitch_mm / size_mm), 1) + 3)
    small = rng.standard_normal(cells, dtype=np.float32)
    full = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(full / max(float(full.std()), 1e-6), dtype=np.float32)
