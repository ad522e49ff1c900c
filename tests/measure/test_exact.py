"""Points that stay exactly where a person put them: lines pass through them, finders leave them alone.

The images are painted from closed-form lines, so a point 0.4 mm off is off by construction.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from radio.errors import TraceError
from radio.measure.case import CaseFacts
from radio.measure.pipeline import measure_case
from radio.trace.along import CLICK_SD_MM
from radio.trace.curve import normals, project
from tests.fixtures.painted import as_radiograph, painted_tooth

TOOTH, EMPTY = painted_tooth(ball=True), painted_tooth(ball=True, size=None)
MM = TOOTH.mm_per_px
FACTS = CaseFacts(file_length_mm=TOOTH.file_length_mm, file_size=20, ball_diameter_mm=3.0)
UNMARKED = {n: p for n, p in TOOTH.clicks.items() if not n.startswith("file")}
# a file in the canal, a file that no click names, no file
CASES = {
    "file": (as_radiograph(TOOTH.grey), dict(TOOTH.clicks)),
    "unmarked": (as_radiograph(TOOTH.grey), UNMARKED),
    "alone": (as_radiograph(EMPTY.grey), dict(EMPTY.clicks)),
}


def measured(case, clicks, *exact):
    """Measure a case with some clicks put elsewhere."""
    radiograph, start = CASES[case]
    return measure_case(radiograph, {**start, **clicks}, replace(FACTS, exact=tuple(sorted(exact))))


def away_mm(line, point):
    return abs(project(line.points_px, point)[1]) * MM


def beside(line, share, aside_mm):
    """A point beside a traced line, at a share of its length."""
    points = line.points_px
    at = int(share * (len(points) - 1))
    return points[at] + aside_mm / MM * normals(points)[at]


PLAIN = {case: measured(case, {}) for case in CASES}


@pytest.mark.parametrize("aside_mm", [0.4, -0.4])
@pytest.mark.parametrize(
    ("case", "landmark", "share"),
    [
        ("alone", "canal_via", 0.3),
        ("alone", "canal_via", 0.7),
        ("unmarked", "canal_via", 0.3),
        ("file", "canal_via", 0.3),  # beside the file in the canal
        ("file", "canal_via", 0.95),  # beyond its tip
        ("file", "file_via", 0.4),
        ("file", "file_via", 0.9),
    ],
)
def test_a_line_passes_through_an_exact_point_and_not_through_a_plain_click(case, landmark, share, aside_mm):
    name = "file_line" if landmark == "file_via" else "canal_line"
    line = getattr(PLAIN[case], name)
    point = beside(line, share, aside_mm)
    clicks = {landmark: point[None]}
    plain, exact = measured(case, clicks), measured(case, clicks, (landmark, 0))
    assert away_mm(getattr(exact, name), point) < 0.05
    if share < 0.9:  # beyond a tip and close to an end a click is most of what there is
        assert away_mm(getattr(plain, name), point) > 0.3
    # away from the point the line is the one the image shows
    drawn = getattr(exact, name).points_px
    far = np.hypot(*(drawn - point).T) * MM > 2.5
    # what the plain click leaves of the line is what the exact one may leave, and a little more
    assert max(away_mm(getattr(plain, name), p) for p in drawn[far]) < 0.12


def test_a_point_on_the_line_changes_the_line_nowhere():
    line = PLAIN["alone"].canal_line
    point = beside(line, 0.5, 0.0)
    clicks = {"canal_via": point[None]}
    plain, exact = measured("alone", clicks), measured("alone", clicks, ("canal_via", 0))
    assert max(away_mm(plain.canal_line, p) for p in exact.canal_line.points_px) < 0.03


@pytest.mark.parametrize(
    ("case", "landmark"),
    [
        *((case, landmark) for case in CASES for landmark in ("orifice", "apex")),
        ("file", "file_tip"),
        ("file", "file_start"),
    ],
)
@pytest.mark.parametrize("shift_mm", [(0.35, 0.2), (-0.35, -0.2)])
def test_a_landmark_stays_exactly_where_it_was_put(case, landmark, shift_mm):
    found = PLAIN[case].landmarks[landmark].point_px
    point = found + np.array(shift_mm) / MM
    clicks = {landmark: point[None]}
    plain, exact = measured(case, clicks), measured(case, clicks, (landmark, 0))
    fix = exact.landmarks[landmark]
    np.testing.assert_array_equal(fix.point_px, point)
    assert (fix.how, fix.refined) == ("placed exactly, by hand", False)
    # insisting makes no hand more certain
    mm = exact.scale.mm_per_px if exact.scale else MM
    assert fix.sd_along_px * mm == pytest.approx(CLICK_SD_MM, rel=0.35)
    assert fix.sd_along_px == fix.sd_across_px
    line = exact.file_line if landmark.startswith("file") else exact.canal_line
    ends = {"orifice": 0, "file_start": 0, "file_tip": -1, "apex": -1}
    assert np.hypot(*(line.points_px[ends[landmark]] - point)) * MM < 0.05
    assert np.hypot(*(plain.landmarks[landmark].point_px - point)) * MM > 0.1


def test_an_exact_canal_end_is_the_end_of_the_canal_and_the_apex_is_found_beside_it():
    end = PLAIN["alone"].canal_line.points_px[-1] + np.array([-0.5, 0.3]) / MM
    exact = measured("alone", {"canal_end": end[None]}, ("canal_end", 0))
    assert np.hypot(*(exact.canal_line.points_px[-1] - end)) * MM < 0.05
    np.testing.assert_array_equal(exact.landmarks["canal_end"].point_px, end)
    assert exact.landmarks["apex"].how == "end of the root outline"


def test_an_exact_apex_beside_a_canal_end_does_not_draw_the_canal_to_it():
    line = PLAIN["alone"].canal_line
    end, apex = line.points_px[-1] - np.array([0.5, 0.0]) / MM, beside(line, 1.0, 0.6)
    exact = measured("alone", {"canal_end": end[None], "apex": apex[None]}, ("apex", 0))
    np.testing.assert_array_equal(exact.landmarks["apex"].point_px, apex)
    assert away_mm(exact.canal_line, apex) > 0.3


def test_the_gap_is_counted_between_exact_points():
    tip = PLAIN["file"].landmarks["file_tip"].point_px
    apex = PLAIN["file"].landmarks["apex"].point_px + np.array([0.4, 0.0]) / MM
    exact = measured("file", {"file_tip": tip[None], "apex": apex[None]}, ("file_tip", 0), ("apex", 0))
    gap, plain = exact.measurements["gap_mm"], PLAIN["file"].measurements["gap_mm"]
    straight = np.hypot(*(apex - tip)) * exact.scale.mm_per_px
    assert straight - 0.05 <= gap.value <= 1.1 * straight
    # two clicks: the scatter of both
    assert gap.sd >= np.sqrt(2) * 0.8 * CLICK_SD_MM
    assert gap.sd > plain.sd


def test_a_line_is_as_uncertain_at_an_exact_point_as_a_hand():
    line = PLAIN["alone"].canal_line
    point = beside(line, 0.5, 0.4)
    exact = measured("alone", {"canal_via": point[None]}, ("canal_via", 0)).canal_line
    at = int(np.hypot(*(exact.points_px - point).T).argmin())
    assert exact.sd_px[at] * MM == pytest.approx(CLICK_SD_MM, rel=0.3)
    assert not exact.confident[at]  # the image shows the canal elsewhere
    assert exact.sd_px[5] * MM < 0.6 * CLICK_SD_MM


def test_the_first_of_several_via_points_is_held_and_the_others_are_not():
    line = PLAIN["alone"].canal_line
    points = np.vstack([beside(line, 0.3, 0.4), beside(line, 0.7, -0.4)])
    exact = measured("alone", {"canal_via": points}, ("canal_via", 0)).canal_line
    assert away_mm(exact, points[0]) < 0.05
    assert away_mm(exact, points[1]) > 0.3
    both = measured("alone", {"canal_via": points}, ("canal_via", 0), ("canal_via", 1)).canal_line
    assert max(away_mm(both, p) for p in points) < 0.05


def test_without_exact_points_nothing_is_different():
    again = measure_case(*CASES["file"], FACTS)
    assert again.facts.exact == ()
    for name in ("file_line", "canal_line"):
        one, other = getattr(PLAIN["file"], name), getattr(again, name)
        for field in ("points_px", "sd_px", "confident"):
            np.testing.assert_array_equal(getattr(one, field), getattr(other, field))
    assert again.landmarks == PLAIN["file"].landmarks


@pytest.mark.parametrize(
    ("exact", "words"),
    [
        (("apx", 0), "Unknown landmark 'apx' among the points placed exactly; allowed are"),
        (("apex", 1), "Point 1 of apex is to stay exactly where it was put, but it has 1, counted from 0"),
        (("apex", -1), "Point -1 of apex"),
        (("canal_end", 0), "it is not placed"),
    ],
)
def test_a_point_that_is_not_there_cannot_stay_exactly_where_it_is(exact, words):
    with pytest.raises(TraceError, match=words):
        measured("file", {}, exact)
