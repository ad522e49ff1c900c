"""Two views of one canal against plain geometry in space, and against independent libraries.

The oracle canal is straight for p mm, then a tangent arc of radius r through theta, in a plane that holds the
long axis of the tooth and is turned about it: length p + r theta, Schneider angle theta / 2 at tolerance 0
(tangent-chord theorem), angle between the two directions theta.
"""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from shapely import LineString

from radio.errors import TraceError
from radio.measure import space as sp
from radio.measure import space_measures as sm
from radio.measure import two_views as tv
from radio.measure.curvature import stack_of_traces
from tests.fixtures.bent import answers
from tests.fixtures.in_space import (
    ORACLES,
    ROUND,
    TURNS,
    apart,
    in_space,
    rotation,
    s_shape,
    seen,
    straight_and_arc,
)


@settings(max_examples=25)
@given(ROUND, TURNS)
def test_centreline_comes_back_whatever_the_views(azimuth, between):
    canal = s_shape() @ rotation(np.array([1.0, 0, 0]), azimuth).T
    found = tv.reconstruct(seen(canal, 0), seen(canal, between), between_views_deg=between)
    assert apart(found.points_mm, canal) < 0.005
    assert found.points_mm[0] == pytest.approx([0, 0, 0])
    assert found.points_mm[-1] == pytest.approx(canal[-1], abs=1e-6)
    steps = np.linalg.norm(np.diff(found.points_mm, axis=0), axis=1)
    assert steps == pytest.approx(np.full(len(steps), steps.mean()), rel=1e-3)
    assert found.mismatch_mm == pytest.approx(0, abs=1e-9)
    assert found.same_canal


def test_helix_has_the_length_and_curvature_of_the_closed_form():
    r, c = 2.0, 3.0
    t = sympy.symbols("t")
    curve = sympy.Matrix([c * t, r * (sympy.cos(t) - 1), r * sympy.sin(t)])
    first, second = curve.diff(t), curve.diff(t, 2)
    curvature = float((first.cross(second).norm() / first.norm() ** 3).subs(t, 1))
    assert curvature == pytest.approx(r / (r**2 + c**2))
    at = np.linspace(0, 4, 2500)
    canal = np.stack([c * at, r * (np.cos(at) - 1), r * np.sin(at)], axis=1)
    found = tv.reconstruct(seen(canal, 0), seen(canal, 90))
    assert sp.length_mm(found.points_mm) == pytest.approx(4 * np.hypot(r, c), rel=1e-3)
    s, kappa = sp.curvature_per_mm(found.points_mm)
    assert s[-1] == pytest.approx(4 * np.hypot(r, c), rel=1e-3)
    assert np.median(kappa) == pytest.approx(curvature, rel=0.01)
    inside = (s > 1) & (s < s[-1] - 1)
    assert kappa[inside] == pytest.approx(np.full(inside.sum(), curvature), rel=0.03)
    assert sm.measure_in_space(found).measurements["smallest_radius_3d_mm"].value == pytest.approx(
        1 / curvature, rel=0.03
    )


@pytest.mark.parametrize("azimuth", [0, 37, 90, -130])
@pytest.mark.parametrize("oracle", ORACLES)
def test_arc_in_a_turned_plane_has_its_planar_length_and_angles(oracle, azimuth):
    p, r, theta = oracle
    planar = straight_and_arc(p, r, theta)
    canal = in_space(planar, azimuth)
    found = tv.reconstruct(seen(canal, 0), seen(canal, 70), between_views_deg=70)
    values = sm.measure_in_space(found).measurements
    # independent library: shapely for the length of the planar line
    assert values["length_3d_mm"].value == pytest.approx(LineString(planar).length, abs=0.01)
    assert values["length_3d_mm"].value == pytest.approx(p + r * np.radians(theta), abs=0.01)
    assert sp.schneider_deg(found.points_mm, 0.002) == pytest.approx(theta / 2, abs=1.5)
    # the line of the last 2 mm of an arc has the direction of its middle, by symmetry
    assert values["weine_3d_deg"].value == pytest.approx(theta - np.degrees(1 / r), abs=0.5)
    fine = sp.angle_deg(sp.axis_and_departure(planar, 1e-3).direction, sp.end_direction(planar, 0.05))
    assert fine == pytest.approx(theta, abs=1.5)
    in_plane = answers(stack_of_traces(planar))
    for name in (
        "schneider",
        "weine",
        "long_axis",
        "access_angle",
        "four_point",
        "pieces_sum",
        "total_turning",
    ):
        # the methods of one view, on the canal in its own plane
        assert values[f"{name}_3d_deg"].value == pytest.approx(in_plane[f"{name}_deg"], abs=0.3), name
    for name, value in (
        ("schneider_3d_deg", sp.schneider_deg(planar, 0.10)),
        ("weine_3d_deg", sp.weine_deg(planar, 0.10)),
        ("total_turning_3d_deg", sp.total_turning_deg(planar)),
        ("greatest_curvature_3d_per_mm", sp.greatest_per_mm(planar)),
    ):
        assert values[name].value == pytest.approx(value, rel=0.01, abs=0.05), name


