"""Display helpers: pure, on film only."""

from __future__ import annotations

import numpy as np
import pytest

from radio.image.display import grey_window, local_contrast, shown
from radio.image.radiograph import Radiograph


def radiograph(grey: np.ndarray, film: np.ndarray | None = None) -> Radiograph:
    grey = grey.astype(np.float32)
    film = np.ones(grey.shape, bool) if film is None else film
    for array in (grey, film):
        array.flags.writeable = False
    return Radiograph(grey, film, grey, 16, "", None, "PNG")


def ramp(shape: tuple[int, int] = (400, 300)) -> np.ndarray:
    return np.linspace(0.2, 0.6, shape[0] * shape[1]).reshape(shape)


def test_the_window_is_that_of_the_film() -> None:
    grey = ramp()
    film = np.ones(grey.shape, bool)
    film[:, 250:] = False
    padded = grey.copy()
    padded[:, 250:] = 1.0
    assert grey_window(radiograph(padded, film)) == grey_window(radiograph(grey, film))
    low, high = grey_window(radiograph(grey))
    # percentiles of a uniform distribution on 0.2 to 0.6
    assert low == pytest.approx(0.2 + 0.4 * 0.005, abs=0.002)
    assert high == pytest.approx(0.2 + 0.4 * 0.998, abs=0.002)


def test_the_window_of_two_values_is_not_empty() -> None:
    grey = np.full((100, 100), 0.3)
    grey[50, 50] = 0.4
    assert grey_window(radiograph(grey)) == pytest.approx((0.3, 0.4))


def test_shown_is_linear_in_the_window_and_clipped_outside() -> None:
    out = shown(np.array([[0.1, 0.2, 0.3, 0.4, 0.9]]), (0.2, 0.4))
    assert out.dtype == np.float32
    np.testing.assert_allclose(out, [[0, 0, 0.5, 1, 1]], atol=1e-6)


def test_gamma_and_inversion() -> None:
    grey = np.array([[0.25, 1.0]])
    np.testing.assert_allclose(shown(grey, gamma=0.5), [[0.5, 1.0]], atol=1e-6)
    np.testing.assert_allclose(shown(grey, gamma=0.5, invert=True), [[0.5, 0.0]], atol=1e-6)


def test_the_data_stay_as_they_are() -> None:
    image = radiograph(ramp())
    before = image.grey.copy()
    shown(image.grey, (0.3, 0.4), gamma=2, invert=True)[:] = 7
    local_contrast(image)[:] = 7
    np.testing.assert_array_equal(image.grey, before)


def test_local_contrast_lifts_a_faint_line_and_leaves_padding_alone() -> None:
    rng = np.random.default_rng(5)
    grey = ramp((256, 256)) + rng.normal(0, 0.002, (256, 256))
    grey[:, 128] -= 0.02
    film = np.ones(grey.shape, bool)
    film[:, :20] = False
    grey[:, :20] = 1.0
    image = radiograph(grey, film)
    plain, lifted = local_contrast(image, 0), local_contrast(image, 1)

    def depth(shown_grey: np.ndarray) -> float:
        return float(np.mean(shown_grey[60:200, 120:125]) - np.mean(shown_grey[60:200, 128]))

    assert depth(lifted) > 1.5 * depth(plain) > 0
    np.testing.assert_array_equal(lifted[:, :20], plain[:, :20])
    assert lifted.min() >= 0
    assert lifted.max() <= 1


@pytest.mark.parametrize(
    ("call", "reason"),
    [
        (lambda image: grey_window(image, 60, 40), "percentiles"),
        (lambda image: shown(image.grey, (0.5, 0.5)), "window"),
        (lambda image: shown(image.grey, gamma=0), "gamma"),
        (lambda image: local_contrast(image, 2), "strength"),
    ],
)
def test_nonsense_is_refused(call, reason: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=reason):
        call(radiograph(ramp((64, 64))))
