"""Combination of standard uncertainties against the GUM's worked example and an independent library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from calib.uncertainty import combine, rectangular, triangular

SIZES = st.floats(1e-6, 1e3)


@given(st.lists(SIZES, min_size=1, max_size=6))
def test_a_sum_combines_as_the_uncertainties_package_does(sds: list[float]) -> None:
    total = sum(ufloat(1.0, sd) for sd in sds)
    ours = combine({str(i): sd for i, sd in enumerate(sds)})
    assert ours == pytest.approx(total.std_dev, rel=1e-12, abs=1e-15)


@given(
    st.floats(1, 100), st.floats(0.001, 2), st.floats(100, 3000), st.floats(0.1, 9), st.floats(100, 3000),
    st.floats(0.1, 9),
)  # fmt: skip
def test_relative_uncertainties_of_a_product_combine_as_in_the_package(
    file_mm: float, file_sd: float, tooth_px: float, tooth_sd: float, file_px: float, file_px_sd: float
) -> None:
    exact = ufloat(file_mm, file_sd) * ufloat(tooth_px, tooth_sd) / ufloat(file_px, file_px_sd)
    relative = combine({"file": file_sd / file_mm, "tooth": tooth_sd / tooth_px, "px": file_px_sd / file_px})
    assert relative * exact.nominal_value == pytest.approx(exact.std_dev, rel=1e-9)


def test_working_length_budget() -> None:
    # 25 mm ± 0.5 mm rectangular, 1250 ± 2 px for the file, 1150 ± 2 px for the tooth: derived by hand from
    # JCGM 100:2008, 5.1.2: 23.0000 mm with 0.2711 mm, of which the file length alone gives 0.2656 mm
    file_sd = rectangular(0.5)
    length = 25.0 * 1150 / 1250
    assert length == pytest.approx(23.0, abs=1e-12)
    parts = {"file": file_sd / 25, "tooth": 2 / 1150, "image": 2 / 1250}
    assert combine(parts) * length == pytest.approx(0.2711, abs=5e-5)
    assert combine({"file": file_sd / 25}) * length == pytest.approx(0.2656, abs=5e-5)


def test_end_gauge_of_the_gum() -> None:
    # JCGM 100:2008, H.1: components 25, 9.7, 2.9 and 16.6 nm give 32 nm (from memory; recomputed 31.66 nm)
    comparison = combine({"repeat": 5.8, "random": 3.9, "systematic": 6.7})
    assert comparison == pytest.approx(9.681942, abs=1e-6)
    length_nm = 50_000_623
    expansion = length_nm * 0.1 * rectangular(1e-6)
    temperature = length_nm * 11.5e-6 * rectangular(0.05)
    assert (expansion, temperature) == (pytest.approx(2.886787, abs=1e-6), pytest.approx(16.599027, abs=1e-5))
    total = combine(
        {"standard": 25, "difference": comparison, "expansion": expansion, "temperature": temperature}
    )
    assert total == pytest.approx(31.663879, abs=1e-5)


@given(st.floats(1e-6, 1e6))
def test_rectangular_and_triangular_are_the_spread_of_their_distributions(half: float) -> None:
    # variance by integrating x² over the density, JCGM 100:2008, 4.3.7 and 4.3.9
    x = (np.arange(20_000) + 0.5) / 20_000 * 2 - 1
    assert rectangular(half) == pytest.approx(half * math.sqrt(np.mean(x**2)), rel=1e-6)
    weight = 1 - np.abs(x)
    assert triangular(half) == pytest.approx(half * math.sqrt(np.sum(weight * x**2) / weight.sum()), rel=1e-6)


def test_nothing_uncertain_gives_nothing_and_signs_do_not_matter() -> None:
    assert combine({}) == 0.0
    assert combine({"a": -3.0, "b": 4.0}) == 5.0


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_contribution_that_is_no_number_is_named(bad: float) -> None:
    with pytest.raises(ValueError, match="'tip'"):
        combine({"apex": 1.0, "tip": bad})