def test_a_sharp_bend_is_the_resultant_of_its_two_planar_angles():
    bent = np.array([[0, 0, 0], [8, 0, 0], [8 + 5, 5 * np.tan(np.radians(20)), 5 * np.tan(np.radians(30))]])
    found = tv.reconstruct(seen(bent, 0), seen(bent, 90))
    # the value of the two-view relation above; the tolerance rounds the corner a little
    assert sp.weine_deg(found.points_mm, 0.01) == pytest.approx(34.3136, abs=0.3)
    assert sp.schneider_deg(found.points_mm, 0.01) == pytest.approx(34.3136, abs=0.3)


@pytest.mark.parametrize("degrees", [180.0, 25.0, -100.0])
def test_an_image_turned_on_the_screen_gives_the_same_canal(degrees):
    canal = in_space(straight_and_arc(8, 6, 40), 50)
    a = np.radians(degrees)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    upright = tv.reconstruct(seen(canal, 0), seen(canal, 90))
    axis = turn @ [1.0, 0.0]
    turned = tv.reconstruct(seen(canal, 0) @ turn.T, seen(canal, 90), axis_first=-3 * axis)
    assert turned.points_mm == pytest.approx(upright.points_mm, abs=1e-9)


def test_upper_tooth_needs_no_axis():
    canal = in_space(straight_and_arc(8, 6, 40), 50)
    lower = tv.reconstruct(seen(canal, 0), seen(canal, 90))
    upper = tv.reconstruct(100 - seen(canal, 0), 100 - seen(canal, 90))
    assert upper.points_mm == pytest.approx(lower.points_mm, abs=1e-9)
    assert any("image rows" in text for text in upper.assumptions)


def test_the_chord_cannot_stand_for_the_axis():
    canal = in_space(straight_and_arc(8, 6, 60), 20)
    views = seen(canal, 0), seen(canal, 90)
    by_rows = tv.reconstruct(*views)
    by_chord = tv.reconstruct(*views, axis_first=views[0][-1], axis_second=views[1][-1])
    assert abs(by_rows.mismatch_mm) < 1e-9
    # the two chords: by Pythagoras from the canal end
    z, x, y = canal[-1]
    assert by_chord.mismatch_mm == pytest.approx(np.hypot(z, x) - np.hypot(z, y))


@pytest.mark.parametrize("scale", [1.03, 0.97])
def test_three_percent_of_scale_is_shared_out_without_alarm(scale):
    canal = in_space(straight_and_arc(8, 6, 45), 40)
    found = tv.reconstruct(seen(canal, 0), scale * seen(canal, 90))
    assert found.same_canal
    assert not any("same canal" in text for text in found.remarks)
    assert any("shared out" in text for text in found.remarks)
    assert found.mismatch_mm == pytest.approx(canal[-1, 0] * (1 - scale))
    assert found.scale_factors == pytest.approx((np.sqrt(scale), 1 / np.sqrt(scale)))
    # the whole canal is then the true one at the geometric mean of the two scales
    assert found.points_mm[-1] == pytest.approx(np.sqrt(scale) * canal[-1], abs=1e-6)
    assert sp.weine_deg(found.points_mm, 0.1) == pytest.approx(
        sp.weine_deg(np.sqrt(scale) * canal, 0.1), abs=0.1
    )


