"""Two views of one canal against plain geometry in space, and against independent libraries.

The oracle canal is straight for p mm, then a tangent arc of radius r through theta, in a plane that holds the
long axis of the tooth and is turned about it: length p + r theta, Schneider angle theta / 2 at tolerance 0
(tangent-chord theorem), angle between the two directions theta.
"""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString
from uncertainties import ufloat, umath

from radio.errors import PeriapicalError, TraceError
from radio.measure import space as sp
from radio.measure import space_measures as sm
from radio.measure import two_views as tv
from radio.measure.curvature import stack_of_traces
from radio.measure.resultant import resultant_bend
from tests.fixtures.bent import answers

ORACLES = [(8, 5, 60), (10, 10, 40), (9, 8, 20), (7, 4, 75), (10, 6, 30)]
ROUND = st.floats(-180, 180)
TURNS = st.sampled_from([90.0, 60.0, 120.0, 35.0])


def straight_and_arc(p: float, r: float, theta_deg: float, count: int = 1200) -> np.ndarray:
    s = np.linspace(0, p + r * np.radians(theta_deg), count)
    a = np.clip((s - p) / r, 0, None)
    return np.stack([np.minimum(s, p) + r * np.sin(a), r * (1 - np.cos(a))], axis=1)


def s_shape(count: int = 700) -> np.ndarray:
    """Two bends in different planes: height, across, depth."""
    z = np.linspace(0, 14, count)
    return np.stack([z, 0.02 * np.clip(z - 5, 0, None) ** 2, -0.03 * np.clip(z - 9, 0, None) ** 2], axis=1)


def in_space(planar: np.ndarray, azimuth_deg: float) -> np.ndarray:
    f = np.radians(azimuth_deg)
    return np.stack([planar[:, 0], planar[:, 1] * np.cos(f), planar[:, 1] * np.sin(f)], axis=1)


def seen(canal: np.ndarray, turn_deg: float) -> np.ndarray:
    """Parallel projection on the image plane turned about the tooth by an angle, as (row, col)."""
    f = np.radians(turn_deg)
    return np.stack([canal[:, 0], canal[:, 1] * np.cos(f) + canal[:, 2] * np.sin(f)], axis=1)


def rotation(axis: np.ndarray, degrees: float) -> np.ndarray:
    from scipy.spatial.transform import Rotation

    return Rotation.from_rotvec(np.radians(degrees) * axis / np.linalg.norm(axis)).as_matrix()


def apart(line: np.ndarray, other: np.ndarray) -> float:
    """Greatest distance of a point of one line from another line, by segments."""
    start, step = other[:-1], np.diff(other, axis=0)
    t = np.einsum("nij,ij->ni", line[:, None] - start, step) / (step**2).sum(axis=1)
    foot = start + np.clip(t, 0, 1)[..., None] * step
    return float(np.linalg.norm(line[:, None] - foot, axis=2).min(axis=1).max())


# -- resultant bend ------------------------------------------------------------------------------------------


# tan^2(bend) = tan^2(a) + tan^2(b), worked out beforehand; the relation used for limb deformities
# (Bar & Breitfuss 1989, J Bone Joint Surg Br 71:710, from memory)
@pytest.mark.parametrize(
    ("alpha", "beta", "bend"), [(20, 30, 34.3136), (25, 25, 33.4032), (30, 0, 30.0), (0, -30, 30.0)]
)
def test_two_views_at_right_angles(alpha, beta, bend):
    assert resultant_bend(alpha, beta).bend_deg == pytest.approx(bend, abs=5e-5)


@pytest.mark.parametrize(
    ("alpha", "beta", "plane"), [(25, 25, 45), (-25, 25, 135), (-25, -25, -135), (25, -25, -45), (0, 9, 90)]
)
def test_signs_of_the_angles_give_the_quadrant(alpha, beta, plane):
    assert resultant_bend(alpha, beta).plane_deg == pytest.approx(plane)


