"""Several scales of one image against weighted fits of numpy and the chi-square of scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from calib.errors import CalibrationError
from calib.scale import Scale
from calib.several import NamedScale, compare_scales


def scales(*pairs: tuple[float, float], aspect: float = 1.0) -> list[NamedScale]:
    """Named a, b, c and so on; mm/px and relative uncertainty."""
    return [
        NamedScale("abcdef"[i], Scale(mm * aspect, mm, rel * mm * aspect**0.5, "file", "b"))
        for i, (mm, rel) in enumerate(pairs)
    ]


@given(st.lists(st.tuples(st.floats(0.0199, 0.0201), st.floats(0.005, 0.03)), min_size=2, max_size=6))
def test_the_mean_is_that_of_a_weighted_fit(pairs: list[tuple[float, float]]) -> None:
    found = compare_scales(scales(*pairs))
    mm = np.array([pair[0] for pair in pairs])
    sd = mm * [pair[1] for pair in pairs]
    mean, covariance = np.polyfit(np.arange(len(mm)), mm, 0, w=1 / sd, cov="unscaled")
    chi_square = float(np.sum(((mm - mean[0]) / sd) ** 2))
    assert found.chi_square == pytest.approx(chi_square, abs=1e-6)
    assert found.p_value == pytest.approx(stats.chi2.sf(chi_square, len(mm) - 1), abs=1e-6)
    assert found.birge_ratio == pytest.approx(math.sqrt(chi_square / (len(mm) - 1)), abs=1e-4)
    if found.agree:
        assert found.proposal is not None
        assert found.proposal.mm_per_px == pytest.approx(mean[0], rel=1e-9)
        widened = math.sqrt(covariance[0, 0]) * max(1, found.birge_ratio or 0)
        assert found.proposal.sd_mm_per_px == pytest.approx(widened, rel=1e-6)
        assert sum(weight for _, weight in found.proposal.weights) == pytest.approx(1)
    else:
        assert found.proposal is None


def test_two_of_equal_weight_meet_in_the_middle() -> None:
    found = compare_scales(scales((0.0200, 0.01), (0.0202, 0.01), aspect=1.44))
    assert found.agree
    assert found.proposal is not None
    assert found.proposal.mm_per_px == pytest.approx(0.0201 * 1.2, rel=1e-4)
    assert [weight for _, weight in found.proposal.weights] == pytest.approx([0.5, 0.5], abs=0.01)
    assert "not in use" in found.proposal.basis
    assert found.words == "The scales agree."


def test_scales_three_percent_apart_are_shown_and_not_averaged() -> None:
    # lean of one file alone: 15 degrees make 3.4 %, 10 degrees 1.5 % (cosines, by hand)
    lean = compare_scales(scales((0.02, 0.02), (0.02 / math.cos(math.radians(15)), 0.02)))
    assert lean.pairs[0].apart
    assert not lean.pairs[0].distinguishable
    assert (lean.agree, lean.proposal) == (False, None)
    assert lean.p_value is not None
    assert lean.p_value > 0.05
    # z: 1 / cos 15° - 1, over the root of two squares of 2 %
    assert lean.pairs[0].z == pytest.approx(
        (1 - math.cos(math.radians(15))) / math.hypot(0.02, 0.02) / 0.966, 0.001
    )
    assert "a and b differ by 3.4% (z = 1.2), within their uncertainties" in lean.words
    little = compare_scales(scales((0.02, 0.02), (0.02 / math.cos(math.radians(10)), 0.02)))
    assert not little.pairs[0].apart
    assert little.agree


def test_a_mistyped_length_disagrees_with_two_others() -> None:
    # 21 entered for 25 in one of three canals
    found = compare_scales(scales((0.02, 0.006), (0.0201, 0.006), (0.02 * 21 / 25, 0.006)))
    assert [pair.apart for pair in found.pairs] == [False, True, True]
    assert all(pair.distinguishable for pair in found.pairs[1:])
    assert not found.agree
    assert found.birge_ratio is not None
    assert found.birge_ratio > 10


def test_close_scales_may_still_differ_beyond_their_uncertainties() -> None:
    found = compare_scales(scales((0.02, 0.002), (0.0204, 0.002)))
    assert not found.pairs[0].apart
    assert found.pairs[0].distinguishable
    assert not found.agree
    assert "more than their uncertainties" in found.words
    assert "a and b differ by 2.0% (z = 7.1). Both are right where" in found.words


@given(st.floats(180, 410), st.floats(-8, 8), st.floats(0.015, 0.05))
def test_a_difference_in_depth_is_told_as_projection_makes_it(
    source: float, deeper: float, pitch: float
) -> None:
    # similar triangles: an object at distance d from the source, receptor at D, has the scale pitch * d / D
    receptor = source + 20
    here, there = (pitch * d / receptor for d in (source, source + deeper))
    (pair,) = compare_scales(scales((here, 0.01), (there, 0.01))).pairs
    low, high = (
        mm * max(source, source + deeper) / at for mm, at in zip(pair.depth_mm, (200, 400), strict=True)
    )
    assert (low, high) == pytest.approx((abs(deeper), abs(deeper)), abs=1e-9)


def test_a_scale_without_uncertainty_has_no_weight() -> None:
    given = [
        *scales((0.02, 0.01), (0.0201, 0.01)),
        NamedScale("given", Scale(0.0203, 0.0203, 0, "given", "b")),
    ]
    found = compare_scales(given)
    assert found.left_out == ("given",)
    assert len(found.pairs) == 3
    assert found.proposal is not None
    assert [name for name, _ in found.proposal.weights] == ["a", "b"]
    alone = compare_scales([given[0], given[2]])
    assert (alone.chi_square, alone.proposal, alone.agree) == (None, None, True)
    assert "too few" in alone.words


@given(st.floats(0.9, 1.1))
def test_the_order_of_two_scales_does_not_matter(ratio: float) -> None:
    one, other = scales((0.02, 0.01), (0.02 * ratio, 0.01))
    there, back = compare_scales([one, other]), compare_scales([other, one])
    assert there.pairs[0].apart == back.pairs[0].apart
    assert there.agree == back.agree


def test_what_cannot_be_compared_is_told() -> None:
    with pytest.raises(CalibrationError, match="given are 'a'"):
        compare_scales(scales((0.02, 0.01)))
    with pytest.raises(CalibrationError, match="given are none"):
        compare_scales([])
    with pytest.raises(CalibrationError, match="names that differ"):
        compare_scales([*scales((0.02, 0.01)), *scales((0.02, 0.01))])
    with pytest.raises(CalibrationError, match="different shape"):
        compare_scales([*scales((0.02, 0.01)), NamedScale("wide", scales((0.02, 0.01), aspect=1.2)[0].scale)])
