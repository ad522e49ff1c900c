"""A file in the canal that no click names, on painted radiographs and on the sample images."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from radio.image.synthetic import make_case
from radio.measure.case import CaseFacts
from radio.measure.pipeline import measure_case
from radio.trace.curve import arc_length, project
from radio.trace.unmarked import unmarked_file
from tests.fixtures.painted import Canvas, Course, as_radiograph, fitting, painted_tooth

CANAL = ("orifice", "canal_via", "apex")


def on_canal(tooth, *, via=True):
    names = CANAL if via else ("orifice", "apex")
    return np.vstack([tooth.clicks[n] for n in names])


@pytest.mark.parametrize("via", [True, False])
@pytest.mark.parametrize(("size", "um"), [(10, 20), (20, 30), (35, 50)])
@pytest.mark.parametrize("turned", [0.0, 130.0])
def test_it_is_found_to_its_tip(size, um, turned, via) -> None:
    tooth = painted_tooth(size=size, mm_per_px=um / 1000, turned_deg=turned)
    line = unmarked_file(tooth.grey, on_canal(tooth, via=via), mm_per_px=tooth.mm_per_px)
    assert line is not None
    distance = shapely.distance(shapely.points(line.points_px), shapely.LineString(tooth.file_px))
    assert np.median(distance) * tooth.mm_per_px < 0.02
    s, _ = project(tooth.file_px, line.points_px[-1])
    # short of the tip the dark canal would be looked for in the metal; beyond it the line runs on
    assert -0.35 < (s - arc_length(tooth.file_px)) * tooth.mm_per_px < 0.75


@pytest.mark.parametrize("seed", range(6))
def test_a_canal_without_a_file_has_none(seed) -> None:
    tooth = painted_tooth(size=None, seed=seed, noise=0.03)
    assert unmarked_file(tooth.grey, on_canal(tooth), mm_per_px=tooth.mm_per_px) is None


@pytest.mark.parametrize("seed", range(6))
def test_texture_is_no_file(seed) -> None:
    grey = Canvas((600, 400), 0.03).developed(noise=0.03, texture=0.04, seed=seed)
    clicks = np.array([[80.0, 200.0], [300.0, 190.0], [520.0, 200.0]])
    assert unmarked_file(grey, clicks, mm_per_px=0.03) is None


@pytest.mark.parametrize("aside_mm", [1.0, -1.0])
def test_a_file_in_the_next_canal_is_not_taken(aside_mm) -> None:
    tooth = painted_tooth(click_sd_mm=0.1)
    clicks = on_canal(tooth) + np.array([0.0, aside_mm / tooth.mm_per_px])
    assert unmarked_file(tooth.grey, clicks, mm_per_px=tooth.mm_per_px) is None


def test_the_canal_is_traced_about_it_and_the_user_told() -> None:
    tooth = painted_tooth()
    clicks = {n: tooth.clicks[n] for n in ("orifice", "apex")}
    facts = CaseFacts(mm_per_px=tooth.mm_per_px)
    bare = measure_case(as_radiograph(tooth.grey), clicks, facts)
    named = measure_case(as_radiograph(tooth.grey), tooth.clicks, facts)
    assert any("no click names it" in r.text and r.level == "warn" for r in bare.remarks)
    assert not any("no click names it" in r.text for r in named.remarks)
    for result in (bare, named):
        distance = shapely.distance(
            shapely.points(result.canal_line.points_px), shapely.LineString(tooth.canal_px)
        )
        assert distance.mean() * tooth.mm_per_px < 0.06
    assert bare.file_line is None
    angle = bare.measurements["schneider_deg"]
    assert angle.value == pytest.approx(named.measurements["schneider_deg"].value, abs=2 * angle.sd)


def test_clicks_on_the_canal_alone_do_as_well_where_there_is_a_file_on_synthetic_radiographs() -> None:
    off_mm = []
    for seed in range(8201, 8207):
        case = make_case(seed, file_size=20, pitch_mm=0.035, gap_mm=1.0)
        clicks = {n: case.clicks[n] for n in ("orifice", "apex", "canal_end") if n in case.clicks}
        result = measure_case(case.grey, clicks, CaseFacts(mm_per_px=case.truth.mm_per_px))
        line = shapely.LineString(case.truth.canal_axis_px)
        inner = shapely.points(result.canal_line.points_px[5:-5])
        off_mm.append(shapely.distance(inner, line).mean() * case.truth.mm_per_px)
    # the dark margin beside the file, which was followed once, lies 0.3 mm and more aside
    assert np.median(off_mm) < 0.08
    assert max(off_mm) < 0.25


@pytest.mark.parametrize("turn", [0.0, 60.0])
def test_the_dome_of_a_root_on_a_clean_image_is_no_file(turn) -> None:
    # a root of 4 mm with a narrow dark canal: the dome between canal and border is many standard deviations
    # of a clean image above its surroundings, and no line
    course = Course((0.0, 0.0), 0.0, ((7.0, 0.0), (6.0, turn)))
    canvas, shift = fitting([course], 0.04)
    course = course.shifted(shift)
    canvas.body(course, lambda s: np.full_like(s, 4.0), 0.45)
    canvas.body(course, lambda s: np.full_like(s, 0.3), -0.15)
    for texture in (0.0, 0.003):
        grey = canvas.developed(noise=0.003, texture=texture)
        clicks = canvas.px(course.at([0.0, 4.0, 8.0, 13.0]))
        assert unmarked_file(grey, clicks, mm_per_px=0.04) is None
