"""Walls of canals painted in closed form, and of synthetic teeth."""

from __future__ import annotations

import numpy as np
import pytest

from radio.image.synthetic.build import build_scene
from radio.image.synthetic.case import case_of
from radio.image.synthetic.draw import draw_parameters
from radio.image.synthetic.tubes import Tube, project_tube
from radio.trace.curve import cumulative_length
from radio.trace.walls import FileShadow, trace_walls
from tests.fixtures.painted import Course, fitting, hand_file

MM = 0.03


def painted(half_mm, *, aside_mm=0.0, size=None, noise=0.012, turn_deg=30.0, depth=-0.12, seed=1):
    """A canal of 12 mm in a root 1.6 mm to either side; its line on the canal's middle, or that far aside.

    `half_mm` is a function of arc length. With `size`, a file lies in the canal's middle to 1 mm short of its
    end.
    """
    course = Course((0.0, 0.0), 10.0, ((7.0, 0.0), (5.0, turn_deg)))
    canvas, shift = fitting([course], MM, margin_mm=2.5)
    course = course.shifted(shift)
    root = Course(tuple(course.at([-1.5])[0]), course.heading_deg, ((8.5, 0.0), (5.0, turn_deg), (1.0, 0.0)))
    canvas.grey[:] = 0.35
    canvas.body(root, lambda s: 3.2 + 0 * s, 0.35)
    canvas.body(course, lambda s: 2 * half_mm(s), depth)
    s = np.linspace(0.0, 12.0, 241)
    line = course.at(s)
    tangent = np.gradient(line, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    line = line + aside_mm * np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    file = None
    if size is not None:
        shaft = Course(course.start_mm, course.heading_deg, ((7.0, 0.0), (4.0, 0.8 * turn_deg)))
        canvas.body(shaft, hand_file(11.0, size), 0.4)
        file = FileShadow(canvas.px(course.at(np.linspace(0.0, 11.0, 200))), size / 100)
    grey = canvas.developed(noise=noise, texture=0.008, seed=seed)
    return grey, canvas.px(line), s, file


def errors_mm(walls, s, half_mm, aside_mm=0.0, keep_mm=0.5):
    """Errors of left and right half-widths away from the ends, where the painted canal stops short."""
    keep = (s > keep_mm) & (s < s[-1] - keep_mm)
    left = walls.left_px * MM - (half_mm(s) - aside_mm)
    right = walls.right_px * MM - (half_mm(s) + aside_mm)
    return left[keep], right[keep], keep


@pytest.mark.parametrize("half", [0.15, 0.25, 0.4, 0.6])
def test_an_even_canal_has_its_half_width_on_both_sides(half) -> None:
    def half_mm(s):
        return half + 0 * s

    grey, line, s, _ = painted(half_mm)
    walls = trace_walls(grey, line, mm_per_px=MM)
    for error in errors_mm(walls, s, half_mm)[:2]:
        assert abs(float(np.mean(error))) < 0.03 + 0.05 * half
        assert float(np.sqrt(np.mean(error**2))) < 0.04 + 0.08 * half
    assert walls.left_seen.mean() > 0.8
    assert walls.right_seen.mean() > 0.8


@pytest.mark.parametrize("aside", [-0.12, 0.12])
def test_a_line_aside_of_the_middle_is_nearer_to_one_wall(aside) -> None:
    def half_mm(s):
        return 0.45 - 0.02 * s

    grey, line, s, _ = painted(half_mm, aside_mm=aside)
    walls = trace_walls(grey, line, mm_per_px=MM)
    left, right, keep = errors_mm(walls, s, half_mm, aside)
    assert float(np.sqrt(np.mean(np.concatenate([left, right]) ** 2))) < 0.06
    difference = (walls.right_px - walls.left_px)[keep] * MM
    assert float(np.mean(difference)) == pytest.approx(2 * aside, abs=0.08)


def test_a_tapered_canal_tapers() -> None:
    def half_mm(s):
        return 0.5 - 0.03 * s

    grey, line, s, _ = painted(half_mm)
    walls = trace_walls(grey, line, mm_per_px=MM)
    slope = np.polyfit(s[20:-20], 0.5 * (walls.left_px + walls.right_px)[20:-20] * MM, 1)[0]
    assert slope == pytest.approx(-0.03, abs=0.012)


def test_the_edges_of_a_file_are_not_the_walls() -> None:
    """A file of size 15 to 35 wide in a canal 0.45 to 0.6 mm to either side."""

    def half_mm(s):
        return 0.6 - 0.0125 * s

    grey, line, s, file = painted(half_mm, size=15)
    walls = trace_walls(grey, line, mm_per_px=MM, file=file)
    left, right, keep = errors_mm(walls, s, half_mm)
    both = np.concatenate([left, right])
    assert float(np.sqrt(np.mean(both**2))) < 0.12
    own = 0.5 * (0.15 + 0.02 * np.clip(11.0 - s, 0, None))
    for half_px in (walls.left_px, walls.right_px):
        assert (half_px[keep] * MM > own[keep]).all()
    # nearer to the walls than to the file
    assert float(np.mean((walls.left_px * MM - own)[keep])) > 0.5 * float(np.mean((half_mm(s) - own)[keep]))


def test_a_canal_no_wider_than_its_file_is_not_seen_and_lies_outside_it() -> None:
    file_half = hand_file(11.0, 40)

    def half_mm(s):
        return 0.5 * np.maximum(file_half(np.minimum(s, 10.5)), 0.3)

    grey, line, s, file = painted(half_mm, size=40)
    walls = trace_walls(grey, line, mm_per_px=MM, file=file)
    hidden = (s > 0.5) & (s < 10.0)
    assert walls.left_seen[hidden].mean() < 0.2
    least = 0.5 * (0.40 + 0.02 * (11.0 - s))
    assert (walls.left_px[hidden] * MM >= least[hidden] - 0.01).all()
    assert (walls.right_px[hidden] * MM < 0.9).all()


def test_where_nothing_is_seen_the_width_is_usual_and_uncertain() -> None:
    """No canal at all, and grain alone."""
    grey, line, _, _ = painted(lambda s: 0.2 + 0 * s, depth=0.0)
    walls = trace_walls(grey, line, mm_per_px=MM)
    assert walls.left_seen.mean() < 0.2
    assert walls.right_seen.mean() < 0.2
    for half, sd in ((walls.left_px, walls.left_sd_px), (walls.right_px, walls.right_sd_px)):
        assert (half * MM > 0.05).all()
        assert (half * MM < 0.8).all()
        assert float(np.mean(sd / half)) > 0.2
    seen, *_ = painted(lambda s: 0.3 + 0 * s)
    known = trace_walls(seen, line, mm_per_px=MM)
    assert float(known.left_sd_px.mean()) < float(walls.left_sd_px.mean())


def test_turned_over_left_and_right_change_places() -> None:
    def half_mm(s):
        return 0.4 - 0.02 * s

    grey, line, _, _ = painted(half_mm, aside_mm=0.1)
    here = trace_walls(grey, line, mm_per_px=MM)
    mirrored = line * [1.0, -1.0] + [0.0, grey.shape[1] - 1.0]
    there = trace_walls(np.ascontiguousarray(grey[:, ::-1]), mirrored, mm_per_px=MM)
    assert there.left_px == pytest.approx(here.right_px, abs=0.3)
    assert there.right_px == pytest.approx(here.left_px, abs=0.3)


@pytest.mark.parametrize(
    ("seed", "with_file"), [(401, False), (402, False), (403, False), (404, True), (405, True)]
)
def test_on_synthetic_teeth_intervals_hold_the_true_walls(seed, with_file) -> None:
    """Truth: the projected outline of the canal's tube, from the geometry the image was made of."""
    p = draw_parameters(seed, **({"file_size": 15} if with_file else {"file_size": None}))
    case = case_of(p)
    scene = build_scene(p)
    canal = scene.tooth.canals[0][0]
    shadow = project_tube(Tube(canal.axis_mm, canal.half_width_mm, canal.half_depth_mm), scene.view)
    truth = case.truth
    line = truth.canal_axis_px[::6]
    s = cumulative_length(line) * p.pitch_mm
    true_px = (
        np.interp(s, np.arange(len(shadow.half_width_mm)) * shadow.step_mm, shadow.half_width_mm) / p.pitch_mm
    )
    file = FileShadow(truth.file_axis_px, 0.15) if truth.file_axis_px is not None else None
    walls = trace_walls(case.grey.grey, line, mm_per_px=truth.mm_per_px, file=file)
    error_px = np.concatenate([walls.left_px - true_px, walls.right_px - true_px])
    sd_px = np.concatenate([walls.left_sd_px, walls.right_sd_px])
    assert float(np.mean(np.abs(error_px) < 1.96 * sd_px)) > 0.7
    assert float(np.median(np.abs(error_px))) * truth.mm_per_px < (0.2 if with_file else 0.08)
