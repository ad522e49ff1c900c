"""Two measured views of one canal put together: its bend, its length and its angles in space."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.errors import PeriapicalError
from radio.measure.case import CaseResult
from radio.measure.methods import METHODS, CurvatureMethod
from radio.measure.own_plane import InOwnPlane
from radio.measure.result import Measurement
from radio.measure.resultant import resultant_bend
from radio.measure.space_measures import measure_in_space
from radio.measure.stack import TraceStack, signed_deg
from radio.measure.two_views import CanalInSpace, reconstruct
from radio.trace.along import CLICK_SD_MM
from radio.trace.curve import normals

FloatArray = npt.NDArray[np.float64]

# How well a turn between two exposures, and the upright of an image, are known unless stated.
# Common practice, no source.
DEFAULT_TURN_SD_DEG = 3.0
_LEAN_SD_DEG = 3.0
# From here on the plane of a bend may be any: the spread of a direction that is not known at all is 104.
_PLANE_UNKNOWN_DEG = 60.0
_CORONAL_AXES = (
    "For the bend from two angles, the coronal axis of the canal stands for the long axis of the tooth in "
    "both views: the angles are the Schneider angles, each from the point where the canal leaves that axis "
    "in its own view."
)


@dataclass(frozen=True, eq=False)
class ViewPair:
    """What two views of one canal give together.

    Parameters
    ----------
    name : str
        The canal.
    between_views_deg, between_views_sd_deg : float
        Stated angle between the views, and its standard uncertainty.
    measurements : dict of str to Measurement
        Bend and plane from the two angles; length, angles and curvature taken in space.
    own_plane : InOwnPlane or None
        Every method in the plane the canal bends in.
    absent : dict of str to str
        Why the bend (``"resultant_bend_deg"``) or the centreline (``"space"``) could not be had.
    in_space : CanalInSpace or None
        The centreline, its mismatch, and what it assumes.
    same_canal : bool
        False when heights, or the stated tooth or subject, speak against one canal; nothing is then measured.
    remarks, assumptions : tuple of str
    """

    name: str
    between_views_deg: float
    between_views_sd_deg: float
    measurements: dict[str, Measurement]
    own_plane: InOwnPlane | None
    absent: dict[str, str]
    in_space: CanalInSpace | None
    same_canal: bool
    remarks: tuple[str, ...]
    assumptions: tuple[str, ...]


def pair_views(
    first: CaseResult,
    second: CaseResult,
    between_views_deg: float = 90.0,
    between_views_sd_deg: float = DEFAULT_TURN_SD_DEG,
    *,
    methods: Sequence[CurvatureMethod] = METHODS,
) -> ViewPair:
    """Bend and centreline in space of a canal that was measured in two views.

    Parameters
    ----------
    first, second : CaseResult
        The same canal, measured with the same settings.
    between_views_deg : float
        Turn of the beam about the tooth from the first view to the second, 10 to 170.
    between_views_sd_deg : float
        Its standard uncertainty.
    methods : sequence of CurvatureMethod
        Those that are wanted.

    Returns
    -------
    ViewPair
        What cannot be had is absent, with its reason.
    """
    pairing = _Pairing(first, second, between_views_deg, between_views_sd_deg, methods)
    return pairing.run()


# A coronal canal that leans more than this on the image may mean that the image was turned.
_LEANING_DEG = 8.0
_OTHER_CANAL = "these two views do not seem to show one canal"


class _Pairing:
    """One pair on its way; state only while it runs."""

    def __init__(
        self,
        first: CaseResult,
        second: CaseResult,
        turn_deg: float,
        turn_sd_deg: float,
        methods: Sequence[CurvatureMethod],
    ) -> None:
        self.views = ((first, "first"), (second, "second"))
        self.turn_deg, self.turn_sd_deg, self.methods = turn_deg, turn_sd_deg, methods
        self.measurements: dict[str, Measurement] = {}
        self.absent: dict[str, str] = {}
        self.assumptions: list[str] = []
        self.remarks: list[str] = []
        self.own_plane: InOwnPlane | None = None

    def run(self) -> ViewPair:
        conflicts = self._conflicts()
        self.remarks += conflicts
        space = None
        try:
            space = self._reconstruct()
            self.remarks += [*self._leaning(), *space.remarks]
        except PeriapicalError as problem:
            self.absent["space"] = str(problem)
        same = not conflicts and (space is None or space.same_canal)
        wants_bend = any(method.name == "schneider" for method in self.methods)
        if not same:
            reasons = dict.fromkeys(("resultant_bend_deg",) * wants_bend + ("space",), _OTHER_CANAL)
            self.absent = reasons | self.absent
        else:
            if wants_bend:
                self._bend()
            if space is not None:
                self._measure(space)
        (first, _), _ = self.views
        return ViewPair(
            first.facts.canal,
            self.turn_deg,
            self.turn_sd_deg,
            self.measurements,
            self.own_plane,
            self.absent,
            space,
            same,
            tuple(self.remarks),
            tuple(dict.fromkeys(self.assumptions)),
        )

    def _conflicts(self) -> list[str]:
        """What was stated of the two views that cannot be so for one canal."""
        (first, _), (second, _) = self.views
        stated = {
            "tooth": (first.facts.tooth, second.facts.tooth),
            "subject": (first.facts.subject, second.facts.subject),
        }
        return [
            f"The two views are stated to show {what} {one} and {what} {other}: this is not one canal."
            for what, (one, other) in stated.items()
            if one and other and one != other
        ]

    def _leaning(self) -> list[str]:
        """Views that may have been turned, which the matching by height takes for straight."""
        told = []
        for one, which in self.views:
            stack = _stack_of(one, which)
            down, right = np.abs(stack.axis[1][0])
            lean = float(np.degrees(np.arctan2(right, down)))
            if stack.placed.tooth_axis is None and lean > _LEANING_DEG:
                told.append(
                    f"In the {which} view the coronal canal leans {lean:.0f} degrees from upright. Heights "
                    f"are matched along the image rows, which may be {_LEAN_SD_DEG:g} degrees (standard "
                    "uncertainty) off the axis the beam was turned about. If the image is turned by more, "
                    "mark the long axis of the tooth with two points tooth_axis."
                )
        return told

    def _bend(self) -> None:
        """Resultant bend and its plane from the Schneider angles of both views."""
        try:
            angles, sds = zip(*(_signed_schneider(*view) for view in self.views), strict=True)
            found = resultant_bend(
                *angles,
                between_views_deg=self.turn_deg,
                sd_alpha_deg=sds[0],
                sd_beta_deg=sds[1],
                sd_between_deg=self.turn_sd_deg,
            )
        except PeriapicalError as problem:
            self.absent["resultant_bend_deg"] = str(problem)
            return
        self.assumptions += [*found.assumptions, _CORONAL_AXES, self._turn_words()]
        method = f"from the Schneider angles {angles[0]:+.1f}° and {angles[1]:+.1f}°"
        basis = f"two views {self.turn_deg:g}° apart; positive angles bend to the right, canal end down"
        plane_sd = found.sd_plane_deg
        interval = None
        notes: tuple[str, ...] = ()
        if plane_sd is not None:
            interval = (found.plane_deg - 1.96 * plane_sd, found.plane_deg + 1.96 * plane_sd)
            if plane_sd >= _PLANE_UNKNOWN_DEG:
                notes = ("The bend is too small beside its uncertainty for its plane to be known.",)
        self.measurements |= {
            "resultant_bend_deg": Measurement(
                "resultant_bend_deg", found.bend_deg, "deg", found.sd_bend_deg, method, basis
            ),
            "bend_plane_deg": Measurement(
                "bend_plane_deg",
                found.plane_deg,
                "deg",
                plane_sd,
                f"{method}; {_PLANE}",
                basis,
                notes,
                interval,
            ),
        }

    def _reconstruct(self) -> CanalInSpace:
        stacks = [_stack_of(*view) for view in self.views]
        for one, which in self.views:
            if one.scale is None:
                raise PeriapicalError(f"There is no scale in the {which} view; a canal in space needs both.")
        axes = [_tooth_axis(stack) for stack in stacks]
        traces, across = zip(*((stack.points[0], _across_sd(stack)) for stack in stacks), strict=True)
        heights, scales = zip(*(_height_and_scale_sd(one) for one, _ in self.views), strict=True)
        return reconstruct(
            *traces,
            axis_first=axes[0][0],
            axis_second=axes[1][0],
            between_views_deg=self.turn_deg,
            sd_first_mm=across[0],
            sd_second_mm=across[1],
            height_sd_mm=heights,
            relative_sd=scales,
            lean_sd_deg=(axes[0][1], axes[1][1]),
            between_views_sd_deg=self.turn_sd_deg,
            drawn_mm=(stacks[0].points[1:], stacks[1].points[1:]),
        )

    def _measure(self, space: CanalInSpace) -> None:
        """All measures of the centreline."""
        settings = _stack_of(*self.views[0]).settings
        found = measure_in_space(space, methods=self.methods, settings=settings)
        self.measurements |= found.measurements
        self.own_plane = found.own_plane
        self.assumptions += [*space.assumptions, self._turn_words()]

    def _turn_words(self) -> str:
        return f"The angle between the views is known with a standard uncertainty of {self.turn_sd_deg:g}°."


_PLANE = "seen along the tooth, from the across direction of the first view towards that of the second"


def _signed_schneider(result: CaseResult, which: str) -> tuple[float, float | None]:
    """Schneider angle with the sign of the side it bends to, and its standard uncertainty, degrees."""
    stack = _stack_of(result, which)
    angle = float(signed_deg(stack.axis[1], stack.chord)[0]) if stack.leaves[0] else 0.0
    return angle, result.measurements["schneider_deg"].sd


def _tooth_axis(stack: TraceStack) -> tuple[FloatArray | None, float]:
    """Direction of the tooth's long axis if it was stated, and its standard uncertainty, degrees."""
    points = stack.placed.tooth_axis
    if points is None:
        return None, _LEAN_SD_DEG
    along = points[1] - points[0]
    return along, float(np.degrees(np.sqrt(2) * CLICK_SD_MM / np.hypot(*along)))


def _height_and_scale_sd(result: CaseResult) -> tuple[float, float]:
    """Standard uncertainty of a trace's height from its two ends, mm, and the relative one of its scale."""
    assert result.scale is not None
    ends = [result.landmarks["orifice"], result.landmarks.get("canal_end") or result.landmarks["apex"]]
    height = float(np.hypot(ends[0].sd_along_px, ends[1].sd_along_px)) * result.scale.col_mm_per_px
    return height, result.scale.relative_sd


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
