"""The bend of one traced canal by every method, with its uncertainty and construction."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from radio.measure.case import SchneiderConstruction
from radio.measure.curvature import (
    DEFAULT_TOLERANCE_MM,
    DEFAULT_TOLERANCE_PX,
    METHODS,
    Departure,
    find_departure,
    hidden_bends,
    perturbed_traces,
)
from radio.measure.result import Measurement
from radio.measure.trace_case import TracedCase
from radio.trace.curve import arc_length

FloatArray = npt.NDArray[np.float64]

_DRAWS = 20
# Sideways errors of a trace go together over about this length.
_CORRELATION_MM = 1.0


def square(points_px: FloatArray, aspect: float) -> FloatArray:
    """Points with rows in units of a column, so that lengths and angles are true."""
    return np.asarray(points_px * np.array([aspect, 1.0]))


def end_words(traced: TracedCase) -> str:
    """Name the point the canal line ends at."""
    return "canal end" if "canal_end" in traced.landmarks else "radiographic apex"


def measure_bend(
    out: dict[str, Measurement], traced: TracedCase, scale: Scale | None
) -> SchneiderConstruction | None:
    """Curvature by every method, with or without a scale; adds them to `out`."""
    line = traced.canal_line
    if line is None:
        return None
    points = square(line.points_px, traced.aspect)
    if scale is not None:
        tolerance_px = DEFAULT_TOLERANCE_MM / scale.col_mm_per_px
        told = f"departure tolerance {DEFAULT_TOLERANCE_MM:.2f} mm"
    else:
        tolerance_px = DEFAULT_TOLERANCE_PX
        told = f"departure tolerance {DEFAULT_TOLERANCE_PX:g} px (no scale)"
    end = traced.landmarks.get("canal_end") or traced.landmarks["apex"]
    draws = perturbed_traces(
        points,
        line.sd_px,
        correlation=_CORRELATION_MM / traced.approximate_mm_per_px,
        end_sd=(traced.landmarks["orifice"].sd_along_px, end.sd_along_px),
        bridges=hidden_bends(points, line.confident, traced.approximate_mm_per_px),
        count=_DRAWS,
    )
    departure = find_departure(points, tolerance_px)
    notes = () if departure.leaves else ("The canal never leaves its axis by more than the tolerance.",)
    for method in METHODS:
        value, sd = method.with_sd(points, draws, tolerance_px)
        out[method.column] = Measurement(
            method.column,
            value,
            method.unit,
            sd,
            f"{method.title}, {told}",
            f"this view; {method.basis}, to the {end_words(traced)}",
            (*notes, "One view: a bend toward or away from the detector is not seen."),
        )
    return _construction(points, departure, tolerance_px, traced.aspect)


def _construction(
    points: FloatArray, departure: Departure, tolerance_px: float, aspect: float
) -> SchneiderConstruction:
    """Lines and points of the Schneider angle, back in pixels of the image."""
    back = np.array([1.0 / aspect, 1.0])
    return SchneiderConstruction(
        axis_start_px=_on_axis(points[0], departure.origin, departure.direction) * back,
        axis_end_px=(departure.point + departure.direction * arc_length(points) * 0.35) * back,
        departure_px=departure.point * back,
        canal_end_px=points[-1] * back,
        departure_index=int(np.argmin(np.hypot(*(points - departure.point).T))),
        tolerance_px=tolerance_px,
    )


def _on_axis(point: FloatArray, origin: FloatArray, direction: FloatArray) -> FloatArray:
    return np.asarray(origin + ((point - origin) @ direction) * direction)
