"""Display helpers: pure, on film only."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.filters import unsharp_mask

from radio.image.display import Display, displayed, grey_window, local_contrast, shown
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


AIDS = st.builds(
    lambda window, gamma, invert, local, sharpen, beside: Display(
        *(window or (None, None)), gamma, invert, local, sharpen, beside
    ),
    st.none() | st.tuples(st.floats(0, 0.49), st.floats(0.5, 1)),
    st.floats(0.1, 10),
    st.booleans(),
    st.floats(0, 1),
    st.floats(0, 1),
    st.booleans(),
)


def noisy(film: np.ndarray | None = None) -> Radiograph:
    rng = np.random.default_rng(3)
    return radiograph(np.clip(ramp((120, 90)) + rng.normal(0, 0.02, (120, 90)), 0, 1), film)


@given(AIDS)
def test_whatever_is_on_the_data_stay_and_the_result_can_be_shown(display: Display) -> None:
    image = noisy()
    before = image.grey.tobytes()
    out = displayed(image, display)
    assert image.grey.tobytes() == before
    assert (out.dtype, out.shape) == (np.float32, image.grey.shape)
    assert 0 <= out.min() <= out.max() <= 1
    assert not np.shares_memory(out, image.grey)


def test_nothing_on_shows_the_image_as_exposed_and_says_nothing() -> None:
    image = noisy()
    np.testing.assert_array_equal(displayed(image, Display()), shown(image.grey, grey_window(image)))
    assert Display().text == ""
    # the original beside itself is no aid
    assert (Display(beside_original=True).text, Display(beside_original=True).changes_grey) == ("", False)


def test_what_is_on_is_told_in_words() -> None:
    every = Display(0.1, 0.8, 0.7, True, 0.5, 0.25, True)
    assert every.text == (
        "window 0.10 to 0.80, gamma 0.70, inverted, local contrast 50%, sharpened 25%, original beside"
    )
    assert Display(invert=True).text == "inverted"


@given(AIDS)
def test_words_are_there_exactly_when_grey_values_are_others(display: Display) -> None:
    assert bool(display.text) == display.changes_grey


def test_inversion_is_the_mirror_of_what_else_is_on() -> None:
    image = noisy()
    plain, turned = (displayed(image, Display(0.2, 0.7, 0.6, invert, 0.5, 0.5)) for invert in (False, True))
    np.testing.assert_allclose(plain + turned, 1.0, atol=1e-6)


def test_window_and_gamma_are_as_by_arithmetic() -> None:
    image = noisy()
    out = displayed(image, Display(0.25, 0.5, 2.0))
    np.testing.assert_allclose(out, np.clip((image.grey - 0.25) / 0.25, 0, 1) ** 2, atol=1e-6)


def test_sharpening_is_the_unsharp_mask_of_a_reference_library() -> None:
    image = noisy()
    plain = displayed(image, Display(0.0, 1.0, sharpen=0.0, gamma=1.0))
    out = displayed(image, Display(0.0, 1.0, sharpen=0.5))
    # scikit-image cuts its Gaussian at four standard deviations, OpenCV at three to four
    reference = unsharp_mask(plain, radius=1.5, amount=1.5, preserve_range=True)
    inner = slice(10, -10)
    np.testing.assert_allclose(out[inner, inner], np.clip(reference, 0, 1)[inner, inner], atol=2e-3)


def test_aids_stop_at_the_film() -> None:
    film = np.ones((120, 90), bool)
    film[:, :30] = False
    image = noisy(film)
    light, dark = (image.grey.copy() for _ in range(2))
    light[:, :30], dark[:, :30] = 1.0, 0.0
    display = Display(0.2, 0.7, 0.6, True, 0.5, 0.8)
    on_light, on_dark = (displayed(radiograph(g, film), display) for g in (light, dark))
    # nothing of the padding leaks into the film, and the padding itself is shown as it is
    np.testing.assert_allclose(on_light[:, 30:], on_dark[:, 30:], atol=1e-5)
    np.testing.assert_array_equal(on_light[:, :30], 1.0)
    np.testing.assert_array_equal(on_dark[:, :30], 0.0)


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"low": 0.2}, "both ends or neither"),
        ({"low": 0.6, "high": 0.5}, "0 <= low < high <= 1"),
        ({"low": -0.1, "high": 0.5}, "0 <= low < high <= 1"),
        ({"low": float("nan"), "high": 0.5}, "0 <= low < high <= 1"),
        ({"gamma": 0.0}, "gamma 0.0 given; 0.1 to 10"),
        ({"gamma": float("nan")}, "gamma nan given"),
        ({"local_contrast": 1.5}, "local_contrast 1.5 given; 0 to 1"),
        ({"sharpen": -1.0}, "sharpen -1.0 given"),
    ],
)
def test_a_display_out_of_its_limits_is_refused(values: dict, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        Display(**values)
