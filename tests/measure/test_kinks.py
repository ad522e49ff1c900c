"""A file that was bent sharply is told from one that follows a bend, on painted images."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from radio.measure.case import CaseFacts
from radio.measure.pipeline import measure_case
from tests.fixtures.painted import Canvas, Course, as_radiograph, hand_file

MM_PER_PX = 0.04


def kinks_of(turn_deg: float, radius_mm: float, via_off_mm: float = 0.0):
    """What check 12 says of a file of size 20 that turns by so much with that radius."""
    pieces = ((9.0, 0.0), (max(radius_mm * np.radians(turn_deg), 1e-6), turn_deg), (6.0, 0.0))
    course = Course((6.0, 10.0), 0.0, pieces)
    length = course.length_mm
    canvas = Canvas((600, 560), MM_PER_PX, 0.3)
    canvas.body(replace(course, pieces=(*pieces, (1.0, 0.0))), lambda s: np.full(np.shape(s), 3.0), 0.3)
    canvas.body(course, hand_file(length, 20), 0.4)
    via = course.at([4.5, 9.0, 12.0]) + np.array([[0, via_off_mm], [0, 0], [0, 0]])
    clicks = {"file_start": course.at([1.0]), "file_via": via, "file_tip": course.at([length])}
    clicks = {name: canvas.px(points) for name, points in clicks.items()}
    image = as_radiograph(canvas.developed(noise=0.01, texture=0.012, seed=3))
    result = measure_case(image, clicks, CaseFacts(file_length_mm=length - 1.0, file_size=20))
    return [one for one in result.checks if one.id == "P12"]


@pytest.mark.parametrize("turn_deg", [60, 75])
def test_a_kink_is_warned_of(turn_deg):
    (check,) = kinks_of(turn_deg, 0.0)
    assert check.level == "warn"
    assert "kinked" in check.seen


@pytest.mark.parametrize(("turn_deg", "radius_mm"), [(30, 4.0), (60, 4.0), (20, 2.0)])
def test_a_bend_is_none(turn_deg, radius_mm):
    assert kinks_of(turn_deg, radius_mm) == []


def test_a_point_far_beside_the_file_is_told():
    (check,) = kinks_of(0, 0.0, via_off_mm=2.0)
    assert "file_via lies" in check.seen
