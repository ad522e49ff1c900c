"""The scale of an image: what it refuses and what it does to points."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.budget import Input, budget
from calib.errors import CalibrationError
from calib.scale import Scale

SIZES = st.floats(0.005, 0.5)


@pytest.mark.parametrize("name", ["row_mm_per_px", "col_mm_per_px"])
@pytest.mark.parametrize("bad", [0.0, -0.02, math.nan, math.inf])
def test_an_impossible_pixel_size_is_refused_by_name_and_value(name: str, bad: float) -> None:
    good = {"row_mm_per_px": 0.02, "col_mm_per_px": 0.02, name: bad}
    with pytest.raises(CalibrationError, match=f"{name} is {bad!r}.*above 0"):
        Scale(**good, sd_mm_per_px=0.0, source="given", basis="b")


@pytest.mark.parametrize("bad", [-1e-6, math.nan, math.inf])
def test_an_impossible_uncertainty_is_refused_by_name_and_value(bad: float) -> None:
    with pytest.raises(CalibrationError, match=f"sd_mm_per_px is {bad!r}"):
        Scale(0.02, 0.02, bad, "given", "b")


def test_a_calibration_error_is_a_value_error() -> None:
    assert issubclass(CalibrationError, ValueError)


def test_rows_and_columns_keep_their_own_size() -> None:
    # DICOM PS3.3 10.7.1.3: the first value is the spacing between rows: 0.30 down, 0.25 across
    scale = Scale(0.30, 0.25, 0.0, "dicom", "b")
    assert scale.to_mm([[2.0, 0.0], [0.0, 2.0], [1.0, 1.0]]).tolist() == [[0.6, 0.0], [0.0, 0.5], [0.3, 0.25]]


@given(SIZES, SIZES, st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)), min_size=2, max_size=2))
def test_distance_in_mm_is_pythagoras_on_the_two_spacings(row: float, col: float, points) -> None:
    a, b = Scale(row, col, 0.0, "given", "b").to_mm(points)
    exact = math.hypot((points[0][0] - points[1][0]) * row, (points[0][1] - points[1][1]) * col)
    assert math.dist(a, b) == pytest.approx(exact, rel=1e-9, abs=1e-9)


@given(SIZES, SIZES, st.floats(0, 0.01))
def test_one_pixel_has_the_area_of_the_mean_size_squared(row: float, col: float, sd: float) -> None:
    scale = Scale(row, col, sd, "ball", "b")
    assert scale.mm_per_px**2 == pytest.approx(row * col, rel=1e-12)
    assert scale.relative_sd * scale.mm_per_px == pytest.approx(sd, rel=1e-12, abs=1e-15)


def test_points_come_back_as_floats_of_the_same_shape() -> None:
    out = Scale(0.02, 0.02, 0.0, "given", "b").to_mm(np.array([[1, 2], [3, 4], [5, 6]]))
    assert out.dtype == np.float64
    assert out.shape == (3, 2)


def test_a_budget_of_another_scale_is_refused() -> None:
    made = budget(lambda mm, px: mm / px, [Input("mm", 20.0, 0.1), Input("px", 1000.0, 1.0)])
    assert Scale(0.02, 0.02, made.sd, "file", "b", budget=made).budget is made
    with pytest.raises(CalibrationError, match="needs its own budget"):
        Scale(0.021, 0.021, made.sd, "file", "b", budget=made)
    with pytest.raises(CalibrationError, match="needs its own budget"):
        Scale(0.02, 0.02, 0.0, "file", "b", budget=made)
