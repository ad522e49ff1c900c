"""Every curvature method against closed forms, published pairs, and independent libraries.

Allowed differences: a canal leaves its axis by the tolerance only some way into the bend, so the departure
lies `a = arccos(1 - tolerance / r)` along an arc of radius r instead of at its start; and the axis ends at
one of the samples. The apical direction is that of a line fitted to the last `m` mm: on an arc, the
tangent at their middle, m / 2r short of the end. All vanish with tolerance, spacing, and m; each check says
what it allows.
"""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from radio.measure.curvature import stack_of_traces
from radio.measure.methods.line_arc_line import line_arc_line
from radio.measure.stack import Placed, TraceStack
from radio.trace.circle import circumcircles
from tests.fixtures.bent import answers, answers_of, chain, dense, kinked, straight_and_arc, turned

TOLERANCE, COUNT = 1e-6, 1601
# Straight for p, then an arc of radius r through theta: p, r, theta, Schneider, access angle, angle at the
# end of the triangle, chord, orifice to end, arc, height and distance from the departure, from the deepest
# point, theta / r. Exact by plain geometry, rounded to four digits; recomputed with sympy below.
ROWS = [
    (8, 5, 60, 30.0, 11.4617, 18.5383, 5.0, 12.5810, 5.2360, 1.5897, 7.8405, 1.6894, 8.8340, 12),
    (10, 10, 40, 20.0, 8.1052, 11.8948, 6.8404, 16.5936, 6.9813, 1.4099, 9.9001, 1.5098, 11.3100, 4),
    (6, 2, 75, 37.5, 10.5857, 26.9143, 2.4350, 8.0692, 2.6180, 1.1022, 5.8979, 1.1363, 6.2653, 37.5),
    (9, 8, 20, 10.0, 2.3540, 7.6460, 2.7784, 11.7461, 2.7925, 0.3697, 8.9924, 0.3764, 9.3210, 2.5),
    (7, 4, 90, 45.0, 19.9831, 25.0169, 5.6569, 11.7047, 6.2832, 2.3922, 6.5786, 2.6330, 7.9455, 22.5),
    (10, 6, 30, 15.0, 3.5383, 11.4617, 3.1058, 13.0248, 3.1416, 0.6172, 9.9809, 0.6286, 10.3512, 5),
]
ROW_NAMES = [f"p {row[0]} r {row[1]} theta {row[2]}" for row in ROWS]
BENDS = st.lists(st.tuples(st.floats(1.5, 5), st.floats(-60, 60)), min_size=1, max_size=3)


@pytest.mark.parametrize("row", ROWS, ids=ROW_NAMES)
def test_the_table_itself_by_another_road(row) -> None:
    p, r, theta = (sympy.Integer(x) for x in row[:3])
    angle = theta * sympy.pi / 180

    def on_arc(turn: sympy.Expr) -> sympy.Point:
        # 30 digits as a fraction: exact trigonometry of 20 degrees takes a minute
        place = (p + r * sympy.sin(turn), r * (1 - sympy.cos(turn)))
        return sympy.Point(*(sympy.Rational(str(sympy.N(one, 30))) for one in place))

    a, b, c = sympy.Point(0, 0), sympy.Point(p, 0), on_arc(angle)
    base, lean = sympy.Line(a, c), sympy.atan2(c.y, c.x)
    deepest = on_arc(lean)  # where the tangent is parallel to the base
    exact = (
        sympy.deg(sympy.Ray(b, (p + 1, 0)).angle_between(sympy.Ray(b, c))),
        sympy.deg(lean),
        sympy.deg(sympy.Triangle(a, b, c).angles[c]),
        b.distance(c),
        a.distance(c),
        r * angle,
        base.distance(b),
        a.distance(base.projection(b)),
        base.distance(deepest),
        a.distance(base.projection(deepest)),
        theta / r,
    )
    assert [float(sympy.N(one)) for one in exact] == pytest.approx(row[3:], abs=6e-5)


