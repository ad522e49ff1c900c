"""Lines and landmarks of one canal, from its clicks; everything here is in pixels of the image."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.errors import TraceError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseFacts, Clicks, Remark
from radio.trace.along import CLICK_SD_MM, Along
from radio.trace.circle import Ball, fit_ball
from radio.trace.curve import arc_length, beside, cumulative_length, normals, project
from radio.trace.face import start_face
from radio.trace.lean import canal_beside_file
from radio.trace.line import LandmarkFix, Line
from radio.trace.polarity import metal_is_bright
from radio.trace.root_end import RootEnd, root_end
from radio.trace.tip import TYPICAL_FILE_SIZE, file_tip
from radio.trace.tracer import bend_toward, join_lines, trace_line
from radio.trace.workspace import Workspace, make_workspace

FloatArray = npt.NDArray[np.float64]

# Foramen to apex across the root: 0.26 to 0.29 mm is the mean published distance from the canal's axis
# (Kuttler 1955, J Am Dent Assoc 50:544, by a secondary summary); this is one component of it.
FORAMEN_ASIDE_SD_MM = 0.18


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
    gap_px, gap_sd_px : float or None
        Signed distance along the canal from file tip to radiographic apex, in columns.
    aspect : float
        Row spacing over column spacing.
    approximate_mm_per_px : float
        Scale the search widths were taken from.
    remarks : tuple of Remark
    """

    file_line: Line | None
    canal_line: Line | None
    landmarks: Mapping[str, LandmarkFix]
    ball: Ball | None
    gap_px: float | None
    gap_sd_px: float | None
    aspect: float
    approximate_mm_per_px: float
    remarks: tuple[Remark, ...]


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


