"""Face of the stop or handle, where the known length of the file begins."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.trace.along import CLICK_SD_MM, Along, peak_moments, strip
from radio.trace.curve import project

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


def start_face(
    image: Image, line_px: FloatArray, click_px: FloatArray, *, mm_per_px: float, handle: bool
) -> Along:
    """Face of the stop or of the handle, where the known length of the file begins.

    Both are wider than the file and add brightness beside it that ends at the face, while the crown begins
    with a rise there: so only falls of brightness toward the apex count, on the left and the right of the
    file together, allowing for a tilted disc; a stop also begins with a rise one to two millimetres higher.
    Strong edges do not count for more than clear ones, and the click is weighed in.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    line_px : ndarray, shape (N, 2)
        Traced file, coronal to apical, beginning above the click.
    click_px : ndarray, shape (2,)
    mm_per_px : float
        Approximate scale.
    handle : bool
        True for a handle, False for a stop.
    """
    from scipy.ndimage import gaussian_filter1d, map_coordinates

    click_s, _ = project(line_px, click_px)
    step_mm = max(0.02, 0.5 * mm_per_px)
    s_mm = np.arange(-3.2, 1.6, step_mm)
    x_mm = np.concatenate([-np.arange(0.55, 1.5, 2 * step_mm)[::-1], np.arange(0.55, 1.5, 2 * step_mm)])
    values = strip(image, line_px, click_s + s_mm / mm_per_px, x_mm / mm_per_px)
    sigma_mm = max(0.07, 1.2 * mm_per_px)
    fall = -gaussian_filter1d(values, sigma_mm / step_mm, axis=0, order=1, mode="nearest")
    noise = _edge_noise(values, sigma_mm / step_mm)
    tilts = np.tan(np.radians(np.arange(-16, 17, 4)))
    rows = np.arange(len(s_mm))[None, :, None] + tilts[:, None, None] * x_mm[None, None, :] / step_mm
    columns = np.broadcast_to(np.arange(len(x_mm)), rows.shape)
    sheared = map_coordinates(fall, [rows, columns], order=1, mode="nearest")
    sides = np.stack([sheared[:, :, x_mm < 0].mean(axis=2), sheared[:, :, x_mm > 0].mean(axis=2)])
    first, count = round((-0.8 - s_mm[0]) / step_mm), round(1.6 / step_mm)

    def evidence(back_mm: float, sign: float) -> FloatArray:
        start = first - round(back_mm / step_mm)
        snr = np.maximum(sign * sides[:, :, start : start + count], 0.0) / noise
        return np.asarray((0.5 * snr**2 / (1.0 + 0.1 * snr**2)).sum(axis=0))

    score = evidence(0.0, 1.0)
    if not handle:
        score = score + 0.5 * np.max([evidence(w, -1.0) for w in np.arange(0.8, 2.3, 0.1)], axis=0)
    best = (score - 0.5 * (tilts[:, None] / 0.15) ** 2).max(axis=0)
    t_mm = s_mm[first : first + count]
    place, sd = peak_moments(t_mm, best - 0.5 * (t_mm / CLICK_SD_MM) ** 2)
    sd = float(np.hypot(sd, 0.03))
    return Along(click_s + place / mm_per_px, sd / mm_per_px, sd < 0.6 * CLICK_SD_MM)


def _edge_noise(values: FloatArray, sigma: float) -> float:
    """Standard deviation of a side's mean edge response where there is only noise, with a floor."""
    from scipy.ndimage import gaussian_filter1d

    response = gaussian_filter1d(values, sigma, axis=0, order=1, mode="nearest")
    half = response.shape[1] // 2
    sides = np.concatenate([response[:, :half].mean(axis=1), response[:, half:].mean(axis=1)])
    spread = 1.4826 * float(np.median(np.abs(sides - np.median(sides))))
    return spread + 2e-4 * float(np.ptp(values)) + 1e-6
