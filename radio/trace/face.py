"""Face of the stop or handle, where the known length of the file begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.along import CLICK_SD_MM, Along, peak_moments, strip
from radio.trace.curve import project

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


# A face is not perfectly flat, nor the disc square to the file.
_FACE_MODEL_SD_MM = 0.03


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
    edges = _edges_beside(image, line_px, click_px, mm_per_px)
    score = edges.evidence(0.0, 1.0)
    if not handle:
        score = score + 0.5 * np.max([edges.evidence(w, -1.0) for w in np.arange(0.8, 2.3, 0.1)], axis=0)
    return edges.place(score, mm_per_px)


@dataclass(frozen=True, eq=False)
class _Edges:
    """Falls of brightness toward the apex beside a line, for several tilts of the edge."""

    click_s_px: float
    s_mm: FloatArray
    sides: FloatArray  # (2, tilts, S): left and right
    tilts: FloatArray
    noise: float

    @property
    def _window(self) -> tuple[int, int]:
        step = self.s_mm[1] - self.s_mm[0]
        return round((-0.8 - self.s_mm[0]) / step), round(1.6 / step)

    def evidence(self, back_mm: float, sign: float) -> FloatArray:
        """Bounded log likelihood ratio, shape (tilts, T), of an edge `back_mm` coronal of each place."""
        first, count = self._window
        start = first - round(back_mm / (self.s_mm[1] - self.s_mm[0]))
        snr = np.maximum(sign * self.sides[:, :, start : start + count], 0.0) / self.noise
        return np.asarray((0.5 * snr**2 / (1.0 + 0.1 * snr**2)).sum(axis=0))

    def place(self, score: FloatArray, mm_per_px: float) -> Along:
        """Weigh the evidence against the click."""
        first, count = self._window
        t_mm = self.s_mm[first : first + count]
        best = (score - 0.5 * (self.tilts[:, None] / 0.15) ** 2).max(axis=0)
        place, sd = peak_moments(t_mm, best - 0.5 * (t_mm / CLICK_SD_MM) ** 2)
        sd = float(np.hypot(sd, _FACE_MODEL_SD_MM))
        return Along(self.click_s_px + place / mm_per_px, sd / mm_per_px, sd < 0.6 * CLICK_SD_MM)


def _edges_beside(image: Image, line_px: FloatArray, click_px: FloatArray, mm_per_px: float) -> _Edges:
    from scipy.ndimage import gaussian_filter1d, map_coordinates

    click_s, _ = project(line_px, click_px)
    step_mm = max(0.02, 0.5 * mm_per_px)
    s_mm = np.arange(-3.2, 1.6, step_mm)
    right = np.arange(0.55, 1.5, 2 * step_mm)
    x_mm = np.concatenate([-right[::-1], right])
    values = strip(image, line_px, click_s + s_mm / mm_per_px, x_mm / mm_per_px)
    sigma = max(0.07, 1.2 * mm_per_px) / step_mm
    fall = -gaussian_filter1d(values, sigma, axis=0, order=1, mode="nearest")
    tilts = np.tan(np.radians(np.arange(-16, 17, 4)))
    rows = np.arange(len(s_mm))[None, :, None] + tilts[:, None, None] * x_mm[None, None, :] / step_mm
    columns = np.broadcast_to(np.arange(len(x_mm)), rows.shape)
    sheared = map_coordinates(fall, [rows, columns], order=1, mode="nearest")
    sides = np.stack([sheared[:, :, x_mm < 0].mean(axis=2), sheared[:, :, x_mm > 0].mean(axis=2)])
    return _Edges(click_s, s_mm, sides, tilts, _edge_noise(values, sigma))


def _edge_noise(values: FloatArray, sigma: float) -> float:
    """Standard deviation of a side's mean edge response where there is only noise, with a floor."""
    from scipy.ndimage import gaussian_filter1d

    response = gaussian_filter1d(values, sigma, axis=0, order=1, mode="nearest")
    half = response.shape[1] // 2
    sides = np.concatenate([response[:, :half].mean(axis=1), response[:, half:].mean(axis=1)])
    spread = 1.4826 * float(np.median(np.abs(sides - np.median(sides))))
    return spread + 2e-4 * float(np.ptp(values)) + 1e-6
