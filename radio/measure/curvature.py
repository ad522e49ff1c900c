"""Curvature of one trace by every method, with uncertainties; and the Schneider angle by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.measure.methods import METHODS, CurvatureMethod, Quantity, schneider
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings, Unit
from radio.measure.spread import bounded, spread
from radio.measure.stack import SAMPLES, Placed, TraceStack
from radio.trace.curve import cumulative_length, point_at

__all__ = [
    "METHODS",
    "Departure",
    "Number",
    "Word",
    "even",
    "find_departure",
    "measure_methods",
    "schneider_deg",
    "stack_of_traces",
]

FloatArray = npt.NDArray[np.float64]
# A value that fewer of the draws than this have is not stated.
_LEAST_SHARE = 0.5
# Words that claim two opposite bends.
_OF_TWO_BENDS = ("yes", "multi-curved")
# A shorter trace has no bend that could be told from its wavers.
SHORTEST_MM = 2.0
_FEW = "fewer than half of the traces as they might have come out have it"
_MOST = "the measured trace has none, though most traces as they might have come out do"


@dataclass(frozen=True, eq=False)
class Departure:
    """Coronal axis of a canal and the point where the canal leaves it; all in the unit of the trace.

    Parameters
    ----------
    origin, direction : ndarray, shape (2,)
        A point on the axis and its unit direction, coronal to apical.
    point : ndarray, shape (2,)
        Departure point; the canal end when the canal never leaves the axis.
    s : float
        Arc length of the departure point from the orifice.
    leaves : bool
        False when the canal stays within the tolerance to its end.
    """

    origin: FloatArray
    direction: FloatArray
    point: FloatArray
    s: float
    leaves: bool


def even(points: FloatArray, count: int = SAMPLES) -> FloatArray:
    """A trace resampled to `count` evenly spaced points, shape (count, 2), its ends kept."""
    return point_at(points, np.linspace(0.0, float(cumulative_length(points)[-1]), count))


def stack_of_traces(
    points: FloatArray,
    draws: Sequence[FloatArray] = (),
    *,
    unit: Unit = "mm",
    tolerance: float | None = None,
    settings: CurvatureSettings = DEFAULT_SETTINGS,
    placed: Placed | None = None,
) -> TraceStack:
    """A stack of a trace, shape (N, 2), and of draws of it.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
    draws : sequence of ndarray, shape (N, 2)
    unit, settings, placed
        As :class:`TraceStack` takes them.
    tolerance : float, optional
        Departure tolerance in `unit`, in place of the one of the settings.

    Raises
    ------
    PeriapicalError
        The tolerance is outside its limits.
    """
    if tolerance is not None:
        name = "departure_tolerance_mm" if unit == "mm" else "departure_tolerance_px"
        settings = replace(settings, **{name: tolerance})
    traces = np.stack([even(one) for one in (points, *draws)])
    return TraceStack(traces, unit, settings, Placed() if placed is None else placed)


def find_departure(points: FloatArray, tolerance: float) -> Departure:
    """Coronal axis and departure point of a trace.

    The coronal run grows from the orifice for as long as its least-squares (principal) line stays within the
    tolerance of all of its points; that line, directed apically, is the coronal axis. The canal leaves it at
    the first point whose distance exceeds the tolerance and stays beyond it to the end.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Orifice to canal end, square units (mm, or px of a square-pixel image).
    tolerance : float
        Departure tolerance, same unit.

    Returns
    -------
    Departure

    Notes
    -----
    Least-squares form of the construction of Schneider 1971 (Oral Surg Oral Med Oral Pathol 32:271);
    the tolerance makes "begins to leave the axis" a stated quantity.
    """
    return departure_of(_bare_stack(points, tolerance))


def _bare_stack(points: FloatArray, tolerance: float) -> TraceStack:
    """A stack for what has no length but the tolerance; "px" is any unit then."""
    return stack_of_traces(points, unit="px", tolerance=tolerance)


def departure_of(stack: TraceStack) -> Departure:
    """Departure of the first trace of a stack."""
    origin, direction = stack.axis
    return Departure(
        origin[0], direction[0], stack.departure[0], float(stack.departure_s[0]), bool(stack.leaves[0])
    )


def schneider_deg(points: FloatArray, tolerance: float) -> tuple[float, Departure]:
    """Schneider angle of a trace, degrees, and the departure it rests on.

    Angle between the coronal axis and the line from the departure point to the canal end; 0 when the canal
    never leaves the axis by more than the tolerance.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Orifice to canal end, in mm (or px of a square-pixel image).
    tolerance : float
        Departure tolerance, same unit.
    """
    stack = _bare_stack(points, tolerance)
    return float(schneider.values(stack)["schneider_deg"][0]), departure_of(stack)


@dataclass(frozen=True)
class Number:
    """A number of a method with its standard uncertainty and 95 % interval, in the unit of its quantity."""

    quantity: Quantity
    value: float
    sd: float
    interval95: tuple[float, float]


@dataclass(frozen=True)
class Word:
    """A word of a method, and the share of the traces as they might have come out that give the same."""

    quantity: Quantity
    word: str
    share: float


def measure_methods(
    stack: TraceStack, *, relative_sd: float = 0.0, methods: Sequence[CurvatureMethod] = METHODS
) -> tuple[dict[str, Number | Word], dict[str, str]]:
    """Every number and word that the methods give for the first trace of a stack.

    Parameters
    ----------
    stack : TraceStack
        The measured trace first, then draws of it, which the uncertainties are taken from.
    relative_sd : float
        Relative standard uncertainty of the scale, which lengths and curvatures share.
    methods : sequence of CurvatureMethod

    Returns
    -------
    found : dict of str to Number or Word
        By column.
    absent : dict of str to str
        Reason for every column that has no value.
    """
    found: dict[str, Number | Word] = {}
    absent: dict[str, str] = {}
    if stack.unit == "mm" and stack.length[0] < SHORTEST_MM:
        columns = [quantity.column for method in methods for quantity in method.quantities]
        return found, dict.fromkeys(columns, f"the canal is shorter than {SHORTEST_MM:g} mm")
    for method in methods:
        if method.needs_mm and stack.unit != "mm":
            absent |= dict.fromkeys((q.column for q in method.quantities), "there is no scale")
            continue
        values = method.values(stack)
        bounds = method.bounds(stack) if method.bounds is not None and len(stack.points) > 1 else {}
        for quantity in method.quantities:
            if quantity.needs_mm and stack.unit != "mm":
                absent[quantity.column] = "there is no scale"
                continue
            one = values[quantity.column]
            if quantity.unit == "word":
                found[quantity.column] = _word(quantity, one)
                continue
            number = _number(quantity, np.asarray(one), relative_sd, bounds.get(quantity.column))
            if number is None:
                absent[quantity.column] = _why_none(one) or method.absent
            else:
                found[quantity.column] = number
    return found, absent


def _word(quantity: Quantity, words: npt.NDArray[np.str_]) -> Word:
    """Word of the measured trace; two opposite bends that fewer than half of the draws share are none.

    The draws' own majority would be worse: they waver more than the trace.
    """
    word = str(words[0])
    share = float(np.mean(words == word))
    if word in _OF_TWO_BENDS and share < _LEAST_SHARE:
        others, counts = np.unique(words[words != word], return_counts=True)
        return Word(quantity, str(others[counts.argmax()]), float(counts.max() / len(words)))
    return Word(quantity, word, share)


def _why_none(values: FloatArray) -> str:
    """Reason that lies in the draws and not in the canal, if any."""
    if np.isfinite(values[0]):
        return _FEW
    return _MOST if len(values) > 1 and np.isfinite(values[1:]).mean() >= _LEAST_SHARE else ""


def _number(
    quantity: Quantity,
    values: FloatArray,
    relative_sd: float,
    bounds: tuple[float, float] | None = None,
) -> Number | None:
    """Number of the first value and its spread over the others, or a 95 % interval from elsewhere."""
    value = float(values[0])
    drawn = values[1:]
    known = np.isfinite(drawn)
    if not np.isfinite(value) or (len(drawn) and known.mean() < _LEAST_SHARE):
        return None
    by_scale = abs(value) * relative_sd if quantity.needs_mm else 0.0
    if quantity.reciprocal:
        bend = 1.0 / value
        # a draw without a radius is straight
        bends = np.where(known, 1.0 / np.where(known, drawn, 1.0), 0.0)
        least = quantity.smallest_sd * bend**2
        sd, low, high = spread(bend, bends, relative_sd * bend, least, noise_adds=quantity.noise_adds)
        return Number(quantity, value, sd * value**2, (1.0 / high, 1.0 / low if low > 0 else float("inf")))
    least = quantity.smallest_sd
    if bounds is not None:
        sd, low, high = bounded(value, bounds, by_scale, least)
    else:
        sd, low, high = spread(value, drawn[known], by_scale, least, noise_adds=quantity.noise_adds)
    # nothing measured here is negative but a distance to a point placed above the orifice
    low = max(low, quantity.at_least) if value >= 0 else low
    # nor is an angle above 180, but for sums of angles
    high = min(high, 180.0) if quantity.unit == "deg" and not quantity.noise_adds and value <= 180 else high
    return Number(quantity, value, sd, (low, high))