class _Tracing:
    """One pass over the clicks of a case, in workspace coordinates; state only while it runs."""

    def __init__(
        self, space: Workspace, clicks: Clicks, facts: CaseFacts, mm_per_px: float, polarity_known: bool
    ) -> None:
        self.space, self.clicks, self.facts, self.mm = space, clicks, facts, mm_per_px
        self.polarity_known = polarity_known
        self.file: Line | None = None
        self.canal: Line | None = None
        self.fixes: dict[str, tuple[FloatArray, float, float, str, bool]] = {}
        self.ball: Ball | None = None
        self.gap: tuple[float, float] | None = None
        self.remarks: list[Remark] = []

    def run(self) -> None:
        self._look_at_polarity()
        if "ball_centre" in self.clicks:
            self._fit_ball()
        if "file_tip" in self.clicks and ("file_start" in self.clicks or "file_via" in self.clicks):
            self._trace_file()
        if "orifice" in self.clicks and ("canal_end" in self.clicks or "apex" in self.clicks):
            self._trace_canal()
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
        points = [self.clicks[n] for n in ("file_start", "file_via", "file_tip") if n in self.clicks]
        size = self.facts.file_size
        line = trace_line(
            self.space.image,
            np.vstack(points),
            "file",
            mm_per_px=self.mm,
            extend_mm=(1.2, 0.8),
            tip_diameter_mm=None if size is None else size / 100.0,
        )
        extended, tip = file_tip(
            self.space.image,
            line.points_px,
            self.clicks["file_tip"][0],
            mm_per_px=self.mm,
            file_size=self.facts.file_size,
        )
        start = self._file_start(extended)
        self.file = line.part(start.s_px, tip.s_px, along_px=extended)
        self._fix("file_tip", extended, tip, "end of the file's shadow along its axis")
        if "file_start" in self.clicks:
            self._fix("file_start", extended, start, f"face of the {self.facts.file_start_at}")

    def _file_start(self, line: FloatArray) -> Along:
        if "file_start" not in self.clicks:
            return Along(project(line, self.clicks["file_via"][0])[0], CLICK_SD_MM / self.mm, False)
        return start_face(
            self.space.image,
            line,
            self.clicks["file_start"][0],
            mm_per_px=self.mm,
            handle=self.facts.file_start_at == "handle",
        )

    # -- canal --------------------------------------------------------------------------------------------

    def _trace_canal(self) -> None:
        end_name = "canal_end" if "canal_end" in self.clicks else "apex"
        end, orifice = self.clicks[end_name][0], self.clicks["orifice"][0]
        via = self.clicks.get("canal_via", np.zeros((0, 2)))
        inside = self._file_inside(orifice, end)
        if inside is None:
            rests_on, known_px = np.vstack([orifice, via, end]), 0.0
            line = trace_line(self.space.image, rests_on, "canal", mm_per_px=self.mm, extend_mm=(0.5, 1.0))
        else:
            line, rests_on, known_px = self._canal_around_file(inside, via, end)
        ending = self._root_end(line)
        if "apex" in self.clicks and known_px < arc_length(line.points_px):
            line, ending = self._near_apex(line, ending, rests_on, known_px)
        self._finish_canal(line, ending, end_name)

    def _near_apex(
        self, line: Line, ending: RootEnd, rests_on: FloatArray, known_px: float
    ) -> tuple[Line, RootEnd]:
        """Draw the line's end toward the apex found, for canals end near it; and the same root end on it."""
        apex = beside(line.points_px, ending.apex.s_px, ending.apex_aside_px)
        crossing = beside(line.points_px, ending.canal_end.s_px, 0.0)
        bent = bend_toward(
            self.space.image,
            line,
            apex,
            float(np.hypot(ending.apex_aside_sd_px, FORAMEN_ASIDE_SD_MM / self.mm)),
            mm_per_px=self.mm,
            clicks_px=rests_on,
            known_px=known_px,
        )
        s = cumulative_length(bent.points_px)
        before = np.interp(s, cumulative_length(line.points_px), line.sd_px)
        bent = replace(bent, sd_px=np.where(s <= known_px, before, bent.sd_px))
        s_apex, aside = project(bent.points_px, apex)
        s_end, _ = project(bent.points_px, crossing)
        return bent, replace(
            ending,
            apex=replace(ending.apex, s_px=s_apex),
            apex_aside_px=aside,
            canal_end=replace(ending.canal_end, s_px=s_end),
        )

    def _root_end(self, line: Line) -> RootEnd:
        clicked = {n: self.clicks[n][0] if n in self.clicks else None for n in ("apex", "canal_end")}
        return root_end(
            self.space.image,
            line.points_px,
            clicked["apex"],
            clicked["canal_end"],
            mm_per_px=self.mm,
            file_shadow_mm=0.3 if self.file is not None else 0.0,
        )

    def _file_inside(self, orifice: FloatArray, end: FloatArray) -> Line | None:
        """The file line from orifice to tip when the file lies in this canal, else None."""
        if self.file is None:
            return None
        points = self.file.points_px
        s_orifice, aside = project(points, orifice)
        s_end, _ = project(points, end)
        total = arc_length(points)
        if abs(aside) * self.mm > 1.2 or not s_orifice * self.mm > -1.0 or total - s_orifice < 1.5 / self.mm:
            return None
        tip_to_end = float(np.hypot(*(points[-1] - end)))
        if s_end >= total and tip_to_end > 1.6 * (total - s_orifice):
            return None
        return self.file

    def _canal_around_file(
        self, file: Line, via: FloatArray, end: FloatArray
    ) -> tuple[Line, FloatArray, float]:
        """Canal line: about the file as far as it reaches, through the dark canal beyond.

        Also the clicks beyond the file, and the arc length up to which the file decided.
        """
        points = file.points_px
        total = arc_length(points)
        s_orifice, _ = project(points, self.clicks["orifice"][0])
        start = s_orifice - 0.5 / self.mm
        s_end, _ = project(points, end)
        if s_end <= total:
            line = self._middle_of_canal(file, start, s_end, max(total, s_end + 1.0 / self.mm))
            return line, end[None], arc_length(line.points_px)
        beyond = [p for p in via if project(points, p)[0] > total + 0.3 / self.mm]
        tail_clicks = np.vstack([*beyond, end])
        head = self._middle_of_canal(file, start, total, total)
        joined = join_lines(self.space.image, head, tail_clicks, mm_per_px=self.mm, extend_mm=1.0)
        known = np.interp(
            cumulative_length(joined.points_px), cumulative_length(head.points_px), head.sd_px, right=0.0
        )
        line = replace(joined, sd_px=np.hypot(joined.sd_px, known))
        return line, tail_clicks, arc_length(head.points_px)

    def _middle_of_canal(self, file: Line, s0: float, s_seen: float, s1: float) -> Line:
        """Middle of the canal about the file from `s0` to `s1`; beyond `s_seen` there is no canal to see."""
        line = file.part(s0, s1, kind="canal")
        count = max(2, round(len(line.points_px) * (s_seen - s0) / (s1 - s0)))
        size = self.facts.file_size
        offset, sd = canal_beside_file(
            self.space.image,
            line.points_px[:count],
            mm_per_px=self.mm,
            tip_diameter_mm=(size if size is not None else TYPICAL_FILE_SIZE) / 100.0,
        )
        offset = np.concatenate([offset, np.full(len(line.points_px) - count, offset[-1])])
        sd = np.concatenate([sd, np.full(len(line.points_px) - count, sd[-1])])
        middle = line.points_px + offset[:, None] * normals(line.points_px)
        return replace(line, points_px=middle, sd_px=np.hypot(line.sd_px, sd))

    def _finish_canal(self, line: Line, ending: RootEnd, end_name: str) -> None:
        points = line.points_px
        s_orifice, _ = project(points, self.clicks["orifice"][0])
        orifice = Along(s_orifice, CLICK_SD_MM / self.mm, False)
        ends = {"apex": ending.apex, "canal_end": ending.canal_end}
        self.canal = line.part(orifice.s_px, ends[end_name].s_px)
        self._fix("orifice", points, orifice, "foot of the click on the canal line")
        if "canal_end" in self.clicks:
            self._fix("canal_end", points, ending.canal_end, "where the canal line crosses the root outline")
        if "apex" in self.clicks:
            self._fix("apex", points, ending.apex, "end of the root outline", aside_px=ending.apex_aside_px)
            if self.file is not None:
                tip_s, _ = project(points, self.file.points_px[-1])
                tip_sd = self.fixes["file_tip"][1]
                self.gap = (ending.apex.s_px - tip_s, float(np.hypot(tip_sd, ending.apex.sd_px)))

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
        where = beside(line, along.s_px, aside_px)
        if not along.refined:
            how = "place along the line as clicked"
        self.fixes[name] = (where, along.sd_px, 0.05 / self.mm, how, along.refined)

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
        gap, gap_sd = self.gap if self.gap is not None else (None, None)
        return TracedCase(
            _to_image(self.file, space),
            _to_image(self.canal, space),
            landmarks,
            self.ball,
            gap,
            gap_sd,
            space.aspect,
            self.mm,
            tuple(self.remarks),
        )


def _to_image(line: Line | None, space: Workspace) -> Line | None:
    if line is None:
        return None
    return Line(line.kind, space.to_image(line.points_px), line.sd_px, line.confident)
