"""From rough clicks to a sub-pixel line, for the bright file and the dark canal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from radio.trace.along import CLICK_SD_MM, EXACT_SD_MM
from radio.trace.centre import settle
from radio.trace.curve import arc_length, project, resample, section, without_repeats
from radio.trace.insist import click_sds_mm
from radio.trace.line import BoolArray, Line, LineKind
from radio.trace.look import ALONG_MM, CANAL, LOOKS, TAIL
from radio.trace.search import Search, best_path, curve_near_clicks, smoothed

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

_KNOWN_SD_MM = 0.02


def trace_line(
    image: Image,
    clicks_px: npt.ArrayLike,
    kind: LineKind,
    *,
    mm_per_px: float,
    extend_mm: tuple[float, float] = (0.0, 0.0),
    tip_diameter_mm: float | None = None,
    exact: BoolArray | None = None,
) -> Line:
    """Find the line that rough clicks mean.

    A band about a curve through the clicks is straightened, every place in it is rated by how far it stands
    out from both its sides, and the cheapest path through the ratings is found by dynamic programming,
    held near the clicks by their known scatter; then again, closer, about the path found. Centres are
    refined to a fraction of a pixel by :func:`radio.trace.centre.settle`.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    clicks_px : array_like, shape (K, 2)
        Coronal to apical (row, col), K at least 2.
    kind : {"file", "canal"}
    mm_per_px : float
        Approximate scale; a factor of 1.5 off still works.
    extend_mm : tuple of float
        How far to continue before the first and beyond the last click.
    tip_diameter_mm : float, optional
        Diameter at the apical end of a file of known size; keeps the search to widths it can have.
    exact : ndarray of bool, shape (K,), optional
        Clicks a person insists on: the line passes through them.

    Returns
    -------
    Line
        Sampled about every 0.1 mm.

    Raises
    ------
    TraceError
        Fewer than two distinct clicks.
    """
    look = LOOKS[kind]
    if tip_diameter_mm is not None:
        look = replace(look, widest_mm=(1.4 * tip_diameter_mm + 0.08, look.widest_mm[1]))
    clicks, held = _distinct(clicks_px, exact, closer_than=0.5)
    # where a canal is looked for, a point insisted on tells no more than a click: held to it, the guide
    # swings wide of the line that the image shows further on
    guide = curve_near_clicks(clicks, np.full(len(clicks), CLICK_SD_MM), mm_per_px)
    before, after = (e / mm_per_px for e in extend_mm)
    guide = section(guide, -before, arc_length(guide) + after, ALONG_MM / mm_per_px)
    for reach_mm, across_mm in ((look.reach_mm, 0.05), (0.35, 0.03)):
        search = Search(look, mm_per_px, reach_mm, across_mm)
        sds_mm = click_sds_mm(held, look.click_sd_mm)
        path, band = best_path(image, guide, clicks, search, click_sds_mm=sds_mm)
        guide = smoothed(band, path, search)
    return settle(image, guide, look, mm_per_px=mm_per_px, clicks_px=clicks, exact=held)


def join_lines(
    image: Image,
    head: Line,
    tail_clicks_px: FloatArray,
    *,
    mm_per_px: float,
    extend_mm: float,
    exact: BoolArray | None = None,
) -> Line:
    """Canal line whose coronal part is known from a file in it, continued through the dark canal beyond.

    The guide runs on from the file with its own direction and curve, so the search beyond the tip is held
    much closer than one from clicks alone, and the joint has no kink.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    head : Line
        Coronal part, ending at the file tip.
    tail_clicks_px : ndarray, shape (K, 2)
        Clicks beyond the tip, in order.
    mm_per_px : float
        Approximate scale.
    extend_mm : float
        How far to continue beyond the last click.
    exact : ndarray of bool, shape (K,), optional
        Clicks a person insists on: the line passes through them.

    Returns
    -------
    Line
        Sampled about every 0.1 mm.
    """
    step = ALONG_MM / mm_per_px
    total = arc_length(head.points_px)
    base = min(total, 5.0 / mm_per_px)
    kept = section(head.points_px, total - base, total, 1.25 / mm_per_px)
    held = np.zeros(len(tail_clicks_px), bool) if exact is None else exact
    joined, exactly = _distinct(np.vstack([kept, tail_clicks_px]), np.append(np.zeros(len(kept), bool), held))
    sds = np.where(np.arange(len(joined)) < len(kept), _KNOWN_SD_MM, CLICK_SD_MM)
    sds[exactly] = EXACT_SD_MM
    guide = curve_near_clicks(joined, sds, mm_per_px)
    tip_s, _ = project(guide, head.points_px[-1])
    guide = section(guide, tip_s, arc_length(guide) + extend_mm / mm_per_px, step)
    pinned = np.vstack([guide[:1], tail_clicks_px])
    search = Search(TAIL, mm_per_px, TAIL.reach_mm, 0.03)
    sds_mm = click_sds_mm(np.append([False], held), TAIL.click_sd_mm)
    path, band = best_path(image, guide, pinned, search, click_sds_mm=sds_mm)
    tail = smoothed(band, path, search)
    ramp = np.exp(-np.arange(len(tail)) * ALONG_MM / 0.4)[:, None]
    tail = tail + ramp * (head.points_px[-1] - tail[0])
    guide = resample(np.vstack([head.points_px[:-1], tail]), step)
    count = int(total / step)
    known = section(head.points_px, 0.0, count * step, step)
    sd = np.full(len(known), _KNOWN_SD_MM / mm_per_px)
    return settle(
        image, guide, TAIL, mm_per_px=mm_per_px, clicks_px=tail_clicks_px, known=(known, sd), exact=held
    )


def bend_toward(
    image: Image,
    line: Line,
    place_px: FloatArray,
    sd_px: float,
    *,
    mm_per_px: float,
    clicks_px: FloatArray,
    known_px: float,
    exact: BoolArray | None = None,
) -> Line:
    """Weigh one more place that the end of a canal line is near, and settle the line again.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
    line : Line
        Canal line.
    place_px : ndarray, shape (2,)
    sd_px : float
        How near, standard deviation, pixels.
    mm_per_px : float
        Approximate scale.
    clicks_px : ndarray, shape (K, 2)
        Clicks the line rests on already.
    known_px : float
        Arc length up to which the line is known from a file and stays; 0 where there is none.
    exact : ndarray of bool, shape (K,), optional
        Clicks a person insists on: the line passes through them.
    """
    look = TAIL if known_px > 0 else CANAL
    guide = resample(line.points_px, ALONG_MM / mm_per_px)
    step = arc_length(guide) / (len(guide) - 1)
    count = int(known_px / step)
    known = (guide[:count], np.full(count, _KNOWN_SD_MM / mm_per_px)) if count else None
    return settle(
        image,
        guide,
        look,
        mm_per_px=mm_per_px,
        clicks_px=clicks_px,
        known=known,
        toward=(place_px, sd_px),
        exact=exact,
    )


def recentre(
    image: Image, guide_px: FloatArray, kind: LineKind, *, mm_per_px: float, clicks_px: FloatArray
) -> Line:
    """Sub-pixel centre line about a guide, shape (N, 2), that lies within a width of the line already."""
    return settle(image, guide_px, LOOKS[kind], mm_per_px=mm_per_px, clicks_px=clicks_px)


def _distinct(
    points: npt.ArrayLike, exact: BoolArray | None, closer_than: float = 1e-9
) -> tuple[FloatArray, BoolArray]:
    """Points that do not repeat, and which of them a person insists on."""
    kept, given = without_repeats(points, closer_than=closer_than), np.asarray(points, np.float64)
    if exact is None or not exact.any():
        return kept, np.zeros(len(kept), bool)
    insisted = given.reshape(-1, 2)[exact]
    return kept, np.array([(np.hypot(*(insisted - p).T) <= closer_than).any() for p in kept])
