"""Centrelines in space as they might have come out, from two views whose errors are stated."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.measure.resultant import SMALLEST_BETWEEN_DEG
from radio.measure.two_views import CanalInSpace, match

FloatArray = npt.NDArray[np.float64]

_RISE_MM = 1e-6


def drawn_centrelines(canal: CanalInSpace, draws: int, seed: int) -> list[FloatArray]:
    """Centrelines with every stated error of the two views drawn anew; none without drawn traces.

    Parameters
    ----------
    canal : CanalInSpace
    draws : int
    seed : int
        The same seed gives the same centrelines.

    Returns
    -------
    list of ndarray, shape (N, 3)
        (height, across, depth), mm; N differs.

    Notes
    -----
    Each is made of a trace of either view as it might have come out, chosen by chance, turned about the
    orifice by the lean of the tooth's axis on the image, at a scale and with a turn between the views as they
    might be; all independent (JCGM 101:2008, propagation by a Monte Carlo method).
    """
    if canal.drawn is None:
        return []
    rng = np.random.default_rng(seed)
    moved = [
        _moved(traces, relative_sd, lean_sd_deg, draws, rng)
        for traces, relative_sd, lean_sd_deg in zip(
            canal.drawn, canal.relative_sd, canal.lean_sd_deg, strict=True
        )
    ]
    turns = canal.between_views_deg + canal.between_views_sd_deg * rng.standard_normal(draws)
    least = SMALLEST_BETWEEN_DEG / 2
    turns = np.radians(np.clip(turns, least, 180.0 - least))
    return [match(one, two, turn)[0] for one, two, turn in zip(*moved, turns.tolist(), strict=True)]


def _moved(
    traces: tuple[FloatArray, ...],
    relative_sd: float,
    lean_sd_deg: float,
    draws: int,
    rng: np.random.Generator,
) -> list[FloatArray]:
    """Traces of one view, each as often as another, at a scale and a lean that are drawn."""
    order = np.concatenate([rng.permutation(len(traces)) for _ in range(-(-draws // len(traces)))])[:draws]
    scales = np.maximum(1 + relative_sd * rng.standard_normal(draws), 0.1)
    leans = np.radians(lean_sd_deg) * rng.standard_normal(draws)
    return [
        _turned(scale * traces[k], lean)
        for k, scale, lean in zip(order, scales.tolist(), leans.tolist(), strict=True)
    ]


def _turned(view: FloatArray, lean: float) -> FloatArray:
    """A view turned about the orifice; its heights still rise all the way, for the other to be matched to."""
    height, across = view[:, 0], view[:, 1]
    out = view.copy()
    out[:, 0] = np.maximum.accumulate(np.cos(lean) * height - np.sin(lean) * across)
    out[:, 0] += _RISE_MM * np.arange(len(view))
    out[:, 1] = np.sin(lean) * height + np.cos(lean) * across
    return out
