"""Apical end of the root: a cap fitted to its outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.along import CLICK_SD_MM, Along, strip
from radio.trace.curve import project
from radio.trace.ridge import sample

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


@dataclass(frozen=True)
class RootEnd:
    """Apical end of the root outline relative to a canal line.

    Parameters
    ----------
    apex : Along
        Place of the most apical point of the outline along the line.
    apex_aside_px, apex_aside_sd_px : float
        Its distance from the line, on the side of the normals, and standard uncertainty, pixels.
    canal_end : Along
        Where the line itself crosses the outline.
    """

    apex: Along
    apex_aside_px: float
    apex_aside_sd_px: float
    canal_end: Along


def root_end(
    image: Image,
    line_px: FloatArray,
    apex_click_px: FloatArray | None,
    end_click_px: FloatArray | None,
    *,
    mm_per_px: float,
    file_shadow_mm: float = 0.0,
) -> RootEnd:
    """Fit the cap of the root outline about the end of a canal line.

    Near its end the outline is a circular cap. For every place and sideways shift of its top and several
    radii, the fall of brightness across it, dentine to periodontal space, is averaged along the cap,
    leaving out the canal; that evidence, bounded so that one strong edge of bone does not overrule
    everything, is weighed against the clicks on the apex and on the canal end.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    line_px : ndarray, shape (N, 2)
        Canal line, coronal to apical.
    apex_click_px, end_click_px : ndarray, shape (2,), or None
        At least one of them.
    mm_per_px : float
        Approximate scale.
    file_shadow_mm : float
        Width of a file that crosses the outline, left out as well.
    """
    click_mm = {}
    for name, click in (("apex", apex_click_px), ("end", end_click_px)):
        if click is not None:
            s, aside = project(line_px, click)
            click_mm[name] = (s * mm_per_px, aside * mm_per_px)
    origin_mm = click_mm["apex"][0] if "apex" in click_mm else click_mm["end"][0]
    step_mm = max(0.03, 0.7 * mm_per_px)
    s_mm, x_mm = np.arange(-2.6, 1.2, step_mm), np.arange(-1.9, 1.9 + step_mm / 2, step_mm)
    patch = strip(image, line_px, (origin_mm + s_mm) / mm_per_px, x_mm / mm_per_px).astype(np.float32)
    t = np.arange(-0.78, 0.78, step_mm)
    shift = np.arange(-0.7, 0.71, 0.14)
    radius = np.array([0.6, 0.9, 1.4, 2.2])
    leave_out = max(0.12, 0.5 * file_shadow_mm + 0.08)
    log_p = _cap_evidence(patch, s_mm, x_mm, t, shift, radius, leave_out)
    crossing = t[:, None, None] - _cap_depth(shift[None, :, None], radius[None, None, :])
    if "apex" in click_mm:
        along, aside = click_mm["apex"][0] - origin_mm, click_mm["apex"][1]
        log_p = (
            log_p
            - 0.5 * ((t[:, None, None] - along) ** 2 + (shift[None, :, None] - aside) ** 2) / CLICK_SD_MM**2
        )
    else:
        log_p = log_p - 0.5 * (shift[None, :, None] / 0.3) ** 2
    if "end" in click_mm:
        log_p = log_p - 0.5 * ((crossing - (click_mm["end"][0] - origin_mm)) / CLICK_SD_MM) ** 2
    density = np.exp(log_p - log_p.max())
    density /= density.sum()

    def moments(x: FloatArray) -> tuple[float, float]:
        mean = float((density * x).sum())
        return mean, float(np.sqrt((density * (x - mean) ** 2).sum()) + 0.3 * step_mm)

    def along_line(x: FloatArray) -> Along:
        mean, sd = moments(x)
        return Along((origin_mm + mean) / mm_per_px, sd / mm_per_px, sd < 0.7 * CLICK_SD_MM)

    everywhere = np.broadcast_to(t[:, None, None], density.shape)
    aside_mm, aside_sd_mm = moments(np.broadcast_to(shift[None, :, None], density.shape))
    return RootEnd(
        along_line(everywhere), aside_mm / mm_per_px, aside_sd_mm / mm_per_px, along_line(crossing)
    )


def _cap_depth(shift: FloatArray, radius: FloatArray) -> FloatArray:
    inside = np.minimum(np.abs(shift), 0.95 * radius)
    return np.asarray(radius - np.sqrt(radius**2 - inside**2))


# Where dentine is looked for inside the outline, and the periodontal space on it, mm. A beam that grazes a
# rounded root passes little dentine and much periodontal space, so brightness has fallen to its lowest, not
# half way, where the outline is.
_CAP_STEP_MM = 0.1
_DENTINE_DEPTHS_MM = (0.18, 0.26, 0.34, 0.42)
_SPACE_DEPTHS_MM = (-0.04, 0.03, 0.10)


def _cap_evidence(
    patch: npt.NDArray[np.float32],
    s_mm: FloatArray,
    x_mm: FloatArray,
    t: FloatArray,
    shift: FloatArray,
    radius: FloatArray,
    leave_out_mm: float,
) -> FloatArray:
    """Bounded log likelihood ratio, shape (T, S, R), for a cap with its top at (t, shift)."""
    step = s_mm[1] - s_mm[0]
    x = np.arange(-1.6, 1.61, _CAP_STEP_MM)
    noise = _fall_noise(patch, step)
    out = np.empty((len(t), len(shift), len(radius)))
    for k, r in enumerate(radius):
        rel = x[None, :] - shift[:, None]
        used = (np.abs(rel) < min(0.85 * r, 0.9)) & (np.abs(x)[None, :] > leave_out_mm)
        sine = np.clip(rel / r, -0.95, 0.95)
        cosine = np.sqrt(1.0 - sine**2)
        weight = used / cosine
        total = np.maximum(weight.sum(axis=1), 1e-9)
        depth = _cap_depth(rel, np.full_like(rel, r))

        def mean_at(
            depths: tuple[float, ...],
            depth: FloatArray = depth,
            sine: FloatArray = sine,
            cosine: FloatArray = cosine,
            weight: FloatArray = weight,
        ) -> FloatArray:
            values = 0.0
            for d in depths:
                rows = (t[:, None, None] - (depth + d * cosine)[None] - s_mm[0]) / step
                columns = (x[None, :] - d * sine - x_mm[0]) / step
                at = np.stack([rows, np.broadcast_to(columns[None], rows.shape)], axis=-1)
                grid = sample(patch, at.reshape(len(t), -1, 2)).reshape(rows.shape)
                values = values + (grid * weight).sum(axis=2)
            return np.asarray(values / len(depths))

        fall = (mean_at(_DENTINE_DEPTHS_MM) - mean_at(_SPACE_DEPTHS_MM)) / total
        independent = np.maximum(weight.sum(axis=1) * _CAP_STEP_MM / 0.2, 1.0)
        snr = np.maximum(fall, 0.0) / noise * np.sqrt(independent)
        out[:, :, k] = 0.5 * snr**2 / (1.0 + 0.5 * snr**2 / 8.0)
    return out


def _fall_noise(patch: npt.NDArray[np.float32], step_mm: float) -> float:
    """Spread of the fall of brightness, unaveraged, over the whole patch."""
    inner = round(np.mean(_DENTINE_DEPTHS_MM) / step_mm)
    outer = round(np.mean(_SPACE_DEPTHS_MM) / step_mm)
    lag = max(inner - outer, 1)
    difference = patch[:-lag] - patch[lag:]
    return 1.4826 * float(np.median(np.abs(difference - np.median(difference)))) + 1e-6