@pytest.mark.parametrize("tolerance", [1e-3, TOLERANCE])
@pytest.mark.parametrize("row", ROWS, ids=ROW_NAMES)
def test_exact_relations_of_straight_and_arc(row, tolerance) -> None:
    p, r, theta, schneider, access, at_end, chord, base, arc, x, y, x_deep, y_deep, quotient = row
    stack = dense(straight_and_arc(p, r, theta, COUNT), tolerance)
    found = answers(stack)
    spacing = (p + arc) / (COUNT - 1)
    # the least-squares axis follows the bend as long as the tolerance allows: twice the plain arc at most
    late = 2 * np.arccos(1 - tolerance / r) + spacing / r
    near_deg, near_mm = np.degrees(late) / 2 + 6e-5, r * late + 6e-5
    # tangents at either end: the lean of the fitted axis, tolerance over p, and what the apical portion takes
    lean = np.degrees(4 * tolerance / p + spacing / r)
    short = np.degrees(stack.apical_portion / (2 * r))
    assert short < 1.5
    assert found["weine_deg"] == pytest.approx(theta - short, abs=lean)
    # the fit of line, arc, and line knows places along the canal to a fraction of a sample
    search = 0.001 * (p + arc) / r
    assert found["tangent_circle_deg"] == pytest.approx(theta, abs=np.degrees(search))
    assert found["tangent_circle_radius_mm"] == pytest.approx(r, rel=1e-2)
    assert found["angle_over_radius_deg_per_mm"] == pytest.approx(
        quotient, rel=1e-2 + np.degrees(search) / theta
    )
    if tolerance == 1e-3:  # where lines fitted to samples are left is not known to a millionth
        away = r * np.tan(np.radians(theta) / 2)
        assert found["tangent_circle_asymmetry"] == pytest.approx(1.0, abs=(3 * near_mm + search * r) / away)
    assert found["schneider_deg"] == pytest.approx(schneider, abs=near_deg)
    assert found["access_angle_deg"] == pytest.approx(access, abs=near_deg)
    assert found["schneider_deg"] - found["access_angle_deg"] == pytest.approx(at_end, abs=2 * near_deg)
    assert np.hypot(*stack.chord[0]) == pytest.approx(chord, abs=near_mm)
    assert np.hypot(*(stack.end - stack.orifice)[0]) == pytest.approx(base, abs=6e-5)
    assert found["chord_arc_mm"] == pytest.approx(arc, abs=near_mm)
    # r = chord / (2 sin): both move with the departure
    assert found["chord_radius_mm"] == pytest.approx(r, rel=2 * near_mm / chord)
    assert found["curve_height_mm"] == pytest.approx(x, abs=near_mm)
    assert found["curve_distance_mm"] == pytest.approx(y, abs=near_mm)
    assert found["curve_height_deepest_mm"] == pytest.approx(x_deep, abs=6e-5)
    # near the deepest point the canal runs along the base: one sample to either side is as deep
    assert found["curve_distance_deepest_mm"] == pytest.approx(y_deep, abs=spacing)


@pytest.mark.parametrize("row", ROWS, ids=ROW_NAMES)
def test_what_is_left_shrinks_with_the_tolerance(row) -> None:
    trace = straight_and_arc(*row[:3], COUNT)
    errors = [abs(answers(dense(trace, t))["schneider_deg"] - row[3]) for t in (1e-1, 1e-2, 1e-3, 1e-4)]
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 0.1 * errors[0]


