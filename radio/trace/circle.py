"""A calibrating ball: circle fit from one rough click inside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.errors import TraceError
from radio.trace.ridge import sample

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

_ANGLES = 180


@dataclass(frozen=True)
class Ball:
    """A fitted ball shadow.

    Parameters
    ----------
    row, col : float
        Centre, pixels.
    diameter_px, sd_px : float
        Diameter and its standard uncertainty, pixels.
    covered : float
        Share of the rim that supports the circle, 0..1.
    """

    row: float
    col: float
    diameter_px: float
    sd_px: float
    covered: float


def fit_ball(image: Image, click_px: npt.ArrayLike, *, radius_px: tuple[float, float]) -> Ball:
    """Fit the rim of a radiopaque ball about a click inside it.

    Rays from the click find where brightness falls outward; a circle is fitted robustly to the falls
    (random triples, then least squares on those that agree). The radius is then taken from the radial
    profile about that centre with a model of a ball's shadow, whose thickness, and so its brightness,
    begins with a square root at the rim: taking the steepest place instead would read small.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    click_px : array_like, shape (2,)
        Anywhere inside the ball.
    radius_px : tuple of float
        Smallest and largest radius to consider, pixels.

    Raises
    ------
    TraceError
        No circle is supported by at least a third of its rim.
    """
    click = np.asarray(click_px, dtype=np.float64)
    centre = click
    circle: tuple[float, float, float] | None = None
    low, high = radius_px
    for _ in range(3):
        points = _rim_candidates(image, centre, low, high)
        circle = _robust_circle(points, radius_px)
        centre = np.array(circle[:2])
        low, high = max(radius_px[0], 0.8 * circle[2]), min(radius_px[1], 1.2 * circle[2])
    assert circle is not None
    covered = float(_supported_rays(points, circle).mean())
    if covered < 1 / 3 or float(np.hypot(*(centre - click))) > circle[2]:
        raise TraceError(
            f"No round rim found about the ball click at row {click[0]:.0f}, col {click[1]:.0f} "
            f"(radius {radius_px[0]:.0f} to {radius_px[1]:.0f} px): only {covered:.0%} of a rim agrees. "
            "Click near the middle of the ball and check its diameter."
        )
    radius, sd = _rim_radius(image, points, circle)
    return Ball(circle[0], circle[1], 2 * radius, 2 * sd, covered)


def _rays(image: Image, centre: FloatArray, radii: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit ray directions (A, 2) and grey values along them (A, R)."""
    angle = np.arange(_ANGLES) * (2 * np.pi / _ANGLES)
    direction = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    points = centre + radii[None, :, None] * direction[:, None, :]
    return direction, sample(image, points).astype(np.float64)


def _rim_candidates(image: Image, centre: FloatArray, low: float, high: float) -> FloatArray:
    """Steepest outward falls along rays, up to two a ray, shape (K, 2)."""
    from scipy.ndimage import gaussian_filter1d

    radii = np.arange(0.3 * low, 1.6 * high, 0.5)
    direction, values = _rays(image, centre, radii)
    fall = -gaussian_filter1d(values, 3.0, axis=1, order=1, mode="nearest")
    # the flank of a strong fall is no second candidate: only places steeper than both neighbours count
    steepest = np.zeros_like(fall)
    inner = fall[:, 1:-1]
    steepest[:, 1:-1] = np.where((inner >= fall[:, :-2]) & (inner >= fall[:, 2:]), inner, 0.0)
    found = []
    for _ in range(2):
        best = steepest.argmax(axis=1)
        strong = steepest[np.arange(_ANGLES), best] > 0
        found.append(centre + radii[best][strong, None] * direction[strong])
        near = np.abs(np.arange(len(radii))[None, :] - best[:, None]) < 10
        steepest = np.where(near, 0.0, steepest)
    return np.vstack(found)


def _robust_circle(points: FloatArray, radius_px: tuple[float, float]) -> tuple[float, float, float]:
    from skimage.measure import CircleModel

    nothing = TraceError(
        f"No circle with a radius of {radius_px[0]:.0f} to {radius_px[1]:.0f} px about the ball click. "
        "Click near the middle of the ball and check its diameter."
    )
    if len(points) < 3:
        raise nothing
    rng = np.random.default_rng(7)
    triples = points[rng.integers(0, len(points), (600, 3))]
    centres, radii = circumcircles(triples[:, 0], triples[:, 1], triples[:, 2])
    plausible = (radii > radius_px[0]) & (radii < radius_px[1])
    if not plausible.any():
        raise nothing
    centres, radii = centres[plausible], radii[plausible]
    distance = np.hypot(*(points[None] - centres[:, None]).transpose(2, 0, 1))
    misfit = np.abs(distance - radii[:, None])
    votes = (1.0 / (1.0 + (misfit / (0.01 * radii[:, None] + 1.0)) ** 2)).sum(axis=1)
    best = int(votes.argmax())
    model = CircleModel(centres[best], float(radii[best]))
    for tolerance in (0.05, 0.03, 0.02, 0.02):
        near = points[np.abs(model.residuals(points)) < max(tolerance * model.radius, 1.5)]
        closer = CircleModel.from_estimate(near) if len(near) >= 8 else None
        if not closer:
            break
        model = closer
    return float(model.center[0]), float(model.center[1]), float(model.radius)