@pytest.mark.parametrize(
    ("other", "alarm"), [((10.2, 6, 45), True), ((6, 5, 30), True), ((8.2, 6, 45), False)]
)
def test_traces_of_different_canals_raise_the_alarm(other, alarm):
    first = seen(in_space(straight_and_arc(8, 6, 45), 40), 0)
    second = seen(in_space(straight_and_arc(*other), 40), 90)
    found = tv.reconstruct(first, second)
    assert found.same_canal is not alarm
    assert any("do not seem to show the same canal" in text for text in found.remarks) is alarm


def test_heights_beyond_their_uncertainty_are_remarked():
    canal = in_space(straight_and_arc(8, 6, 45), 40)
    views = seen(canal, 0), 1.05 * seen(canal, 90)
    assert not any("three times" in t for t in tv.reconstruct(*views, height_sd_mm=(0.3, 0.3)).remarks)
    assert any("three times" in t for t in tv.reconstruct(*views, height_sd_mm=(0.1, 0.1)).remarks)


def test_close_views_and_steep_runs_are_remarked():
    canal = in_space(straight_and_arc(7, 4, 84), 0)
    found = tv.reconstruct(seen(canal, 0), seen(canal, 20), between_views_deg=20)
    assert any("2.9 times" in text for text in found.remarks)  # 1 / sin 20 degrees
    assert any("first trace runs over 70" in text for text in found.remarks)
    assert tv.reconstruct(seen(canal, 90), seen(in_space(straight_and_arc(7, 4, 84), 0), 90)).remarks == ()


def test_a_canal_that_runs_back_is_refused_and_a_waver_is_not():
    hook = straight_and_arc(8, 3, 130)
    straight = np.stack([np.linspace(0, 10, 200), np.zeros(200)], axis=1)
    with pytest.raises(TraceError, match=r"first trace runs back along the tooth by 0\.7 mm"):
        # 3 mm (1 - sin 130 degrees) = 0.70 mm
        tv.reconstruct(hook, straight)
    with pytest.raises(TraceError, match="second trace runs back"):
        tv.reconstruct(straight, hook)
    wavering = np.array([[0, 0], [5, 0], [4.9, 0.3], [10.0, 0.5], [9.95, 0.8]])
    found = tv.reconstruct(wavering, straight)
    assert (np.diff(found.points_mm[:, 0]) > 0).all()
    assert found.points_mm[-1, 1] == pytest.approx(0.8, abs=1e-3)
    slight = np.array([[0, 0], [5, 0], [4.95, 0.1], [10.0, 0.5]])
    assert tv.reconstruct(slight, straight).remarks == ()


@pytest.mark.parametrize(
    ("first", "options", "match"),
    [
        (np.array([[0, 0], [3.0, 9.0]]), {}, "along and 9.0 mm across"),
        (np.array([[0, 0], [0.4, 0.1]]), {}, "1 mm along or more"),
        (np.array([[0, 0], [8.0, 0]]), {"axis_first": (0, 1)}, "0.0 mm along and 8.0 mm across"),
        (np.array([[0, 0], [8.0, 0]]), {"axis_first": (0, 0)}, "two finite numbers"),
        (np.array([[0, 0], [8.0, 0]]), {"axis_first": (np.nan, 1)}, "two finite numbers"),
        (np.array([[0, 0], [8.0, 0]]), {"axis_first": (1, 0, 0)}, "two finite numbers"),
        (np.zeros((4, 3)), {}, r"\(N, 2\)"),
        (np.array([[0, 0], [np.nan, 0]]), {}, "finite"),
        (np.array([[0, 0], [8.0, 0]]), {"sd_first_mm": [0.1, 0.1, 0.1]}, "each of its 2 points"),
        (np.array([[0, 0], [8.0, 0]]), {"sd_first_mm": -0.1}, "0 mm or more"),
    ],
)
def test_unusable_input_is_refused_in_words(first, options, match):
    with pytest.raises(TraceError, match=match):
        tv.reconstruct(first, straight_and_arc(5, 5, 20), **options)
