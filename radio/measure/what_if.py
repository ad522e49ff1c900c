"""How every curvature number moves when one part of a construction is moved.

One part moves at a time: the coronal end of the axis, the departure point, or the canal end. What moves
counts as placed by hand, what a person had placed stays, and what the rule found is found again, as the tool
itself would do. An uncertainty says how far a number may be off; this says which decision it hangs on.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from radio.measure.curvature import even
from radio.measure.methods import METHODS, CurvatureMethod
from radio.measure.stack import Placed, TraceStack
from radio.trace.curve import end_directions, point_at

FloatArray = npt.NDArray[np.float64]
Part = Literal["axis", "departure", "end"]

# A canal of this length stands for one without a scale: common practice, no source.
USUAL_CANAL_MM = 12.5
# The part of the canal that gives way when its end moves aside, at most half of the canal.
BENDING_MM = 3.0


@dataclass(frozen=True)
class Move:
    """One part of a construction, moved.

    Parameters
    ----------
    part : {"axis", "departure", "end"}
    way : str
        Where to, in one word; sides are those of the image.
    text : str
        The whole move in words.
    """

    part: Part
    way: str
    text: str


@dataclass(frozen=True)
class Change:
    """What one move does to one quantity.

    Parameters
    ----------
    move : Move
    method, column : str
        Name of the method and column of its quantity.
    before, after : float, str or None
        In the unit of the quantity; a word stays a word; None where there is no value.
    """

    move: Move
    method: str
    column: str
    before: float | str | None
    after: float | str | None


@dataclass(frozen=True)
class WhatIf:
    """All moves of one canal.

    Parameters
    ----------
    by : float
        How far each part was moved, in `unit`.
    unit : {"mm", "px"}
        Of the trace.
    told : str
        How far, and what was done, in words.
    changes : tuple of Change
        By move, then by quantity in the order of the methods.
    left_out : tuple of str
        Moves that this canal has no room for, each with its reason.
    """

    by: float
    unit: Literal["mm", "px"]
    told: str
    changes: tuple[Change, ...]
    left_out: tuple[str, ...]

    @property
    def moves(self) -> tuple[Move, ...]:
        """The moves that were made, in order."""
        return tuple(dict.fromkeys(change.move for change in self.changes))


def what_if(stack: TraceStack, methods: Sequence[CurvatureMethod] = METHODS, by_mm: float = 0.5) -> WhatIf:
    """Every quantity of a canal before and after each part of the construction is moved.

    Parameters
    ----------
    stack : TraceStack
        Only its first trace is used.
    methods : sequence of CurvatureMethod
        Those that need millimetres are passed over on a trace in pixels.
    by_mm : float
        How far each part moves. Without a scale the same share of the canal is taken that this is of a canal
        of :data:`USUAL_CANAL_MM`.

    Raises
    ------
    ValueError
        `by_mm` is not a finite number above 0.
    """
    if not (np.isfinite(by_mm) and by_mm > 0):
        raise ValueError(f"given by_mm = {by_mm!r}; allowed is a finite number above 0")
    first = replace(stack, points=stack.points[:1])
    length = float(first.length[0])
    by = by_mm if stack.unit == "mm" else by_mm / USUAL_CANAL_MM * length
    far = f"{by:g} mm" if stack.unit == "mm" else f"{by:.0f} px"
    before = _values(first, methods)
    changes: list[Change] = []
    left_out: list[str] = []
    for move, moved in _moves(first, by, far):
        if isinstance(moved, str):
            left_out.append(f"{move.text}: {moved}")
            continue
        after = _values(moved, methods)
        changes += [
            Change(move, method, column, value, after[method, column])
            for (method, column), value in before.items()
        ]
    return WhatIf(by, stack.unit, _told(far, by / length, stack.unit), tuple(changes), tuple(left_out))


def _told(far: str, share: float, unit: str) -> str:
    scale = "" if unit == "mm" else f", {share:.0%} of the canal's length (there is no scale)"
    return (
        f"Each part moved by {far}{scale}, one at a time. What moves counts as placed by hand; what a person "
        "had placed stays, what the rule found is found again. Sides are those of the image."
    )


def _values(
    stack: TraceStack, methods: Sequence[CurvatureMethod]
) -> dict[tuple[str, str], float | str | None]:
    """Values of the first trace by method and column."""
    out: dict[tuple[str, str], float | str | None] = {}
    for method in methods:
        if method.needs_mm and stack.unit != "mm":
            continue
        found = method.values(stack)
        for quantity in method.quantities:
            if quantity.needs_mm and stack.unit != "mm":
                continue
            value = found[quantity.column][0]
            if quantity.unit == "word":
                out[method.name, quantity.column] = str(value)
            else:
                out[method.name, quantity.column] = float(value) if np.isfinite(value) else None
    return out


def _moves(stack: TraceStack, by: float, far: str) -> Iterator[tuple[Move, TraceStack | str]]:
    """Each move with the moved trace, or with the reason why there is no room for it."""
    yield from _axis_moves(stack, by, far)
    yield from _departure_moves(stack, by, far)
    yield from _end_moves(stack, by, far)


def _axis_moves(stack: TraceStack, by: float, far: str) -> Iterator[tuple[Move, TraceStack | str]]:
    """The coronal end of the axis to either side, its apical end held."""
    if stack.placed.axis is not None:
        # either may have been clicked first
        along = stack.axis[1][0]
        upper, lower = sorted(stack.placed.axis, key=lambda point: float(point @ along))
        held = "its other end held"
    else:
        origin, direction = stack.axis[0][0], stack.axis[1][0]
        upper, lower = (
            origin + ((point - origin) @ direction) * direction
            for point in (stack.orifice[0], stack.departure[0])
        )
        held = "held beside the departure point" if stack.leaves[0] else "held beside the canal end"
    for way, aside in _sides(stack.axis[1][0]):
        move = Move("axis", way, f"coronal end of the axis {far} {_toward(way)}, {held}")
        if np.hypot(*(lower - upper)) <= by:
            yield move, f"the axis is not longer than {far}"
        else:
            axis = np.stack([upper + by * aside, lower])
            yield move, replace(stack, placed=Placed(axis, stack.placed.departure))


def _departure_moves(stack: TraceStack, by: float, far: str) -> Iterator[tuple[Move, TraceStack | str]]:
    """The departure point along the canal, the axis held."""
    s, length = float(stack.departure_s[0]), float(stack.length[0])
    for way, step in (("coronal", -by), ("apical", by)):
        move = Move("departure", way, f"departure point {far} along the canal, toward the {_ENDS[way]}")
        if not stack.leaves[0]:
            yield move, "the canal does not leave its axis, so there is none"
        elif not 0.0 <= s + step <= length - by:
            yield move, f"it would come within {far} of the {_ENDS[way]}, or beyond it"
        else:
            here, there = stack.at(np.array([[s, s + step]]))[0]
            point = stack.departure[0] + there - here
            yield move, replace(stack, placed=Placed(stack.placed.axis, point))


_ENDS = {"coronal": "orifice", "apical": "canal end"}


def _end_moves(stack: TraceStack, by: float, far: str) -> Iterator[tuple[Move, TraceStack | str]]:
    """The canal end to either side, the last part of the canal bending with it; and along its direction."""
    points, n = stack.points[0], stack.points.shape[1]
    s, length = stack.s[0], float(stack.length[0])
    bending = BENDING_MM if stack.unit == "mm" else BENDING_MM / USUAL_CANAL_MM * length
    bending = min(bending, 0.5 * length)
    # constant bend over the stretch, without a kink where it begins
    share = np.clip((s - (length - bending)) / bending, 0.0, 1.0) ** 2
    extent = f"{bending:.1f} mm" if stack.unit == "mm" else f"{bending:.0f} px"
    along = end_directions(points, over=0.001 * length)[1]
    for way, aside in _sides(along):
        move = Move("end", way, f"canal end {far} {_toward(way)}, the last {extent} bending with it")
        yield move, replace(stack, points=even(points + by * share[:, None] * aside, n)[None])
    shorter = Move("end", "shorter", f"canal end {far} back along the canal")
    if length <= 4 * by:
        yield shorter, f"the canal is not longer than four times {far}"
    else:
        yield shorter, replace(stack, points=point_at(points, np.linspace(0.0, length - by, n))[None])
    longer = Move("end", "longer", f"canal end {far} further, straight on")
    yield longer, replace(stack, points=even(np.vstack([points, points[-1] + by * along]), n)[None])


def _sides(direction: FloatArray) -> tuple[tuple[str, FloatArray], tuple[str, FloatArray]]:
    """Both normals of a direction, (row, col), each with the side of the image it points to."""
    normal = np.array([-direction[1], direction[0]])
    if abs(normal[1]) >= abs(normal[0]):
        normal *= -1.0 if normal[1] > 0 else 1.0
        return ("left", normal), ("right", -normal)
    normal *= -1.0 if normal[0] > 0 else 1.0
    return ("up", normal), ("down", -normal)


def _toward(way: str) -> str:
    return f"to the {way}" if way in ("left", "right") else way
