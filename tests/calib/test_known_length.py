"""Scales from things of known size, against the proportion formula and the uncertainties package."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from calib.errors import CalibrationError
from calib.known_length import (
    file_length_sd_mm,
    scale_from_ball,
    scale_from_file,
    scale_from_grid,
    scale_from_wire,
    scale_given,
)

PX = st.floats(50, 3000)
MM = st.floats(1, 40)
PX_SD = st.floats(0.05, 20)
MM_SD = st.floats(0.001, 1)
ASPECT = st.floats(0.5, 2)


def test_proportion_of_file_and_tooth() -> None:
    # tooth = file length × tooth in the image / file in the image (lecture notes on Grossman's method); with
    # 25 mm, 24.0 and 26.5 that is 22.6415 mm
    scale = scale_from_file(26.5, 0.0, 25.0, 0.0)
    assert 24.0 * scale.col_mm_per_px == pytest.approx(22.6415, abs=5e-5)


def test_an_image_magnified_by_a_quarter_shows_it_in_the_scale() -> None:
    # source-receptor distance 40, object 8 from the receptor: 40 / 32 = 1.25 (radiography exercise)
    pitch_mm = 0.02
    scale = scale_from_file(25.0 * 1.25 / pitch_mm, 1.0, 25.0, 0.1)
    assert pitch_mm / scale.mm_per_px == pytest.approx(40 / 32)


@given(PX, PX_SD, MM, MM_SD, ASPECT)
def test_file_scale_and_its_uncertainty(px: float, px_sd: float, mm: float, mm_sd: float, aspect: float):
    exact = ufloat(mm, mm_sd) / ufloat(px, px_sd)
    scale = scale_from_file(px, px_sd, mm, mm_sd, pixel_aspect=aspect)
    assert scale.col_mm_per_px == pytest.approx(exact.nominal_value, rel=1e-12)
    assert scale.row_mm_per_px / scale.col_mm_per_px == pytest.approx(aspect, rel=1e-12)
    assert scale.relative_sd == pytest.approx(exact.std_dev / exact.nominal_value, rel=1e-9)
    assert (scale.source, "plane of the file" in scale.basis) == ("file", True)


@given(PX, PX_SD, MM, MM_SD, ASPECT)
def test_ball_scale_and_its_uncertainty(px: float, px_sd: float, mm: float, mm_sd: float, aspect: float):
    exact = ufloat(mm, mm_sd) / ufloat(px, px_sd)
    scale = scale_from_ball(px, px_sd, mm, sd_mm=mm_sd, pixel_aspect=aspect)
    assert scale.col_mm_per_px == pytest.approx(exact.nominal_value, rel=1e-12)
    assert scale.row_mm_per_px / scale.col_mm_per_px == pytest.approx(aspect, rel=1e-12)
    assert scale.relative_sd == pytest.approx(exact.std_dev / exact.nominal_value, rel=1e-9)
    assert (scale.source, "depth of the ball" in scale.basis) == ("ball", True)


@given(PX, PX_SD, MM, MM_SD, ASPECT)
def test_wire_scale_and_its_uncertainty(px: float, px_sd: float, mm: float, mm_sd: float, aspect: float):
    exact = ufloat(mm, mm_sd) / ufloat(px, px_sd)
    scale = scale_from_wire(px, px_sd, mm, mm_sd, pixel_aspect=aspect)
    assert scale.col_mm_per_px == pytest.approx(exact.nominal_value, rel=1e-12)
    assert scale.row_mm_per_px / scale.col_mm_per_px == pytest.approx(aspect, rel=1e-12)
    assert scale.relative_sd == pytest.approx(exact.std_dev / exact.nominal_value, rel=1e-9)
    assert (scale.source, "plane of the wire" in scale.basis) == ("wire", True)


@given(PX, PX_SD, st.integers(1, 30), MM, MM_SD, ASPECT)
def test_the_error_of_one_interval_goes_through_the_grid(
    px: float, px_sd: float, intervals: int, mm: float, mm_sd: float, aspect: float
) -> None:
    exact = intervals * ufloat(mm, mm_sd) / ufloat(px, px_sd)
    scale = scale_from_grid(px, px_sd, intervals, mm, mm_sd, pixel_aspect=aspect)
    assert scale.col_mm_per_px == pytest.approx(exact.nominal_value, rel=1e-12)
    assert scale.relative_sd == pytest.approx(exact.std_dev / exact.nominal_value, rel=1e-9)
    assert scale.source == "grid"
    assert f"{intervals} intervals" in scale.basis


def test_a_budget_says_what_contributes_what() -> None:
    # start 3 px, tip 4 px: 5 px together by Pythagoras; 0.4 % of the image, 1 % of the known length
    scale = scale_from_file(1250.0, {"stop face": 3.0, "tip": 4.0}, 25.0, 0.25, pixel_aspect=1.21)
    plain = scale_from_file(1250.0, 5.0, 25.0, 0.25, pixel_aspect=1.21)
    assert scale.relative_sd == pytest.approx(math.hypot(5 / 1250, 0.01), rel=1e-9)
    assert scale.sd_mm_per_px == pytest.approx(plain.sd_mm_per_px, rel=1e-9)
    assert scale.budget is not None
    assert scale.budget.value == pytest.approx(scale.mm_per_px, rel=1e-12)
    shares = {row.name: row.share for row in scale.budget.rows}
    assert shares == pytest.approx(
        {
            "known file length": 1 / 1.16,
            "file length in the image": 0.0,
            "stop face": 0.16 * 0.36 / 1.16,
            "tip": 0.16 * 0.64 / 1.16,
        }
    )


def test_a_budget_says_where_the_file_length_comes_from() -> None:
    for start_at, words in (("stop", "± 0.25 mm, stop set on a ruler"), ("handle", "from memory")):
        made = scale_from_file(1250.0, 1.0, 25.0, file_length_sd_mm(start_at), start_at=start_at).budget
        assert made is not None
        assert words in made.rows[0].how
    own = scale_from_file(1250.0, 1.0, 25.0, 0.03).budget
    assert own is not None
    assert own.rows[0].how == "uncertainty as stated"


@given(st.floats(0.002, 1.0), ASPECT)
def test_given_scale_is_the_width_of_a_column(mm_per_px: float, aspect: float) -> None:
    scale = scale_given(mm_per_px, pixel_aspect=aspect)
    assert scale.col_mm_per_px == mm_per_px
    assert scale.row_mm_per_px == pytest.approx(aspect * mm_per_px, rel=1e-12)
    assert (scale.sd_mm_per_px, scale.source) == (0.0, "given")


def test_basis_names_the_lengths_and_where_the_file_begins() -> None:
    basis = scale_from_file(1234.5, 1.0, 21.5, 0.1, start_at="handle").basis
    assert "21.5 mm" in basis
    assert "1234.5 px" in basis
    assert "handle" in basis
    assert "3 mm over 150.0 px" in scale_from_ball(150.0, 1.0, 3.0).basis


def test_stop_and_handle_carry_triangular_uncertainties() -> None:
    # JCGM 100:2008, 4.3.9: half-width over √6. ± 0.25 mm at a ruler with half-millimetre marks: common
    # practice, no source. ± 0.5 mm on an instrument's length: ISO 3630-1, from memory.
    assert file_length_sd_mm("stop") == pytest.approx(0.25 / math.sqrt(6))
    assert file_length_sd_mm("handle") == pytest.approx(0.5 / math.sqrt(6))


@pytest.mark.parametrize("bad", [0.0, -4.0, math.nan])
def test_lengths_that_cannot_be_are_refused_by_name_and_value(bad: float) -> None:
    value = f"{bad:g}"
    with pytest.raises(CalibrationError, match=f"file length in the image is {value} px"):
        scale_from_file(bad, 1.0, 25.0, 0.1)
    with pytest.raises(CalibrationError, match=f"known file length is {value} mm"):
        scale_from_file(1000.0, 1.0, bad, 0.1)
    with pytest.raises(CalibrationError, match=f"ball diameter in the image is {value} px"):
        scale_from_ball(bad, 1.0, 5.0)
    with pytest.raises(CalibrationError, match=f"known ball diameter is {value} mm"):
        scale_from_ball(200.0, 1.0, bad)
    with pytest.raises(CalibrationError, match=f"given pixel size is {value} mm/px"):
        scale_given(bad)


@pytest.mark.parametrize("intervals", [0, -2, 2.5, math.nan, math.inf])
def test_intervals_are_counted(intervals: float) -> None:
    with pytest.raises(CalibrationError, match="count the spaces"):
        scale_from_grid(500.0, 1.0, intervals, 1.0, 0.01)


def test_other_impossible_lengths_and_uncertainties_are_refused() -> None:
    with pytest.raises(CalibrationError, match="wire length in the image is 0 px"):
        scale_from_wire(0.0, 1.0, 10.0, 0.1)
    with pytest.raises(CalibrationError, match="known length of the wire is -1 mm"):
        scale_from_wire(100.0, 1.0, -1.0, 0.1)
    with pytest.raises(CalibrationError, match="interval of the grid is 0 mm"):
        scale_from_grid(100.0, 1.0, 5, 0.0, 0.1)
    with pytest.raises(CalibrationError, match=r"'tip'.*-1\.0"):
        scale_from_file(100.0, {"tip": -1.0}, 21.0, 0.1)
    with pytest.raises(CalibrationError, match="'shaft'; allowed are 'stop' and 'handle'"):
        scale_from_file(100.0, 1.0, 21.0, 0.1, start_at="shaft")
    with pytest.raises(CalibrationError, match="'shaft'"):
        file_length_sd_mm("shaft")


@pytest.mark.parametrize("length", [(math.inf, 25.0), (1000.0, math.inf)])
def test_endless_lengths_are_refused(length: tuple[float, float]) -> None:
    with pytest.raises(CalibrationError):
        scale_from_file(length[0], 1.0, length[1], 0.1)


@pytest.mark.parametrize("unlikely", [0.0019, 1.1, 25.0])
def test_a_pixel_size_in_the_wrong_unit_is_noticed(unlikely: float) -> None:
    with pytest.raises(CalibrationError, match=f"{unlikely:g} mm/px; allowed is 0.002 to 1.*unit"):
        scale_given(unlikely)
