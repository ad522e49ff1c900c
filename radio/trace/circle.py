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
    centre = np.asarray(click_px, dtype=np.float64)
    circle: tuple[float, float, float] | None = None
    low, high = radius_px
    for _ in range(3):
        points = _rim_candidates(image, centre, low, high)
        circle = _robust_circle(points, radius_px)
        centre = np.array(circle[:2])
        low, high = max(radius_px[0], 0.8 * circle[2]), min(radius_px[1], 1.2 * circle[2])
    assert circle is not None
    covered = _coverage(points, circle)
    if covered < 1 / 3:
        raise TraceError(
            f"No round rim found about the ball click at row {click_px[0]:.0f}, col {click_px[1]:.0f} "  # type: ignore[index]
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
    found = []
    for _ in range(2):
        best = fall.argmax(axis=1)
        strong = fall[np.arange(_ANGLES), best] > 0
        found.append(centre + radii[best][strong, None] * direction[strong])
        near = np.abs(np.arange(len(radii))[None, :] - best[:, None]) < 10
        fall = np.where(near, 0.0, fall)
    return np.vstack(found)


def _robust_circle(points: FloatArray, radius_px: tuple[float, float]) -> tuple[float, float, float]:
    rng = np.random.default_rng(7)
    triples = points[rng.integers(0, len(points), (600, 3))]
    centres, radii = _circumcircles(triples)
    plausible = (radii > radius_px[0]) & (radii < radius_px[1]) & np.isfinite(radii)
    if not plausible.any():
        raise TraceError(
            f"No circle with a radius of {radius_px[0]:.0f} to {radius_px[1]:.0f} px about the ball click. "
            "Click near the middle of the ball and check its diameter."
        )
    centres, radii = centres[plausible], radii[plausible]
    distance = np.hypot(*(points[None] - centres[:, None]).transpose(2, 0, 1))
    misfit = np.abs(distance - radii[:, None])
    votes = (1.0 / (1.0 + (misfit / (0.01 * radii[:, None] + 1.0)) ** 2)).sum(axis=1)
    best = int(votes.argmax())
    row, col, radius = *centres[best], float(radii[best])
    for tolerance in (0.05, 0.03, 0.02, 0.02):
        misfit = np.abs(np.hypot(points[:, 0] - row, points[:, 1] - col) - radius)
        near = points[misfit < max(tolerance * radius, 1.5)]
        if len(near) < 8:
            break
        row, col, radius = _least_squares_circle(near)
    return float(row), float(col), float(radius)


def _circumcircles(triples: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, c = triples[:, 0], triples[:, 1], triples[:, 2]
    ab, ac = b - a, c - a
    cross = 2.0 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        u = (ac[:, 1] * (ab**2).sum(1) - ab[:, 1] * (ac**2).sum(1)) / cross
        v = (ab[:, 0] * (ac**2).sum(1) - ac[:, 0] * (ab**2).sum(1)) / cross
    return a + np.stack([u, v], axis=1), np.hypot(u, v)


def _least_squares_circle(points: FloatArray) -> tuple[float, float, float]:
    """Algebraic circle fit (Kasa 1976), exact enough on points already near one circle."""
    design = np.column_stack([2 * points, np.ones(len(points))])
    solution, *_ = np.linalg.lstsq(design, (points**2).sum(axis=1), rcond=None)
    row, col = solution[:2]
    return float(row), float(col), float(np.sqrt(solution[2] + row**2 + col**2))


def _coverage(points: FloatArray, circle: tuple[float, float, float]) -> float:
    rel = points - np.array(circle[:2])
    near = np.abs(np.hypot(rel[:, 0], rel[:, 1]) - circle[2]) < max(0.03 * circle[2], 1.5)
    sectors = ((np.arctan2(rel[near, 0], rel[near, 1]) + np.pi) / (2 * np.pi) * 36).astype(int) % 36
    return float(len(np.unique(sectors)) / 36)


def _rim_radius(image: Image, points: FloatArray, circle: tuple[float, float, float]) -> tuple[float, float]:
    """Radius and standard uncertainty from the mean radial profile of the supported sectors."""
    from scipy.optimize import least_squares

    centre, radius = np.array(circle[:2]), circle[2]
    reach = np.clip(0.25 * radius, 6.0, 40.0)
    radii = np.arange(radius - reach, radius + 0.6 * reach, 0.5)
    _, values = _rays(image, centre, radii)
    rel = points - centre
    sector = ((np.arctan2(rel[:, 0], rel[:, 1]) / (2 * np.pi)) * _ANGLES).round().astype(int) % _ANGLES
    misfit = np.abs(np.hypot(rel[:, 0], rel[:, 1]) - radius)
    good = np.zeros(_ANGLES, dtype=bool)
    good[sector[misfit < max(0.03 * radius, 1.5)]] = True
    profile = np.median(values[good], axis=0)
    span = float(np.ptp(profile)) + 1e-9
    profile = (profile - profile.min()) / span

    fine = np.arange(radii[0] - 12, radii[-1] + 12, 0.25)
    from scipy.ndimage import gaussian_filter1d

    def model(p: FloatArray) -> FloatArray:
        r, log_blur, log_k = p
        thickness = np.sqrt(np.clip(1.0 - (fine / r) ** 2, 0.0, None))
        k = np.exp(log_k)
        shadow = -np.expm1(-k * thickness) / -np.expm1(-k)
        blurred = gaussian_filter1d(shadow, np.exp(log_blur) / 0.25, mode="nearest")
        return np.interp(radii, fine, blurred)

    def residual(p: FloatArray) -> FloatArray:
        shadow = model(p)
        design = np.column_stack([shadow, np.ones_like(shadow)])
        solution, *_ = np.linalg.lstsq(design, profile, rcond=None)
        return np.asarray(design @ solution - profile)

    fits = [
        least_squares(
            residual,
            [radius, np.log(1.2), start_k],
            bounds=([radius - reach / 2, np.log(0.3), -2.0], [radius + reach / 2, np.log(5.0), 5.0]),
            diff_step=1e-3,
            loss="soft_l1",
            f_scale=0.02,
        )
        for start_k in (0.0, 3.0)
    ]
    fit = min(fits, key=lambda f: f.cost)
    jacobian = fit.jac
    variance = 2 * fit.cost / max(len(radii) / 4 - 5, 1)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * variance
    statistical = float(np.sqrt(max(covariance[0, 0], 0.0)))
    return float(fit.x[0]), float(np.hypot(statistical, 0.15))
