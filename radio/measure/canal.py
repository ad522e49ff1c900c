"""Canal line of one case: alone, or about a file that lies in it; and where the root ends on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.trace.along import as_clicked
from radio.trace.curve import arc_length, beside, cumulative_length, normals, project
from radio.trace.insist import through
from radio.trace.lean import canal_beside_file
from radio.trace.line import BoolArray, Line
from radio.trace.root_end import RootEnd, root_end
from radio.trace.tip import TYPICAL_FILE_SIZE
from radio.trace.tracer import bend_toward, join_lines, trace_line
from radio.trace.unmarked import unmarked_file

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]
# Clicks a line rests on, shape (K, 2), and which of them a person insists on, shape (K,).
_Rests = tuple[FloatArray, BoolArray]

# Foramen to apex across the root: 0.26 to 0.29 mm is the mean published distance from the canal's axis
# (Kuttler 1955, J Am Dent Assoc 50:544, by a secondary summary); this is one component of it.
FORAMEN_ASIDE_SD_MM = 0.18
# Beyond the tip of a file the canal is looked for itself; where the file leaned matters no more after about
# this.
_FORGOTTEN_MM = 1.0


@dataclass(frozen=True, eq=False)
class TracedCanal:
    """A canal and the end of its root.

    Parameters
    ----------
    line : Line
        Canal, from before the orifice to beyond its end.
    ending : RootEnd
        On that line.
    unmarked : Line or None
        A bright line in the canal that no click names and the canal was taken to lie about.
    """

    line: Line
    ending: RootEnd
    unmarked: Line | None


def trace_canal(
    image: Image,
    clicks: Mapping[str, FloatArray],
    file: Line | None,
    *,
    file_size: int | None,
    mm_per_px: float,
    exact: Mapping[str, BoolArray] | None = None,
) -> TracedCanal:
    """Trace the canal and find the end of the root on it.

    A bright line in the canal where no file was clicked is taken for a file: the dark margin beside it would
    else be followed, and look like support.

    Parameters
    ----------
    image : ndarray of float32, shape (H, W)
        Square pixels, radiopaque bright.
    clicks : mapping of str to ndarray, shape (N, 2)
        With `orifice` and at least one of `canal_end` and `apex`.
    file : Line or None
        Traced file; used where it lies in this canal.
    file_size : int or None
        ISO 3630-1 size.
    mm_per_px : float
        Approximate scale.
    exact : mapping of str to ndarray of bool, shape (N,), optional
        Which points of a landmark a person insists on; a landmark left out has none. The line passes through
        them; an exact apex lies on it only where the canal is traced to it.

    Returns
    -------
    TracedCanal
    """
    return _CanalTracing(image, clicks, file, file_size, mm_per_px, exact or {}).run()


class _CanalTracing:
    """One pass over the clicks of a canal; state only while it runs."""

    def __init__(
        self,
        image: Image,
        clicks: Mapping[str, FloatArray],
        file: Line | None,
        file_size: int | None,
        mm_per_px: float,
        exact: Mapping[str, BoolArray],
    ) -> None:
        self.image, self.clicks, self.file, self.mm = image, clicks, file, mm_per_px
        self.exact = {n: exact.get(n, np.zeros(len(p), bool)) for n, p in clicks.items()}
        self.end_name = "canal_end" if "canal_end" in clicks else "apex"
        self.tip_diameter_mm = (file_size if file_size is not None else TYPICAL_FILE_SIZE) / 100.0

    def run(self) -> TracedCanal:
        end, orifice = self.clicks[self.end_name][0], self.clicks["orifice"][0]
        clicked, held = self._points_of("orifice", "canal_via", self.end_name)
        inside, unmarked = self._file_inside(orifice, end), None
        if inside is None:
            inside = unmarked = unmarked_file(self.image, clicked, mm_per_px=self.mm)
        if inside is None:
            rests_on, known_px = (clicked, held), 0.0
            line = trace_line(
                self.image, clicked, "canal", mm_per_px=self.mm, extend_mm=(0.5, 1.0), exact=held
            )
        else:
            line, rests_on, known_px = self._canal_around_file(inside, end)
        ending = self._root_end(line, metal=self.file is not None or inside is not None)
        ends_there = self.end_name == "apex" and self.exact["apex"][0]
        if "apex" in self.clicks and not ends_there and known_px < arc_length(line.points_px):
            line, ending = self._near_apex(line, ending, rests_on, known_px)
        return TracedCanal(line, ending, unmarked)

    def _points_of(self, *names: str) -> tuple[FloatArray, BoolArray]:
        """Points of landmarks one after the other, and which of them a person insists on."""
        there = [name for name in names if name in self.clicks]
        return np.vstack([self.clicks[n] for n in there]), np.concatenate([self.exact[n] for n in there])

    def _near_apex(
        self, line: Line, ending: RootEnd, rests_on: _Rests, known_px: float
    ) -> tuple[Line, RootEnd]:
        """Draw the line's end toward the apex found, for canals end near it; and the same root end on it."""
        apex = beside(line.points_px, ending.apex.s_px, ending.apex_aside_px)
        crossing = beside(line.points_px, ending.canal_end.s_px, 0.0)
        bent = bend_toward(
            self.image,
            line,
            apex,
            float(np.hypot(ending.apex_aside_sd_px, FORAMEN_ASIDE_SD_MM / self.mm)),
            mm_per_px=self.mm,
            clicks_px=rests_on[0],
            known_px=known_px,
            exact=rests_on[1],
        )
        s = cumulative_length(bent.points_px)
        along = cumulative_length(line.points_px)
        slow = None if line.slow_sd_px is None else np.interp(s, along, line.slow_sd_px)
        beyond = bent.sd_px if slow is None else np.hypot(bent.sd_px, slow)
        sd = np.where(s <= known_px, np.interp(s, along, line.sd_px), beyond)
        bent = replace(bent, sd_px=sd, slow_sd_px=slow)
        s_apex, aside = project(bent.points_px, apex)
        s_end, _ = project(bent.points_px, crossing)
        return bent, replace(
            ending,
            apex=replace(ending.apex, s_px=s_apex),
            apex_aside_px=aside,
            canal_end=replace(ending.canal_end, s_px=s_end),
        )

    def _root_end(self, line: Line, *, metal: bool) -> RootEnd:
        clicked = {n: self.clicks[n][0] if n in self.clicks else None for n in ("apex", "canal_end")}
        found = root_end(
            self.image,
            line.points_px,
            clicked["apex"],
            clicked["canal_end"],
            mm_per_px=self.mm,
            file_shadow_mm=0.3 if metal else 0.0,
        )
        return self._as_placed(line.points_px, found)

    def _as_placed(self, line: FloatArray, ending: RootEnd) -> RootEnd:
        """The root end with what a person insists on where it was put, as certain as any click."""
        if "apex" in self.clicks and self.exact["apex"][0]:
            click = self.clicks["apex"][0]
            apex, aside = as_clicked(line, click, self.mm), project(line, click)[1]
            ending = replace(ending, apex=apex, apex_aside_px=aside, apex_aside_sd_px=apex.sd_px)
        if "canal_end" in self.clicks and self.exact["canal_end"][0]:
            canal_end = as_clicked(line, self.clicks["canal_end"][0], self.mm)
            ending = replace(ending, canal_end=canal_end)
        return ending

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

    def _canal_around_file(self, file: Line, end: FloatArray) -> tuple[Line, _Rests, float]:
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
            clicked, held = self._points_of("orifice", "canal_via", self.end_name)
            line = through(line, clicked[held], mm_per_px=self.mm)
            return line, self._points_of(self.end_name), arc_length(line.points_px)
        near, near_held = self._points_of("orifice", "canal_via")
        ahead = np.array([project(points, p)[0] - total for p in near])
        beyond = ahead > np.where(near_held, 0.0, 0.3 / self.mm)
        beyond[0] = False
        head = self._middle_of_canal(file, start, total, total)
        head = through(head, near[~beyond & near_held], mm_per_px=self.mm)
        last, last_held = self._points_of(self.end_name)
        tail = np.vstack([near[beyond], last]), np.append(near_held[beyond], last_held)
        joined = join_lines(self.image, head, tail[0], mm_per_px=self.mm, extend_mm=1.0, exact=tail[1])
        return self._with_head_sd(joined, head), tail, arc_length(head.points_px)

    def _with_head_sd(self, joined: Line, head: Line) -> Line:
        """A joined line with the uncertainty of its head, which the image makes good beyond the file."""
        s, known = cumulative_length(joined.points_px), cumulative_length(head.points_px)
        left = np.exp(-0.5 * (np.maximum(s - known[-1], 0.0) * self.mm / _FORGOTTEN_MM) ** 2)
        slow = None if head.slow_sd_px is None else left * np.interp(s, known, head.slow_sd_px)
        sd = np.hypot(joined.sd_px, left * np.interp(s, known, head.sd_px))
        return replace(joined, sd_px=sd, slow_sd_px=slow)

    def _middle_of_canal(self, file: Line, s0: float, s_seen: float, s1: float) -> Line:
        """Middle of the canal about the file from `s0` to `s1`; beyond `s_seen` there is no canal to see."""
        line = file.part(s0, s1, kind="canal")
        count = max(2, round(len(line.points_px) * (s_seen - s0) / (s1 - s0)))
        offset, sd = canal_beside_file(
            self.image,
            line.points_px[:count],
            mm_per_px=self.mm,
            tip_diameter_mm=self.tip_diameter_mm,
        )
        offset = np.concatenate([offset, np.full(len(line.points_px) - count, offset[-1])])
        sd = np.concatenate([sd, np.full(len(line.points_px) - count, sd[-1])])
        middle = line.points_px + offset[:, None] * normals(line.points_px)
        return replace(line, points_px=middle, sd_px=np.hypot(line.sd_px, sd), slow_sd_px=sd)
