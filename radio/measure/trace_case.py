"""Lines and landmarks of one canal, from its clicks; everything here is in pixels of the image."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.errors import TraceError
from radio.image.radiograph import Radiograph
from radio.measure.canal import trace_canal
from radio.measure.case import CaseFacts, Clicks, Remark
from radio.measure.file_trace import trace_file
from radio.trace.along import CLICK_SD_MM, Along, as_clicked
from radio.trace.circle import Ball, fit_ball
from radio.trace.curve import arc_length, beside, project
from radio.trace.line import LandmarkFix, Line
from radio.trace.polarity import metal_is_bright
from radio.trace.root_end import RootEnd
from radio.trace.workspace import Workspace, make_workspace

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TracedCase:
    """Lines, landmarks and places along the lines.

    Parameters
    ----------
    file_line, canal_line : Line or None
        In image pixels.
    landmarks : mapping of str to LandmarkFix
    ball : Ball or None
        In square pixels (columns).
    gap_px : float or None
        Signed distance along the canal from file tip to radiographic apex, in columns.
    aspect : float
        Row spacing over column spacing.
    approximate_mm_per_px : float
        Scale the search widths were taken from.
    remarks : tuple of Remark
    coronal_axis_px, departure_px, tooth_axis_px : ndarray, shape (2, 2), (2,) and (2, 2), or None
        Parts of the construction, and the long axis of the tooth, placed by hand, in image pixels.
    """

    file_line: Line | None
    canal_line: Line | None
    landmarks: Mapping[str, LandmarkFix]
    ball: Ball | None
    gap_px: float | None
    aspect: float
    approximate_mm_per_px: float
    remarks: tuple[Remark, ...]
    coronal_axis_px: FloatArray | None = None
    departure_px: FloatArray | None = None
    tooth_axis_px: FloatArray | None = None


def trace_case(radiograph: Radiograph, clicks: Clicks, facts: CaseFacts, mm_per_px: float) -> TracedCase:
    """Trace file and canal and refine the landmarks.

    Parameters
    ----------
    radiograph : Radiograph
    clicks : mapping of str to ndarray, shape (N, 2)
        Checked clicks.
    facts : CaseFacts
    mm_per_px : float
        Approximate scale.

    Raises
    ------
    TraceError
        Nothing to trace: neither file, nor canal, nor ball is given by enough clicks.
    """
    if not clicks:
        raise TraceError(
            "No clicks for this canal; give at least orifice and apex, or file_start and file_tip."
        )
    all_points = np.vstack(list(clicks.values()))
    space = make_workspace(
        radiograph.grey, all_points, margin_px=4.0 / mm_per_px, aspect=radiograph.pixel_aspect
    )
    here = {n: space.from_image(p) for n, p in clicks.items()}
    tracing = _Tracing(space, here, facts, mm_per_px, radiograph.file_format == "DICOM")
    tracing.run()
    return tracing.result(clicks)


_UNMARKED = (
    "A bright line lies in the canal and no click names it: a file, or a filling. The canal was traced about "
    "it. If it is a file of this canal, mark file_start and file_tip; if the canal lies elsewhere, mark it "
    "with canal_via."
)
_EXACTLY = "placed exactly, by hand"


class _Tracing:
    """One pass over the clicks of a case, in workspace coordinates; state only while it runs."""

    def __init__(
        self, space: Workspace, clicks: Clicks, facts: CaseFacts, mm_per_px: float, polarity_known: bool
    ) -> None:
        self.space, self.clicks, self.facts, self.mm = space, clicks, facts, mm_per_px
        self.exact = {name: facts.is_exact(name, len(points)) for name, points in clicks.items()}
        self.polarity_known = polarity_known
        self.file: Line | None = None
        self.canal: Line | None = None
        self.fixes: dict[str, tuple[FloatArray, float, float, str, bool]] = {}
        self.ball: Ball | None = None
        self.gap_px: float | None = None
        self.remarks: list[Remark] = []

    def run(self) -> None:
        self._look_at_polarity()
        if "ball_centre" in self.clicks:
            self._fit_ball()
        if "file_tip" in self.clicks and ("file_start" in self.clicks or "file_via" in self.clicks):
            self._trace_file()
        if "orifice" in self.clicks and ("canal_end" in self.clicks or "apex" in self.clicks):
            self._trace_canal()
        elif self.file is not None and "apex" in self.clicks:
            self._gap_without_orifice()
        if self.file is None and self.canal is None and self.ball is None:
            raise TraceError(
                f"Nothing to trace with the clicks {', '.join(self.clicks)}: a canal needs orifice and "
                "canal_end or apex, a file needs file_start and file_tip, a ball needs ball_centre."
            )

    def _look_at_polarity(self) -> None:
        """Reverse the grey values when the metal that was clicked is plainly dark; a header is believed."""
        if self.polarity_known:
            return
        bright = metal_is_bright(self.space.image, self.clicks, mm_per_px=self.mm)
        if bright is False:
            self.space = replace(self.space, image=np.ascontiguousarray(1.0 - self.space.image))
            self.remarks.append(
                Remark(
                    "warn",
                    "The image looks inverted: the metal clicked on is darker than what surrounds it. It was "
                    "measured with its grey values reversed; the image itself is unchanged.",
                )
            )

    # -- file ---------------------------------------------------------------------------------------------

    def _trace_file(self) -> None:
        made = trace_file(self.space.image, self.clicks, self.exact, self.facts, mm_per_px=self.mm)
        self.file = made.line
        self._fix("file_tip", made.extended_px, made.tip, "end of the file's shadow along its axis")
        if "file_start" in self.clicks:
            face = f"face of the {self.facts.file_start_at}"
            self._fix("file_start", made.extended_px, made.start, face)

    # -- canal --------------------------------------------------------------------------------------------

    def _gap_without_orifice(self) -> None:
        """Gap and apex from the file alone: the last part of the file says where the canal goes."""
        assert self.file is not None
        points = self.file.points_px
        begin = beside(points, max(arc_length(points) - 6.0 / self.mm, 0.0), 0.0)
        canal = trace_canal(
            self.space.image,
            {**self.clicks, "orifice": begin[None]},
            self.file,
            file_size=self.facts.file_size,
            mm_per_px=self.mm,
            exact=self.exact,
        )
        self._fix_apex(canal.line.points_px, canal.ending)

    def _trace_canal(self) -> None:
        canal = trace_canal(
            self.space.image,
            self.clicks,
            self.file,
            file_size=self.facts.file_size,
            mm_per_px=self.mm,
            exact=self.exact,
        )
        line, ending = canal.line, canal.ending
        if canal.unmarked is not None:
            self.remarks.append(Remark("warn", _UNMARKED))
        end_name = "canal_end" if "canal_end" in self.clicks else "apex"
        points = line.points_px
        orifice = as_clicked(points, self.clicks["orifice"][0], self.mm)
        ends = {"apex": ending.apex, "canal_end": ending.canal_end}
        self.canal = line.part(orifice.s_px, ends[end_name].s_px)
        self._fix("orifice", points, orifice, "foot of the click on the canal line")
        if "canal_end" in self.clicks:
            self._fix("canal_end", points, ending.canal_end, "where the canal line crosses the root outline")
        if "apex" in self.clicks:
            self._fix_apex(points, ending)

    def _fix_apex(self, points: FloatArray, ending: RootEnd) -> None:
        self._fix("apex", points, ending.apex, "end of the root outline", aside_px=ending.apex_aside_px)
        if self.file is not None:
            tip_s, _ = project(points, self.file.points_px[-1])
            self.gap_px = ending.apex.s_px - tip_s

    # -- ball, bookkeeping --------------------------------------------------------------------------------

    def _fit_ball(self) -> None:
        diameter = self.facts.ball_diameter_mm or 5.0
        radius = 0.5 * diameter / self.mm
        try:
            self.ball = fit_ball(
                self.space.image, self.clicks["ball_centre"][0], radius_px=(0.55 * radius, 1.8 * radius)
            )
        except TraceError as error:
            self.remarks.append(Remark("warn", str(error)))
            return
        centre = np.array([self.ball.row, self.ball.col])
        self.fixes["ball_centre"] = (
            centre,
            self.ball.sd_px,
            self.ball.sd_px,
            "circle fitted to the rim",
            True,
        )

    def _fix(self, name: str, line: FloatArray, along: Along, how: str, *, aside_px: float = 0.0) -> None:
        if self.exact[name][0]:
            sd = CLICK_SD_MM / self.mm
            self.fixes[name] = (self.clicks[name][0], sd, sd, _EXACTLY, False)
            return
        where = beside(line, along.s_px, aside_px)
        if not along.refined:
            how = "place along the line as clicked"
        self.fixes[name] = (where, along.sd_px, 0.05 / self.mm, how, along.refined)

    def _placed_axis(self, clicks: Clicks, name: str, otherwise: str) -> FloatArray | None:
        axis = clicks.get(name)
        if axis is None or (len(axis) == 2 and np.hypot(*(axis[1] - axis[0])) >= 1.0):
            return axis
        self.remarks.append(Remark("note", f"{name} needs two different points; until then {otherwise}."))
        return None

    def result(self, clicks: Clicks) -> TracedCase:
        space = self.space
        landmarks = {}
        for name, (point, along, across, how, refined) in self.fixes.items():
            row, col = space.to_image(point)
            click_row, click_col = clicks[name][0]
            landmarks[name] = LandmarkFix(
                name, float(row), float(col), float(click_row), float(click_col), along, across, how, refined
            )
        for name in ("reference",):
            if name in clicks:
                row, col = clicks[name][0]
                sd = CLICK_SD_MM / self.mm
                landmarks[name] = LandmarkFix(
                    name, float(row), float(col), float(row), float(col), sd, sd, "as clicked", False
                )
        axis = self._placed_axis(clicks, "coronal_axis", "the axis is found by rule")
        upright = "the image rows stand for the long axis of the tooth"
        tooth_axis = self._placed_axis(clicks, "tooth_axis", upright)
        return TracedCase(
            _to_image(self.file, space),
            _to_image(self.canal, space),
            landmarks,
            self.ball,
            self.gap_px,
            space.aspect,
            self.mm,
            tuple(self.remarks),
            axis,
            clicks["departure"][0] if "departure" in clicks else None,
            tooth_axis,
        )


def _to_image(line: Line | None, space: Workspace) -> Line | None:
    if line is None:
        return None
    return replace(line, points_px=space.to_image(line.points_px))