# sympy projects the direction on both image planes: no formula shared with the code
@pytest.mark.parametrize("turn", [90, 60, 135])
@pytest.mark.parametrize("direction", [(3, 1, 2), (5, -2, 1), (4, -1, -3)])
def test_projection_by_sympy_is_undone(turn, direction):
    delta = sympy.pi * sympy.Rational(turn, 180)
    origin, axis, bent = sympy.Point3D(0, 0, 0), sympy.Point3D(1, 0, 0), sympy.Point3D(*direction)
    angles = []
    for across in ((0, 1, 0), (0, sympy.cos(delta), sympy.sin(delta))):
        plane = sympy.Plane(origin, axis, sympy.Point3D(*across))
        image = plane.projection(bent)
        side = sum(a * b for a, b in zip(image.args, across, strict=True))
        angles.append(
            float(sympy.sign(side) * sympy.Line3D(origin, axis).angle_between(sympy.Line3D(origin, image)))
        )
    found = resultant_bend(*np.degrees(angles), between_views_deg=turn)
    wanted = sympy.Line3D(origin, axis).angle_between(sympy.Line3D(origin, bent))
    assert found.bend_deg == pytest.approx(float(wanted) * 180 / np.pi)
    assert found.plane_deg == pytest.approx(float(np.degrees(np.arctan2(direction[2], direction[1]))))


@given(st.floats(1, 60), ROUND, ROUND, TURNS)
def test_turning_the_pair_of_views_turns_the_plane_only(bend, azimuth, turned, between):
    def shown(f):
        u, v = np.tan(np.radians(bend)) * np.array([np.cos(np.radians(f)), np.sin(np.radians(f))])
        d = np.radians(between)
        return np.degrees(np.arctan([u, u * np.cos(d) + v * np.sin(d)]))

    one = resultant_bend(*shown(azimuth), between_views_deg=between)
    two = resultant_bend(*shown(azimuth - turned), between_views_deg=between)
    assert one.bend_deg == pytest.approx(bend, abs=1e-6)
    assert two.bend_deg == pytest.approx(bend, abs=1e-6)
    assert (one.plane_deg - two.plane_deg - turned + 180) % 360 == pytest.approx(180, abs=1e-5)


@given(st.floats(-70, 70), st.floats(-70, 70))
def test_mirrored_second_view_mirrors_the_plane_only(alpha, beta):
    assume(abs(beta) > 1e-6)
    one, two = resultant_bend(alpha, beta), resultant_bend(alpha, -beta)
    assert two.bend_deg == pytest.approx(one.bend_deg)
    assert two.plane_deg == pytest.approx(-one.plane_deg)


# independent library: the derivatives are taken by `uncertainties`
@pytest.mark.parametrize("between", [90.0, 50.0, 140.0])
@pytest.mark.parametrize(("alpha", "beta"), [(20, 30), (-15, 40), (30, 0)])
def test_uncertainty_as_the_uncertainties_library_has_it(alpha, beta, between):
    a, b, d = (ufloat(value, sd) for value, sd in ((alpha, 2.0), (beta, 3.0), (between, 4.0)))
    u, w, delta = umath.tan(umath.radians(a)), umath.tan(umath.radians(b)), umath.radians(d)
    v = (w - u * umath.cos(delta)) / umath.sin(delta)
    bend = umath.degrees(umath.atan(umath.sqrt(u**2 + v**2)))
    plane = umath.degrees(umath.atan2(v, u))
    found = resultant_bend(
        alpha, beta, between_views_deg=between, sd_alpha_deg=2.0, sd_beta_deg=3.0, sd_between_deg=4.0
    )
    assert (found.bend_deg, found.plane_deg) == pytest.approx((bend.n, plane.n))
    assert (found.sd_bend_deg, found.sd_plane_deg) == pytest.approx((bend.s, plane.s))


