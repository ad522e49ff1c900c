"""Lines and landmarks found on painted radiographs whose truth is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from radio.errors import TraceError
from radio.trace.circle import fit_ball
from radio.trace.curve import arc_length, project, section
from radio.trace.face import start_face
from radio.trace.lean import canal_beside_file
from radio.trace.polarity import metal_is_bright
from radio.trace.root_end import root_end
from radio.trace.tip import file_tip
from radio.trace.tracer import trace_line
from tests.fixtures.painted import Canvas, Course, fitting, hand_file, painted_tooth

ARC = ((6.0, 0.0), (7.0, 40.0))
ESS = ((4.0, 0.0), (4.0, 30.0), (5.0, -35.0))


def painted_line(pieces, mm_per_px, *, rise, width_mm=0.3, turned=0.0, noise=0.02, beside=None):
    course = Course((0.0, 0.0), 0.0, pieces).turned(turned)
    canvas, shift = fitting([course], mm_per_px)
    course = course.shifted(shift)
    canvas.body(course, lambda s: np.full_like(s, width_mm), rise)
    if beside is not None:
        canvas.body(course.shifted(beside), lambda s: np.full_like(s, width_mm), 3 * rise)
    truth = canvas.px(course.at(np.linspace(0, course.length_mm, 300)))
    return canvas.developed(noise=noise, texture=0.02), truth


def off_mm(points, truth, mm_per_px):
    longer = section(truth, -1.0 / mm_per_px, arc_length(truth) + 1.0 / mm_per_px, 0.5)
    return np.array([abs(project(longer, p)[1]) for p in points]) * mm_per_px


def some_clicks(truth, mm_per_px, count, seed, sd_mm=0.2):
    rng = np.random.default_rng(seed)
    index = np.linspace(0, len(truth) - 1, count).astype(int)
    return truth[index] + rng.normal(0, sd_mm / mm_per_px, (count, 2))


@pytest.mark.parametrize("mm_per_px", [0.018, 0.035, 0.055])
@pytest.mark.parametrize(("kind", "rise"), [("file", 0.35), ("canal", -0.14)])
@pytest.mark.parametrize(("pieces", "turned"), [(ARC, 0.0), (ARC, 137.0), (ESS, 250.0)])
def test_the_line_is_found_from_rough_clicks(mm_per_px, kind, rise, pieces, turned):
    image, truth = painted_line(pieces, mm_per_px, rise=rise, turned=turned)
    line = trace_line(image, some_clicks(truth, mm_per_px, 4, seed=5), kind, mm_per_px=mm_per_px)
    off = off_mm(line.points_px, truth, mm_per_px)
    # a tenth of the line's width on average; the clicks were 0.2 mm off
    assert off.mean() < 0.03
    assert off.max() < 0.12
    assert line.confident.mean() > 0.9


def test_clicks_moved_aside_give_the_same_line():
    image, truth = painted_line(ARC, 0.03, rise=-0.14)
    clicks = truth[[0, 100, 200, 299]]
    lines = [
        trace_line(image, clicks + np.array([0.0, aside / 0.03]), "canal", mm_per_px=0.03)
        for aside in (-0.3, 0.3)
    ]
    middle = slice(15, -15)
    off = off_mm(lines[0].points_px[middle], lines[1].points_px, 0.03)
    assert off.max() < 0.05


def test_a_stronger_line_a_millimetre_aside_is_not_taken():
    image, truth = painted_line(ARC, 0.03, rise=-0.08, beside=(0.1, 1.0))
    line = trace_line(image, some_clicks(truth, 0.03, 4, seed=2), "canal", mm_per_px=0.03)
    assert off_mm(line.points_px, truth, 0.03).max() < 0.25


def test_where_there_is_no_line_none_is_claimed():
    rng = np.random.default_rng(0)
    image = (0.4 + 0.02 * rng.standard_normal((500, 300))).astype(np.float32)
    clicks = np.array([[60.0, 150.0], [250.0, 155.0], [440.0, 150.0]])
    line = trace_line(image, clicks, "canal", mm_per_px=0.03)
    assert line.confident.mean() < 0.35
    assert off_mm(line.points_px, clicks, 0.03).max() < 0.7  # and the clicks are still kept near


@pytest.mark.parametrize("scale_error", [1 / 1.4, 1.4])
def test_a_rough_scale_is_enough(scale_error):
    image, truth = painted_line(ARC, 0.03, rise=0.35)
    clicks = some_clicks(truth, 0.03, 4, seed=5)
    line = trace_line(image, clicks, "file", mm_per_px=0.03 * scale_error)
    assert off_mm(line.points_px, truth, 0.03).mean() < 0.03


@pytest.mark.parametrize("size", [15, 25, 40])
@pytest.mark.parametrize("gap_mm", [0.8, 2.0])
def test_file_tip_and_stop_are_found(size, gap_mm):
    tooth = painted_tooth(size=size, gap_mm=gap_mm)
    mm = tooth.mm_per_px
    clicks = np.vstack([tooth.clicks[n] for n in ("file_start", "file_via", "file_tip")])
    line = trace_line(tooth.grey, clicks, "file", mm_per_px=mm, extend_mm=(1.2, 0.8))
    longer, tip = file_tip(
        tooth.grey, line.points_px, tooth.clicks["file_tip"][0], mm_per_px=mm, file_size=size
    )
    true_tip, _ = project(longer, tooth.file_px[-1])
    assert abs(tip.s_px - true_tip) * mm < 0.1
    assert tip.refined
    face = start_face(tooth.grey, longer, tooth.clicks["file_start"][0], mm_per_px=mm, handle=False)
    true_start, _ = project(longer, tooth.file_px[0])
    assert abs(face.s_px - true_start) * mm < 0.06
    assert face.refined


def test_a_tip_that_cannot_be_seen_stays_where_it_was_clicked():
    rng = np.random.default_rng(1)
    image = (0.5 + 0.05 * rng.standard_normal((600, 300))).astype(np.float32)
    line = np.array([[20.0, 150.0], [400.0, 150.0]])
    line = section(line, 0.0, 380.0, 3.0)
    _, tip = file_tip(image, line, np.array([380.0, 150.0]), mm_per_px=0.03, file_size=10)
    assert not tip.refined
    assert abs(tip.s_px - 360.0) * 0.03 < 0.2
    assert tip.sd_px * 0.03 > 0.12


def test_the_root_ends_where_it_was_painted():
    errors = []
    for seed in range(6):
        tooth = painted_tooth(size=None, seed=seed, turned_deg=37.0 * seed, click_sd_mm=0.25)
        mm = tooth.mm_per_px
        ending = root_end(tooth.grey, tooth.canal_px, tooth.clicks["apex"][0], None, mm_per_px=mm)
        true, _ = project(tooth.canal_px, tooth.apex_px)
        errors.append((ending.apex.s_px - true) * mm)
    # the clicks alone would give 0.25
    assert np.sqrt(np.mean(np.square(errors))) < 0.15


@pytest.mark.parametrize("flat", [True, False])
@pytest.mark.parametrize("mm_per_px", [0.02, 0.045])
def test_a_ball_is_measured_from_a_click_well_off_its_middle(flat, mm_per_px):
    canvas = Canvas((int(9 / mm_per_px), int(9 / mm_per_px)), mm_per_px, base=0.2)
    canvas.ball((4.4, 4.6), 5.0, 0.6, flat=flat)
    image = canvas.developed(noise=0.01, texture=0.01)
    radius = 2.5 / mm_per_px
    click = canvas.px(np.array([4.4, 4.6 + 0.4 * 2.5]))
    ball = fit_ball(image, click, radius_px=(0.55 * radius, 1.8 * radius))
    assert ball.diameter_px * mm_per_px == pytest.approx(5.0, rel=0.012)
    assert np.hypot(*(np.array([ball.row, ball.col]) - canvas.px((4.4, 4.6)))) * mm_per_px < 0.03
    assert abs(ball.diameter_px * mm_per_px - 5.0) < 3 * ball.sd_px * mm_per_px


def test_a_half_hidden_ball_is_still_measured_and_no_ball_is_refused():
    canvas = Canvas((300, 300), 0.03, base=0.2)
    canvas.ball((4.5, 4.5), 4.0, 0.6)
    image = canvas.developed(noise=0.01)
    image[:, 190:] = 0.8
    ball = fit_ball(image, (150.0, 140.0), radius_px=(40.0, 120.0))
    assert ball.diameter_px * 0.03 == pytest.approx(4.0, rel=0.02)
    empty = (0.4 + 0.02 * np.random.default_rng(0).standard_normal((300, 300))).astype(np.float32)
    with pytest.raises(TraceError, match="ball"):
        fit_ball(empty, (150.0, 150.0), radius_px=(40.0, 120.0))


@pytest.mark.parametrize("aside_mm", [-0.15, 0.0, 0.15])
def test_the_canal_is_seen_beside_a_file_that_leans(aside_mm):
    course = Course((0.0, 0.0), 0.0, ((11.0, 0.0),))
    canvas, shift = fitting([course], 0.025)
    canal = course.shifted(shift)
    canvas.body(canal, lambda s: np.full_like(s, 2.6), 0.3)
    canvas.body(canal, lambda s: np.full_like(s, 0.8), -0.12)
    file = canal.shifted((0.0, aside_mm))
    canvas.body(file, hand_file(11.0, 15), 0.4)
    image = canvas.developed(noise=0.01, texture=0.01)
    axis = canvas.px(file.at(np.linspace(0.0, 10.5, 106)))
    offset, sd = canal_beside_file(image, axis, mm_per_px=0.025, tip_diameter_mm=0.15)
    # normals of a line running down the rows point to larger columns; the canal lies on the other side
    assert np.median(offset) * 0.025 == pytest.approx(-aside_mm, abs=0.05)
    assert (sd * 0.025 < 0.1).all()


def test_an_inverted_picture_is_noticed_by_its_metal():
    tooth = painted_tooth(ball=True)
    here = {n: p for n, p in tooth.clicks.items() if n.startswith("file")}
    ball = {"ball_centre": tooth.clicks["ball_centre"]}
    for clicks in (here, ball):
        assert metal_is_bright(tooth.grey, clicks, mm_per_px=0.03) is True
        assert metal_is_bright(1.0 - tooth.grey, clicks, mm_per_px=0.03) is False
    assert metal_is_bright(tooth.grey, {}, mm_per_px=0.03) is None
