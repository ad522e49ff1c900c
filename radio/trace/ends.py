"""Where lines end: file tip, stop or handle face, root apex; each weighed against the click it started from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.trace.curve import normals, point_at, project, section
from radio.trace.ridge import sample

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

# Scatter of a click along a line when nothing better is known (about half a millimetre at 95 %).
CLICK_SD_MM = 0.25


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


def strip(image: Image, line_px: FloatArray, s_px: FloatArray, offsets_px: FloatArray) -> FloatArray:
    """Grey values beside a line, shape (len(s_px), len(offsets_px)), the line continued straight beyond its ends."""
    centre = point_at(line_px, s_px)
    normal = normals(centre)
    points = centre[:, None, :] + offsets_px[None, :, None] * normal[:, None, :]
    return sample(image, points).astype(np.float64)


def continued(line_px: FloatArray, s_cut_px: float, to_px: float, *, over_px: float) -> FloatArray:
    """The line up to `s_cut_px`, then continued to `to_px` along the parabola of its last `over_px`."""
    start = max(0.0, s_cut_px - over_px)
    tail = section(line_px, start, s_cut_px, over_px / 40)
    t = np.linspace(-1.0, 0.0, len(tail)) * (s_cut_px - start)
    coefficients = [np.polyfit(t, tail[:, axis], 2) for axis in (0, 1)]
    step = over_px / 40
    ahead = np.arange(1, int(np.ceil((to_px - s_cut_px) / step)) + 1) * step
    more = np.stack([np.polyval(c, ahead) for c in coefficients], axis=1)
    fitted_end = np.array([np.polyval(c, 0.0) for c in coefficients])
    return np.vstack([section(line_px, 0.0, s_cut_px, step), more + (tail[-1] - fitted_end)])


def locate_step(
    s: FloatArray,
    profiles: FloatArray,
    candidates: FloatArray,
    shape: Callable[[FloatArray], FloatArray],
    *,
    prior: tuple[float, float],
    correlation: float,
    sloped_inside: bool = True,
) -> tuple[float, float, float]:
    """Place of a step in one or more profiles, with its standard uncertainty.

    For every candidate place the profile is fitted by least squares with the step there (level and slope
    inside, level outside); the residual gives the likelihood, the click a normal prior, and the answer is
    the mean and spread of the product about its peak.

    Parameters
    ----------
    s : ndarray, shape (S,)
        Positions along the line.
    profiles : ndarray, shape (K, S)
        Independent profiles that share the step.
    candidates : ndarray, shape (T,)
    shape : callable
        Step as a function of (candidate - position): 0 outside, 1 well inside.
    prior : tuple of float
        Mean and standard deviation of the place before looking.
    correlation : float
        Length over which the noise of a profile goes together.
    sloped_inside : bool
        Whether the inside level may change linearly.

    Returns
    -------
    place, sd : float
        In the unit of `s`.
    step_to_noise : float
        Height of the step over the residual noise.
    """
    inside = shape(candidates[:, None] - s[None, :])
    columns = [inside, 1.0 - inside]
    if sloped_inside:
        columns.append(inside * (s[None, :] - candidates[:, None]))
    design = np.stack(columns, axis=-1)
    gram = np.einsum("tsi,tsj->tij", design, design) + 1e-9 * np.eye(design.shape[-1])
    moment = np.einsum("tsi,ks->tik", design, profiles)
    solution = np.linalg.solve(gram, moment)
    explained = np.einsum("tik,tik->tk", solution, moment)
    residual = np.maximum((profiles**2).sum(axis=1)[None, :] - explained, 1e-12)
    independent = max(len(s) * (s[1] - s[0]) / correlation, 4.0)
    log_likelihood = -0.5 * independent * np.log(residual).sum(axis=1)
    log_posterior = log_likelihood - 0.5 * ((candidates - prior[0]) / prior[1]) ** 2
    place, sd = _peak_moments(candidates, log_posterior)
    best = int(np.argmax(log_posterior))
    noise = np.sqrt(residual[best] / len(s))
    height = np.abs(solution[best, 0] - solution[best, 1])
    return place, sd, float((height / np.maximum(noise, 1e-9)).max())


def _peak_moments(x: FloatArray, log_density: FloatArray) -> tuple[float, float]:
    density = np.exp(log_density - log_density.max())
    density /= density.sum()
    mean = float(density @ x)
    sd = float(np.sqrt(density @ (x - mean) ** 2))
    return mean, max(sd, 0.3 * float(x[1] - x[0]))


def blurred_shape(ramp: float, blur: float, *, power: float = 2.0) -> Callable[[FloatArray], FloatArray]:
    """Step that rises as (x / ramp) ** power up to `ramp`, then stays 1, blurred by a Gaussian."""
    from scipy.ndimage import gaussian_filter1d

    step = max(min(blur, max(ramp, blur)) / 8.0, 1e-3)
    reach = ramp + 6.0 * blur
    x = np.arange(-reach, reach + step, step)
    y = np.clip(x / ramp, 0.0, 1.0) ** power if ramp > 0 else (x > 0).astype(np.float64)
    y = gaussian_filter1d(y, blur / step, mode="nearest")
    return lambda d: np.asarray(np.interp(d, x, y))


def file_tip(
    image: Image, line_px: FloatArray, click_px: FloatArray, *, mm_per_px: float, file_size: int | None
) -> tuple[FloatArray, Along]:
    """End of the file along its own axis.

    The file's excess brightness over both sides is followed along the traced axis, continued beyond the
    click along the axis's own curve, and a step is fitted to it that rises with the square of the diameter
    along the tip cone (an absorbing cylinder's signal integrated across goes with its section) and has the
    image's blur.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    line_px : ndarray, shape (N, 2)
        Traced file, coronal to apical, at least up to the click.
    click_px : ndarray, shape (2,)
    mm_per_px : float
        Approximate scale.
    file_size : int or None
        ISO 3630-1 size, for the length of the tip cone.

    Returns
    -------
    line_px : ndarray, shape (M, 2)
        The line continued beyond the tip.
    tip : Along
        On that line.
    """
    click_s, _ = project(line_px, click_px)
    diameter_mm = (file_size or 20) / 100.0
    cone_mm = 0.65 * diameter_mm
    prior_px = CLICK_SD_MM / mm_per_px
    line, tip = line_px, Along(click_s, prior_px, False)
    for cut_mm, reach_mm in ((0.8, 1.0), (0.25, 0.6)):
        cut = max(tip.s_px - cut_mm / mm_per_px, 0.4 * tip.s_px)
        line = continued(line_px, cut, tip.s_px + 2.2 / mm_per_px, over_px=2.5 / mm_per_px)
        tip = _tip_step(image, line, tip.s_px, click_s, cone_mm, diameter_mm, reach_mm, mm_per_px)
    return line, tip


def _tip_step(
    image: Image,
    line_px: FloatArray,
    about_px: float,
    click_s_px: float,
    cone_mm: float,
    diameter_mm: float,
    reach_mm: float,
    mm_per_px: float,
) -> Along:
    step_mm = max(0.02, 0.5 * mm_per_px)
    s_mm = np.arange(-1.8, 1.2, step_mm) + about_px * mm_per_px
    core_mm = max(0.5 * diameter_mm, 1.2 * mm_per_px, 0.06)
    offsets_mm = np.arange(-0.75, 0.751, max(0.5 * mm_per_px, 0.02))
    values = strip(image, line_px, s_mm / mm_per_px, offsets_mm / mm_per_px)
    weight = np.exp(-0.5 * (offsets_mm / core_mm) ** 2)
    flank = (np.abs(offsets_mm) > 0.25 + core_mm) & (np.abs(offsets_mm) < 0.6 + core_mm)
    signal = values @ (weight / weight.sum()) - values[:, flank].mean(axis=1)
    blur_mm = max(1.1 * mm_per_px, 0.03)
    candidates = about_px * mm_per_px + np.arange(-reach_mm, reach_mm, step_mm / 2)
    place, sd, height = locate_step(
        s_mm,
        signal[None],
        candidates,
        blurred_shape(cone_mm, blur_mm),
        prior=(click_s_px * mm_per_px, CLICK_SD_MM),
        correlation=max(0.10, 2.5 * mm_per_px),
    )
    model_mm = float(np.hypot(0.12 * cone_mm, 0.4 * blur_mm))
    sd = float(np.hypot(sd, model_mm))
    return Along(place / mm_per_px, sd / mm_per_px, height > 1.5 and sd < 0.6 * CLICK_SD_MM)


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
    place, sd = _peak_moments(t_mm, best - 0.5 * (t_mm / CLICK_SD_MM) ** 2)
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
    shift = np.arange(-0.72, 0.73, 0.12)
    radius = np.array([0.6, 0.9, 1.4, 2.2])
    leave_out = max(0.12, 0.5 * file_shadow_mm + 0.08)
    log_p = _cap_evidence(patch, s_mm, x_mm, t, shift, radius, leave_out)
    crossing = t[:, None, None] - _cap_depth(shift[None, :, None], radius[None, None, :])
    if "apex" in click_mm:
        along, aside = click_mm["apex"][0] - origin_mm, click_mm["apex"][1]
        log_p = log_p - 0.5 * ((t[:, None, None] - along) ** 2 + (shift[None, :, None] - aside) ** 2) / CLICK_SD_MM**2
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
    return RootEnd(along_line(everywhere), aside_mm / mm_per_px, aside_sd_mm / mm_per_px, along_line(crossing))


def _cap_depth(shift: FloatArray, radius: FloatArray) -> FloatArray:
    inside = np.minimum(np.abs(shift), 0.95 * radius)
    return np.asarray(radius - np.sqrt(radius**2 - inside**2))


# Where dentine is looked for inside the outline, and the periodontal space on it, mm. A beam that grazes a
# rounded root passes little dentine and much periodontal space, so brightness has fallen to its lowest, not
# half way, where the outline is.
_DENTINE_DEPTHS_MM = (0.12, 0.20, 0.28, 0.36)
_SPACE_DEPTHS_MM = (-0.10, -0.03, 0.04)


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
    x = np.arange(-1.6, 1.61, 0.08)
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
        independent = np.maximum(weight.sum(axis=1) * 0.08 / 0.2, 1.0)
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


__all__ = ["CLICK_SD_MM", "Along", "RootEnd", "file_tip", "root_end", "start_face"]
