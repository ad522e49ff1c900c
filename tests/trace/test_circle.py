"""Diameter of a ball from painted shadows of known size.

The rim of a real shadow is blurred by a pixel and its shape is not known, so a third of a pixel of radius is
what can be asked, or 0.7 % of a large diameter.
"""

from __future__ import annotations

import numpy as np
import pytest

from radio.errors import TraceError
from radio.trace.circle import fit_ball
from tests.fixtures.painted import Canvas

CENTRE_MM = np.array([4.6, 4.4])


def ball_image(mm_per_px, diameter_mm, *, flat=False, noise=0.02, cover=0.0, seed=2):
    canvas = Canvas((round(9 / mm_per_px),) * 2, mm_per_px, 0.3)
    canvas.ball(CENTRE_MM, diameter_mm, 0.55, flat=flat)
    centre = canvas.px(CENTRE_MM)
    if cover:
        cols = np.arange(canvas.shape[1])
        edge = centre[1] + (1 - 2 * cover) * diameter_mm / 2 / mm_per_px
        canvas.grey[:, cols > edge] = 0.85  # something as bright lies over one side
    return canvas.developed(noise=noise, texture=0.02, seed=seed), centre


def about(diameter_mm: float, mm_per_px: float, off: float = 1.0) -> tuple[float, float]:
    radius = off * diameter_mm / 2 / mm_per_px
    return 0.55 * radius, 1.8 * radius


@pytest.mark.parametrize("flat", [False, True])
@pytest.mark.parametrize("noise", [0.01, 0.04])
@pytest.mark.parametrize(("mm_per_px", "diameter_mm"), [(0.02, 3.0), (0.02, 5.0), (0.03, 5.0), (0.05, 3.0)])
def test_diameter_and_centre(mm_per_px, diameter_mm, noise, flat) -> None:
    grey, centre = ball_image(mm_per_px, diameter_mm, flat=flat, noise=noise)
    ball = fit_ball(grey, centre, radius_px=about(diameter_mm, mm_per_px))
    assert ball.diameter_px == pytest.approx(diameter_mm / mm_per_px, rel=0.007, abs=0.7)
    assert np.hypot(ball.row - centre[0], ball.col - centre[1]) < 0.4
    assert ball.covered > 0.9
    assert abs(ball.diameter_px - diameter_mm / mm_per_px) < 2 * ball.sd_px
    assert 0.15 <= ball.sd_px < 0.04 * ball.diameter_px


@pytest.mark.parametrize("angle_deg", [0, 75, 160, 250])
@pytest.mark.parametrize(("mm_per_px", "diameter_mm"), [(0.02, 5.0), (0.04, 3.0)])
def test_a_click_anywhere_well_inside_does(mm_per_px, diameter_mm, angle_deg) -> None:
    grey, centre = ball_image(mm_per_px, diameter_mm)
    a = np.radians(angle_deg)
    click = centre + 0.4 * diameter_mm / 2 / mm_per_px * np.array([np.sin(a), np.cos(a)])
    ball = fit_ball(grey, click, radius_px=about(diameter_mm, mm_per_px))
    assert ball.diameter_px * mm_per_px == pytest.approx(diameter_mm, rel=0.007)
    assert np.hypot(ball.row - centre[0], ball.col - centre[1]) < 0.5


@pytest.mark.parametrize("cover", [0.3, 0.5])
def test_a_ball_half_covered_is_still_measured(cover) -> None:
    grey, centre = ball_image(0.03, 4.0, cover=cover)
    ball = fit_ball(grey, centre - [0, 10], radius_px=about(4.0, 0.03))
    assert ball.diameter_px * 0.03 == pytest.approx(4.0, rel=0.01)
    # share of a rim left of a chord at 1 - 2 cover of the radius
    left = 1 - np.arccos(1 - 2 * cover) / np.pi
    assert ball.covered == pytest.approx(left, abs=0.12)


@pytest.mark.parametrize("off", [0.75, 1.3])
def test_a_rough_scale_is_enough(off) -> None:
    grey, centre = ball_image(0.03, 4.0)
    ball = fit_ball(grey, centre, radius_px=about(4.0, 0.03, off))
    assert ball.diameter_px * 0.03 == pytest.approx(4.0, rel=0.007)


def test_an_image_enlarged_twice_shows_twice_the_diameter() -> None:
    small, centre = ball_image(0.04, 5.0, noise=0.0)
    large = np.kron(small, np.ones((2, 2), np.float32))
    one = fit_ball(small, centre, radius_px=about(5.0, 0.04))
    two = fit_ball(large, 2 * centre + 0.5, radius_px=about(5.0, 0.02))
    assert two.diameter_px == pytest.approx(2 * one.diameter_px, rel=0.01)


@pytest.mark.parametrize("seed", range(6))
def test_no_ball_is_no_ball(seed) -> None:
    grey = Canvas((300, 300), 0.03).developed(noise=0.03, texture=0.04, seed=seed)
    with pytest.raises(TraceError, match=r"row 150, col 150.*Click near the middle of the ball"):
        fit_ball(grey, (150.0, 150.0), radius_px=about(4.0, 0.03))


def test_a_ball_of_another_size_is_no_ball() -> None:
    grey, centre = ball_image(0.03, 3.0)
    with pytest.raises(TraceError, match="ball click"):
        fit_ball(grey, centre, radius_px=(90.0, 140.0))  # the ball has a radius of 50


def test_a_ball_beside_the_click_is_not_the_one_clicked() -> None:
    grey, centre = ball_image(0.03, 3.0, noise=0.03)
    with pytest.raises(TraceError, match="ball click"):
        fit_ball(grey, centre + np.array([0.0, 75.0]), radius_px=about(3.0, 0.03))


def test_a_flat_image_is_no_ball() -> None:
    with pytest.raises(TraceError, match="ball click"):
        fit_ball(np.full((300, 300), 0.5, np.float32), (150.0, 150.0), radius_px=about(4.0, 0.03))
