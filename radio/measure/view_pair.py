"""Two measured views of one canal put together: its bend, its length and its angles in space."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.errors import PeriapicalError
from radio.measure.case import CaseResult
from radio.measure.result import Measurement
from radio.measure.resultant import resultant_bend
from radio.measure.space_measures import measure_in_space
from radio.measure.stack import TraceStack, signed_deg
from radio.measure.two_views import CanalInSpace, reconstruct
from radio.trace.curve import normals

FloatArray = npt.NDArray[np.float64]

# From here on the plane of a bend may be any: the spread of a direction that is not known at all is 104.
_PLANE_UNKNOWN_DEG = 60.0
_CORONAL_AXES = (
    "For the bend from two angles, the coronal axis of the canal stands for the long axis of the tooth in "
    "both views: the angles are the Schneider angles."
)
_EXACT_TURN = "The angle between the views is as stated; no uncertainty of it is counted."


@dataclass(frozen=True, eq=False)
class ViewPair:
    """What two views of one canal give together.

    Parameters
    ----------
    name : str
        The canal.
    between_views_deg : float
        Stated angle between the views.
    measurements : dict of str to Measurement
        Bend and plane from the two angles; length, angles and curvature in space.
    absent : dict of str to str
        Why the bend (``"resultant_bend_deg"``) or the centreline (``"space"``) could not be had.
    in_space : CanalInSpace or None
        The centreline, its mismatch, and what it assumes.
    same_canal : bool
        False when heights, or the stated tooth or subject, speak against one canal.
    remarks, assumptions : tuple of str
    """

    name: str
    between_views_deg: float
    measurements: dict[str, Measurement]
    absent: dict[str, str]
    in_space: CanalInSpace | None
    same_canal: bool
    remarks: tuple[str, ...]
    assumptions: tuple[str, ...]


def pair_views(first: CaseResult, second: CaseResult, between_views_deg: float = 90.0) -> ViewPair:
    """Bend and centreline in space of a canal that was measured in two views.

    Parameters
    ----------
    first, second : CaseResult
        The same canal.
    between_views_deg : float
        Turn of the beam about the tooth from the first view to the second, 10 to 170.

    Returns
    -------
    ViewPair
        What cannot be had is absent, with its reason.
    """
    measurements: dict[str, Measurement] = {}
    absent: dict[str, str] = {}
    assumptions: list[str] = []
    try:
        measurements |= _bend(first, second, between_views_deg, assumptions)
    except PeriapicalError as problem:
        absent["resultant_bend_deg"] = str(problem)
    in_space = None
    try:
        in_space = _in_space(first, second, between_views_deg)
        measurements |= measure_in_space(in_space)
    except PeriapicalError as problem:
        absent["space"] = str(problem)
    conflicts = _conflicts(first, second)
    leaning = _leaning(first, second) if in_space is not None else ()
    remarks = conflicts if in_space is None else (*conflicts, *leaning, *in_space.remarks)
    if in_space is not None:
        assumptions += in_space.assumptions
    if measurements:
        assumptions.append(_EXACT_TURN)
    return ViewPair(
        first.facts.canal,
        between_views_deg,
        measurements,
        absent,
        in_space,
        not conflicts and (in_space is None or in_space.same_canal),
        remarks,
        tuple(dict.fromkeys(assumptions)),
    )


# A coronal canal that leans more than this on the image may mean that the tooth does.
_LEANING_DEG = 8.0


def _leaning(first: CaseResult, second: CaseResult) -> tuple[str, ...]:
    """Views in which the tooth may not stand upright, which the matching by height takes for granted."""
    told = []
    for one, which in _named(first, second):
        down, right = np.abs(_stack_of(one, which).axis[1][0])
        lean = float(np.degrees(np.arctan2(right, down)))
        if lean > _LEANING_DEG:
            told.append(
                f"In the {which} view the coronal canal leans {lean:.0f} degrees from upright. Heights are "
                "matched along the image rows: if the tooth leans, turn the image first, or lengths and "
                "angles in space are wrong by more than their uncertainty."
            )
    return tuple(told)


def _conflicts(first: CaseResult, second: CaseResult) -> tuple[str, ...]:
    """What was stated of the two views that cannot be so for one canal."""
    stated = {
        "tooth": (first.facts.tooth, second.facts.tooth),
        "subject": (first.facts.subject, second.facts.subject),
    }
    return tuple(
        f"The two views are stated to show {what} {one} and {what} {other}: this is not one canal."
        for what, (one, other) in stated.items()
        if one and other and one != other
    )


def _bend(
    first: CaseResult, second: CaseResult, between_views_deg: float, assumptions: list[str]
) -> dict[str, Measurement]:
    """Resultant bend and its plane from the Schneider angles of both views."""
    angles, sds = zip(*(_signed_schneider(one, which) for one, which in _named(first, second)), strict=True)
    found = resultant_bend(
        *angles, between_views_deg=between_views_deg, sd_alpha_deg=sds[0], sd_beta_deg=sds[1]
    )
    assumptions += [*found.assumptions, _CORONAL_AXES]
    method = f"from the Schneider angles {angles[0]:+.1f}° and {angles[1]:+.1f}°"
    basis = f"two views {between_views_deg:g}° apart; positive angles bend to the right, canal end down"
    plane_sd = found.sd_plane_deg
    interval = None
    notes: tuple[str, ...] = ()
    if plane_sd is not None:
        interval = (found.plane_deg - 1.96 * plane_sd, found.plane_deg + 1.96 * plane_sd)
        if plane_sd >= _PLANE_UNKNOWN_DEG:
            notes = ("The bend is too small beside its uncertainty for its plane to be known.",)
    bend = Measurement("resultant_bend_deg", found.bend_deg, "deg", found.sd_bend_deg, method, basis)
    plane = Measurement(
        "bend_plane_deg", found.plane_deg, "deg", plane_sd, f"{method}; {_PLANE}", basis, notes, interval
    )
    return {bend.name: bend, plane.name: plane}


_PLANE = "seen along the tooth, from the across direction of the first view towards that of the second"


def _signed_schneider(result: CaseResult, which: str) -> tuple[float, float | None]:
    """Schneider angle with the sign of the side it bends to, and its standard uncertainty, degrees."""
    stack = _stack_of(result, which)
    angle = float(signed_deg(stack.axis[1], stack.chord)[0]) if stack.leaves[0] else 0.0
    return angle, result.measurements["schneider_deg"].sd


def _in_space(first: CaseResult, second: CaseResult, between_views_deg: float) -> CanalInSpace:
    traces, sds, heights = [], [], []
    for one, which in _named(first, second):
        stack = _stack_of(one, which)
        if one.scale is None:
            raise PeriapicalError(f"There is no scale in the {which} view; a canal in space needs both.")
        traces.append(stack.points[0])
        sds.append(_across_sd(stack))
        heights.append(one.measurements["canal_length_mm"].sd or 0.0)
    return reconstruct(
        traces[0],
        traces[1],
        between_views_deg=between_views_deg,
        sd_first_mm=sds[0],
        sd_second_mm=sds[1],
        height_sd_mm=(heights[0], heights[1]),
    )


def _across_sd(stack: TraceStack) -> FloatArray:
    """How far the traces as they might have come out lie aside of the measured one, root mean square, (N,).

    It holds what stretches that the image does not show, and the turn to the foramen, may hide.
    """
    across = normals(stack.points[0])
    aside = ((stack.points[1:] - stack.points[0]) * across).sum(axis=2)
    return np.asarray(np.sqrt((aside**2).mean(axis=0)))


def _stack_of(result: CaseResult, which: str) -> TraceStack:
    if result.stack is None:
        raise PeriapicalError(f"No canal was traced in the {which} view.")
    return result.stack


def _named(first: CaseResult, second: CaseResult) -> Sequence[tuple[CaseResult, str]]:
    return ((first, "first"), (second, "second"))
