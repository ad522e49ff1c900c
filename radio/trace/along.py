"""Places along a line, and looking beside a line: what the finders of line ends share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.curve import normals, point_at, project, section
from radio.trace.ridge import sample

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# Scatter of a click along a line when nothing better is known (about half a millimetre at 95 %).
CLICK_SD_MM = 0.25
# How near a line passes a point that a person insists on. It says nothing of how well the place is known: a
# hand is not more certain by insisting, and its scatter stays that of a click.
EXACT_SD_MM = 0.01


@dataclass(frozen=True)
class Along:
    """A place along a line, with what is known about it.

    Parameters
    ----------
    s_px : float
        Arc length from the first point of the line, pixels.
    sd_px : float
        Standard uncertainty along the line, pixels.
    refined : bool
        True when the image, not only the click, decided.
    """

    s_px: float
    sd_px: float
    refined: bool


def as_clicked(line_px: FloatArray, click_px: FloatArray, mm_per_px: float) -> Along:
    """Foot of a click on a line, shape (N, 2), as certain as any click."""
    return Along(project(line_px, click_px)[0], CLICK_SD_MM / mm_per_px, False)


def strip(image: Image, line_px: FloatArray, s_px: FloatArray, offsets_px: FloatArray) -> FloatArray:
    """Grey values beside a line, shape (len(s_px), len(offsets_px)); beyond its ends it runs on straight."""
    centre = point_at(line_px, s_px)
    normal = normals(centre)
    points = centre[:, None, :] + offsets_px[None, :, None] * normal[:, None, :]
    return sample(image, points).astype(np.float64)


def continued(line_px: FloatArray, s_cut_px: float, to_px: float, *, over_px: float) -> FloatArray:
    """The line up to `s_cut_px`, then continued to `to_px` along the parabola of its last `over_px`."""
    s_cut_px = max(s_cut_px, 0.2 * to_px)
    start = max(0.0, s_cut_px - over_px)
    tail = section(line_px, start, s_cut_px, over_px / 40)
    t = np.linspace(-1.0, 0.0, len(tail)) * (s_cut_px - start)
    coefficients = [np.polyfit(t, tail[:, axis], 2) for axis in (0, 1)]
    step = over_px / 40
    ahead = np.arange(1, int(np.ceil((to_px - s_cut_px) / step)) + 1) * step
    more = np.stack([np.polyval(c, ahead) for c in coefficients], axis=1)
    fitted_end = np.array([np.polyval(c, 0.0) for c in coefficients])
    return np.vstack([section(line_px, 0.0, s_cut_px, step), more + (tail[-1] - fitted_end)])


def peak_moments(x: FloatArray, log_density: FloatArray) -> tuple[float, float]:
    """Mean and standard deviation of an unnormalised log density on an even grid `x`."""
    density = np.exp(log_density - log_density.max())
    density /= density.sum()
    mean = float(density @ x)
    sd = float(np.sqrt(density @ (x - mean) ** 2))
    return mean, max(sd, 0.3 * float(x[1] - x[0]))
