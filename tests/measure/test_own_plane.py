"""Methods of one view on a canal in space, in the plane it bends in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radio.measure.curvature import stack_of_traces
from radio.measure.methods import METHODS, QUANTITIES, schneider
from radio.measure.methods.contract import Quantity
from radio.measure.own_plane import measure_in_own_plane
from radio.measure.result import Finding, Measurement
from tests.fixtures.bent import answers, chain, straight_and_arc
from tests.fixtures.in_space import in_space, rotation

SHAPES = {
    "arc": straight_and_arc(8, 6, 50),
    "s": chain((5, 0), (4, 28), (1, 0), (4, -36)),
    "continuous": chain((5, 6), (9, 40)),
}


def told(line) -> dict[str, float | str]:
    found = measure_in_own_plane([line], "made")
    both: dict[str, Measurement | Finding] = {**found.measurements, **found.findings}
    return {name: one.word if isinstance(one, Finding) else one.value for name, one in both.items()}


@settings(max_examples=12)
@given(st.sampled_from(sorted(SHAPES)), *[st.floats(-180, 180)] * 2)
def test_a_planar_canal_has_its_planar_values_by_every_method_wherever_it_lies(shape, first, second):
    planar = SHAPES[shape]
    turn = rotation(np.array([1.0, 0, 0]), first) @ rotation(np.array([0.2, 1.0, -0.4]), second)
    values = told(in_space(planar, 0) @ turn.T + [4.0, -2.0, 9.0])
    wanted = answers(stack_of_traces(planar))
    wanted.pop("bend_side")
    assert set(values) == set(wanted)
    for name, value in wanted.items():
        if isinstance(value, str):
            assert values[name] == value, name
        else:
            # a place along the canal is one of 110 samples
            reach = 0.14 if "deepest" in name or "from_end" in name else 0.05
            assert values[name] == pytest.approx(value, rel=2e-3, abs=reach), name


def test_a_side_of_the_image_means_nothing_in_space():
    found = measure_in_own_plane([in_space(SHAPES["arc"], 30)], "made")
    assert "bend_side" not in found.findings
    assert "nothing in space" in found.absent["bend_side"]
    assert QUANTITIES["bend_side"].of_image
    assert sum(one.of_image for one in QUANTITIES.values()) == 1


def test_a_new_method_appears_by_itself():
    quantity = Quantity("doubled_deg", "Doubled", "deg")
    double = replace(
        schneider.METHOD,
        name="doubled",
        quantities=(quantity,),
        values=lambda stack: {"doubled_deg": 2 * schneider.values(stack)["schneider_deg"]},
    )
    found = measure_in_own_plane([in_space(SHAPES["arc"], 30)], "made", methods=(*METHODS, double))
    once = found.measurements["schneider_deg"].value
    assert found.measurements["doubled_deg"].value == pytest.approx(2 * once)


def test_distance_from_the_plane_as_singular_values_have_it():
    # two bends in planes at right angles to each other
    z = np.linspace(0, 14, 400)
    bent = np.stack([z, 0.02 * np.clip(z - 4, 0, None) ** 2, 0.03 * np.clip(z - 9, 0, None) ** 2], axis=1)
    flat = measure_in_own_plane([in_space(SHAPES["s"], 77)], "made").off_plane
    twisted = measure_in_own_plane([bent], "made").off_plane
    assert flat.value == pytest.approx(0, abs=1e-9)
    # another road: the direction of least variance
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(bent, axis=0), axis=1))])
    even = np.stack([np.interp(np.linspace(0, s[-1], 110), s, column) for column in bent.T], axis=1)
    rel = even - even.mean(axis=0)
    normal = np.linalg.eigh(np.cov(rel.T))[1][:, 0]
    assert twisted.value == pytest.approx(np.abs(rel @ normal).max(), rel=1e-4)
    assert twisted.value > 0.1
    assert twisted.sd is None


def test_uncertainty_comes_from_the_drawn_canals():
    line = in_space(SHAPES["arc"], 30)
    rng = np.random.default_rng(5)
    drawn = [(1 + 0.05 * rng.standard_normal()) * line for _ in range(200)]
    found = measure_in_own_plane([line, *drawn], "made")
    radius = found.measurements["tangent_circle_radius_mm"]
    # everything 5 % larger or smaller: so is the radius, and no angle but by the tolerance that stays
    assert radius.sd / radius.value == pytest.approx(0.05, rel=0.15)
    assert found.measurements["long_axis_deg"].sd < 0.3
    assert found.off_plane.interval95[0] == 0.0
