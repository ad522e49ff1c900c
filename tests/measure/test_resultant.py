"""Bend from two planar angles against plain geometry in space and independent libraries."""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from hypothesis import assume, given
from hypothesis import strategies as st
from uncertainties import ufloat, umath

from radio.errors import PeriapicalError
from radio.measure import two_views as tv
from radio.measure.resultant import resultant_bend
from tests.fixtures.in_space import (
    ROUND,
    TURNS,
    straight_and_arc,
)


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
