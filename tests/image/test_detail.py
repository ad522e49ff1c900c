"""Enlarged images are told from those as exposed: against the factor they were enlarged by."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from radio.image.detail import detail_share
from radio.image.synthetic.case import case_of
from radio.image.synthetic.draw import draw_parameters
from radio.measure.check_rules.scale import _LEAST_DETAIL


def as_exposed(seed):
    return case_of(draw_parameters(seed)).grey


@pytest.mark.parametrize("seed", [31, 32, 33])
def test_an_image_as_exposed_has_detail_to_its_pixels(seed) -> None:
    image = as_exposed(seed)
    assert detail_share(image.grey, image.bits_stored) > 0.8


@pytest.mark.parametrize("factor", [4, 6, 12])
@pytest.mark.parametrize("how", [cv2.INTER_LINEAR, cv2.INTER_CUBIC])
@pytest.mark.parametrize("bits", [8, 16])
def test_an_enlarged_one_ends_below_what_is_warned_of(factor, how, bits) -> None:
    """Sampling theorem: what was sampled n times as coarsely has nothing beyond 1 / n of the new limit."""
    small = as_exposed(31).grey[100:500, 100:500]
    large = cv2.resize(small, None, fx=factor, fy=factor, interpolation=how)
    steps = 2**bits - 1
    share = detail_share(np.round(np.clip(large, 0, 1) * steps) / steps, bits)
    assert 0.3 / factor < share < _LEAST_DETAIL


def test_too_small_or_flat_tells_nothing() -> None:
    assert detail_share(np.zeros((100, 100)), 8) is None
    assert detail_share(np.full((400, 400), 0.5), 8) is None
