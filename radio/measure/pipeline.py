"""From one radiograph, rough clicks and stated facts to every number that can be had."""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np

from radio.errors import TraceError
from radio.image.radiograph import Radiograph
from radio.measure.approximate import approximate_mm_per_px
from radio.measure.case import (
    AXIS_LANDMARKS,
    LANDMARKS,
    REPEATED_LANDMARKS,
    CaseFacts,
    CaseResult,
    Clicks,
    Remark,
)
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
from radio.measure.trace_case import trace_case
from radio.measure.withheld import assemble_checked


def measure_case(
    radiograph: Radiograph,
    clicks: Clicks,
    facts: CaseFacts,
    settings: CurvatureSettings = DEFAULT_SETTINGS,
) -> CaseResult:
    """Trace, calibrate and measure one canal.

    Parameters
    ----------
    radiograph : Radiograph
    clicks : mapping of str to ndarray, shape (N, 2)
        Rough (row, col) clicks by landmark; one row each except for the via points.
    facts : CaseFacts
    settings : CurvatureSettings
        Parameters of the curvature methods.

    Returns
    -------
    CaseResult
        What cannot be measured is absent from it and named in a remark.

    Raises
    ------
    TraceError
        A landmark is unknown, malformed or outside the image, a point that is to stay exactly where it was
        put is not among the clicks, or there is nothing to trace.
    """
    _import_ahead()
    started = time.perf_counter()
    checked = check_clicks(clicks, radiograph.grey.shape)
    check_exact(facts.exact, checked)
    approximate = approximate_mm_per_px(checked, facts, radiograph.spacing, radiograph.pixel_aspect)
    traced = trace_case(radiograph, checked, facts, approximate)
    made = assemble_checked(radiograph, traced, checked, facts, settings)
    assembly = made.assembly
    remarks = (*_off_film(radiograph, checked), *traced.remarks, *assembly.remarks)
    bend = assembly.bend
    return CaseResult(
        facts=facts,
        scale=assembly.scale,
        implied_magnification=assembly.implied_magnification,
        file_line=traced.file_line,
        canal_line=traced.canal_line,
        landmarks=traced.landmarks,
        measurements=assembly.measurements,
        construction=None if bend is None else bend.construction,
        remarks=remarks,
        seconds=time.perf_counter() - started,
        findings={} if bend is None else bend.findings,
        absent={**({} if bend is None else bend.absent), **made.withheld},
        stack=None if bend is None else bend.stack,
        checks=made.checks,
        ball=traced.ball,
    )


def check_clicks(clicks: Clicks, shape: tuple[int, ...]) -> dict[str, np.ndarray]:
    """Clicks as float arrays of shape (N, 2), each one checked against the image.

    Raises
    ------
    TraceError
        Naming the landmark, what was given and what is allowed.
    """
    out: dict[str, np.ndarray] = {}
    for name, points in clicks.items():
        if name not in LANDMARKS:
            raise TraceError(f"Unknown landmark {name!r}; allowed are {', '.join(LANDMARKS)}.")
        p = np.asarray(points, dtype=np.float64)
        if p.size == 0:
            continue
        if p.shape[-1:] != (2,) or p.ndim > 2:
            raise TraceError(f"{name} has the shape {p.shape}; give points as row, col: shape (N, 2).")
        p = p.reshape(-1, 2)
        if name in AXIS_LANDMARKS and len(p) > 2:
            raise TraceError(f"{name} is given by {len(p)} points; give two.")
        if len(p) > 1 and name not in REPEATED_LANDMARKS:
            raise TraceError(
                f"{name} is given {len(p)} times; give it once (via points may repeat, "
                f"{' and '.join(AXIS_LANDMARKS)} have two)."
            )
        outside = ~(
            np.isfinite(p).all(axis=1)
            & (p >= -0.5).all(axis=1)
            & (p <= np.array(shape[:2]) - 0.5).all(axis=1)
        )
        if outside.any():
            row, col = p[outside][0]
            raise TraceError(
                f"{name} at row {row:g}, col {col:g} lies outside the image, which has {shape[0]} rows and "
                f"{shape[1]} columns. Points are given as row, col: are they swapped?"
            )
        out[name] = p
    return out


def check_exact(exact: Sequence[tuple[str, int]], clicks: Clicks) -> None:
    """See that every point that is to stay exactly where it was put is there.

    Raises
    ------
    TraceError
        Naming the point, and which points there are.
    """
    for landmark, index in exact:
        if landmark not in LANDMARKS:
            raise TraceError(
                f"Unknown landmark {landmark!r} among the points placed exactly; allowed are "
                f"{', '.join(LANDMARKS)}."
            )
        count = len(clicks.get(landmark, ()))
        if not 0 <= index < count:
            there = f"it has {count}, counted from 0" if count else "it is not placed"
            raise TraceError(
                f"Point {index} of {landmark} is to stay exactly where it was put, but {there}. Place it, or "
                "take it off the points placed exactly."
            )


def _off_film(radiograph: Radiograph, clicks: Clicks) -> list[Remark]:
    remarks = []
    for name, points in clicks.items():
        rows, cols = np.round(points).astype(int).T
        rows = np.clip(rows, 0, radiograph.film.shape[0] - 1)
        cols = np.clip(cols, 0, radiograph.film.shape[1] - 1)
        if not radiograph.film[rows, cols].all():
            remarks.append(Remark("warn", f"The click {name} lies on the padding around the exposed image."))
    return remarks


def _import_ahead() -> None:
    """Load what tracing needs before the clock starts: the first import takes longer than a measurement."""
    import cv2
    import scipy.interpolate
    import scipy.linalg
    import scipy.ndimage
    import scipy.optimize
    import skimage.measure

    del cv2, scipy, skimage
