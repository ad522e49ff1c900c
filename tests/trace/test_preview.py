"""The live line on painted images whose centre line is a closed form, and beside the line measured."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from radio.trace.curve import arc_length
from radio.trace.preview import preview_line
from tests.trace.test_tracer import Painted, across


def piece(painted, from_mm, to_mm, *, aside_mm=0.0):
    """Both ends of a piece of the true line, pixels, each moved aside."""
    s = np.array([from_mm, to_mm])
    return painted.canvas.px(painted.course.at(s) + aside_mm * across(painted.course, s))


def errors_mm(painted, line_px, ends_mm=0.6):
    """Distance from the true line, the ends left out, where the live line leaves for pin and pointer."""
    _, distance = painted.course.foot((line_px + 0.5) * painted.mm)
    away = np.minimum(*(np.hypot(*(line_px - end).T) for end in line_px[[0, -1]])) * painted.mm
    return distance[away > ends_mm]


@pytest.mark.parametrize("kind", ["file", "canal"])
@pytest.mark.parametrize("shape", ["straight", "arc", "s"])
@pytest.mark.parametrize(("um", "turn"), [(19, 20), (30, 110), (60, 340)])
@pytest.mark.parametrize("length_mm", [3.0, 6.0, 11.0])
def test_the_live_line_follows_the_line_and_not_the_straight_way(kind, shape, um, turn, length_mm) -> None:
    painted = Painted(kind, shape, um / 1000, turn=turn, seed=um)
    start, pointer = piece(painted, 1.0, 1.0 + length_mm, aside_mm=0.15)
    line = preview_line(painted.grey, start, pointer, kind, mm_per_px=painted.mm)
    error = errors_mm(painted, line)
    # pin and pointer lie 0.15 mm aside, and a place or two near them is drawn that way
    assert error.mean() < 0.08
    assert error.max() < 0.25
    np.testing.assert_array_equal(line[[0, -1]], [start, pointer])
    assert np.hypot(*np.diff(line, axis=0).T).max() * painted.mm < 0.3


@pytest.mark.parametrize("kind", ["file", "canal"])
def test_what_is_seen_live_is_nearly_what_is_measured(kind) -> None:
    painted = Painted(kind, "s")
    clicks = painted.clicks(0.1)
    measured = shapely.LineString(painted.traced(clicks).points_px)
    for start, pointer in pairwise(clicks):
        line = preview_line(painted.grey, start, pointer, kind, mm_per_px=painted.mm)
        away = shapely.distance(shapely.points(line), measured) * painted.mm
        assert np.median(away) < 0.05


def test_the_reach_grows_with_the_way() -> None:
    """An arc of 100 degrees rises 1.9 mm over its chord, further than the tracer looks about its clicks."""
    from tests.fixtures.painted import Course, fitting

    course = Course((0.0, 0.0), 10.0, ((10.0, 100.0),))
    canvas, shift = fitting([course], 0.03, 3.5)
    course = course.shifted(shift)
    canvas.body(course, lambda s: np.full_like(s, 0.35), -0.12)
    grey = canvas.developed(noise=0.02, texture=0.02, seed=1)
    start, pointer = canvas.px(course.at([0.3, 9.7]))
    line = preview_line(grey, start, pointer, "canal", mm_per_px=0.03)
    _, off = course.foot((line + 0.5) * 0.03)
    assert off.max() < 0.25
    assert arc_length(line) * 0.03 == pytest.approx(9.4, abs=0.15)


@pytest.mark.parametrize("kind", ["file", "canal"])
def test_pixels_that_are_not_square_show_the_same_line(kind) -> None:
    painted = Painted(kind, "arc")
    aspect = 1.5
    rows = np.arange(0, painted.grey.shape[0] - 1, aspect)
    low = rows.astype(int)
    share = (rows - low)[:, None].astype(np.float32)
    # every row stands for one and a half
    squeezed = (1 - share) * painted.grey[low] + share * painted.grey[low + 1]
    start, pointer = piece(painted, 1.0, 10.0)
    to_squeezed = np.array([1 / aspect, 1.0])
    line = preview_line(
        np.ascontiguousarray(squeezed, np.float32),
        start * to_squeezed,
        pointer * to_squeezed,
        kind,
        mm_per_px=painted.mm,
        pixel_aspect=aspect,
    )
    error = errors_mm(painted, line / to_squeezed)
    assert error.mean() < 0.05
    assert error.max() < 0.12


@pytest.mark.parametrize("kind", ["file", "canal"])
def test_an_inverted_picture_shows_the_same_line(kind) -> None:
    painted = Painted(kind, "arc")
    start, pointer = piece(painted, 1.0, 10.0)
    plain = preview_line(painted.grey, start, pointer, kind, mm_per_px=painted.mm)
    inverted = (1.0 - painted.grey).astype(np.float32)
    same = preview_line(inverted, start, pointer, kind, mm_per_px=painted.mm, metal_bright=False)
    np.testing.assert_allclose(same, plain, atol=0.2)
    other = preview_line(inverted, start, pointer, kind, mm_per_px=painted.mm)
    assert errors_mm(painted, other).max() > errors_mm(painted, same).max()


def test_ends_close_together_are_joined_straight() -> None:
    painted = Painted("canal", "arc")
    start, _ = piece(painted, 2.0, 3.0)
    for pointer in (start, start + np.array([2.0, 1.0])):
        line = preview_line(painted.grey, start, pointer, "canal", mm_per_px=painted.mm)
        np.testing.assert_array_equal(line, [start, pointer])


@pytest.mark.parametrize("beyond", [(-50.0, 40.0), (1e4, 1e4), (-300.0, -300.0)])
def test_a_pointer_beyond_the_image_is_no_error(beyond) -> None:
    painted = Painted("file", "arc")
    start, _ = piece(painted, 2.0, 3.0)
    line = preview_line(painted.grey, start, np.array(beyond), "file", mm_per_px=painted.mm)
    assert np.isfinite(line).all()
    np.testing.assert_array_equal(line[-1], beyond)