def circumcircles(a: FloatArray, b: FloatArray, c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Centres (K, 2) and radii (K,) of the circles through three points each; NaN where they are in line."""
    ab, ac = b - a, c - a
    twice = 2.0 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    twice = np.where(np.abs(twice) < 1e-12, np.nan, twice)
    u = (ac[:, 1] * (ab**2).sum(1) - ab[:, 1] * (ac**2).sum(1)) / twice
    v = (ab[:, 0] * (ac**2).sum(1) - ac[:, 0] * (ab**2).sum(1)) / twice
    return a + np.stack([u, v], axis=1), np.hypot(u, v)


def _rim_radius(image: Image, points: FloatArray, circle: tuple[float, float, float]) -> tuple[float, float]:
    """Radius and standard uncertainty from the mean radial profile of the supported sectors.

    The metal stops nearly all of the beam and the receptor blurs what passes. Grey is then the logarithm of
    what arrives, down to some stray radiation, which puts the rim low on the slope, or a power of what was
    stopped, which puts it about half way. Every radius is weighed over all blurs and tones of both kinds.
    """
    centre, radius = np.array(circle[:2]), circle[2]
    reach = float(np.clip(0.1 * radius, 5.0, 10.0))
    radii = np.arange(radius - reach, radius + reach, 0.5)
    _, values = _rays(image, centre, radii)
    profile = np.median(values[_supported_rays(points, circle)], axis=0)
    top = float(np.percentile(profile, 98))
    base = float(profile[radii > radius + 0.3 * reach].min())
    profile = (profile - base) / (top - base + 1e-9)
    saturated = np.flatnonzero(profile >= 0.97)
    first = int(saturated[-1]) if len(saturated) else 0
    radii, profile = radii[max(first - 2, 0) :], profile[max(first - 2, 0) :]
    if len(radii) < 8:
        return radius, max(0.02 * radius, 0.5)
    found, log_p = _rim_evidence(radii, profile, radius)
    log_p = log_p - 0.5 * ((found - radius - _USUAL_SHIFT_PX[0]) / _USUAL_SHIFT_PX[1]) ** 2
    density = np.exp(log_p - log_p.max())
    density /= density.sum()
    mean = float(density @ found)
    sd = float(np.sqrt(density @ (found - mean) ** 2))
    return mean, float(np.clip(np.hypot(sd, _TONE_SD * radius), 0.15, 0.03 * radius))


def _supported_rays(points: FloatArray, circle: tuple[float, float, float]) -> npt.NDArray[np.bool_]:
    rel = points - np.array(circle[:2])
    ray = ((np.arctan2(rel[:, 0], rel[:, 1]) / (2 * np.pi)) * _ANGLES).round().astype(int) % _ANGLES
    misfit = np.abs(np.hypot(rel[:, 0], rel[:, 1]) - circle[2])
    good = np.zeros(_ANGLES, dtype=bool)
    good[ray[misfit < max(0.03 * circle[2], 1.5)]] = True
    return good


# How far the rim lies outside the steepest place, pixels, mean and standard deviation: not at all on a plain
# image, more than two on a blurred logarithmic one. Edge enhancement would else be taken for such a tone.
_USUAL_SHIFT_PX = (0.6, 1.2)
# What the tone of an unknown receptor adds, as a share of the radius: where it differs, balls are read up to
# 1.5 % too small or too large.
_TONE_SD = 0.0125
# A profile follows no model better than this share of its height.
_MODEL_MISFIT = 0.008
# Radiographs are shown on a logarithmic scale more often than not.
_LOG_PRIOR = np.log(2.0)


def _rim_evidence(radii: FloatArray, profile: FloatArray, radius: float) -> tuple[FloatArray, FloatArray]:
    """Log likelihood of the profile for every radius, blur and tone tried.

    Returns
    -------
    found, log_p : ndarray, shape (M,)
        Radii tried, and their log likelihood with the level and height of the profile fitted.
    """
    from scipy.special import ndtr

    low, high = radius - max(3.0, 0.02 * radius), radius + max(4.0, 0.05 * radius)
    tried = np.arange(low, high, 0.2)
    blurs = np.array([0.4, 0.6, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.2, 4.0])
    # share of the beam that passes, of shape (radius, blur, sample): metal stops nearly all of it
    passed = ndtr((radii[None, None, :] - tried[:, None, None]) / blurs[None, :, None])
    stray = np.exp(np.array([-10.0, -8.0, -6.5, -5.0, -4.0, -3.0, -2.0, -1.0, 1.0]))
    powers = np.array([0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0, 2.6])
    logs = -np.log(passed[:, :, None, :] + stray[:, None])
    toned = np.clip(1.0 - passed, 1e-12, None)[:, :, None, :] ** powers[:, None]
    found, log_p = [], []
    for shadows, prior in ((logs, _LOG_PRIOR), (toned, 0.0)):
        centred = shadows - shadows.mean(axis=-1, keepdims=True)
        target = profile - profile.mean()
        overlap = centred @ target
        left = target @ target - np.maximum(overlap, 0.0) ** 2 / ((centred**2).sum(axis=-1) + 1e-12)
        mean_square = np.maximum(left, 0.0) / len(radii) + _MODEL_MISFIT**2
        independent = len(radii) / 3.0
        log_p.append(
            (prior - np.log(shadows[0, 0].shape[0]) - 0.5 * independent * np.log(mean_square)).ravel()
        )
        found.append(np.broadcast_to(tried[:, None, None], mean_square.shape).ravel())
    return np.concatenate(found), np.concatenate(log_p)