@pytest.mark.parametrize("apical_mm", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(("r", "theta"), [(5, 60), (10, 40), (4, 75)])
def test_an_apical_portion_on_an_arc_takes_half_its_turn_from_the_angle(r, theta, apical_mm) -> None:
    # the least-squares line of an arc is parallel to the tangent at its middle, by symmetry
    stack = dense(straight_and_arc(9, r, theta), apical_mm=apical_mm)
    short = np.degrees(apical_mm / (2 * r))
    assert answers(stack)["weine_deg"] == pytest.approx(theta - short, abs=0.1)
    # and nothing where the canal ends straight
    ends_straight = dense(chain((9, 0), (r * np.radians(theta), theta), (2.5, 0)), apical_mm=apical_mm)
    assert answers(ends_straight)["weine_deg"] == pytest.approx(theta, abs=1e-4)


@pytest.mark.parametrize("theta", [15.0, 40.0, 75.0])
def test_long_axes_of_straight_parts_have_the_angle_of_the_arc(theta: float) -> None:
    # exact where both portions are straight, which a third of the canal is here
    found = answers_of(chain((6, 0), (3, theta), (6, 0)))
    assert found["long_axis_deg"] == pytest.approx(theta, abs=1e-6)


# -- relations that hold for any trace ---------------------------------------------------------------------


def placed_on(points: np.ndarray, at: int) -> TraceStack:
    """Axis through orifice and departure, as the textbook triangle has it."""
    return TraceStack(points[None], placed=Placed(np.stack([points[0], points[at]]), points[at]))


@settings(max_examples=40)
@given(st.floats(3, 10), BENDS, st.integers(20, 80))
def test_triangle_of_orifice_departure_and_end(straight: float, bends, at: int) -> None:
    points = chain((straight, 0), *bends, count=110)
    stack = placed_on(points, at)
    found = answers(stack)
    schneider, access = np.radians(found["schneider_deg"]), np.radians(found["access_angle_deg"])
    p, q, base = (float(Point(*u).distance(Point(*v))) for u, v in sides(points[0], points[at], points[-1]))
    # exterior angle theorem; the angle at the end by the law of cosines
    at_end = np.arccos(np.clip((q**2 + base**2 - p**2) / (2 * q * base), -1, 1))
    assert schneider - access == pytest.approx(at_end, abs=1e-6)
    assert access <= schneider + 1e-9
    x, y = found["curve_height_mm"], found["curve_distance_mm"]
    assert np.tan(access) * y == pytest.approx(x, abs=1e-9)
    assert np.tan(access) * (p + q * np.cos(schneider)) == pytest.approx(q * np.sin(schneider), abs=1e-9)


def sides(a, b, c):
    return (a, b), (b, c), (a, c)


@settings(max_examples=40)
@given(st.floats(4, 10), BENDS)
def test_heights_and_distances_are_those_of_plain_projection(straight: float, bends) -> None:
    points = chain((straight, 0), *bends, count=110)
    stack = dense(points, 0.1)
    found = answers(stack)
    base = LineString(points[[0, -1]])
    line = LineString(
        [points[0] - 100 * (points[-1] - points[0]), points[-1] + 100 * (points[-1] - points[0])]
    )
    reach = 100 * base.length
    if not stack.leaves[0]:
        assert "curve_height_mm" not in found
        return
    b = Point(stack.departure[0])
    assert found["curve_height_mm"] == pytest.approx(line.distance(b), abs=1e-6)
    assert found["curve_distance_mm"] == pytest.approx(line.project(b) - reach, abs=1e-6)
    depths = [line.distance(Point(one)) for one in points]
    assert found["curve_height_deepest_mm"] == pytest.approx(max(depths), abs=1e-6)
    deepest = Point(points[int(np.argmax(depths))])
    if sorted(depths)[-1] - sorted(depths)[-2] > 1e-9:
        assert found["curve_distance_deepest_mm"] == pytest.approx(line.project(deepest) - reach, abs=1e-6)


@settings(max_examples=40)
@given(st.lists(st.floats(-50, 50), min_size=2, max_size=6), st.floats(0, 360))
def test_turning_of_a_polyline_is_at_least_the_angle_between_its_ends(turns, degrees: float) -> None:
    # triangle inequality of directions; kinks every 3 mm of straight, so that both ends are straight for it
    heading = np.radians(np.concatenate([[0], np.cumsum(turns)]))
    steps = 3.0 * np.stack([np.cos(heading), np.sin(heading)], axis=1)
    points = turned(np.vstack([[0, 0], np.cumsum(steps, axis=0)]), degrees)
    found = answers_of(points, tolerance=1e-3)
    net = abs((np.degrees(heading[-1]) + 180) % 360 - 180)
    assert found["total_turning_deg"] >= net - 1e-6
    assert found["pieces_sum_deg"] >= found["pieces_greatest_deg"] - 1e-9
    # stations every millimetre meet every kink, so that the sum is that of the kinks
    assert found["total_turning_deg"] == pytest.approx(np.abs(turns).sum(), abs=1e-4)
    if abs(turns[0]) > 2:  # the axis is that of the first piece
        assert found["weine_deg"] == pytest.approx(net, abs=1.0)
        assert found["total_turning_deg"] >= found["weine_deg"] - 1.0
        if len({np.sign(t) for t in turns}) == 1 and np.abs(turns).sum() < 180:
            assert found["total_turning_deg"] == pytest.approx(found["weine_deg"], abs=1.0)


@pytest.mark.parametrize(("p", "r", "theta"), [row[:3] for row in ROWS if row[2] * row[1] > 115])
def test_four_points_and_turning_fall_short_by_half_a_step_of_arc(p, r, theta) -> None:
    # a chord of 1 mm at the end of an arc stands 1 / 2r from the end tangent, a station chord likewise
    trace = straight_and_arc(p, r, theta)
    found = answers(dense(trace))
    assert found["four_point_deg"] == pytest.approx(theta - np.degrees(1 / (2 * r)), abs=1e-3)
    length = p + r * np.radians(theta)
    step = length / round(length)
    assert found["total_turning_deg"] == pytest.approx(theta - np.degrees(step / (2 * r)), abs=1e-2)
    pieces = length / 6
    if p / pieces == pytest.approx(round(p / pieces), abs=1e-9):
        assert found["pieces_sum_deg"] == pytest.approx(theta - np.degrees(pieces / (2 * r)), abs=1e-2)


def test_straight_pieces_of_an_arc() -> None:
    # six chords of an arc of 60 degrees turn by 10 degrees at each of five joints
    found = answers_of(chain((10, 60)))
    assert found["pieces_greatest_deg"] == pytest.approx(10, abs=0.01)
    assert found["pieces_sum_deg"] == pytest.approx(50, abs=0.02)


# -- published pairs of angle and radius -------------------------------------------------------------------


@pytest.mark.parametrize("r", [2, 5])
@pytest.mark.parametrize("theta", [30, 45, 60])
def test_tubes(r: float, theta: float) -> None:
    # tubes of Pruett et al. 1997 (scanned page): 30, 45, 60 degrees with 2 and 5 mm, straight at both ends
    arc = {2: (1.0472, 1.5708, 2.0944), 5: (2.6180, 3.9270, 5.2360)}[r][(30, 45, 60).index(theta)]
    found = answers_of(chain((7, 0), (arc, theta), (6, 0)), tolerance=1e-3)
    assert found["tangent_circle_deg"] == pytest.approx(theta, abs=0.2)
    assert found["tangent_circle_radius_mm"] == pytest.approx(r, rel=0.02)
    assert found["angle_over_radius_deg_per_mm"] == pytest.approx(theta / r, rel=0.025)
    # one sample of 110 further from the vertex than at the other end
    spacing, away = (13 + arc) / 109, r * np.tan(np.radians(theta) / 2)
    assert found["tangent_circle_asymmetry"] == pytest.approx(1, abs=spacing / away)
    # the departure tolerance has no part in the fit
    usual = answers_of(chain((7, 0), (arc, theta), (6, 0)))
    assert usual["tangent_circle_deg"] == found["tangent_circle_deg"]
    assert usual["tangent_circle_radius_mm"] == found["tangent_circle_radius_mm"]
    # ending where the arc ends, the chord gives the arc's own length
    short = answers(dense(chain((7, 0), (arc, theta))))
    assert short["chord_arc_mm"] == pytest.approx(arc, abs=0.01)
    assert short["chord_radius_mm"] == pytest.approx(r, rel=0.006)


@pytest.mark.parametrize(
    ("chord", "alpha", "tangent_r", "arc", "central_r"),
    [(5, 30, 5.0, 5.2360, 9.6593), (4, 20, 5.8476, None, 11.5175), (6, 35, 5.2303, None, 9.9765)],
)
def test_radius_from_chord_and_angle(chord, alpha, tangent_r, arc, central_r) -> None:
    # both readings of Schafer et al. 2002; which the paper means is from memory, the numbers are exact
    points = kinked(8, alpha, chord)
    placed = Placed(points[:2], points[1])
    found = answers(stack_of_traces(points, placed=placed))
    assert found["chord_radius_mm"] == pytest.approx(tangent_r, abs=5e-5)
    assert found["chord_radius_central_mm"] == pytest.approx(central_r, abs=5e-5)
    assert found["chord_arc_mm"] == pytest.approx(2 * np.radians(alpha) * tangent_r, abs=1e-3)
    if arc is not None:
        assert found["chord_arc_mm"] == pytest.approx(arc, abs=5e-5)


@pytest.mark.parametrize(
    ("theta", "radius"), [(30, 11.591), (45, 7.839), (60, 6.0), (90, 4.243), (44.049, 8.0), (97.181, 4.0)]
)
def test_two_segments_of_six_millimetres(theta: float, radius: float) -> None:
    # Estrela et al. 2008; the 6 mm are from memory, 6 / (2 sin(theta / 2)) is exact. 8 and 4 mm are the
    # boundaries of its classes (from memory)
    found = answers_of(kinked(8, theta, 6), tolerance=1e-4)
    assert found["two_segment_radius_mm"] == pytest.approx(radius, abs=0.002 * radius)
    assert found["two_segment_radius_mm"] == pytest.approx(3 / np.sin(np.radians(theta) / 2), rel=2e-3)


@pytest.mark.parametrize(("p", "r", "theta"), [(6.5, 4, 25), (8, 14, 12), (5, 20, 10.5)])
def test_a_gentle_bend_within_the_tolerance_of_both_lines_still_has_its_circle(p, r, theta) -> None:
    # the arc stays r (1 - cos(theta / 2)) or less from one of the lines, which is no more than the tolerance:
    # no sample lies between the places where it leaves them
    assert r * (1 - np.cos(np.radians(theta / 2))) < 0.1
    traces = [chain((p, 0), (r * np.radians(theta), theta), (3, 0), count=n) for n in (50, 300, 1200)]
    radii = [answers_of(trace)["tangent_circle_radius_mm"] for trace in traces]
    assert radii == pytest.approx([r] * 3, rel=0.06)


@pytest.mark.parametrize(("p", "r", "theta"), [row[:3] for row in ROWS if row[1] * row[2] > 220])
def test_a_canal_that_bends_to_its_end_has_the_circle_of_its_bend(p, r, theta) -> None:
    assert answers_of(straight_and_arc(p, r, theta))["tangent_circle_radius_mm"] == pytest.approx(r, rel=0.02)


def test_a_kink_has_next_to_no_radius() -> None:
    assert answers_of(kinked(9, 57, 5))["tangent_circle_radius_mm"] < 0.8


def test_extreme_canal() -> None:
    # Schafer et al. 2002 (abstract): greatest angle found 75 degrees, with a radius of 2 mm
    found = answers(dense(straight_and_arc(6, 2, 150)))
    assert found["schneider_deg"] == pytest.approx(75, abs=0.1)
    assert found["chord_radius_mm"] == pytest.approx(2, rel=0.01)


# -- exact constructions by an independent library ---------------------------------------------------------


@settings(max_examples=25)
@given(st.lists(st.integers(-40, 40), min_size=6, max_size=6))
def test_circumcentre(six) -> None:
    a, b, c = (sympy.Point(*six[i : i + 2]) for i in (0, 2, 4))
    points = [np.array([p.x, p.y], dtype=float)[None] for p in (a, b, c)]
    centre, radius = circumcircles(*points)
    if sympy.Point.is_collinear(a, b, c):
        assert np.isnan(radius[0])
        return
    exact = sympy.Circle(a, b, c)
    assert radius[0] == pytest.approx(float(exact.radius), rel=1e-9)
    assert centre[0] == pytest.approx([float(exact.center.x), float(exact.center.y)], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("theta", "r"), [(30, 5), (60, 3), (90, 4)])
def test_tangent_construction(theta: float, r: float) -> None:
    # centre where the perpendiculars at both points of contact meet: Pruett's construction (from memory)
    p, tail, angle = 7, 5, sympy.rad(theta)
    first = sympy.Point(p, 0)
    second = sympy.Point(p + r * sympy.sin(angle), r * (1 - sympy.cos(angle)))
    along = sympy.Point(sympy.cos(angle), sympy.sin(angle))
    coronal, apical = sympy.Line((0, 0), first), sympy.Line(second, second + along)
    (centre,) = coronal.perpendicular_line(first).intersection(apical.perpendicular_line(second))
    (vertex,) = coronal.intersection(apical)
    stack = stack_of_traces(chain((p, 0), (r * np.radians(theta), theta), (tail, 0)), tolerance=1e-3)
    fit = line_arc_line(stack)
    assert fit.centre[0] == pytest.approx([float(centre.x), float(centre.y)], abs=0.06)
    assert fit.radius[0] == pytest.approx(float(centre.distance(first)), rel=0.01)
    assert fit.first_point[0] == pytest.approx([float(first.x), float(first.y)], abs=0.06)
    assert fit.second_point[0] == pytest.approx([float(second.x), float(second.y)], abs=0.06)
    # r = T / tan(theta / 2), T from the vertex to either point of contact
    assert float(vertex.distance(first) / sympy.tan(angle / 2)) == pytest.approx(r, rel=1e-9)
    asymmetry = answers(stack)["tangent_circle_asymmetry"]
    assert asymmetry == pytest.approx(1, abs=0.1)  # one of 110 samples
