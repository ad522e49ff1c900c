"""Centrelines in space as they might have come out, from two views whose errors are stated."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.measure.resultant import SMALLEST_BETWEEN_DEG
from radio.measure.two_views import CanalInSpace, match
from radio.trace.curve import cumulative_length

FloatArray = npt.NDArray[np.float64]

# Sideways errors of a trace go together over about this length.
_CORRELATION_MM = 1.0
_RISE_MM = 1e-6


def drawn_centrelines(canal: CanalInSpace, draws: int, seed: int) -> list[FloatArray]:
    """Centrelines with every stated error of the two views drawn anew.

    Parameters
    ----------
    canal : CanalInSpace
        Made with an uncertainty of both traces.
    draws : int
    seed : int
        The same seed gives the same centrelines.

    Returns
    -------
    list of ndarray, shape (N, 3)
        (height, across, depth), mm; N differs.

    Notes
    -----
    Each trace moves aside by errors that go together along it, its ends and its scale stretch it, it turns
    about the orifice by the lean of the tooth's axis on the image, and the turn between the views varies; all
    normal and independent (JCGM 101:2008, propagation by a Monte Carlo method).
    """
    rng = np.random.default_rng(seed)
    heights = canal.height_sd_mm or (0.0, 0.0)
    errors = zip(canal.views, heights, canal.relative_sd, canal.lean_sd_deg, strict=True)
    moved = [_moved(*one, draws, rng) for one in errors]
    turns = canal.between_views_deg + canal.between_views_sd_deg * rng.standard_normal(draws)
    least = SMALLEST_BETWEEN_DEG / 2
    turns = np.radians(np.clip(turns, least, 180.0 - least))
    return [match(one, two, turn)[0] for one, two, turn in zip(*moved, turns.tolist(), strict=True)]


def _moved(
    view: FloatArray,
    height_sd: float,
    relative_sd: float,
    lean_sd_deg: float,
    draws: int,
    rng: np.random.Generator,
) -> FloatArray:
    """One view with its errors drawn, (draws, N, 3)."""
    at = cumulative_length(view[:, :2])
    together = np.exp(-0.5 * ((at[:, None] - at) / _CORRELATION_MM) ** 2)
    root = np.linalg.cholesky(together + 1e-6 * np.eye(len(at)))
    out = np.repeat(view[None], draws, axis=0)
    out[..., 1] += rng.standard_normal((draws, len(at))) @ root.T * view[:, 2]
    stretch = 1 + height_sd / view[-1, 0] * rng.standard_normal((draws, 1))
    out[..., 0] *= np.maximum(stretch, 0.1)
    out[..., :2] *= np.maximum(1 + relative_sd * rng.standard_normal((draws, 1, 1)), 0.1)
    lean = np.radians(lean_sd_deg) * rng.standard_normal((draws, 1))
    height, across = out[..., 0].copy(), out[..., 1].copy()
    # heights have to rise all the way for the other view to be matched to them
    turned = np.maximum.accumulate(np.cos(lean) * height - np.sin(lean) * across, axis=1)
    out[..., 0] = turned + _RISE_MM * np.arange(len(at))
    out[..., 1] = np.sin(lean) * height + np.cos(lean) * across
    return out
