"""The proportion of tooth to file, with the covariance of the landmark both begin at."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from calib.budget import Input
from calib.errors import CalibrationError
from calib.known_length import file_length_sd_mm, scale_from_file
from radio.measure.gap_lengths import GapInImage, working_length_budget
from radio.measure.length import proportion_budget, proportion_length_mm

SD = st.floats(0.1, 10)


def inputs(known=(25.0, 0.1), tooth=(24.0, 0.1), file=(26.5, 0.1)):
    return Input("known", *known), Input("tooth", *tooth), Input("file", *file)


def test_file_of_25_mm_that_looks_26_5_long_beside_a_tooth_of_24() -> None:
    # known file × tooth / file in the image (Grossman, by lecture slides): 22.6415 by arithmetic
    made = proportion_budget(*inputs())
    assert made.value == pytest.approx(22.6415, abs=5e-5)
    told = proportion_length_mm(made, to="stop to apex", own_scale=False)
    assert (told.name, told.value, told.sd) == ("proportion_length_mm", made.value, made.sd)
    assert "25 mm × 24.0 / 26.5" in told.basis
    assert "not from this file" in told.notes[0]
    assert "not a second measurement" in proportion_length_mm(made, to="x", own_scale=True).notes[0]


def test_relative_uncertainties_add_in_squares() -> None:
    # JCGM 100:2008, 5.1.6, for products and quotients: 25 mm ± 0.5 rectangular, 1150 and 1250 px ± 2 give
    # 23.0000 ± 0.2711 mm, of which the known length makes 0.2656
    made = proportion_budget(*inputs((25.0, 0.5 / np.sqrt(3)), (1150.0, 2.0), (1250.0, 2.0)))
    assert made.value == pytest.approx(23.0)
    assert made.sd == pytest.approx(0.2711, abs=5e-5)
    assert made.rows[0].contribution == pytest.approx(0.2656, abs=5e-5)


@given(st.floats(15, 31), st.floats(0.01, 0.5), st.floats(300, 1400), st.floats(0.85, 1.2), *[SD] * 3)
def test_against_landmarks_propagated_one_by_one(known, sd, file, ratio, start_sd, tip_sd, apex_sd) -> None:
    # reference: the package uncertainties, which keeps the correlation of a shared variable
    start, tip, apex = ufloat(0.0, start_sd), ufloat(file, tip_sd), ufloat(ratio * file, apex_sd)
    exact = ufloat(known, sd) * (apex - start) / (tip - start)
    made = proportion_budget(
        *inputs((known, sd), (ratio * file, np.hypot(start_sd, apex_sd)), (file, np.hypot(start_sd, tip_sd))),
        shared_sd_px=start_sd,
    )
    assert made.value == pytest.approx(exact.nominal_value, rel=1e-12)
    assert made.sd == pytest.approx(exact.std_dev, rel=1e-6)


@given(st.floats(-80, 160), SD, SD, SD)
def test_with_the_scale_from_the_same_file_it_is_the_working_length_by_another_way(
    gap_px, start_sd, tip_sd, apex_sd
) -> None:
    known_sd = file_length_sd_mm("stop")
    scale = scale_from_file(840.0, {"start": start_sd, "tip": tip_sd}, 21.0, known_sd)
    image = GapInImage(gap_px, tip_sd, apex_sd, 840.0, start_sd)
    by_gap = working_length_budget(image, scale, Input("known", 21.0, known_sd))
    tooth, file = (840.0 + gap_px, np.hypot(start_sd, apex_sd)), (840.0, np.hypot(start_sd, tip_sd))
    shared = proportion_budget(*inputs((21.0, known_sd), tooth, file), shared_sd_px=start_sd)
    assert (shared.value, shared.sd) == pytest.approx((by_gap.value, by_gap.sd), rel=1e-6)


def test_taking_the_shared_landmark_as_two_makes_the_length_less_sure_than_it_is() -> None:
    tooth, file = (880.0, np.hypot(3.0, 5.0)), (840.0, np.hypot(3.0, 2.0))
    shared = proportion_budget(*inputs((21.0, 0.1), tooth, file), shared_sd_px=3.0)
    apart = proportion_budget(*inputs((21.0, 0.1), tooth, file))
    assert apart.sd > 1.1 * shared.sd
    assert shared.rows[-1].share < 0


@pytest.mark.parametrize("shared", [-1.0, 0.11, float("nan")])
def test_a_shared_landmark_is_at_most_all_of_it(shared) -> None:
    with pytest.raises(CalibrationError, match=r"allowed is 0 to 0\.1"):
        proportion_budget(*inputs(), shared_sd_px=shared)


@pytest.mark.parametrize("wrong", [{"known": (0.0, 0.1)}, {"tooth": (-3.0, 0.1)}, {"file": (0.0, 0.1)}])
def test_lengths_must_be_above_0(wrong) -> None:
    with pytest.raises(CalibrationError, match="must be above 0"):
        proportion_budget(*inputs(**wrong))