def test_without_a_bend_the_plane_is_unknown():
    found = resultant_bend(0, 0, sd_alpha_deg=2, sd_beta_deg=2)
    # a direction spread evenly over the circle has the standard deviation 360 / sqrt(12)
    assert found.sd_plane_deg == pytest.approx(360 / np.sqrt(12))
    assert found.sd_bend_deg == pytest.approx(np.hypot(2, 2))
    assert resultant_bend(10, 10, sd_alpha_deg=2).sd_bend_deg is None


@pytest.mark.parametrize("angle", [90, -90, 89, 135, np.nan, np.inf])
def test_angles_near_a_right_angle_are_refused(angle):
    with pytest.raises(PeriapicalError, match="-85 to 85"):
        resultant_bend(20, angle)
    with pytest.raises(PeriapicalError, match="first view"):
        resultant_bend(angle, 20)


@pytest.mark.parametrize("between", [0, 5, 175, 180, -90, np.nan])
def test_views_along_one_line_are_refused(between):
    with pytest.raises(PeriapicalError, match="10 to 170"):
        resultant_bend(20, 20, between_views_deg=between)
    line = straight_and_arc(8, 5, 30)
    with pytest.raises(PeriapicalError, match="10 to 170"):
        tv.reconstruct(line, line, between_views_deg=between)


# -- reconstruction ------------------------------------------------------------------------------------------


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
    assert sm.measure_in_space(found)["smallest_radius_3d_mm"].value == pytest.approx(1 / curvature, rel=0.03)


@pytest.mark.parametrize("azimuth", [0, 37, 90, -130])
@pytest.mark.parametrize("oracle", ORACLES)
def test_arc_in_a_turned_plane_has_its_planar_length_and_angles(oracle, azimuth):
    p, r, theta = oracle
    planar = straight_and_arc(p, r, theta)
    canal = in_space(planar, azimuth)
    found = tv.reconstruct(seen(canal, 0), seen(canal, 70), between_views_deg=70)
    values = sm.measure_in_space(found)
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


# -- what is refused -----------------------------------------------------------------------------------------


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


# -- measures of a line of any dimension ---------------------------------------------------------------------


def departure_by_definition(points: np.ndarray, tolerance: float):
    """Singular values and plain loops: another road to the same rule."""
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    even = np.stack([np.interp(np.linspace(0, s[-1], 110), s, c) for c in points.T], axis=1)

    def line(run):
        middle = run.mean(axis=0)
        direction = np.linalg.svd(run - middle)[2][0]
        return middle, direction * np.sign(direction @ (run[-1] - run[0]))

    def away(run, middle, direction):
        rel = run - middle
        return np.linalg.norm(rel - np.outer(rel @ direction, direction), axis=1)

    n = 2
    while n < 110 and away(even[: n + 1], *line(even[: n + 1])).max() <= tolerance:
        n += 1
    middle, direction = line(even[:n])
    distance = away(even, middle, direction)
    k = max(i for i in range(110) if distance[i] <= tolerance)
    return direction, even[k], even[min(k + 1, 109)]


@pytest.mark.parametrize("canal", [s_shape(), in_space(straight_and_arc(8, 5, 60), 70)], ids=["s", "arc"])
@pytest.mark.parametrize("tolerance", [0.05, 0.10, 0.25])
def test_axis_and_departure_follow_the_definition(canal, tolerance):
    found = sp.axis_and_departure(canal, tolerance)
    direction, before, after = departure_by_definition(canal, tolerance)
    assert found.leaves
    assert found.direction == pytest.approx(direction, abs=1e-6)
    # the departure point lies on the piece between the last sample within and the first beyond
    reach = np.linalg.norm(found.point - before) + np.linalg.norm(after - found.point)
    assert reach == pytest.approx(np.linalg.norm(after - before), abs=1e-9)
    rel = found.point - found.origin
    assert np.linalg.norm(rel - (rel @ direction) * direction) == pytest.approx(tolerance, abs=2e-3)


