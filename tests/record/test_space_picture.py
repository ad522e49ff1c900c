"""The picture of a canal in space, judged by where its lines lie.

The canals are known in space; what a view shows of one is its parallel projection (plain geometry).
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from radio.errors import PeriapicalError
from radio.measure.view_pair import pair_views
from radio.record.curvature_pictures import IN_SPACE, write_space_pictures
from radio.record.space_picture import space_page
from tests.fixtures.drawn_page import assert_labels_apart, axes_named, bent_case, lines_of, words_of
from tests.fixtures.in_space import in_space, s_shape, seen, straight_and_arc
from tests.fixtures.made_case import made_radiograph

CANALS = {
    "hook, 30°": in_space(straight_and_arc(8, 5, 60), 30),
    "hook, -120°": in_space(straight_and_arc(9, 8, 35), -120),
    "s in two planes": s_shape(),
}
TURNS = [90.0, 60.0, 120.0]


@cache
def pair_of(canal, turn_deg=90.0, tooth=None):
    results = [bent_case(trace_mm=seen(CANALS[canal], turn))[1] for turn in (0.0, turn_deg)]
    if tooth is not None:
        results[1] = replace(results[1], facts=replace(results[1].facts, tooth=tooth))
    return pair_views(results[0], results[1], turn_deg)


def images():
    one = made_radiograph()
    return one, replace(one, sha256="f" * 64)


@pytest.mark.parametrize("canal", CANALS)
@pytest.mark.parametrize("turn", TURNS)
def test_every_panel_shows_the_canal_from_its_side(canal, turn):
    truth = CANALS[canal]
    page = space_page(pair_of(canal, turn), images())
    height, across, depth = truth.T
    sides = {"first view": seen(truth, 0.0), "second view": seen(truth, turn)}
    if turn != 90.0:
        sides["depth"] = np.stack([height, depth], axis=1)
    assert {axes.get_label() for axes in page.figure.axes if axes.get_label()} == {*sides, "along"}
    # along the tooth, depth upward: rows are minus depth
    sides["along"] = np.stack([-depth, across], axis=1)
    for name, line in sides.items():
        axes = axes_named(page, name)
        (drawn,) = lines_of(axes, "canal")
        assert max(LineString(line).distance(Point(p)) for p in drawn) < 0.06
        for end, spot in ((line[0], "orifice"), (line[-1], "canal end")):
            (place,) = lines_of(axes, f"spot {spot}")
            assert place[0] == pytest.approx(end, abs=0.06)
        assert axes.get_aspect() == 1.0
    for name in ("first view", "second view"):
        (trace,) = lines_of(axes_named(page, name), "height")
        (drawn,) = lines_of(axes_named(page, name), "canal")
        assert max(LineString(drawn).distance(Point(p)) for p in trace) < 0.03


@pytest.mark.parametrize("turn", TURNS)
def test_all_panels_have_one_scale_and_keep_apart(turn):
    page = space_page(pair_of("hook, 30°", turn), images())
    page.figure.canvas.draw()
    panels = [axes for axes in page.figure.axes if axes.get_label()]
    sizes, boxes = [], []
    for axes in panels:
        assert_labels_apart(axes)
        pane = axes.get_window_extent()
        boxes.append(pane)
        sizes += [pane.width / np.ptp(axes.get_xlim()), pane.height / np.ptp(axes.get_ylim())]
        assert any(re.fullmatch(r"\d+ mm", text.get_text()) for text in axes.texts)
    assert sizes == pytest.approx([sizes[0]] * len(sizes), rel=1e-6)
    assert all(left.x1 < right.x0 for left, right in pairwise(sorted(boxes, key=lambda box: box.x0)))


@pytest.mark.parametrize("turn", TURNS)
def test_no_text_of_the_page_is_cut_or_covered(turn):
    page = space_page(pair_of("hook, 30°", turn), images())
    page.figure.canvas.draw()
    renderer, sheet = page.figure.canvas.get_renderer(), page.figure.bbox
    titles = []
    for axes in page.figure.axes:
        names = (axes.xaxis.label, axes.yaxis.label) if axes.axison else ()
        for text in (*axes.texts, *names):
            extent = text.get_window_extent(renderer)
            assert sheet.x0 <= extent.x0, text.get_text()
            assert extent.x1 <= sheet.x1, text.get_text()
            assert sheet.y0 <= extent.y0, text.get_text()
            titles += [extent] if text.get_fontsize() == 9 and text.get_fontweight() == "bold" else []
    assert len(titles) == (3 if turn == 90 else 4)
    assert all(left.x1 < right.x0 for left, right in pairwise(sorted(titles, key=lambda box: box.x0)))


@pytest.mark.parametrize("canal", ["hook, 30°", "hook, -120°"])
@pytest.mark.parametrize("turn", TURNS)
def test_the_direction_of_the_bend_is_that_of_the_plane_it_was_made_in(canal, turn):
    pair = pair_of(canal, turn)
    page = space_page(pair, images())
    axes = axes_named(page, "along")
    (line,) = lines_of(axes, "axis")
    (down, right) = line[-1] - line[0]
    drawn = float(np.degrees(np.arctan2(-down, right)))
    made = float(re.search(r"(-?\d+)°", canal).group(1))
    # each view has a departure point of its own, which turns the plane by some degrees
    assert drawn == pytest.approx(made, abs=5.0)
    assert drawn == pytest.approx(pair.measurements["bend_plane_deg"].value, abs=1e-6)
    assert f"bend {pair.measurements['bend_plane_deg'].value:.1f} ± " in words_of(page)
    others = lines_of(axes, "second_axis")
    assert len(others) == (turn != 90.0)
    for other in others:
        (down, right) = other[-1] - other[0]
        assert np.degrees(np.arctan2(-down, right)) == pytest.approx(turn)


def test_a_direction_that_is_not_known_is_not_drawn():
    pair = pair_of("hook, 30°")
    plane = replace(pair.measurements["bend_plane_deg"], notes=("Its plane is not known.",))
    loose = replace(pair, measurements=pair.measurements | {"bend_plane_deg": plane})
    assert not lines_of(axes_named(space_page(loose, images()), "along"), "axis")
    # where Schneider's angle was not asked for, the canal end tells a direction
    rest = {name: one for name, one in pair.measurements.items() if name != "bend_plane_deg"}
    page = space_page(replace(pair, measurements=rest), images())
    assert lines_of(axes_named(page, "along"), "axis")
    assert "toward the end 30°" in words_of(page)


def test_the_band_is_two_standard_uncertainties():
    pair = pair_of("hook, 30°")
    space = pair.in_space
    page = space_page(pair, images())
    (band,) = axes_named(page, "first view").collections
    outline = Polygon(band.get_paths()[0].vertices)
    half = 2 * space.sd_mm[:, 0]
    assert half.max() > 0.05
    for index in range(5, len(half) - 5, 20):
        row, col = space.points_mm[index, :2]
        cut = outline.intersection(LineString([(col - 5, row), (col + 5, row)]))
        assert cut.length == pytest.approx(2 * half[index], rel=0.02, abs=1e-3)
    ellipses = axes_named(page, "along").patches
    assert max(one.width for one in ellipses) == pytest.approx(2 * half.max(), rel=0.05)
    bare = replace(pair, in_space=replace(space, sd_mm=None))
    page = space_page(bare, images())
    assert not axes_named(page, "first view").collections
    assert not axes_named(page, "along").patches
    assert "Grey: 2 standard uncertainties" not in words_of(page)


def test_the_page_tells_values_assumptions_and_caution():
    pair = pair_of("hook, 30°")
    told = " ".join(words_of(space_page(pair, images())).split())
    for one in ("length_3d_mm", "resultant_bend_deg"):
        assert f": {pair.measurements[one].value:.{2 if one.endswith('mm') else 1}f} ± " in told
    for part in ("Parallel projection.", "not a medical device", "f" * 16, "90° ± 3° apart", "same scale"):
        assert part in told


def test_what_does_not_go_together_is_not_drawn(tmp_path):
    canal = "hook, 30°"
    short = bent_case(trace_mm=0.8 * seen(CANALS[canal], 90.0))[1]
    whole = bent_case(trace_mm=seen(CANALS[canal], 0.0))[1]
    no_scale = bent_case(scale=None)[1]
    cases = {
        "do not seem to show the same canal": pair_views(whole, short),
        "There is no scale in the second view": pair_views(whole, no_scale),
        "stated to show tooth 36 and tooth 37": pair_of(canal, tooth="37"),
    }
    for reason, pair in cases.items():
        with pytest.raises(PeriapicalError, match=f"made.png.*canal 1.*cannot be drawn: .*{reason}"):
            space_page(pair, images())
    written = write_space_pictures([*cases.values(), pair_of(canal)], images(), tmp_path, ["png", "svg"])
    assert [one.picture for one in written.not_drawn] == [IN_SPACE] * 3
    assert [path.name for path in written.paths] == [f"made_1-4_in-space.{kind}" for kind in ("png", "svg")]
    assert "canal end" in written.paths[1].read_text(encoding="utf-8")
