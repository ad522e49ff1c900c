"""Sub-pixel centre line about a good guide, weighed row by row against how canals and files bend."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.trace.curve import project
from radio.trace.insist import anchors, click_sds_mm, mark_beside, with_hand_sd, yielding
from radio.trace.line import BoolArray, Line
from radio.trace.look import ALONG_MM, LineLook
from radio.trace.path import penalised, penalised_sd
from radio.trace.ridge import Band, straighten

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# Rows a tenth of a millimetre apart share noise over about this many.
_SHARED_ROWS = 16.0
# A row beyond what the clicks span has nothing to follow.
_BEYOND_SD_MM = 1.0
# Grey steps finer than 16 bits are rounding, not an image.
_LEAST_NOISE = 1e-5


def settle(
    image: Image,
    guide_px: FloatArray,
    look: LineLook,
    *,
    mm_per_px: float,
    clicks_px: FloatArray,
    known: tuple[FloatArray, FloatArray] | None = None,
    toward: tuple[FloatArray, float] | None = None,
    exact: BoolArray | None = None,
) -> Line:
    """Centre line about a guide that lies within about a width of the line already.

    The centre of every row comes from the matched response across it, with a standard uncertainty from its
    height over the noise; clicks count as rough measurements of the place they mark; and curvature is taken
    to drift along the line as a random walk, so arcs are left as they are and weak stretches are carried by
    their neighbours. The line is the best compromise, and its uncertainty follows from the same sums.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    guide_px : ndarray, shape (N, 2)
    look : LineLook
    mm_per_px : float
        Approximate scale.
    clicks_px : ndarray, shape (K, 2)
        Clicks on this line, in order.
    known : tuple of ndarray, optional
        Points (M, 2) and sideways standard uncertainties (M,), pixels, of a coronal part known otherwise;
        the image is not looked at there.
    toward : tuple, optional
        A further place the line is expected to pass, (row, col), and how far from it, standard deviation,
        pixels.
    exact : ndarray of bool, shape (K,), optional
        Clicks the line has to pass through, as :mod:`radio.trace.insist` has it.

    Returns
    -------
    Line
        Sampled about every 0.1 mm.
    """
    band = _fine_band(image, guide_px, mm_per_px)
    n = len(band.guide_px)
    response, sigma_px = _matched_response(band, look, mm_per_px)
    centre_px, height, valid = _peaks(response, band, reach_px=max(0.15 / mm_per_px, 1.5))
    noise = 1.4826 * np.median(np.abs(response - np.median(response, axis=1, keepdims=True))) + _LEAST_NOISE
    ratio = np.maximum(height / noise, 0.0)
    confident = _supported(ratio)
    sd_px = np.hypot(0.015 / mm_per_px, sigma_px / np.maximum(ratio, 0.3)) * np.sqrt(_SHARED_ROWS)
    sd_px = np.where(valid, sd_px, _BEYOND_SD_MM / mm_per_px)
    sd_px = np.where(confident, sd_px, 3.0 * sd_px)
    spacing_px = band.along_step_px
    clicked = [project(band.guide_px, c) for c in clicks_px]
    last_s = max(s for s, _ in clicked)
    sd_px[np.arange(n) * spacing_px > last_s + 0.05 / mm_per_px] = _BEYOND_SD_MM / mm_per_px
    values = band.to_image(centre_px)
    if known is not None:
        count = min(len(known[0]), n)
        values[:count], sd_px[:count] = known[0][:count], known[1][:count]
        confident[:count] = True
        known_px = (count - 1) * spacing_px
    else:
        known_px = -np.inf
    insisted = np.zeros(len(clicked), bool) if exact is None else exact
    marks = [
        mark_beside(band.guide_px, band.normals_px, foot, sd, held)
        for foot, sd, held in zip(clicked, click_sds_mm(insisted) / mm_per_px, insisted, strict=True)
        if held or foot[0] > known_px
    ]
    if toward is not None:
        foot = project(band.guide_px, toward[0])
        marks.append(mark_beside(band.guide_px, band.normals_px, foot, toward[1], False))
    sd_px, confident = yielding(values, sd_px, confident, marks, mm_per_px=mm_per_px)
    lam = 1.0 / ((look.curvature_drift * mm_per_px**1.5) ** 2 * spacing_px**5)
    smooth, weights = _compromise(values, sd_px, anchors(marks, n), lam)
    spread = with_hand_sd(penalised_sd(weights, lam, 3), weights, lam, marks, mm_per_px=mm_per_px)
    return Line(look.kind, smooth, spread, confident)


def _fine_band(image: Image, line_px: FloatArray, mm_per_px: float) -> Band:
    """Band about a line that is known to a width, fine enough for sub-pixel centres."""
    return straighten(
        image,
        line_px,
        half_width_px=1.2 / mm_per_px,
        along_px=ALONG_MM / mm_per_px,
        across_px=max(0.02 / mm_per_px, 0.33),
    )


def _compromise(
    values: FloatArray, sd_px: FloatArray, marked: tuple[FloatArray, FloatArray], lam: float
) -> tuple[FloatArray, FloatArray]:
    """Smooth line and the final row weights; rows far off their neighbours lose weight (Student's t)."""
    row_weights = 1.0 / sd_px**2
    weights = row_weights
    smooth = values
    for _ in range(4):
        total = weights + marked[0]
        mean = (weights[:, None] * values + marked[1]) / np.maximum(total, 1e-12)[:, None]
        smooth = penalised(mean, total, lam, 3)
        misfit2 = ((values - smooth) ** 2).sum(axis=1) * row_weights
        weights = row_weights * 4.0 / (3.0 + misfit2)
    return smooth, weights + marked[0]


def _matched_response(band: Band, look: LineLook, mm_per_px: float) -> tuple[FloatArray, FloatArray]:
    """Second-derivative response across the band at the width that fits each stretch, and that width.

    Returns
    -------
    response : ndarray, shape (N, M)
    sigma_px : ndarray, shape (N,)
        Standard deviation of the filter used in each row, pixels.
    """
    import cv2
    from scipy.ndimage import gaussian_filter1d

    values = band.values if look.bright else -band.values
    values = cv2.GaussianBlur(
        values, (1, 0), sigmaX=0.01, sigmaY=0.15 / ALONG_MM, borderType=cv2.BORDER_REPLICATE
    )
    middle = np.abs(band.offsets_px) * mm_per_px <= 0.1
    sigmas = np.maximum(0.4 * np.array(look.widths_mm) / mm_per_px, 0.8)
    stack, strength = [], []
    for sigma_px in sigmas:
        sigma = sigma_px / band.across_step_px
        kernel = -_second_derivative(sigma) * sigma**1.5
        response = cv2.filter2D(values, -1, kernel[None, :], borderType=cv2.BORDER_REPLICATE)
        stack.append(response)
        strength.append(gaussian_filter1d(response[:, middle].max(axis=1), 1.0 / ALONG_MM, mode="nearest"))
    best = np.argmax(np.array(strength), axis=0)
    return np.array(stack, dtype=np.float64)[best, np.arange(len(values))], sigmas[best]


def _second_derivative(sigma: float) -> FloatArray:
    """Second derivative of a Gaussian, sampled, of zero sum."""
    x = np.arange(-np.ceil(4.0 * sigma), np.ceil(4.0 * sigma) + 1)
    kernel = np.exp(-0.5 * (x / sigma) ** 2)
    kernel /= kernel.sum()
    kernel *= (x**2 / sigma**2 - 1.0) / sigma**2
    return np.asarray(kernel - kernel.mean())


def _peaks(response: FloatArray, band: Band, *, reach_px: float) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Peak of every row near offset 0: place (pixels), height, and whether it is a true maximum there."""
    rows = np.arange(len(response))
    inside = np.flatnonzero(np.abs(band.offsets_px) <= reach_px)
    part = response[:, inside]
    best = part.argmax(axis=1)
    valid = (best > 0) & (best < len(inside) - 1) & (part[rows, best] > 0)
    column = np.clip(inside[best], 1, response.shape[1] - 2)
    left, mid, right = response[rows, column - 1], response[rows, column], response[rows, column + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    centre = band.offsets_px[column] + np.clip(shift, -1.0, 1.0) * band.across_step_px
    return centre, mid, valid


def _supported(signal_to_noise: FloatArray) -> BoolArray:
    """Rows where the line stands out over about a millimetre."""
    from scipy.ndimage import uniform_filter1d

    mean = uniform_filter1d(signal_to_noise, max(3, round(1.0 / ALONG_MM)), mode="nearest")
    return np.asarray(mean > 1.8)


def prominence(
    image: Image, points_px: FloatArray, look: LineLook, *, mm_per_px: float, over_mm: float
) -> FloatArray:
    """How far a line stands out from what runs beside it, in standard deviations of the latter.

    The matched response, averaged along the line, is compared with the same average at every parallel
    to it from 0.4 to 1.2 mm away: texture that was merely followed is not far above its surroundings.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    points_px : ndarray, shape (N, 2)
        Evenly spaced points of the line.
    look : LineLook
    mm_per_px : float
        Approximate scale.
    over_mm : float
        Length the response is averaged over.

    Returns
    -------
    ndarray, shape (N,)
    """
    from scipy.ndimage import uniform_filter1d

    band = _fine_band(image, points_px, mm_per_px)
    response, _ = _matched_response(band, look, mm_per_px)
    mean = uniform_filter1d(response, max(3, round(over_mm / ALONG_MM)), axis=0, mode="nearest")
    away = mean[:, np.abs(band.offsets_px) * mm_per_px > 0.4]
    middle = float(np.median(away))
    spread = 1.4826 * float(np.median(np.abs(away - middle))) + _LEAST_NOISE
    z = (mean[:, len(band.offsets_px) // 2] - middle) / spread
    return np.asarray(np.interp(np.linspace(0, 1, len(points_px)), np.linspace(0, 1, len(z)), z))
