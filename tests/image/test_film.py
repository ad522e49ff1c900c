"""The film mask on imitated scans: it takes padding away and never tissue."""

from __future__ import annotations

import numpy as np
import pytest

from radio.image.film import film_mask, scale_to_grey

SHAPE = (600, 480)


def rounded(radius: int, margin: int = 0, shape: tuple[int, int] = SHAPE) -> np.ndarray:
    """Inside of a rectangle with rounded corners."""
    row, col = np.mgrid[: shape[0], : shape[1]]
    down = np.maximum(margin + radius - row, row - (shape[0] - 1 - margin - radius)).clip(0)
    across = np.maximum(margin + radius - col, col - (shape[1] - 1 - margin - radius)).clip(0)
    inside = (row >= margin) & (row < shape[0] - margin) & (col >= margin) & (col < shape[1] - margin)
    return inside & (np.hypot(down, across) <= radius)


def tissue(seed: int = 0) -> np.ndarray:
    """Bone-like grey, 60 to 200 of 255, with air above a row of crowns."""
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng(seed)
    bone = 110 + 400 * gaussian_filter(rng.normal(size=SHAPE), 6) + rng.normal(0, 3, SHAPE)
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    for centre in (80, 240, 400):
        crown = np.hypot((row - 220) / 150, (col - centre) / 65) < 1
        bone[crown] = 190 + rng.normal(0, 3, int(crown.sum()))
    air = (row < 200) & (bone < 170)
    bone[air] = 12 + rng.normal(0, 1.5, int(air.sum()))
    return bone


def as_uint8(value: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(value), 0, 255).astype(np.uint8)


def missed_and_lost(film: np.ndarray, truth: np.ndarray) -> tuple[float, float]:
    """Share of padding taken for film, and of film taken for padding."""
    return float(film[~truth].mean()), float((~film)[truth].mean())


@pytest.mark.parametrize("level", [0, 128, 255])
@pytest.mark.parametrize(("radius", "margin"), [(60, 0), (40, 10)])
def test_flat_padding_of_any_level(level: int, radius: int, margin: int) -> None:
    truth = rounded(radius, margin)
    value = as_uint8(np.where(truth, tissue(), level))
    missed, lost = missed_and_lost(film_mask(value, lossy=False), truth)
    assert missed < 0.03  # the ends of the corners, thinner than 3 pixels
    assert lost < 0.03  # the rim


def test_noisy_white_padding_with_a_staircase_and_a_frame_line() -> None:
    rng = np.random.default_rng(3)
    truth = rounded(70, 6)
    for step in range(5):  # notches as of a mounting frame, in one corner
        truth[: 12 + 9 * step, SHAPE[1] - 90 + 18 * step :] = False
    value = as_uint8(np.where(truth, tissue(), 247 + rng.normal(0, 2.5, SHAPE)))
    value[-1] = 113  # a line of the frame that a resize has left
    missed, lost = missed_and_lost(film_mask(value, lossy=False), truth)
    assert missed < 0.02
    assert lost < 0.03


def test_padding_that_went_through_jpeg() -> None:
    import cv2

    truth = rounded(60, 8)
    value = as_uint8(np.where(truth, tissue(), 0))
    value = cv2.imdecode(cv2.imencode(".jpg", value, [cv2.IMWRITE_JPEG_QUALITY, 85])[1], cv2.IMREAD_GRAYSCALE)
    missed, lost = missed_and_lost(film_mask(value, lossy=True), truth)
    assert missed < 0.02
    assert lost < 0.03


def test_a_tilted_film_on_a_black_canvas() -> None:
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    angle = np.deg2rad(8)
    along = (row - 300) * np.cos(angle) + (col - 240) * np.sin(angle)
    across = (col - 240) * np.cos(angle) - (row - 300) * np.sin(angle)
    truth = (np.abs(along) < 240) & (np.abs(across) < 190)
    value = as_uint8(np.where(truth, tissue() + 5, 0))
    missed, lost = missed_and_lost(film_mask(value, lossy=False), truth)
    assert missed < 0.01
    assert lost < 0.03


def test_thin_wedges_of_a_slightly_tilted_film() -> None:
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    tilted = (row > 6 - col / 80) & (col > row / 100) & (row < SHAPE[0] - col / 80) & (col < 474 + row / 100)
    truth = tilted & rounded(30)
    film = film_mask(as_uint8(np.where(truth, tissue(), 255)), lossy=False)
    assert not film[0, :80].any()
    assert not film[-1, -80:].any()
    missed, lost = missed_and_lost(film, truth)
    assert missed < 0.25  # wedges thinner than 3 pixels may stay
    assert lost < 0.03


def test_an_image_without_padding_is_all_film() -> None:
    assert film_mask(as_uint8(tissue()), lossy=False).all()


def test_saturated_air_between_crowns_is_film() -> None:
    value = tissue()
    value[value < 20] = 0  # air clipped to one value reaches both upper corners
    assert value[0, 0] == 0
    film = film_mask(as_uint8(value), lossy=False)
    assert film.mean() > 0.99


def test_a_saturated_crown_in_a_corner_is_film() -> None:
    value = tissue()
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    value[np.hypot(row - SHAPE[0], col) < 130] = 255
    assert film_mask(as_uint8(value), lossy=False).mean() > 0.99


def test_a_saturated_file_that_leaves_through_the_border_is_film() -> None:
    value = tissue()
    value[:300, 238:246] = 255
    assert film_mask(as_uint8(value), lossy=False).all()


def test_declared_padding_is_believed() -> None:
    known = ~rounded(60)
    film = film_mask(as_uint8(tissue()), known, lossy=False)
    np.testing.assert_array_equal(film, ~known)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32])
def test_grey_is_linear_on_film_and_clips_none_of_it(dtype: type) -> None:
    truth = rounded(60, 10)
    value = tissue()
    far = {np.uint8: 255, np.uint16: 65535, np.float32: -1e6}[dtype]
    value = np.where(truth, np.clip(np.rint(value), 5, 230), far).astype(dtype)
    film = film_mask(value, lossy=False)
    grey, note = scale_to_grey(value, film)
    assert grey.dtype == np.float32
    assert grey.min() >= 0
    assert grey.max() <= 1
    on_film = value[film].astype(float)
    slope, offset = np.polyfit(on_film, grey[film], 1)
    np.testing.assert_allclose(grey[film], slope * on_film + offset, atol=2e-6)
    assert grey[film].max() - grey[film].min() > 0.7
    assert "scaled linearly" in note


def test_one_defective_pixel_does_not_set_the_scale() -> None:
    value = as_uint8(tissue()).astype(np.uint16)
    value[300, 200] = 65535
    grey, note = scale_to_grey(value, np.ones(SHAPE, bool))
    assert np.ptp(np.delete(grey.ravel(), 300 * SHAPE[1] + 200)) > 0.9
    assert "defective" in note


def test_bone_that_brightens_towards_an_edge_is_film() -> None:
    row, _ = np.mgrid[: SHAPE[0], : SHAPE[1]]
    rng = np.random.default_rng(4)
    value = 40 + 190 * row / SHAPE[0] + rng.normal(0, 1, SHAPE)
    assert film_mask(as_uint8(value), lossy=False).all()


def test_bright_values_taken_for_padding_keep_their_differences() -> None:
    value = np.linspace(0, 200, SHAPE[0] * SHAPE[1]).reshape(SHAPE).astype(np.float32)
    film = value < 170  # wrongly: the brightest part is film too
    grey, _ = scale_to_grey(value, film)
    np.testing.assert_allclose(grey, value / 200, atol=1e-6)