MEASURES = {
    "schneider": lambda line: sp.schneider_deg(line, 0.1),
    "weine": lambda line: sp.weine_deg(line, 0.1),
    "turning": sp.total_turning_deg,
    "curvature": sp.greatest_per_mm,
    "length": sp.length_mm,
}


@settings(max_examples=20)
@given(st.tuples(st.floats(5, 12), st.floats(3, 12), st.floats(20, 80)), ROUND, ROUND, st.booleans())
def test_measures_do_not_depend_on_where_the_canal_lies(oracle, first, second, mirrored):
    planar = straight_and_arc(*oracle, count=500)
    turn = rotation(np.array([1.0, 0, 0]), first) @ rotation(np.array([0.3, 1.0, -0.5]), second)
    moved = in_space(planar, 0) @ turn.T + [3.0, -7.0, 11.0]
    if mirrored:
        moved[:, 2] *= -1
    for name, measure in MEASURES.items():
        assert measure(moved) == pytest.approx(measure(planar), rel=1e-6, abs=1e-4), name


@settings(max_examples=20)
@given(st.floats(1.2, 3.0))
def test_angles_do_not_depend_on_size_when_everything_grows(factor):
    line = s_shape()
    assert sp.schneider_deg(factor * line, factor * 0.1) == pytest.approx(
        sp.schneider_deg(line, 0.1), abs=1e-4
    )
    assert sp.length_mm(factor * line) == pytest.approx(factor * sp.length_mm(line))


@pytest.mark.parametrize("radius", [3.0, 8.0])
def test_circle_in_space(radius):
    a = np.linspace(0, 10 / radius, 1000)
    flat = radius * np.stack([np.sin(a), 1 - np.cos(a), np.zeros_like(a)], axis=1)
    turn = rotation(np.array([1.0, 2.0, 3.0]), 70)
    circle = flat @ turn.T
    # the line of an arc has the direction of its middle; ten pieces of 1 mm turn by 1 / radius, nine times
    middle = a[-1] - 1 / radius
    tangent = turn @ [np.cos(middle), np.sin(middle), 0]
    assert sp.end_direction(circle) == pytest.approx(tangent, abs=2e-2)
    assert sp.total_turning_deg(circle) == pytest.approx(np.degrees(9 / radius), rel=1e-3)
    kappa = sp.curvature_per_mm(circle)[1]
    assert np.median(kappa) == pytest.approx(1 / radius, rel=0.01)
    assert kappa == pytest.approx(np.full(len(kappa), 1 / radius), rel=0.25)  # smoothing flattens the ends
    # the same circle walked the other way
    assert np.median(sp.curvature_per_mm(circle[::-1])[1]) == pytest.approx(1 / radius, rel=0.01)


def test_total_turning_of_a_stair_in_space():
    stair = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [1, 1, 1.0]])
    assert sp.total_turning_deg(stair) == pytest.approx(180)


def test_straight_canal():
    line = np.array([[0.0, 0.0], [12.0, 1.5]])
    values = sm.measure_in_space(tv.reconstruct(line, line))
    assert values["length_3d_mm"].value == pytest.approx(np.sqrt(12**2 + 2 * 1.5**2))
    for name in ("schneider_3d_deg", "weine_3d_deg", "total_turning_3d_deg", "greatest_curvature_3d_per_mm"):
        assert values[name].value == pytest.approx(0, abs=1e-5), name
    assert "smallest_radius_3d_mm" not in values


# -- uncertainty ---------------------------------------------------------------------------------------------


def test_no_uncertainty_is_stated_where_none_was_given():
    line = straight_and_arc(8, 5, 40)
    for sd in ({}, {"sd_first_mm": 0.05}):
        canal = tv.reconstruct(line, line, **sd)
        assert canal.sd_mm is None
        assert all(one.sd is None for one in sm.measure_in_space(canal).values())


