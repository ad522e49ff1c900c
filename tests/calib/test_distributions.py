"""Closed forms of Student's and the chi-square distribution against scipy."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from calib.distributions import chi_square_above, coverage_factor, student_inside

DOF = st.integers(1, 999)


@given(DOF, st.floats(0.01, 0.999))
def test_coverage_factors_are_those_of_scipy(dof: int, level: float) -> None:
    assert coverage_factor(dof, level) == pytest.approx(stats.t.ppf((1 + level) / 2, dof), rel=1e-7)


@given(DOF, st.floats(0, 50))
def test_student_between_two_limits_is_that_of_scipy(dof: int, t: float) -> None:
    assert student_inside(t, dof) == pytest.approx(stats.t.cdf(t, dof) - stats.t.cdf(-t, dof), abs=1e-9)


@given(DOF, st.floats(0, 3000))
def test_chi_square_tail_is_that_of_scipy(dof: int, chi_square: float) -> None:
    exact = stats.chi2.sf(chi_square, dof)
    assert chi_square_above(chi_square, dof) == pytest.approx(exact, rel=1e-8, abs=1e-12)


def test_coverage_factors_printed_in_the_gum() -> None:
    # JCGM 100:2008, table G.2 (from memory): t95 for 5, 10 and 20 degrees of freedom, t99 for 16
    printed = {(5, 0.95): 2.57, (10, 0.95): 2.23, (20, 0.95): 2.09, (16, 0.99): 2.92, (math.inf, 0.95): 1.96}
    for (dof, level), k in printed.items():
        assert round(coverage_factor(dof, level), 2) == k
    # degrees of freedom are cut to the whole number below (G.4.1)
    assert coverage_factor(16.99, 0.99) == coverage_factor(16, 0.99)


def test_endless_chi_square_has_nothing_above() -> None:
    assert chi_square_above(math.inf, 3) == chi_square_above(1e7, 501) == 0.0


@pytest.mark.parametrize(("dof", "level"), [(0.5, 0.95), (math.nan, 0.95), (5, 0.0), (5, 1.0)])
def test_impossible_levels_and_degrees_of_freedom_are_named(dof: float, level: float) -> None:
    with pytest.raises(ValueError, match="allowed are"):
        coverage_factor(dof, level)
