"""Uncertainty of a canal in space."""

from __future__ import annotations

import numpy as np
import pytest
import sympy

from radio.measure import space as sp
from radio.measure import space_measures as sm
from radio.measure import two_views as tv
from radio.measure.space_draws import drawn_centrelines
from tests.fixtures.in_space import (
    in_space,
    seen,
    straight_and_arc,
)


def wavering(line: np.ndarray, sd_mm: float, rng: np.random.Generator, count: int = 40) -> np.ndarray:
    """A trace moved sideways by errors that go together over a millimetre, (count, N, 2)."""
    from scipy.ndimage import gaussian_filter1d

    step = sp.length_mm(line) / (len(line) - 1)
    noise = gaussian_filter1d(rng.standard_normal((count, len(line))), 0.7 / step, axis=1, mode="reflect")
    # white noise through that filter has the standard deviation asked for again
    noise *= sd_mm * np.sqrt(2 * np.sqrt(np.pi) * 0.7 / step)
    return line + np.stack([np.zeros_like(noise), noise], axis=2)


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
    rng = np.random.default_rng(11)
    drawn = tuple(line * (1 + sd / 12 * rng.standard_normal((300, 1, 1))) for sd in (0.3, 0.4))
    canal = tv.reconstruct(line, line, drawn_mm=drawn)
    length = sm.measure_in_space(canal, draws=300).measurements["length_3d_mm"]
    # half of sqrt(0.3^2 + 0.4^2); 300 draws know a standard deviation within 4 %
    assert length.sd == pytest.approx(0.25, rel=0.13)


def test_draws_come_from_their_seed():
    line, rng = straight_and_arc(8, 5, 40, count=200), np.random.default_rng(2)
    canal = tv.reconstruct(line, line, drawn_mm=(wavering(line, 0.04, rng), wavering(line, 0.04, rng)))
    once, again, other = (
        sm.measure_in_space(canal, draws=10, **seed).measurements for seed in ({}, {}, {"seed": 1})
    )
    assert once == again
    assert other != once
    # a reciprocal keeps its relative uncertainty (JCGM 100:2008, 5.1.6)
    greatest, radius = once["greatest_curvature_3d_per_mm"], once["smallest_radius_3d_mm"]
    assert radius.sd / radius.value == pytest.approx(greatest.sd / greatest.value)


def test_stated_uncertainty_is_the_spread_of_repeated_traces():
    rng = np.random.default_rng(3)
    truth = in_space(straight_and_arc(8, 6, 45, count=140), 35)
    rows = []
    for _ in range(40):
        views = [wavering(seen(truth, turn), 0.04, rng, 1)[0] for turn in (0, 90)]
        views = [view * (1 + 0.01 * rng.standard_normal()) for view in views]
        drawn = tuple(wavering(view, 0.04, rng, 20) for view in views)
        canal = tv.reconstruct(*views, drawn_mm=drawn, relative_sd=(0.01, 0.01))
        rows.append(sm.measure_in_space(canal, draws=20).measurements)
    for name in ("length_3d_mm", "schneider_3d_deg", "weine_3d_deg", "greatest_curvature_3d_per_mm"):
        spread = np.std([row[name].value for row in rows])
        stated = np.median([row[name].sd for row in rows])
        # draws waver about traces that waver already, and the departure point feels every waver: cautious
        assert 0.6 < stated / spread < (3.2 if name.startswith("schneider") else 1.8), (name, stated, spread)
    # errors only ever add to the turning: this is said, not hidden
    said = [any("shift it" in text for text in row["total_turning_3d_deg"].notes) for row in rows]
    assert np.mean(said) > 0.8


def test_a_drawn_trace_that_wavers_back_stays_at_its_height():
    line = np.stack([np.linspace(0, 10, 200), np.zeros(200)], axis=1)
    back = np.array([[0, 0], [5, 0], [4.5, 0.4], [10.0, 0.5]])
    canal = tv.reconstruct(line, line, drawn_mm=(np.stack([back, back]), np.stack([line, line])))
    lines = drawn_centrelines(canal, 4, 1)
    assert len(lines) == 4
    assert all((np.diff(one[:, 0]) > 0).all() for one in lines)


STRAIGHT = np.stack([np.linspace(0, 12, 60), np.zeros(60)], axis=1)
SLOPED = np.stack([np.linspace(0, 12, 60), np.linspace(0, 6, 60)], axis=1)


def spread_of_length(first, second, **errors) -> float:
    # traces without error: only what is asked for varies
    canal = tv.reconstruct(first, second, drawn_mm=(first[None], second[None]), **errors)
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
