"""Uncertainty of a canal in space."""

from __future__ import annotations

import numpy as np
import pytest
import sympy

from radio.measure import space as sp
from radio.measure import space_measures as sm
from radio.measure import two_views as tv
from tests.fixtures.in_space import (
    in_space,
    seen,
    straight_and_arc,
)


def test_no_uncertainty_is_stated_where_none_was_given():
    line = straight_and_arc(8, 5, 40)
    for sd in ({}, {"sd_first_mm": 0.05}):
        canal = tv.reconstruct(line, line, **sd)
        assert canal.sd_mm is None
        assert all(one.sd is None for one in sm.measure_in_space(canal).measurements.values())


def test_uncertainty_across_and_in_depth():
    line = np.stack([np.linspace(0, 12, 50), np.zeros(50)], axis=1)
    canal = tv.reconstruct(line, line, between_views_deg=60, sd_first_mm=0.03, sd_second_mm=np.full(50, 0.04))
    # depth = (second - first cos 60) / sin 60, independent views (JCGM 100:2008, 5.1.2)
    assert canal.sd_mm[:, 0] == pytest.approx(np.full(len(canal.sd_mm), 0.03))
    wanted = np.hypot(0.04, 0.03 * 0.5) / np.sin(np.radians(60))
    assert canal.sd_mm[:, 1] == pytest.approx(np.full(len(canal.sd_mm), wanted))


def test_a_slope_makes_an_error_aside_one_across():
    line = np.array([[0.0, 0.0], [8.0, 6.0]])
    upright = np.array([[0.0, 0.0], [8.0, 0.0]])
    canal = tv.reconstruct(line, upright, sd_first_mm=0.04, sd_second_mm=0.04)
    # right-angled triangle 3, 4, 5: at one height an error of 0.04 aside is 0.04 * 5 / 4 across
    assert canal.sd_mm[5] == pytest.approx([0.05, 0.04])


def test_length_spreads_as_the_mean_of_two_heights():
    line = np.stack([np.linspace(0, 12, 50), np.zeros(50)], axis=1)
    canal = tv.reconstruct(line, line, sd_first_mm=0.0, sd_second_mm=0.0, height_sd_mm=(0.3, 0.4))
    length = sm.measure_in_space(canal, draws=300).measurements["length_3d_mm"]
    # half of sqrt(0.3^2 + 0.4^2); 300 draws know a standard deviation within 4 %
    assert length.sd == pytest.approx(0.25, rel=0.13)


def test_draws_come_from_their_seed():
    canal = tv.reconstruct(
        straight_and_arc(8, 5, 40), straight_and_arc(8, 5, 40), sd_first_mm=0.04, sd_second_mm=0.04
    )
    once, again, other = (
        sm.measure_in_space(canal, draws=10, **seed).measurements for seed in ({}, {}, {"seed": 1})
    )
    assert once == again
    assert other != once
    # a reciprocal keeps its relative uncertainty (JCGM 100:2008, 5.1.6)
    greatest, radius = once["greatest_curvature_3d_per_mm"], once["smallest_radius_3d_mm"]
    assert radius.sd / radius.value == pytest.approx(greatest.sd / greatest.value)


def test_stated_uncertainty_is_the_spread_of_repeated_traces():
    from scipy.ndimage import gaussian_filter1d

    rng = np.random.default_rng(3)
    truth = in_space(straight_and_arc(8, 6, 45, count=140), 35)
    step = sp.length_mm(truth) / 139

    def traced(view):
        noise = gaussian_filter1d(rng.standard_normal(140), 0.7 / step, mode="reflect")
        noise *= 0.04 * np.sqrt(
            2 * np.sqrt(np.pi) * 0.7 / step
        )  # white noise through that filter has 0.04 again
        return (view + np.stack([np.zeros(140), noise], axis=1)) * (1 + 0.01 * rng.standard_normal())

    height = 0.01 * truth[-1, 0]
    rows = [
        sm.measure_in_space(
            tv.reconstruct(
                traced(seen(truth, 0)),
                traced(seen(truth, 90)),
                sd_first_mm=0.04,
                sd_second_mm=0.04,
                height_sd_mm=(height, height),
            ),
            draws=20,
        ).measurements
        for _ in range(40)
    ]
    for name in ("length_3d_mm", "schneider_3d_deg", "weine_3d_deg", "greatest_curvature_3d_per_mm"):
        spread = np.std([row[name].value for row in rows])
        stated = np.median([row[name].sd for row in rows])
        assert 0.6 < stated / spread < 1.8, (name, stated, spread)
    # errors only ever add to the turning: this is said, not hidden
    said = [any("shift it" in text for text in row["total_turning_3d_deg"].notes) for row in rows]
    assert np.mean(said) > 0.8


STRAIGHT = np.stack([np.linspace(0, 12, 60), np.zeros(60)], axis=1)
SLOPED = np.stack([np.linspace(0, 12, 60), np.linspace(0, 6, 60)], axis=1)
NONE = {"sd_first_mm": 0.0, "sd_second_mm": 0.0}


def spread_of_length(first, second, **errors) -> float:
    canal = tv.reconstruct(first, second, **NONE, **errors)
    return sm.measure_in_space(canal, draws=400).measurements["length_3d_mm"].sd


def test_an_error_of_the_turn_goes_into_the_length():
    # depth = (b - a cos d) / sin d; at 90 degrees it moves by a per radian, so the length of the straight
    # line (12, 6, 6) by 6 * 6 / length; 400 draws know a standard deviation within 4 %
    wanted = 36 / np.sqrt(12**2 + 2 * 6**2) * np.radians(3)
    assert spread_of_length(SLOPED, SLOPED, between_views_sd_deg=3.0) == pytest.approx(wanted, rel=0.13)


def test_errors_of_both_scales_are_shared():
    wanted = 12 * np.hypot(0.02, 0.03) / 2
    assert spread_of_length(STRAIGHT, STRAIGHT, relative_sd=(0.02, 0.03)) == pytest.approx(wanted, rel=0.13)


def test_a_leaning_image_moves_the_height():
    # independent library: sympy differentiates the length of the line that a turned first view gives
    e = sympy.symbols("e")
    height, across = 12 * sympy.cos(e) - 6 * sympy.sin(e), 12 * sympy.sin(e) + 6 * sympy.cos(e)
    factor = sympy.sqrt(12 * height) / height
    length = factor * sympy.sqrt(height**2 + across**2)
    slope = float(sympy.diff(length, e).subs(e, 0))
    found = spread_of_length(SLOPED, STRAIGHT, lean_sd_deg=(2.0, 0.0))
    assert found == pytest.approx(abs(slope) * np.radians(2), rel=0.13)