def test_uncertainty_across_and_in_depth():
    line = np.stack([np.linspace(0, 12, 50), np.zeros(50)], axis=1)
    canal = tv.reconstruct(line, line, between_views_deg=60, sd_first_mm=0.03, sd_second_mm=np.full(50, 0.04))
    # depth = (second - first cos 60) / sin 60, independent views (JCGM 100:2008, 5.1.2)
    assert canal.sd_mm[:, 0] == pytest.approx(np.full(len(canal.sd_mm), 0.03))
    wanted = np.hypot(0.04, 0.03 * 0.5) / np.sin(np.radians(60))
    assert canal.sd_mm[:, 1] == pytest.approx(np.full(len(canal.sd_mm), wanted))


def test_a_slope_makes_an_error_aside_one_across():
    line = np.array([[0.0, 0.0], [8.0, 6.0]])
    upright = np.array([[0.0, 0.0], [8.0, 0.0]])
    canal = tv.reconstruct(line, upright, sd_first_mm=0.04, sd_second_mm=0.04)
    # right-angled triangle 3, 4, 5: at one height an error of 0.04 aside is 0.04 * 5 / 4 across
    assert canal.sd_mm[5] == pytest.approx([0.05, 0.04])


def test_length_spreads_as_the_mean_of_two_heights():
    line = np.stack([np.linspace(0, 12, 50), np.zeros(50)], axis=1)
    canal = tv.reconstruct(line, line, sd_first_mm=0.0, sd_second_mm=0.0, height_sd_mm=(0.3, 0.4))
    length = sm.measure_in_space(canal, draws=300)["length_3d_mm"]
    # half of sqrt(0.3^2 + 0.4^2); 300 draws know a standard deviation within 4 %
    assert length.sd == pytest.approx(0.25, rel=0.13)


def test_draws_come_from_their_seed():
    canal = tv.reconstruct(
        straight_and_arc(8, 5, 40), straight_and_arc(8, 5, 40), sd_first_mm=0.04, sd_second_mm=0.04
    )
    once, again = sm.measure_in_space(canal, draws=10), sm.measure_in_space(canal, draws=10)
    assert once == again
    assert sm.measure_in_space(canal, draws=10, seed=1) != once
    # a reciprocal keeps its relative uncertainty (JCGM 100:2008, 5.1.6)
    greatest, radius = once["greatest_curvature_3d_per_mm"], once["smallest_radius_3d_mm"]
    assert radius.sd / radius.value == pytest.approx(greatest.sd / greatest.value)


def test_stated_uncertainty_is_the_spread_of_repeated_traces():
    from scipy.ndimage import gaussian_filter1d

    rng = np.random.default_rng(3)
    truth = in_space(straight_and_arc(8, 6, 45, count=140), 35)
    step = sp.length_mm(truth) / 139

    def traced(view):
        noise = gaussian_filter1d(rng.standard_normal(140), 0.7 / step, mode="reflect")
        noise *= 0.04 * np.sqrt(
            2 * np.sqrt(np.pi) * 0.7 / step
        )  # white noise through that filter has 0.04 again
        return (view + np.stack([np.zeros(140), noise], axis=1)) * (1 + 0.01 * rng.standard_normal())

    height = 0.01 * truth[-1, 0]
    rows = [
        sm.measure_in_space(
            tv.reconstruct(
                traced(seen(truth, 0)),
                traced(seen(truth, 90)),
                sd_first_mm=0.04,
                sd_second_mm=0.04,
                height_sd_mm=(height, height),
            ),
            draws=20,
        )
        for _ in range(40)
    ]
    for name in ("length_3d_mm", "schneider_3d_deg", "weine_3d_deg", "greatest_curvature_3d_per_mm"):
        spread = np.std([row[name].value for row in rows])
        stated = np.median([row[name].sd for row in rows])
        assert 0.6 < stated / spread < 1.8, (name, stated, spread)
    # errors only ever add to the turning: this is said, not hidden
    said = [any("shift it" in text for text in row["total_turning_3d_deg"].notes) for row in rows]
    assert np.mean(said) > 0.8
