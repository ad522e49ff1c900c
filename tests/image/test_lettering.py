"""Lettering burnt into an image: found in most faces, sizes and turns; instruments and bone are none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from radio.image.lettering import find_lettering
from radio.image.radiograph import read_radiograph
from tests.fixtures.letters import covered, lettered
from tests.fixtures.painted import painted_tooth

SAMPLES = Path(__file__).parents[2] / "sample_images"
PLAIN = [read_radiograph(SAMPLES / name).grey for name in ("s05_diagnostic_ball.jpg", "s07_beyond_apex.png")]


def test_most_lettering_is_found():
    # what the detector does on fresh images is measured by `tests.benchmarks.lettering`
    rng = np.random.default_rng(20)
    made = [lettered(PLAIN[n % 2], rng) for n in range(16)]
    shares = [covered(find_lettering(one.grey), one.letters) for one in made if one and one.contrast > 0.25]
    assert len(shares) >= 9
    assert np.mean(np.array(shares) > 0.15) >= 0.85


@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("inverted", [False, True])
def test_it_does_not_depend_on_the_turn_or_the_polarity(turns, inverted):
    one = lettered(PLAIN[0], np.random.default_rng(3), sizes=(24, 26))
    grey = 1.0 - one.grey if inverted else one.grey
    found = find_lettering(np.ascontiguousarray(np.rot90(grey, turns)))
    assert covered(found, np.rot90(one.letters, turns)) > 0.9


def test_teeth_files_and_noise_are_no_letters():
    noise = np.random.default_rng(1).normal(0.5, 0.1, (600, 500)).clip(0, 1).astype(np.float32)
    tooth = painted_tooth().grey.astype(np.float32)
    for plain in (*PLAIN, noise, np.zeros((300, 300), np.float32), (tooth / tooth.max()).astype(np.float32)):
        assert find_lettering(plain) == ()


def test_places_lie_on_the_image():
    one = lettered(PLAIN[1], np.random.default_rng(9), sizes=(30, 31))
    for place in find_lettering(one.grey):
        assert 0 <= place.top < place.bottom <= one.grey.shape[0]
        assert 0 <= place.left < place.right <= one.grey.shape[1]
        assert place.letters >= 3
