"""The straightened band, the rating of lines in it, and the square-pixel workspace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates

from radio.trace.line import Line
from radio.trace.ridge import line_contrast, sample, straighten
from radio.trace.workspace import make_workspace

ARC = np.stack(
    [100 + 60 * np.sin(np.linspace(0, 1.2, 80)), 40 + 60 * (1 - np.cos(np.linspace(0, 1.2, 80)))], axis=1
)


def test_samples_are_bilinear_and_repeat_the_border() -> None:
    image = np.random.default_rng(0).random((30, 40)).astype(np.float32)
    points = np.random.default_rng(1).uniform([-5, -5], [35, 45], (300, 2))
    # OpenCV interpolates in steps of 1/32 pixel
    exact = map_coordinates(image, points.T, order=1, mode="nearest")
    assert sample(image, points[:, None])[:, 0] == pytest.approx(exact, abs=1 / 32)
    assert sample(image, np.array([[[3.0, 7.0]]]))[0, 0] == image[3, 7]


def test_a_band_holds_the_image_at_the_places_it_names() -> None:
    rows, cols = np.mgrid[:220, :160].astype(np.float32)
    image = 0.002 * rows + 0.001 * cols  # a plane: bilinear sampling is exact
    band = straighten(image, ARC, half_width_px=12, along_px=2.0, across_px=0.5)
    for column, offset in enumerate(band.offsets_px):
        where = band.to_image(np.full(len(band.guide_px), offset))
        assert band.values[:, column] == pytest.approx(0.002 * where[:, 0] + 0.001 * where[:, 1], abs=1e-4)
    assert band.offsets_px == pytest.approx(-band.offsets_px[::-1])
    assert band.offsets_px[-1] >= 12
    assert (band.along_step_px, band.across_step_px) == (pytest.approx(2.0, rel=0.05), 0.5)


def painted_band(profile, noise=0.0):
    """A straight band whose every row is `profile` of the offset."""
    cols = np.arange(121.0)
    image = np.tile(profile(cols - 60.0), (200, 1))
    image = image + np.random.default_rng(3).normal(0, noise, image.shape)
    guide = np.stack([np.arange(20.0, 180.0), np.full(160, 60.0)], axis=1)
    return straighten(image.astype(np.float32), guide, half_width_px=40, along_px=2.0, across_px=1.0)


def rated(band, bright, widths=(4.0, 8.0)):
    return line_contrast(
        band,
        np.array(widths),
        widest_px=np.full(len(band.guide_px), 99.0),
        bright=bright,
        smooth_along_px=2.0,
    )


def test_a_line_counts_only_in_its_own_polarity() -> None:
    band = painted_band(lambda x: 0.3 + 0.4 * (np.abs(x - 5) < 3))
    bright = rated(band, True)
    assert band.offsets_px[bright.mean(axis=0).argmax()] == pytest.approx(5, abs=1)
    assert rated(band, False)[:, np.abs(band.offsets_px - 5) < 3].max() < 1e-6
    mirrored = painted_band(lambda x: 0.7 - 0.4 * (np.abs(x - 5) < 3))
    assert rated(mirrored, False) == pytest.approx(bright, abs=1e-5)


def test_an_edge_is_no_line() -> None:
    edge = rated(painted_band(lambda x: 0.3 + 0.4 * (x > 5)), True)
    line = rated(painted_band(lambda x: 0.3 + 0.4 * (np.abs(x - 5) < 3)), True)
    assert edge.max() < 1e-3 * line.max()


def test_widths_above_what_is_allowed_are_not_looked_for() -> None:
    band = painted_band(lambda x: 0.3 + 0.4 * (np.abs(x) < 8))
    widths = np.array([4.0, 17.0])
    n = len(band.guide_px)
    free = line_contrast(band, widths, widest_px=np.full(n, 99.0), bright=True, smooth_along_px=2.0)
    narrow = np.where(np.arange(n) < 40, 99.0, 5.0)
    held = line_contrast(band, widths, widest_px=narrow, bright=True, smooth_along_px=2.0)
    middle = len(band.offsets_px) // 2
    assert held[:40, middle] == pytest.approx(free[:40, middle])
    assert (held[40:, middle] < 0.1 * free[40:, middle]).all()


@given(st.floats(0.5, 2.0), st.lists(st.tuples(st.floats(0, 199), st.floats(0, 149)), min_size=1, max_size=5))
def test_workspace_coordinates_go_there_and_back(aspect: float, points) -> None:
    points = np.array(points)
    space = make_workspace(np.zeros((200, 150), np.float32), points, margin_px=20.0, aspect=aspect)
    there = space.from_image(points)
    assert space.to_image(there) == pytest.approx(points, abs=1e-9)
    assert (there >= -0.5 * max(1.0, aspect)).all()
    assert (there <= np.array(space.image.shape) - 0.4).all()
    assert space.aspect == pytest.approx(aspect, rel=0.03)


@pytest.mark.parametrize("aspect", [1.0, 1.3, 1 / 1.3])
def test_the_workspace_shows_the_same_grey_at_the_same_place(aspect: float) -> None:
    rows, cols = np.mgrid[:300, :200]
    image = (0.5 + 0.3 * np.sin(rows / 25) * np.cos(cols / 20)).astype(np.float32)
    points = np.array([[80.0, 60.0], [200.0, 130.0]])
    space = make_workspace(image, points, margin_px=30.0, aspect=aspect)
    assert space.image.shape[1] < 200
    probes = np.random.default_rng(5).uniform(points[0], points[1], (200, 2))
    there = sample(space.image, space.from_image(probes)[:, None])[:, 0]
    assert there == pytest.approx(map_coordinates(image, probes.T, order=1), abs=2e-3)


def test_a_part_of_a_line_keeps_what_is_known_about_it() -> None:
    points = np.stack([np.arange(0.0, 101.0), np.zeros(101)], axis=1)
    line = Line("file", points, np.linspace(1.0, 2.0, 101), np.arange(101) < 50)
    part = line.part(20.0, 80.0, kind="canal")
    assert part.kind == "canal"
    assert part.points_px[[0, -1]] == pytest.approx(points[[20, 80]])
    assert part.sd_px[[0, -1]] == pytest.approx([1.2, 1.8])
    assert part.confident[:25].all()
    assert not part.confident[35:].any()
    assert part.slow_sd_px is None
    leaning = replace(line, slow_sd_px=np.linspace(0.5, 1.5, 101)).part(20.0, 80.0)
    assert leaning.slow_sd_px[[0, -1]] == pytest.approx([0.7, 1.3])
    longer = line.part(-10.0, 120.0)
    assert longer.points_px[[0, -1]] == pytest.approx(np.array([[-10.0, 0.0], [120.0, 0.0]]))
