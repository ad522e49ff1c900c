"""The uncertainty budget against the GUM's worked example and an independent library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values, ufloat
from uncertainties.umath import cos, sqrt

from calib.budget import Budget, Input, budget
from calib.errors import CalibrationError
from calib.uncertainty import arcsine, rectangular, triangular

INF = math.inf
VALUES = st.floats(1, 100)
SDS = st.floats(0.001, 0.2)


def end_gauge(*, second_order: bool = False) -> Budget:
    """JCGM 100:2008, example H.1, nm and °C; inputs as in the example of the open library GTC."""
    difference = budget(
        lambda *parts: sum(parts),
        [
            Input("repeated observations", 215.0, 5.8, 24),
            Input("random effects of the comparator", 0.0, 3.9, 5),
            Input("systematic effects of the comparator", 0.0, 6.7, 8),
        ],
    )
    temperature = math.hypot(0.2, arcsine(0.5))
    return budget(
        lambda ls, d, da, theta, a, dt: ls + d - ls * (da * theta + a * dt),
        [
            Input("standard", 50_000_623.0, 25.0, 18),
            Input("difference", difference.value, difference.sd, difference.dof),
            Input("difference in expansion", 0.0, rectangular(1e-6), 50),
            Input("temperature of the bed", -0.1, temperature),
            Input("expansion of the standard", 11.5e-6, rectangular(2e-6)),
            Input("difference in temperature", 0.0, rectangular(0.05), 2),
        ],
        second_order=second_order,
    )


def test_end_gauge_of_the_gum() -> None:
    # published (from memory): 50.000 838 mm, components 25; 9.7; 2.9; 16.6 nm, u 32 nm, 16 degrees of
    # freedom, U99 93 nm. Recomputed with GTC: 31.663879 nm and 16.751856.
    found = end_gauge()
    assert found.value == pytest.approx(50_000_838, abs=0.5)
    shown = {row.name: abs(row.contribution) for row in found.rows}
    assert shown["standard"] == pytest.approx(25, rel=1e-6)
    assert shown["difference"] == pytest.approx(9.681942, abs=1e-6)
    assert shown["difference in expansion"] == pytest.approx(2.886787, abs=1e-6)
    assert shown["difference in temperature"] == pytest.approx(16.599027, abs=1e-6)
    assert shown["temperature of the bed"] == pytest.approx(0, abs=1e-6)
    assert found.sd == pytest.approx(31.663879, abs=1e-5)
    assert round(found.sd) == 32
    assert found.dof == pytest.approx(16.751856, abs=1e-5)
    assert found.expanded(0.99) == pytest.approx(2.920782 * found.sd, rel=1e-6)
    assert round(2.92 * round(found.sd)) == 93


def test_second_order_terms_of_the_end_gauge() -> None:
    # published (from memory): 11.7 and 1.7 nm more, 34 nm together; recomputed 11.726186 and 1.666687
    found = end_gauge(second_order=True)
    extra = found.rows[-1]
    assert extra.name == "second-order terms"
    assert extra.contribution == pytest.approx(math.hypot(11.726186, 1.666687), abs=1e-3)
    assert round(found.sd) == 34
    assert sum(row.share for row in found.rows) == pytest.approx(1)


def test_second_order_terms_of_a_square_are_exact() -> None:
    # x² of a normal x has variance 4 µ² u² + 2 u⁴; x³ of one at 0 has 15 u⁶, of which this order knows none
    found = budget(lambda x: x * x, [Input("x", 3.0, 0.8)], second_order=True)
    assert found.sd**2 == pytest.approx(4 * 9 * 0.64 + 2 * 0.8**4, rel=1e-9)
    assert budget(lambda x: x**3, [Input("x", 0.0, 1.0)], second_order=True).sd == pytest.approx(0, abs=1e-6)


def test_second_order_terms_against_a_simulation() -> None:
    # a product and a ratio of normal quantities, drawn 400 000 times; first order alone is off by 2 %
    rng = np.random.default_rng(7)
    a, b, c = (rng.normal(mean, sd, 400_000) for mean, sd in ((2.0, 0.8), (3.0, 1.0), (10.0, 0.7)))
    inputs = [Input("a", 2.0, 0.8), Input("b", 3.0, 1.0), Input("c", 10.0, 0.7)]
    first = budget(lambda a, b, c: a * b / c, inputs)
    second = budget(lambda a, b, c: a * b / c, inputs, second_order=True)
    simulated = float(np.std(a * b / c))
    assert second.sd == pytest.approx(simulated, rel=0.01)
    assert first.sd < simulated * 0.98


def test_working_length_budget() -> None:
    # 25 mm ± 0.5 mm rectangular, 1250 and 1150 px with 2 px each: derived by hand from JCGM 100:2008, 5.1.2:
    # 23.0000 mm with 0.2711 mm, of which the file length alone gives 0.2656 mm
    found = budget(
        lambda file_mm, tooth_px, file_px: file_mm * tooth_px / file_px,
        [
            Input("file length", 25.0, rectangular(0.5), how="rectangular ± 0.5 mm"),
            Input("tooth in the image", 1150.0, 2.0),
            Input("file in the image", 1250.0, 2.0),
        ],
    )
    assert found.value == pytest.approx(23.0, abs=1e-12)
    assert found.sd == pytest.approx(0.2711, abs=5e-5)
    assert found.rows[0].contribution == pytest.approx(0.2656, abs=5e-5)
    assert found.rows[0].share == pytest.approx((0.2656 / 0.2711) ** 2, abs=1e-3)
    assert found.rows[2].contribution < 0 < found.rows[1].contribution
    assert found.rows[0].how == "rectangular ± 0.5 mm"


@given(VALUES, SDS, VALUES, SDS, st.floats(10, 100), st.floats(0.01, 3))
def test_any_function_propagates_as_in_the_uncertainties_package(a, a_sd, b, b_sd, c, c_sd) -> None:
    def f(x, y, z):
        return x * cos(y) / sqrt(z) + z * x**2 / y

    exact = f(ufloat(a, a_sd), ufloat(b, b_sd), ufloat(c, c_sd))
    found = budget(f, [Input("a", a, a_sd), Input("b", b, b_sd), Input("c", c, c_sd)])
    assert found.value == pytest.approx(exact.nominal_value, rel=1e-12)
    assert found.sd == pytest.approx(exact.std_dev, rel=1e-6)
    assert math.fsum(row.share for row in found.rows) == pytest.approx(1, rel=1e-9)


@given(st.floats(-0.45, 0.45), st.floats(-0.45, 0.45), st.floats(-0.45, 0.45))
def test_correlated_inputs_propagate_as_in_the_uncertainties_package(ab: float, bc: float, ac: float) -> None:
    sds = np.array([0.3, 2.0, 2.5])
    r = np.array([[1, ab, ac], [ab, 1, bc], [ac, bc, 1]])
    exact = correlated_values([25.0, 1150.0, 1250.0], r * np.outer(sds, sds))
    exact = exact[0] * exact[1] / exact[2]
    inputs = [Input("l", 25.0, 0.3), Input("t", 1150.0, 2.0), Input("f", 1250.0, 2.5)]
    found = budget(
        lambda length, t, f: length * t / f, inputs, {("l", "t"): ab, ("f", "t"): bc, ("l", "f"): ac}
    )
    assert found.sd == pytest.approx(exact.std_dev, rel=1e-7)
    assert math.fsum(row.share for row in found.rows) == pytest.approx(1, rel=1e-9)


def test_a_shared_landmark_cancels_in_a_ratio() -> None:
    # errors that go wholly together cancel in a / b of equal a and b, and double in a + b (GUM 5.2.2 note 1)
    inputs = [Input("a", 10.0, 0.1), Input("b", 10.0, 0.1)]
    ratio = budget(lambda a, b: a / b, inputs, {("a", "b"): 1.0})
    assert ratio.sd == pytest.approx(0, abs=1e-9)
    total = budget(lambda a, b: a + b, inputs, {("a", "b"): 1.0})
    assert total.sd == pytest.approx(0.2, rel=1e-9)
    pair = total.rows[-1]
    assert (pair.name, pair.share, pair.sd) == ("a with b", pytest.approx(0.5), None)


def test_degrees_of_freedom_of_two_samples() -> None:
    # Welch's test in scipy: equal variances of 10 and 10 give 18; a single input keeps its own
    from scipy import stats

    rng = np.random.default_rng(3)
    one, other = rng.normal(0, 1, 12), rng.normal(0, 3, 7)
    exact = stats.ttest_ind(one, other, equal_var=False)
    inputs = [
        Input(name, float(x.mean()), float(x.std(ddof=1) / math.sqrt(len(x))), len(x) - 1)
        for name, x in (("one", one), ("other", other))
    ]
    found = budget(lambda a, b: a - b, inputs)
    assert found.dof == pytest.approx(exact.df, rel=1e-9)
    interval = exact.confidence_interval(0.95)
    assert found.expanded(0.95) == pytest.approx((interval.high - interval.low) / 2, rel=0.02)
    assert budget(lambda a: 2 * a, [Input("a", 1.0, 0.1, 7)]).dof == pytest.approx(7)
    assert budget(lambda a: 2 * a, [Input("a", 1.0, 0.1)]).dof == INF


def test_correlated_inputs_count_as_one_of_the_fewest_degrees_of_freedom() -> None:
    inputs = [Input("a", 1.0, 0.1, 5), Input("b", 1.0, 0.1, 50), Input("c", 1.0, 0.0, 2)]
    assert budget(lambda a, b, c: a + b + c, inputs, {("a", "b"): 0.5}).dof == pytest.approx(5)
    assert budget(lambda a, b, c: a + b + c, inputs).dof == pytest.approx(0.02**2 / (1e-4 / 5 + 1e-4 / 50))


@given(st.floats(1e-6, 1e6))
def test_widths_of_distributions(half: float) -> None:
    # variance by integrating x² over the density: JCGM 100:2008, 4.3.7 and 4.3.9; a cosine of random phase
    # has the arcsine distribution (H.1.3.4, from memory)
    x = (np.arange(20_000) + 0.5) / 20_000 * 2 - 1
    assert rectangular(half) == pytest.approx(half * math.sqrt(np.mean(x**2)), rel=1e-6)
    weight = 1 - np.abs(x)
    assert triangular(half) == pytest.approx(half * math.sqrt(np.sum(weight * x**2) / weight.sum()), rel=1e-6)
    assert arcsine(half) == pytest.approx(half * math.sqrt(np.mean(np.cos(np.pi * x) ** 2)), rel=1e-6)


def test_nothing_uncertain_is_a_budget_too() -> None:
    found = budget(lambda a, b: a * b, [Input("a", 2.0, 0.0), Input("b", 0.0, 0.0)])
    assert (found.value, found.sd, found.dof) == (0.0, 0.0, INF)
    assert [row.share for row in found.rows] == [0.0, 0.0]
    assert [row.sensitivity for row in found.rows] == pytest.approx([0.0, 2.0])
    assert found.relative_sd == INF


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Input("tip", math.nan, 0.1), "'tip' is nan"),
        (lambda: Input("tip", 1.0, -0.1), "uncertainty -0.1"),
        (lambda: Input("tip", 1.0, 0.1, 0), "at least 1 is needed"),
        (lambda: budget(lambda: 1.0, []), "given are none"),
        (lambda: budget(lambda a, b: a + b, [Input("a", 1, 0), Input("a", 2, 0)]), "names that differ"),
        (lambda: _two({("a", "c"): 0.5}), "out of 'a', 'b'"),
        (lambda: _two({("a", "a"): 0.5}), "two different inputs"),
        (lambda: _two({("a", "b"): 1.5}), "allowed is -1 to 1"),
        (lambda: budget(lambda a, b: a / b, [Input("a", 1, 0.1), Input("b", math.inf, 0)]), "'b' is inf"),
        (lambda: budget(lambda a: math.inf * a, [Input("a", 1, 0.1)]), "result of the inputs 1 is inf"),
        (lambda: _two({("a", "b"): 0.5}, second_order=True), "only known for independent"),
    ],
)
def test_wrong_budgets_say_what_is_wrong(make, words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        make()


def test_correlations_that_contradict_each_other_are_refused() -> None:
    inputs = [Input(name, 1.0, 0.1) for name in "abc"]
    impossible = {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9}
    with pytest.raises(CalibrationError, match="contradict each other"):
        budget(lambda a, b, c: a + b + c, inputs, impossible)


def _two(correlations, **options) -> Budget:
    return budget(lambda a, b: a + b, [Input("a", 1.0, 0.1), Input("b", 1.0, 0.1)], correlations, **options)
