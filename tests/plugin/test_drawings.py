"""What is drawn of a canal: where, and in which colour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from napari_periapical import construction, drawings
from napari_periapical.sheet import Canal
from radio.measure.methods import METHODS, method_named
from radio.record import colours
from tests.fixtures.made_case import made_case, made_radiograph


def drawn_of(result, uid=0):
    return drawings.CanalShown(uid, result)


def by_role(result, others=()):
    return {d.role: d for d in drawings.result_drawings(drawn_of(result), others)}


def test_placed_points_are_float64_even_when_given_as_whole_numbers():
    canal = Canal(0).with_points("apex", ((3, 4),)).with_points("canal_via", ((1, 1), (2, 2)))
    drawing = drawings.landmarks_drawing(canal)
    assert drawing.data.dtype == np.float64
    assert drawing.keys == (("canal_via", 0), ("canal_via", 1), ("apex", 0))
    assert drawing.data[2].tolist() == [3.0, 4.0]
    assert drawings.landmarks_drawing(Canal(0)).data.shape == (0, 2)


def test_lines_are_drawn_where_they_were_traced():
    _, _, result = made_case()
    drawn = by_role(result)["file"]
    points = result.file_line.points_px
    np.testing.assert_array_equal(drawn.data[:, 0], points[:-1])
    np.testing.assert_allclose(drawn.data[:, 0] + drawn.data[:, 1], points[1:])


def test_stretches_without_support_are_dashed():
    _, _, result = made_case()
    line = result.canal_line
    drawn = {tuple(start) for start in by_role(result)["canal"].data[:, 0]}
    sure = line.confident[:-1] & line.confident[1:]
    shown = np.array([tuple(start) in drawn for start in line.points_px[:-1]])
    assert shown[sure].all()
    assert 0.2 < shown[~sure].mean() < 0.8


def test_the_gap_runs_from_the_tip_to_the_apex():
    _, _, result = made_case()
    gap = by_role(result)["gap"].data
    np.testing.assert_allclose(gap[0, 0], result.landmarks["file_tip"].point_px)
    np.testing.assert_allclose(gap[-1].sum(axis=0), result.landmarks["apex"].point_px)
    # drawn length against the number: 24 points of the line at 5 mm * 60 deg / 119
    length_mm = np.hypot(*gap[:, 1].T).sum() * 0.05
    assert length_mm == pytest.approx(24 * 5 * np.radians(60) / 119, abs=0.02)


def of_colour(drawn, colour):
    return drawn.data[[one == colour for one in drawn.colours]]


def test_the_construction_shows_axis_and_chord():
    _, _, result = made_case()
    drawn, made = by_role(result)["construction"], result.stack
    axis, chord = of_colour(drawn, colours.AXIS_COLOUR), of_colour(drawn, colours.CHORD_COLOUR)
    u, origin = made.axis[1][0], made.axis[0][0] / 0.05
    for dash in np.concatenate([axis[:, 0], axis.sum(axis=1)]):
        away = dash - origin
        assert abs(u[0] * away[1] - u[1] * away[0]) < 1e-6
    np.testing.assert_allclose(chord[0, 0], made.departure[0] / 0.05)
    np.testing.assert_allclose(chord[0].sum(axis=0), made.end[0] / 0.05)


def test_a_canal_shows_through_the_spaces_of_the_axis_that_lies_on_it():
    _, _, result = made_case()
    axis = of_colour(by_role(result)["construction"], colours.AXIS_COLOUR)
    covered = np.hypot(*axis[:, 1].T).sum() / np.hypot(*(axis[-1].sum(axis=0) - axis[0, 0]))
    assert covered == pytest.approx(0.5, abs=0.1)
    assert np.hypot(*axis[:, 1].T).max() < 10


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_the_construction_of_every_method_can_be_drawn(method):
    _, _, result = made_case()
    drawn = {d.role: d for d in drawings.result_drawings(drawn_of(result), methods=(method,))}["construction"]
    assert len(drawn.data) == len(drawn.colours) > 0
    assert np.isfinite(drawn.data).all()
    bare = replace(result, stack=None)
    assert len(drawings.result_drawings(drawn_of(bare), methods=(method,))[3].data) == 0


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_a_construction_has_no_colour_of_what_is_drawn_beside_it(method):
    _, _, result = made_case()
    drawn = {d.role: d for d in drawings.result_drawings(drawn_of(result), methods=(method,))}
    beside = {colour for role in ("file", "canal", "gap") for colour in drawn[role].colours}
    assert len(beside) == 3
    assert not beside & set(drawn["construction"].colours)


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_the_key_names_every_colour_of_a_construction(method):
    _, _, result = made_case()
    drawn = {d.role: d for d in drawings.result_drawings(drawn_of(result), methods=(method,))}["construction"]
    key = construction.construction_key(result, method)
    assert {one.colour for one in key} == set(drawn.colours)
    assert len({(one.title, one.colour, one.dashed) for one in key}) == len(key)
    assert construction.construction_key(None, method) == ()


def test_the_points_of_a_construction_are_named_where_no_landmark_names_them():
    _, _, result = made_case()
    marks = {d.role: d for d in drawings.result_drawings(drawn_of(result))}["marks"]
    made = result.stack
    at = {label.strip(): point for label, point in zip(marks.labels, marks.data, strict=True)}
    np.testing.assert_allclose(at["departure"], made.departure[0] / 0.05)
    assert set(at) == {"", "departure"}
    placed = replace(made, placed=replace(made.placed, departure=made.departure[0]))
    marks = {d.role: d for d in drawings.result_drawings(drawn_of(replace(result, stack=placed)))}["marks"]
    assert {label.strip() for label in marks.labels} == {""}


def test_labels_of_points_close_together_stand_below_each_other():
    canal = Canal(0).with_points("apex", ((10.0, 10.0),)).with_points("canal_end", ((10.0, 10.0),))
    drawing = drawings.landmarks_drawing(canal)
    assert drawing.labels == ("  end", "\n  apex")
    away = drawings.landmarks_drawing(canal.with_points("apex", ((60.0, 10.0),)))
    assert away.labels == ("  end", "  apex")


def test_a_dashed_line_of_several_legs_has_dashes_on_each():
    corner = np.array([[0.0, 0.0], [120.0, 0.0], [120.0, 60.0]])
    dashes = construction.dashed(corner)
    ends = np.concatenate([dashes[:, 0], dashes.sum(axis=1)])
    np.testing.assert_allclose(ends.min(axis=0), [0, 0])
    assert {tuple(one) for one in corner} <= {tuple(one) for one in ends}
    assert 0.4 < np.hypot(*dashes[:, 1].T).sum() / 180 < 0.6


def test_rows_of_an_image_that_are_not_square_are_drawn_where_they_are():
    _, _, result = made_case()
    plain = {d.role: d for d in drawings.result_drawings(drawn_of(result))}["construction"].data
    tall = {d.role: d for d in drawings.result_drawings(drawn_of(result), aspect=1.25)}["construction"].data
    np.testing.assert_allclose(tall[-4:, 0, 0] * 1.25, plain[-4:, 0, 0])
    np.testing.assert_allclose(tall[-4:, 0, 1], plain[-4:, 0, 1])


def test_without_a_result_there_is_nothing_to_draw():
    assert all(len(d.data) == 0 for d in drawings.result_drawings(None))
    _, _, result = made_case()
    bare = replace(result, file_line=None, canal_line=None, landmarks={}, measurements={}, stack=None)
    assert all(len(d.data) == 0 for d in drawings.result_drawings(drawn_of(bare)))


def test_lines_of_other_canals_stay_in_view():
    _, _, result = made_case()
    _, _, other = made_case(canal="2", origin=(120.0, 300.0))
    drawn = by_role(result, [drawn_of(other, uid=1)])
    assert len(drawn["file"].data) == 2 * len(by_role(result)["file"].data)
    assert len(drawn["gap"].data) == len(by_role(result)["gap"].data)


def test_canals_differ_in_colour_and_are_named_where_there_are_several():
    _, _, result = made_case()
    _, _, other = made_case(canal="2", origin=(120.0, 300.0))
    drawn = by_role(result, [drawn_of(other, uid=1)])
    assert set(drawn["canal"].colours) == set(colours.CANAL_COLOURS[:2])
    assert [label.strip() for label in drawn["names"].labels] == ["canal 1", "canal 2"]
    np.testing.assert_array_equal(drawn["names"].data[1], other.canal_line.points_px[0])
    assert len(by_role(result)["names"].data) == 0
    # a canal keeps its colour when another one is worked on
    turned = {d.role: d for d in drawings.result_drawings(drawn_of(other, uid=1), [drawn_of(result)])}
    assert turned["canal"].colours[0] == colours.CANAL_COLOURS[1]
    assert drawings.landmarks_drawing(Canal(1).with_points("orifice", ((1.0, 1.0),))).colours == (
        colours.CANAL_COLOURS[1],
    )


def test_main_numbers_stand_beside_the_canal_with_unit_and_uncertainty():
    _, _, result = made_case()
    (text,) = by_role(result)["numbers"].labels
    assert "WL 22.01 ± 0.10 mm" in text.splitlines()
    assert len(drawings.result_drawings(drawn_of(result), numbers=None)[6].data) == 0


def test_a_construction_is_drawn_step_by_step_and_kept_ones_stay_whole():
    _, _, result = made_case()
    schneider, weine = (method_named(name) for name in ("schneider", "weine"))
    steps = construction.steps_of(result, schneider)
    counts = [
        len(construction.construction_lines(result, schneider, 1.0, upto)[0]) for upto in (1, len(steps), 0)
    ]
    assert counts[0] < counts[1] == counts[2]
    both = {d.role: d for d in drawings.result_drawings(drawn_of(result), methods=(weine, schneider), upto=1)}
    alone = {d.role: d for d in drawings.result_drawings(drawn_of(result), methods=(weine,))}
    assert len(both["construction"].data) == len(alone["construction"].data) + counts[0]
    none = {d.role: d for d in drawings.result_drawings(drawn_of(result), methods=())}
    assert len(none["construction"].data) == len(none["marks"].data) == 0


def test_panel_and_result_picture_have_the_same_colours():
    """Of each line, as matplotlib was given it, against what the panel draws."""
    pytest.importorskip("matplotlib")
    from matplotlib.figure import Figure

    from radio.record.picture_drawing import Drawing
    from radio.record.picture_view import crop_to_tooth

    _, _, result = made_case()
    radiograph = made_radiograph()
    axes = Figure().add_axes((0, 0, 1, 1))
    Drawing(axes, radiograph, crop_to_tooth(radiograph, [result])).draw([result])
    paths = [(line.get_color(), np.column_stack(line.get_data()[::-1])) for line in axes.lines]
    panel = by_role(result)
    for role in ("file", "canal", "gap"):
        for (start, way), colour in zip(panel[role].data, panel[role].colours, strict=True):
            assert colour in {painted for painted, path in paths if _distance(path, start + way / 2) < 0.5}


def _distance(path, point):
    """Distance of a point from a polyline; a marker of one point is none."""
    if len(path) < 2:
        return np.inf
    start, way = path[:-1], np.diff(path, axis=0)
    share = np.clip(((point - start) * way).sum(axis=1) / np.maximum((way**2).sum(axis=1), 1e-12), 0, 1)
    return float(np.hypot(*(start + share[:, None] * way - point).T).min())


def test_points_have_the_colour_of_what_they_lie_on():
    canal = Canal(0)
    for name in ("file_tip", "orifice", "ball_centre", "apex"):
        canal = canal.with_points(name, ((1.0, 1.0),))
    drawn = drawings.landmarks_drawing(canal)
    shown = {name: colour for (name, _), colour in zip(drawn.keys, drawn.colours, strict=True)}
    assert shown == {
        "file_tip": colours.FILE_COLOUR,
        "orifice": colours.CANAL_COLOUR,
        "ball_centre": colours.BALL_COLOUR,
        "apex": colours.LANDMARK_COLOUR,
    }


def test_colours_are_of_the_okabe_ito_palette():
    # Okabe M, Ito K. Color Universal Design (2002, rev. 2008): the eight colours as hexadecimal sRGB
    palette = {"#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7"}
    _, _, result = made_case()
    used = {c for d in drawings.result_drawings(drawn_of(result)) for c in d.colours} - {
        colours.LANDMARK_COLOUR
    }
    assert used | set(drawings.GROUP_COLOURS.values()) - {colours.LANDMARK_COLOUR} <= palette
