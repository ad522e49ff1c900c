"""Lines traced on painted images whose centre line is a closed form.

Bounds: a file is 0.15 mm and more wide and bright, so its centre is found to a few micrometres at small
pixels and to a fifth of a pixel at large ones; a canal is a faint, wide, dark band in texture as strong as a
sixth of it, which moves its apparent centre by a few hundredths of a millimetre.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from radio.errors import TraceError
from radio.trace.curve import arc_length, cumulative_length
from radio.trace.line import Line
from radio.trace.tracer import join_lines, recentre, trace_line
from tests.fixtures.painted import Course, fitting, hand_file

SHAPES = {
    "straight": ((14.0, 0.0),),
    "arc": ((5.0, 0.0), (7.0, 35.0)),
    "s": ((3.0, 0.0), (4.0, 28.0), (4.0, -34.0), (2.0, 0.0)),
}
CLICKED = np.array([0.02, 0.35, 0.7, 0.98])


def across(course: Course, s_mm) -> np.ndarray:
    along = (course.at(np.asarray(s_mm) + 0.005) - course.at(np.asarray(s_mm) - 0.005)) / 0.01
    return np.stack([-along[:, 1], along[:, 0]], axis=1)


class Painted:
    """A line on a textured background."""

    def __init__(self, kind, shape, mm_per_px=0.03, *, turn=20.0, noise=0.02, seed=1, beside=None, gap=None):
        course = Course((0.0, 0.0), turn, SHAPES[shape])
        self.canvas, shift = fitting([course], mm_per_px, 3.5)
        self.course, self.mm, self.kind, self.seed = course.shifted(shift), mm_per_px, kind, seed
        length = self.course.length_mm
        if kind == "file":
            self.canvas.body(self.course, hand_file(length, 15), 0.3)
        elif gap is None:
            self.canvas.body(self.course, lambda s: 0.5 - 0.015 * s, -0.12)
        else:
            self.canvas.body(self.course, lambda s: (0.5 - 0.015 * s) * ((s < gap[0]) | (s > gap[1])), -0.2)
        if beside is not None:
            aside, width, rise = beside
            other = self.course.shifted(aside * across(self.course, [0.0])[0])
            self.canvas.body(other, lambda s: np.full_like(s, width), rise)
        self.grey = self.canvas.developed(noise=noise, texture=0.02, seed=seed)

    def clicks(self, scatter_mm=0.15, aside_mm=0.0):
        s = CLICKED * self.course.length_mm
        scatter = np.random.default_rng(self.seed).normal(0, scatter_mm, (len(s), 2))
        return self.canvas.px(self.course.at(s) + scatter + aside_mm * across(self.course, s))

    def traced(self, clicks=None, off=1.0, **more) -> Line:
        clicks = self.clicks() if clicks is None else clicks
        return trace_line(self.grey, clicks, self.kind, mm_per_px=off * self.mm, **more)

    def errors_mm(self, line: Line) -> np.ndarray:
        """Distance from the true line, ends left out."""
        s, distance = self.course.foot((line.points_px + 0.5) * self.mm)
        return distance[(s > 0.3) & (s < self.course.length_mm - 0.3)]


@pytest.mark.parametrize("kind", ["file", "canal"])
@pytest.mark.parametrize(
    ("um", "noise", "turn"), [(15, 0.05, 250), (30, 0.01, 110), (30, 0.05, 20), (60, 0.03, 340)]
)
@pytest.mark.parametrize("shape", list(SHAPES))
def test_a_line_is_found_from_rough_clicks(kind, um, noise, turn, shape) -> None:
    painted = Painted(kind, shape, um / 1000, turn=turn, noise=noise, seed=turn)
    line = painted.traced()
    error = painted.errors_mm(line)
    mean, worst = {"file": (0.012, 0.06), "canal": (0.03, 0.15)}[kind]
    if um == 60:
        mean, worst = mean + 0.005, worst + 0.06  # a pixel
    assert error.mean() < mean
    assert error.max() < worst
    assert line.kind == kind
    inside = slice(3, -3)
    assert line.confident[inside].all()
    assert np.hypot(*np.diff(line.points_px, axis=0).T).max() * painted.mm < 0.15
    # standard uncertainty across the line: errors of up to some three of them
    assert (error < 4 * np.median(line.sd_px) * painted.mm).mean() > 0.9


@pytest.mark.parametrize("kind", ["file", "canal"])
@pytest.mark.parametrize("shape", ["arc", "s"])
def test_clicks_moved_aside_give_the_same_line(kind, shape) -> None:
    painted = Painted(kind, shape)
    exact = shapely.LineString(painted.traced(painted.clicks(0.0)).points_px)
    for aside in (0.3, -0.3):
        moved = painted.traced(painted.clicks(0.0, aside))
        away = shapely.distance(shapely.points(moved.points_px), exact) * painted.mm
        # the click at an end holds the last millimetre of a faint canal a little
        assert away[10:-10].max() < 0.05
        assert away.mean() < 0.015


@pytest.mark.parametrize("kind", ["file", "canal"])
@pytest.mark.parametrize("off", [1 / 1.5, 1.5])
def test_a_rough_scale_is_enough(kind, off) -> None:
    painted = Painted(kind, "arc")
    error = painted.errors_mm(painted.traced(off=off))
    assert error.mean() < {"file": 0.012, "canal": 0.03}[kind]
    assert error.max() < {"file": 0.06, "canal": 0.12}[kind]


@pytest.mark.parametrize("aside_mm", [1.0, -1.0])
@pytest.mark.parametrize(
    ("kind", "width", "rise"),
    [("file", 0.3, 0.45), ("file", 0.5, 0.6), ("canal", 0.5, -0.25), ("canal", 0.8, -0.25)],
)
def test_a_stronger_line_beside_does_not_draw_the_trace_away(kind, width, rise, aside_mm) -> None:
    for seed in (0, 1):
        painted = Painted(kind, "arc", seed=seed, beside=(aside_mm, width, rise))
        error = painted.errors_mm(painted.traced())
        assert error.max() < 0.15
        assert error.mean() < 0.03


@pytest.mark.parametrize("radius_mm", [4.0, 7.0])
def test_bends_are_not_flattened(radius_mm) -> None:
    course = Course((0.0, 0.0), 30.0, ((9.0, np.degrees(9.0 / radius_mm)),))
    canvas, shift = fitting([course], 0.03, 3.0)
    course = course.shifted(shift)
    canvas.body(course, hand_file(9.0, 15), 0.3)
    grey = canvas.developed(noise=0.02, texture=0.01)
    line = trace_line(grey, canvas.px(course.at(CLICKED * 9.0)), "file", mm_per_px=0.03)
    inner = line.points_px[8:-8]
    # circle through the middle by linear least squares (Kasa 1976)
    design = np.column_stack([2 * inner, np.ones(len(inner))])
    row, col, rest = np.linalg.lstsq(design, (inner**2).sum(axis=1), rcond=None)[0]
    radius = np.sqrt(rest + row**2 + col**2) * 0.03
    # sagitta of a chord goes with one over the radius: within 1 %
    assert radius == pytest.approx(radius_mm, rel=0.01)
    s, _ = course.foot((inner[[0, -1]] + 0.5) * 0.03)
    assert arc_length(inner) * 0.03 == pytest.approx(s[1] - s[0], rel=0.002)


def test_a_missing_stretch_is_bridged_and_known_less() -> None:
    painted = Painted("canal", "arc", gap=(4.0, 7.0))
    line = painted.traced()
    s, distance = painted.course.foot((line.points_px + 0.5) * painted.mm)
    missing, seen = (s > 4.3) & (s < 6.7), (s > 0.5) & (s < 3.3)
    assert distance[missing].max() < 0.3
    assert distance[seen].max() < 0.12
    assert line.confident[seen].all()
    assert line.sd_px[missing].mean() > 1.5 * line.sd_px[seen].mean()


def nothing_there(seed: int) -> tuple[np.ndarray, np.ndarray]:
    from tests.fixtures.painted import Canvas

    grey = Canvas((600, 400), 0.03).developed(noise=0.02, texture=0.02, seed=seed)
    return grey, np.array([[80.0, 200.0], [220.0, 210.0], [380.0, 190.0], [520.0, 200.0]])


@pytest.mark.parametrize("kind", ["file", "canal"])
def test_where_there_is_no_line_a_good_part_is_called_doubtful(kind) -> None:
    shares, bright = [], []
    for seed in range(6):
        grey, clicks = nothing_there(seed)
        shares.append(trace_line(grey, clicks, kind, mm_per_px=0.03).confident.mean())
        bright.append(Painted(kind, "arc", seed=seed).traced().confident.mean())
    assert np.mean(shares) < 0.7
    assert max(shares) < min(bright)
    assert min(bright) > 0.95


def test_clicks_count_where_the_image_says_nothing() -> None:
    grey, clicks = nothing_there(3)
    line = trace_line(grey, clicks, "canal", mm_per_px=0.03)
    distance = shapely.distance(shapely.points(line.points_px), shapely.LineString(clicks)) * 0.03
    assert distance.max() < 1.2  # never beyond the reach of the search
    assert distance.mean() < 0.5


def test_a_line_can_be_continued_beyond_its_clicks() -> None:
    painted = Painted("file", "arc")
    inner = painted.canvas.px(painted.course.at([3.0, 6.0, 9.0]))
    short = painted.traced(inner)
    longer = painted.traced(inner, extend_mm=(1.5, 2.0))
    more = (arc_length(longer.points_px) - arc_length(short.points_px)) * painted.mm
    assert more == pytest.approx(3.5, abs=0.15)
    assert painted.errors_mm(short).max() < 0.05
    s, distance = painted.course.foot((longer.points_px + 0.5) * painted.mm)
    assert s.min() == pytest.approx(1.5, abs=0.1)
    assert s.max() == pytest.approx(11.0, abs=0.1)
    assert distance.max() < 0.15


def test_a_wide_neighbour_is_no_thin_file() -> None:
    painted = Painted("file", "straight", beside=(0.9, 1.2, 0.35))
    line = painted.traced(tip_diameter_mm=0.15)
    assert painted.errors_mm(line).mean() < 0.03


@pytest.mark.parametrize("clicks", [[[50.0, 50.0]], [[50.0, 50.0], [50.0, 50.2]]])
def test_one_place_is_no_line(clicks) -> None:
    with pytest.raises(TraceError, match="two different points"):
        trace_line(np.zeros((100, 100), np.float32), clicks, "file", mm_per_px=0.03)


def test_recentring_brings_a_shifted_guide_back() -> None:
    painted = Painted("file", "arc")
    s = np.linspace(0.5, 11.5, 60)
    guide = painted.canvas.px(painted.course.at(s) + 0.06 * across(painted.course, s))
    ends = painted.canvas.px(painted.course.at([0.5, 11.5]))
    line = recentre(painted.grey, guide, "file", mm_per_px=painted.mm, clicks_px=ends)
    assert painted.errors_mm(line).max() < 0.03


def test_a_canal_runs_on_from_a_known_part_without_a_kink() -> None:
    painted = Painted("canal", "arc")
    known = painted.canvas.px(painted.course.at(np.arange(0.0, 8.0, 0.1)))
    head = Line("file", known, np.full(len(known), 0.5), np.ones(len(known), bool))
    end = painted.canvas.px(painted.course.at([12.0]) + np.array([0.1, -0.1]))
    joined = join_lines(painted.grey, head, end, mm_per_px=painted.mm, extend_mm=0.5)
    assert painted.errors_mm(joined).max() < 0.1
    s = cumulative_length(joined.points_px) * painted.mm
    assert s[-1] == pytest.approx(12.5, abs=0.15)
    direction = np.unwrap(np.arctan2(*np.diff(joined.points_px, axis=0).T))
    assert np.degrees(np.abs(np.diff(direction))).max() < 3  # radius 11.5 mm: half a degree a step
    assert joined.points_px[0] == pytest.approx(known[0], abs=1.0)
