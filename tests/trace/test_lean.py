"""The canal's middle beside a file that leans in it, on painted radiographs."""

from __future__ import annotations

import numpy as np
import pytest

from radio.trace.lean import canal_beside_file
from tests.fixtures.painted import Course, fitting, hand_file


@pytest.mark.parametrize("aside_mm", [-0.15, 0.0, 0.15])
def test_the_canal_is_seen_beside_a_file_that_leans(aside_mm):
    course = Course((0.0, 0.0), 0.0, ((11.0, 0.0),))
    canvas, shift = fitting([course], 0.025)
    canal = course.shifted(shift)
    canvas.body(canal, lambda s: np.full_like(s, 2.6), 0.3)
    canvas.body(canal, lambda s: np.full_like(s, 0.8), -0.12)
    file = canal.shifted((0.0, aside_mm))
    canvas.body(file, hand_file(11.0, 15), 0.4)
    image = canvas.developed(noise=0.01, texture=0.01)
    axis = canvas.px(file.at(np.linspace(0.0, 10.5, 106)))
    offset, sd = canal_beside_file(image, axis, mm_per_px=0.025, tip_diameter_mm=0.15)
    # normals of a line running down the rows point to larger columns; the canal lies on the other side
    assert np.median(offset) * 0.025 == pytest.approx(-aside_mm, abs=0.05)
    assert (sd * 0.025 < 0.1).all()
