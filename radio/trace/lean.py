"""How far a file leans from the middle of its canal, from the dark margins of the canal beside it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.trace.curve import resample
from radio.trace.ridge import straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# How far a file's axis lies from the canal's before looking, standard deviation; seen on synthetic teeth, no
# published figure found.
LEAN_SD_MM = 0.08
_ROW_MM = 0.3
_REACH_MM = 1.0
_LEANS_MM = np.linspace(-0.32, 0.32, 17)
_WIDTHS_MM = np.array([0.25, 0.35, 0.5, 0.7, 0.9, 1.2])
# Lean changes slowly along the file.
_SMOOTH_MM = 2.0
# Neighbouring rows share their texture: their evidence is not counted in full.
_GAIN = 0.8
# A canal is not an even band, nor a root an even dome.
_MODEL_SD_MM = 0.03


def canal_beside_file(
    image: Image, file_px: FloatArray, *, mm_per_px: float, tip_diameter_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Offset of the canal's middle from the file's axis along the file.

    Across the file, its own shadow left out, grey values are fitted by a dome (the root) with a dark band
    (the canal) of some width, somewhat aside; how much the band improves the fit, against the texture,
    is weighed with how far files usually lean.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    file_px : ndarray, shape (N, 2)
        File axis from orifice to tip.
    mm_per_px : float
        Approximate scale.
    tip_diameter_mm : float
        Diameter of the file at its tip.

    Returns
    -------
    offset_px, sd_px : ndarray, shape (N,)
        On the side of the normals of `file_px`.
    """
    from scipy.ndimage import gaussian_filter1d

    across_mm = max(0.03, mm_per_px)
    band = straighten(
        image,
        resample(file_px, 0.1 / mm_per_px),
        half_width_px=_REACH_MM / mm_per_px,
        along_px=0.1 / mm_per_px,
        across_px=across_mm / mm_per_px,
    )
    values = gaussian_filter1d(band.values.astype(np.float64), 0.4 / 0.1, axis=0, mode="nearest")
    step = max(1, round(_ROW_MM / 0.1))
    rows = np.arange(0, len(values), step)
    from_tip_mm = (len(values) - 1 - rows) * 0.1
    x = band.offsets_px * mm_per_px
    shadow_mm = 0.5 * (tip_diameter_mm + 0.02 * from_tip_mm) + 1.8 * mm_per_px + 0.03
    seen = np.abs(x)[None, :] > shadow_mm[:, None]
    score = _band_scores(values[rows], x, seen, mm_per_px)
    score = gaussian_filter1d(score, _SMOOTH_MM / _ROW_MM, axis=0, mode="nearest")
    log_p = _GAIN * score - 0.5 * (_LEANS_MM / LEAN_SD_MM) ** 2
    density = np.exp(log_p - log_p.max(axis=1, keepdims=True))
    density /= density.sum(axis=1, keepdims=True)
    mean = density @ _LEANS_MM
    sd = np.sqrt(np.maximum(density @ _LEANS_MM**2 - mean**2, 0.0) + _MODEL_SD_MM**2)
    at = np.linspace(0.0, 1.0, len(file_px))
    known = rows / max(len(values) - 1, 1)
    return np.interp(at, known, mean) / mm_per_px, np.interp(at, known, sd) / mm_per_px


def _band_scores(
    values: FloatArray, x: FloatArray, seen: npt.NDArray[np.bool_], mm_per_px: float
) -> FloatArray:
    """Log likelihood ratio of a dark band at each lean, best width, shape (rows, leans)."""
    blur = max(1.2 * mm_per_px, 0.04)
    centre = _LEANS_MM[:, None, None]
    half = 0.5 * _WIDTHS_MM[None, :, None]
    shape = 1.0 / (1.0 + np.exp(-(half - np.abs(x[None, None, :] - centre)) / (0.6 * blur)))
    shape = shape.reshape(-1, len(x))
    weight = seen.astype(np.float64)
    base = np.stack([np.ones_like(x), x, x**2, x**3])
    gram = np.einsum("rx,ix,jx->rij", weight, base, base) + 1e-6 * np.eye(4)
    moment = np.einsum("rx,ix,rx->ri", weight, base, values)
    plain = np.linalg.solve(gram, moment[..., None])[..., 0]
    residual = (values - plain @ base) * weight
    # the part of each band shape that the dome cannot make
    cross = np.einsum("rx,ix,sx->rsi", weight, base, shape)
    fitted = np.einsum("rij,rsj->rsi", np.linalg.inv(gram), cross)
    power = np.einsum("rx,sx->rs", weight, shape**2) - np.einsum("rsi,rsi->rs", fitted, cross)
    overlap = np.einsum("rx,sx->rs", residual, shape)
    gain = np.maximum(-overlap, 0.0) ** 2 / np.maximum(power, 0.02 * len(x) / 8)
    independent = (x[1] - x[0]) / max(0.12, 2 * mm_per_px)
    total = (residual**2).sum(axis=1, keepdims=True) + 1e-12
    ratio = (
        -0.5 * weight.sum(axis=1, keepdims=True) * independent * np.log(np.maximum(1.0 - gain / total, 0.02))
    )
    return np.asarray(ratio.reshape(len(values), len(_LEANS_MM), len(_WIDTHS_MM)).max(axis=2))
