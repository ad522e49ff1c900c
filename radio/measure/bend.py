"""The bend of one traced canal by every method, with its uncertainty and construction."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.scale import Scale
from radio.measure.case import SchneiderConstruction
from radio.measure.curvature import Number, Word, departure_of, even, measure_methods
from radio.measure.drawn import image_px
from radio.measure.methods import METHODS, CurvatureMethod
from radio.measure.perturb import SEED, hidden_bends, perturbed_traces, turn_to_foramen
from radio.measure.result import Finding, Measurement
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
from radio.measure.stack import Placed, TraceStack
from radio.measure.trace_case import TracedCase
from radio.trace.along import CLICK_SD_MM
from radio.trace.curve import arc_length

FloatArray = npt.NDArray[np.float64]

# As many as leave an order statistic outside either end of a 95 % interval, and some to lose.
_DRAWS = 48
# Sideways errors of a trace go together over about this length.
_CORRELATION_MM = 1.0
_TWO_BENDS = "The canal is S-shaped: no single angle or circle describes it."
_ONE_VIEW = "One view: a bend toward or away from the detector is not seen."


@dataclass(frozen=True, eq=False)
class Bend:
    """What the methods gave for one canal.

    Parameters
    ----------
    measurements : dict of str to Measurement
        By column.
    findings : dict of str to Finding
        Words, by column.
    absent : dict of str to str
        Reason for each column without a value.
    construction : SchneiderConstruction
        In pixels of the image.
    stack : TraceStack
        The trace (first) and its draws, from which each method's construction can be drawn.
    """

    measurements: dict[str, Measurement]
    findings: dict[str, Finding]
    absent: dict[str, str]
    construction: SchneiderConstruction
    stack: TraceStack


def square(points_px: FloatArray, aspect: float) -> FloatArray:
    """Points with rows in units of a column, so that lengths and angles are true."""
    return np.asarray(points_px * np.array([aspect, 1.0]))


def end_words(traced: TracedCase) -> str:
    """Name the point the canal line ends at."""
    return "canal end" if "canal_end" in traced.landmarks else "radiographic apex"


def stack_of_case(
    traced: TracedCase, scale: Scale | None, settings: CurvatureSettings = DEFAULT_SETTINGS
) -> TraceStack | None:
    """The traced canal and its draws in millimetres, or in square pixels without a scale.

    None without a canal line.

    Parameters
    ----------
    traced : TracedCase
    scale : Scale or None
    settings : CurvatureSettings
    """
    line = traced.canal_line
    if line is None:
        return None
    mm = scale.col_mm_per_px if scale is not None else 1.0
    points = square(line.points_px, traced.aspect) * mm
    rough_mm = traced.approximate_mm_per_px / mm
    end = traced.landmarks.get("canal_end") or traced.landmarks["apex"]
    draws = perturbed_traces(
        points,
        line.sd_px * mm,
        correlation=_CORRELATION_MM / rough_mm,
        end_sd=(traced.landmarks["orifice"].sd_along_px * mm, end.sd_along_px * mm),
        bridges=np.vstack(
            [hidden_bends(points, line.confident, rough_mm), turn_to_foramen(points, rough_mm)]
        ),
        count=_DRAWS,
        slow_sd=None if line.slow_sd_px is None else line.slow_sd_px * mm,
    )
    axis, departure, tooth_axis = traced.coronal_axis_px, traced.departure_px, traced.tooth_axis_px
    # a stream of its own: the trace and a placed point err apart from each other
    errors = np.random.default_rng((SEED, 1)).normal(0.0, CLICK_SD_MM / rough_mm, (1 + _DRAWS, 3, 2))
    errors[0] = 0.0
    placed = Placed(
        None if axis is None else square(axis, traced.aspect) * mm,
        None if departure is None else square(departure, traced.aspect) * mm,
        errors,
        None if tooth_axis is None else square(tooth_axis, traced.aspect) * mm,
    )
    return TraceStack(
        np.concatenate([even(points)[None], draws]),
        "mm" if scale is not None else "px",
        settings,
        placed,
    )


def measure_bend(
    traced: TracedCase, scale: Scale | None, settings: CurvatureSettings = DEFAULT_SETTINGS
) -> Bend | None:
    """Curvature by every method, with or without a scale; None without a canal line.

    Parameters
    ----------
    traced : TracedCase
    scale : Scale or None
    settings : CurvatureSettings
    """
    stack = stack_of_case(traced, scale, settings)
    if stack is None:
        return None
    found, absent = measure_methods(stack, relative_sd=0.0 if scale is None else scale.relative_sd)
    basis = f"this view; {placed_words(stack)}, to the {end_words(traced)}"
    stays = () if stack.leaves[0] else ("The canal never leaves its axis by more than the tolerance.",)
    shaped = found.get("s_shaped")
    two = (_TWO_BENDS,) if isinstance(shaped, Word) and shaped.word == "yes" else ()
    notes = (*stays, *two, _ONE_VIEW)
    measurements, findings = told_with_basis(
        found, stack, METHODS, lambda method: _basis(method, basis, traced), notes
    )
    return Bend(measurements, findings, absent, _construction(stack, scale, traced.aspect), stack)


def told_with_basis(
    found: Mapping[str, Number | Word],
    stack: TraceStack,
    methods: Sequence[CurvatureMethod],
    basis_of: Callable[[CurvatureMethod], str],
    notes: tuple[str, ...],
) -> tuple[dict[str, Measurement], dict[str, Finding]]:
    """Numbers and words of the methods with settings, basis and notes, each by column."""
    measurements: dict[str, Measurement] = {}
    findings: dict[str, Finding] = {}
    for method in methods:
        told, basis = f"{method.title}, {method.settings(stack)}", basis_of(method)
        for name in (quantity.column for quantity in method.quantities):
            one = found.get(name)
            if isinstance(one, Number):
                unit = one.quantity.unit
                measurements[name] = Measurement(
                    name, one.value, unit, one.sd, told, basis, notes, one.interval95
                )
            elif one is not None:
                findings[name] = Finding(name, one.word, one.share, told, basis, notes)
    return measurements, findings


def _basis(method: CurvatureMethod, of_axis: str, traced: TracedCase) -> str:
    """What a number rests on; the axis is named where it is part of the construction."""
    return of_axis if method.uses_axis else f"this view; the traced canal, to the {end_words(traced)}"


def placed_words(stack: TraceStack) -> str:
    """Which parts of the construction were found and which placed."""
    axis = "axis as placed by hand" if stack.placed.axis is not None else "axis from the coronal run"
    where = ", departure as placed by hand" if stack.placed.departure is not None else ""
    return axis + where


def _construction(stack: TraceStack, scale: Scale | None, aspect: float) -> SchneiderConstruction:
    """Lines and points of the Schneider angle, back in pixels of the image."""
    departure = departure_of(stack)
    points = stack.points[0]
    foot = departure.origin + ((points[0] - departure.origin) @ departure.direction) * departure.direction
    ahead = departure.point + departure.direction * arc_length(points) * 0.35
    return SchneiderConstruction(
        axis_start_px=image_px(foot, scale, aspect),
        axis_end_px=image_px(ahead, scale, aspect),
        departure_px=image_px(departure.point, scale, aspect),
        canal_end_px=image_px(points[-1], scale, aspect),
        departure_index=int(np.argmin(np.hypot(*(points - departure.point).T))),
        tolerance_px=stack.tolerance / (scale.col_mm_per_px if scale is not None else 1.0),
    )
