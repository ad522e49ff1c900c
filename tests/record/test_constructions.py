"""Pictures of constructions, judged by where their lines and points lie, not by what they look like."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations, permutations
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from radio.errors import PeriapicalError
from radio.measure.drawn import Spot, Stroke, image_px
from radio.measure.methods import METHODS, method_named
from radio.record.construction_style import STYLES, UNSUPPORTED
from radio.record.construction_view import box_of, inside_parts
from radio.record.constructions import construction_page, draw_construction, draw_steps
from radio.record.curvature_page import comparison_page, draw_comparison
from radio.record.curvature_pictures import ALL_METHODS, ALONG_CANAL, IN_SPACE, write_pictures
from radio.record.curvature_profile import draw_profile, profile_page, radii_to_show
from radio.record.label_places import place_labels
from tests.fixtures.bent import chain
from tests.fixtures.drawn_page import assert_labels_apart, axes_named, bent_case, lines_of, words_of
from tests.fixtures.made_case import MM_PER_PX, SCALE

SCHNEIDER = method_named("schneider")
# those with the most to name
CROWDED = ("access-angle", "tangent-circle", "chord-radius", "four-point")
CANALS = {
    "hook": chain((8, 0), (5 * np.pi / 3, 60)),
    "slight": chain((8.5, 0), (4, 18)),
    "s": chain((4.5, 3), (4, 24), (4, -22), (1.5, 0)),
    "end up": chain((6, 0), (5, 35), (2, 0)) * [-1, 1] + [14, 0],
}


@pytest.mark.parametrize("aspect", [1.0, 1.6])
def test_shapes_lie_on_the_pixels_they_belong_to(aspect):
    # 8 mm straight down, then radius 5 mm through 60 degrees, worked out by hand: the arc begins 160 pixels
    # of 0.05 mm below the orifice and ends 5 mm * sin 60 further down and 5 mm * (1 - cos 60) to the right
    radiograph, result = bent_case(aspect=aspect)
    axes = axes_named(construction_page(radiograph, result, SCHNEIDER), "image")
    orifice = np.array([120.0 / aspect, 200.0])
    end = np.array([(120.0 + 160.0 + 100.0 * np.sin(np.pi / 3)) / aspect, 250.0])
    (chord,) = lines_of(axes, "chord")
    assert chord[-1] == pytest.approx(end, abs=0.05)
    (departure,) = lines_of(axes, "spot departure")
    assert chord[0] == pytest.approx(departure[0])
    # the canal leaves a line by 0.1 mm after sqrt(2 * 5 * 0.1) = 1 mm of arc; a fitted axis lags
    assert departure[0][0] * aspect == pytest.approx(280.0 + 20.0, abs=8.0)
    (axis,) = lines_of(axes, "axis")
    assert axis[0] == pytest.approx(orifice, abs=0.5)
    assert np.abs(axis[:, 1] - 200.0).max() < 6.0
    canal = np.vstack(lines_of(axes, "canal"))
    away = np.hypot(*((canal[:, None] - result.canal_line.points_px[None]) * [aspect, 1]).transpose(2, 0, 1))
    assert away.min(axis=1).max() < 1.1  # half a step of either line
    assert axes.get_aspect() == aspect


def test_the_diagram_has_equal_axes_in_millimetres_from_the_orifice():
    radiograph, result = bent_case()
    axes = axes_named(construction_page(radiograph, result, SCHNEIDER), "diagram")
    (canal,) = lines_of(axes, "canal")
    assert canal[0] == pytest.approx([0.0, 0.0])
    assert canal[-1] == pytest.approx([8 + 5 * np.sin(np.pi / 3), 2.5], abs=1e-6)
    assert axes.get_aspect() == 1.0
    assert "mm" in axes.get_xlabel()
    (chord,), (axis,) = lines_of(axes, "chord"), lines_of(axes, "axis")
    u, v = chord[1] - chord[0], axis[1] - axis[0]
    angle = np.degrees(np.arccos(u @ v / np.hypot(*u) / np.hypot(*v)))
    assert angle == pytest.approx(result.measurements["schneider_deg"].value, abs=1e-6)
    assert not axes.images


@pytest.mark.parametrize(
    ("method", "canal"),
    [(method, canal) for method in METHODS for canal in ("hook", "s")]
    + [(method_named(name), canal) for name in CROWDED for canal in ("slight", "end up")],
    ids=lambda one: one if isinstance(one, str) else one.name,
)
def test_every_method_is_drawn_whole_and_its_labels_keep_apart(method, canal):
    radiograph, result = bent_case(trace_mm=CANALS[canal])
    page = construction_page(radiograph, result, method)
    made = method.construct(result.stack)
    for name in ("image", "diagram"):
        axes = axes_named(page, name)
        strokes = [s for step in made for s in step.shapes if isinstance(s, Stroke) and s.role != "canal"]
        spots = [s for step in made for s in step.shapes if isinstance(s, Spot)]
        drawn = [line for line in axes.lines if line.get_gid() not in ("canal", None)]
        assert sum(not str(line.get_gid()).startswith("spot ") for line in drawn) >= len(strokes)
        beyond = sum("beyond this edge" in text.get_text() for text in axes.texts)
        assert sum(str(line.get_gid()).startswith("spot ") for line in drawn) == len(spots) - beyond
        for line in axes.lines:
            assert (line.get_xdata() >= min(axes.get_xlim()) - 1e-6).all()
            assert (line.get_ydata() <= max(axes.get_ylim()) + 1e-6).all()
        assert_labels_apart(axes)
    told = words_of(page)
    for number, step in enumerate(made, 1):
        assert f"{number}. {step.text[:30]}" in told
    for part in (method.settings(result.stack)[:20], "not a medical device", radiograph.sha256[:16]):
        assert part in told


def test_steps_add_up_and_nothing_moves():
    radiograph, result = bent_case()
    count = len(SCHNEIDER.construct(result.stack))
    before: set[tuple] = set()
    sizes, places = set(), {}
    for number in range(1, count + 1):
        page = construction_page(radiograph, result, SCHNEIDER, steps=number)
        sizes.add(tuple(page.figure.get_size_inches()))
        axes = axes_named(page, "diagram")
        now = {(line.get_gid(), line.get_xydata().tobytes()) for line in axes.lines}
        assert before < now
        before = now
        for text in axes.texts:
            assert places.setdefault(text.get_text(), text.xyann) == text.xyann
        told = words_of(page)
        assert re.findall(r"^(\d)\. ", told, flags=re.M) == [str(n) for n in range(1, number + 1)]
        assert ("Schneider angle: " in told) == (number == count)
    assert len(sizes) == 1
    whole = axes_named(construction_page(radiograph, result, SCHNEIDER), "diagram")
    assert {(line.get_gid(), line.get_xydata().tobytes()) for line in whole.lines} == before


def test_the_last_step_stands_out():
    radiograph, result = bent_case()
    page = construction_page(radiograph, result, SCHNEIDER, steps=4)
    width = {line.get_gid(): line.get_linewidth() for line in axes_named(page, "diagram").lines}
    assert width["chord"] > 1.3 * STYLES["chord"].width_pt
    assert width["axis"] == STYLES["axis"].width_pt
    bold = [t.get_text() for axes in page.figure.axes for t in axes.texts if t.get_fontweight() == "bold"]
    assert [one for one in bold if re.match(r"\d\. ", one)] == [
        "4. Join the departure point and the canal end."
    ]


def test_roles_are_told_apart_without_colour():
    # each by its dashes or, where both are whole lines, by a width that differs twice over
    lines = {role: style for role, style in STYLES.items() if role != "point"}
    for (_, one), (_, other) in combinations(lines.items(), 2):
        same = str(one.dashes) == str(other.dashes)
        widths = sorted((one.width_pt, other.width_pt))
        assert not same or widths[1] >= 2 * widths[0]
    assert str(UNSUPPORTED) not in {str(style.dashes) for style in lines.values()}
    assert len({style.colour for style in STYLES.values()}) == len(STYLES)


def test_every_line_contrasts_with_its_rim_in_grey():
    # a line must be seen on any ground: against its dark rim its contrast is at least 3 to 1, as WCAG 2.2,
    # success criterion 1.4.11, asks of graphics; relative luminance as defined there
    def luminance(colour):
        parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return linear @ [0.2126, 0.7152, 0.0722]

    for style in STYLES.values():
        assert (luminance(style.colour) + 0.05) / 0.05 >= 3.0


def test_what_the_image_does_not_show_is_dashed_on_the_image_alone():
    radiograph, result = bent_case()
    page = construction_page(radiograph, result, SCHNEIDER)
    assert len(lines_of(axes_named(page, "image"), "canal")) == 3
    assert len(lines_of(axes_named(page, "diagram"), "canal")) == 1


def test_one_function_takes_millimetres_to_pixels():
    # 1 mm at 0.05 mm a column is 20 columns, and 10 rows where rows are twice as far apart
    assert image_px(np.array([1.0, 1.0]), SCALE, 2.0) == pytest.approx([10.0, 20.0])
    assert image_px(np.array([3.0, 5.0]), None, 2.0) == pytest.approx([1.5, 5.0])


def test_a_circle_far_beyond_the_canal_does_not_shrink_it():
    _, result = bent_case(radius_mm=120.0, turn_deg=3.0)
    box = box_of(result.stack, method_named("tangent-circle").construct(result.stack))
    assert box.height < 2.2 * result.stack.length[0]


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_both_formats_are_written(tmp_path, kind):
    radiograph, result = bent_case()
    out = tmp_path / f"one.{kind}"
    draw_construction(radiograph, result, SCHNEIDER, out)
    first = out.read_bytes()
    if kind == "png":
        with Image.open(out) as image:
            assert image.format == "PNG"
            assert np.asarray(image.convert("L")).std() > 10
    else:
        text = first.decode("utf-8")
        assert "<text" in text
        assert "departure" in text
        assert "Schneider angle" in text
        assert "<image" in text
    draw_construction(radiograph, result, SCHNEIDER, out)
    assert out.read_bytes() == first


def test_one_picture_a_step(tmp_path):
    radiograph, result = bent_case()
    paths = draw_steps(radiograph, result, SCHNEIDER, tmp_path, formats=["svg"])
    assert [path.name for path in paths] == [f"schneider_step{n}.svg" for n in range(1, 6)]
    told = [path.read_text(encoding="utf-8") for path in paths]
    assert ["Join the departure point" in one for one in told] == [False, False, False, True, True]


def test_wrong_use_is_named(tmp_path):
    radiograph, result = bent_case()
    with pytest.raises(PeriapicalError, match=r"has 5 steps here; 6 were asked for\. Give 1 to 5"):
        draw_construction(radiograph, result, SCHNEIDER, tmp_path / "a.png", steps=6)
    with pytest.raises(PeriapicalError, match=r"'a\.gif'; give a name or format that is png or svg"):
        draw_construction(radiograph, result, SCHNEIDER, tmp_path / "a.gif")
    with pytest.raises(PeriapicalError, match=r"Canal|canal 1: Schneider angle cannot be drawn: there is no"):
        draw_construction(radiograph, replace(result, stack=None), SCHNEIDER, tmp_path / "a.png")
    with pytest.raises(PeriapicalError, match="there is no scale"):
        draw_construction(*bent_case(scale=None), method_named("four-point"), tmp_path / "a.png")
    assert list(tmp_path.iterdir()) == []


def test_the_page_of_all_methods_has_every_value_with_its_uncertainty():
    radiograph, result = bent_case()
    page = comparison_page(radiograph, result)
    told = words_of(page)
    for method in METHODS:
        assert lines_of(axes_named(page, method.title), "canal")
        assert_labels_apart(axes_named(page, method.title))
        assert method.settings(result.stack)[:20] in told
    for column, decimals in (("schneider_deg", 1), ("weine_deg", 1), ("long_axis_deg", 1)):
        one = result.measurements[column]
        assert f"{one.value:.{decimals}f} ± {one.sd:.{decimals}f}°" in told
    angles = axes_named(page, "angles")
    dots = [line.get_xydata()[0, 0] for line in angles.lines if len(line.get_xydata()) == 1]
    assert any(dot == pytest.approx(result.measurements["schneider_deg"].value) for dot in dots)


def test_the_page_shows_what_was_asked_for_alone():
    radiograph, result = bent_case()
    page = comparison_page(radiograph, result, [SCHNEIDER, method_named("access-angle")])
    angles = axes_named(page, "angles")
    assert [text.get_text() for text in angles.get_yticklabels()] == ["Schneider angle", "Canal access angle"]
    dots = [line.get_xydata()[0, 0] for line in angles.lines if len(line.get_xydata()) == 1]
    wanted = [result.measurements[column].value for column in ("schneider_deg", "access_angle_deg")]
    assert dots == pytest.approx(wanted)
    told = words_of(page)
    assert "Curvature by the methods asked for" in told
    assert "Weine" not in told
    # a method without an angle
    page = comparison_page(radiograph, result, [method_named("form")])
    assert "angles" not in {axes.get_label() for axes in page.figure.axes}
    assert "Curvature by every method" in words_of(comparison_page(radiograph, result))


@pytest.mark.parametrize("count", [1, 4, len(METHODS)])
def test_the_page_holds_all_its_text(count):
    radiograph, result = bent_case()
    page = comparison_page(radiograph, result, METHODS[:count])
    page.figure.canvas.draw()
    renderer, sheet = page.figure.canvas.get_renderer(), page.figure.bbox
    for axes in page.figure.axes:
        names = (axes.xaxis.label, *axes.get_yticklabels()) if axes.axison else ()
        for text in (*axes.texts, *names):
            extent = text.get_window_extent(renderer)
            assert sheet.x0 <= extent.x0, text.get_text()
            assert extent.x1 <= sheet.x1, text.get_text()
            assert sheet.y0 <= extent.y0, text.get_text()


def test_the_page_says_what_it_cannot_draw(tmp_path):
    radiograph, result = bent_case(scale=None)
    page = comparison_page(radiograph, result)
    told = words_of(page)
    assert "pixels only" in told
    for method in METHODS:
        there = bool(lines_of(axes_named(page, method.title), "canal"))
        assert there != method.needs_mm
    assert told.count("not drawn:\nthere is no scale") == sum(method.needs_mm for method in METHODS)
    draw_comparison(radiograph, result, tmp_path / "all.svg")
    assert "<text" in (tmp_path / "all.svg").read_text(encoding="utf-8")


def test_the_profile_is_the_curvature_of_the_arc_and_shares_its_marks_with_the_image(tmp_path):
    # right to the eye is left to who walks down: +row toward +col is positive; 1/r of the arc is 1/5 per mm
    radiograph, result = bent_case()
    page = profile_page(radiograph, result)
    plot, image = axes_named(page, "profile"), axes_named(page, "image")
    (curve,) = lines_of(plot, "curvature")
    s, bend = curve.T
    assert np.interp(4.0, s, bend) == pytest.approx(0.0, abs=0.01)
    assert np.interp(8 + 2.6, s, bend) == pytest.approx(0.2, rel=0.05)
    (on_plot,), (on_image,) = lines_of(plot, "mark departure"), lines_of(image, "mark departure")
    along = np.hypot(*np.diff(result.canal_line.points_px, axis=0).T).cumsum() * MM_PER_PX
    nearest = np.hypot(*(result.canal_line.points_px[1:] - on_image[0]).T).argmin()
    assert along[nearest] == pytest.approx(on_plot[0][0], abs=0.1)
    (tip,) = lines_of(image, "mark file tip")
    assert tip[0] == pytest.approx(result.landmarks["file_tip"].point_px, abs=1.5)
    assert plot.get_ylim()[0] > plot.get_ylim()[1]  # the orifice is up in the image and in the plot
    draw_profile(radiograph, result, tmp_path / "profile.svg")
    assert "greatest curvature" in (tmp_path / "profile.svg").read_text(encoding="utf-8")


def test_the_profile_without_a_scale_is_in_pixels_and_says_so():
    radiograph, result = bent_case(scale=None)
    page = profile_page(radiograph, result)
    plot = axes_named(page, "profile")
    assert plot.get_xlabel() == "curvature, 1/px (no scale: pixels only)"
    assert plot.get_ylabel().endswith("px")
    assert "lengths and radii are in pixels" in words_of(page)


def test_the_band_is_that_of_the_draws():
    radiograph, result = bent_case()
    alone = replace(result, stack=replace(result.stack, points=result.stack.points[:1]))
    wide = [axes_named(profile_page(radiograph, one), "profile") for one in (result, alone)]
    (band,) = wide[0].collections
    edges = band.get_paths()[0].vertices
    assert np.ptp(edges[:, 0]) > 0.2
    s, bend = result.stack.s[0], result.stack.curvature
    drawn = np.stack([np.interp(s, own, k) for own, k in zip(result.stack.s[1:], bend[1:], strict=True)])
    half = 1.96 * np.sqrt(((drawn - bend[0]) ** 2).mean(axis=0) + (SCALE.relative_sd * bend[0]) ** 2)
    at = int(np.abs(s - 10.5).argmin())
    here = edges[np.abs(edges[:, 1] - s[at]) < 1e-9, 0]
    assert (here.min(), here.max()) == pytest.approx((bend[0, at] - half[at], bend[0, at] + half[at]))
    assert len(wide[1].lines) == len(wide[0].lines)


def test_radii_on_the_upper_edge_are_round_and_do_not_crowd():
    for most in (0.02, 0.21, 1.3, 0.0009):
        radii = radii_to_show(most)
        assert len(radii) >= 2
        bends = 1 / np.array(radii)
        assert bends.max() <= most
        assert np.diff(bends, prepend=0.0).min() >= 0.17 * most - 1e-12


def test_everything_is_written_or_named(tmp_path):
    radiograph, result = bent_case(scale=None, canal="M/B 2")
    lost = replace(result, stack=None, facts=replace(result.facts, canal="D"))
    methods = [SCHNEIDER, method_named("four-point")]
    written = write_pictures(radiograph, [result, lost], tmp_path / "new", methods, ("png", "SVG"))
    names = {path.name for path in written.paths}
    wanted = {
        f"made_M-B-2_{what}.{kind}"
        for what in ("schneider", "all-methods", "along-canal")
        for kind in ("png", "svg")
    }
    assert names == wanted == {path.name for path in (tmp_path / "new").iterdir()}
    assert not {ALL_METHODS, ALONG_CANAL, IN_SPACE} & {method.name for method in METHODS}
    missing = {(one.canal, one.picture) for one in written.not_drawn}
    assert missing == {("M/B 2", "four-point")} | {
        ("D", what) for what in ("schneider", "four-point", "all-methods", "along-canal")
    }
    assert all("cannot be drawn" in one.reason for one in written.not_drawn)


def test_canals_whose_names_differ_in_signs_only_do_not_overwrite_each_other(tmp_path):
    radiograph, one = bent_case(canal="M B")
    other = replace(one, facts=replace(one.facts, canal="m/b"))
    written = write_pictures(radiograph, [one, other], tmp_path, [SCHNEIDER], ["svg"])
    assert len({path.name.casefold() for path in written.paths}) == 6
    with pytest.raises(PeriapicalError, match="'gif'"):
        write_pictures(radiograph, [one], tmp_path, [SCHNEIDER], ["gif"])
    with pytest.raises(PeriapicalError, match="No picture format"):
        write_pictures(radiograph, [one], tmp_path, [SCHNEIDER], [])


def test_steps_of_all_methods_on_request(tmp_path):
    radiograph, result = bent_case()
    written = write_pictures(radiograph, [result], tmp_path, [SCHNEIDER], ["svg"], steps=True)
    names = {path.name for path in written.paths}
    assert {f"made_1_schneider_step{n}.svg" for n in range(1, 6)} < names
    assert isinstance(written.paths[0], Path)


def test_lines_are_cut_where_they_leave_the_view():
    # against shapely, an independent library: length and ends of what it cuts out
    from shapely import LineString, box

    rng = np.random.default_rng(11)
    low, high = np.array([2.0, -1.0]), np.array([7.0, 5.0])
    turn = np.linspace(0, 2 * np.pi, 181)
    lines = [rng.uniform(-8, 14, (9, 2)) for _ in range(20)]
    lines.append(4.0 + 4.5 * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    lines.append(np.array([[3.0, -4.0], [3.0, 9.0]]))
    lines.append(np.array([[3.0, 1.0], [3.0, 1.0], [4.0, 1.0]]))
    lines.append(np.array([[9.0, 9.0], [9.0, 12.0]]))
    for line in lines:
        parts = inside_parts(line, low, high)
        length = sum(float(np.hypot(*np.diff(part, axis=0).T).sum()) for part in parts)
        assert length == pytest.approx(LineString(line).intersection(box(*low, *high)).length, abs=1e-9)
        assert all((part >= low - 1e-9).all() and (part <= high + 1e-9).all() for part in parts)
    assert len(inside_parts(lines[21], low, high)) == 1
    assert inside_parts(lines[23], low, high) == []


def test_labels_find_places_of_their_own():
    rng = np.random.default_rng(3)
    sizes = rng.uniform([20, 8], [90, 12], (14, 2))
    anchors = rng.uniform(60, 120, (14, 2))  # all in one small spot
    pane = np.array([[0.0, 0.0], [260.0, 400.0]])
    line = np.stack([np.full(300, 90.0), np.linspace(0, 400, 300)], axis=1)
    centres = place_labels(sizes, anchors, pane, line, np.array([[[0.0, 0.0], [80.0, 30.0]]]))
    low, high = centres - sizes / 2, centres + sizes / 2
    assert (low >= 0).all()
    assert (high <= pane[1]).all()
    for i, j in combinations(range(14), 2):
        shared = np.minimum(high[i], high[j]) - np.maximum(low[i], low[j])
        assert (shared <= 1e-9).any()
    assert not ((low < [80, 30]).all(axis=1) & (high > [0, 0]).all(axis=1)).any()


def test_no_leading_line_runs_under_another_label():
    rng = np.random.default_rng(5)
    pane = np.array([[0.0, 0.0], [260.0, 400.0]])
    for _ in range(10):
        sizes = rng.uniform([20, 8], [90, 12], (6, 2))
        anchors = rng.uniform([100, 180], [140, 220], (6, 2))
        centres = place_labels(sizes, anchors, pane, np.empty((0, 2)), np.empty((0, 2, 2)))
        for i, j in permutations(range(6), 2):
            along = anchors[i] + np.linspace(0, 1, 25)[1:-1, None] * (centres[i] - anchors[i])
            assert not (np.abs(along - centres[j]) < sizes[j] / 2).all(axis=1).any()
