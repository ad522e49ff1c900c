"""What the magnifier shows, pixel by pixel: greys as displayed, none blended, and where things lie in it."""

from __future__ import annotations

import time

import numpy as np
import pytest

from napari_periapical.magnifier import SIZE_PX, Lens, colours_of, magnified
from tests.plugin.made import plain_radiograph
from tests.plugin.pretend import plain_viewer

GREYS = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
DARK = 32


def shown(data, lens, **more):
    return magnified(data, lens, **{"limits": (0.0, 255.0), "gamma": 1.0, "colours": GREYS, **more})


@pytest.fixture
def numbered():
    """Make an image in which neighbouring pixels differ, to tell them apart."""
    rows, cols = np.mgrid[:40, :50]
    return ((37 * rows + 11 * cols) % 251).astype(np.float32)


@pytest.mark.parametrize("centre", [(20.0, 25.0), (20.4, 24.7), (19.5, 25.5)])
@pytest.mark.parametrize("scale", [(4.0, 4.0), (10.0, 7.0), (0.5, 0.5), (3.3, 3.3)])
def test_every_pixel_of_the_lens_is_the_image_pixel_it_lies_on(numbered, centre, scale):
    lens = Lens(centre, *scale)
    out = shown(numbered, lens)
    assert out.shape == (SIZE_PX, SIZE_PX, 3)
    # the other way round: where the middle of each image pixel lies in the lens
    for row, col in [(20, 25), (18, 27), (25, 20), (20, 30)]:
        x, y = lens.places([(row, col)])[0]
        if min(scale) > 2 and min(x, y) >= 1 and max(x, y) < SIZE_PX - 1:
            assert out[int(y), int(x), 0] == numbered[row, col]
    assert set(np.unique(out)) <= set(np.unique(numbered)) | {DARK}


def test_the_point_is_in_the_middle():
    lens = Lens((7.25, 11.5), 6.0, 4.0)
    np.testing.assert_allclose(lens.places([(7.25, 11.5), (8.25, 13.5)]), [(80, 80), (88, 86)])


def test_pixels_that_are_not_square_are_as_high_as_they_are_shown(numbered):
    out = shown(numbered, Lens((20.0, 25.0), 12.0, 8.0))
    heights = np.flatnonzero(np.diff(out[:, SIZE_PX // 2, 0].astype(int)))
    widths = np.flatnonzero(np.diff(out[SIZE_PX // 2, :, 0].astype(int)))
    assert set(np.diff(heights)) == {12}
    assert set(np.diff(widths)) == {8}


def test_beside_the_image_it_is_dark(numbered):
    out = shown(numbered + 40, Lens((0.0, 0.0), 4.0, 4.0))
    # the first pixel reaches half its size to the left and up
    assert (out[:78] == DARK).all()
    assert (out[:, :78] == DARK).all()
    assert (out[78:, 78:] != DARK).any()


def test_limits_gamma_and_colours_are_those_of_the_layer():
    from napari.utils.colormaps import ensure_colormap

    data = np.full((9, 9), 0.5, np.float32)
    lens = Lens((4.0, 4.0), 40.0, 40.0)
    grey = colours_of(ensure_colormap("gray"))
    assert shown(data, lens, limits=(0.0, 1.0), colours=grey)[80, 80, 0] == pytest.approx(128, abs=1)
    assert shown(data, lens, limits=(0.25, 0.5), colours=grey)[80, 80, 0] == 255
    assert shown(data, lens, limits=(0.5, 0.5), colours=grey)[80, 80, 0] == 0
    half = shown(data, lens, limits=(0.0, 1.0), gamma=2.0, colours=grey)[80, 80, 0]
    assert half == pytest.approx(64, abs=1)
    inverted = colours_of(ensure_colormap("gray_r"))
    assert shown(data, lens, limits=(0.25, 0.5), colours=inverted)[80, 80, 0] == 0


def test_the_image_seen_is_the_one_on_top_that_is_shown():
    viewer, binding, _ = plain_viewer(plain_radiograph((80, 60)))
    image = viewer.layers[0]
    assert binding.seen_image() == image
    binding.controller.show_display("inverting", invert=True)
    ours = binding.seen_image()
    assert ours != image
    ours.visible = False
    assert binding.seen_image() == image
    image.visible = False
    assert binding.seen_image() is None


def test_it_looks_at_the_pointer_only_while_there_is_something_to_do():
    _, binding, hand = plain_viewer(plain_radiograph((80, 60)))
    controller = binding.controller
    assert controller.looked_at is None
    hand.move((20.0, 30.0))
    assert controller.looked_at == (20.0, 30.0)
    controller.switch_magnifier()
    assert controller.looked_at is None
    controller.undo()
    assert controller.looked_at == (20.0, 30.0)
    controller.place((10.0, 10.0))
    controller.place((60.0, 10.0))
    assert controller.session.landmark is None
    hand.move((20.0, 30.0))
    assert controller.looked_at is None
    controller.nudge(0.1, 0.0)
    assert controller.looked_at == pytest.approx((60.1, 10.0))
    controller.rest()
    assert controller.looked_at is None


def test_it_costs_little_on_three_megapixels():
    data = np.random.default_rng(0).random((2000, 1500), dtype=np.float32)
    took = []
    for k in range(30):
        begun = time.perf_counter()
        magnified(data, Lens((900.0 + k, 700.0), 2.0, 2.0), limits=(0, 1), gamma=0.8, colours=GREYS)
        took.append(time.perf_counter() - begun)
    # aim 3 ms; the best of many, for other work on the machine must not decide
    assert min(took) < 0.003
