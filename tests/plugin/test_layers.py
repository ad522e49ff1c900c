from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.scale import Scale
from napari_periapical import layers
from napari_periapical.about import image_cautions, image_facts
from napari_periapical.number_rows import headline, number_rows, remark_lines
from napari_periapical.sheet import Canal
from radio.measure.case import LANDMARKS, Remark
from radio.measure.result import Measurement
from tests.fixtures.made_case import made_case, made_radiograph
from tests.plugin.made import plain_radiograph

SCALE = Scale(0.05, 0.04, 0.001, "given", "as given")


def by_role(result, others=()):
    return {d.role: d for d in layers.result_drawings(result, others)}


@pytest.mark.parametrize(
    ("scale", "allowed", "frame"),
    [
        (None, True, layers.Frame(1.25, 1.0, "pixel")),
        (SCALE, False, layers.Frame(1.25, 1.0, "pixel")),
        (SCALE, True, layers.Frame(0.05, 0.04, "mm")),
    ],
)
def test_one_frame_for_all_keeps_the_shape_of_pixels(scale, allowed, frame):
    assert layers.frame_of(1.25, scale, millimetres=allowed) == frame
    kwargs = layers.spatial_kwargs(frame)
    assert kwargs["scale"][0] / kwargs["scale"][1] == pytest.approx(1.25)
    assert len(set(kwargs["units"])) == 1


def test_placed_points_are_float64_even_when_given_as_whole_numbers():
    canal = Canal(0).with_points("apex", ((3, 4),)).with_points("canal_via", ((1, 1), (2, 2)))
    drawing = layers.landmarks_drawing(canal)
    assert drawing.data.dtype == np.float64
    assert drawing.keys == (("canal_via", 0), ("canal_via", 1), ("apex", 0))
    assert drawing.data[2].tolist() == [3.0, 4.0]
    assert layers.landmarks_drawing(Canal(0)).data.shape == (0, 2)


def test_lines_are_drawn_where_they_were_traced():
    _, _, result = made_case()
    drawn = by_role(result)["file"]
    points = result.file_line.points_px
    np.testing.assert_array_equal(drawn.data[:, 0], points[:-1])
    np.testing.assert_allclose(drawn.data[:, 0] + drawn.data[:, 1], points[1:])


def test_stretches_without_support_are_dashed_and_of_another_colour():
    _, _, result = made_case()
    drawn = by_role(result)["canal"]
    line = result.canal_line
    weak = int((~line.confident).sum())
    other = [c for c in drawn.colours if c == layers.VERMILLION]
    assert 0 < len(other) < weak
    assert len(drawn.data) < len(line.points_px) - 1
    assert drawn.colours.count(layers.ORANGE) == int((line.confident[:-1] & line.confident[1:]).sum())


def test_the_gap_runs_from_the_tip_to_the_apex():
    _, _, result = made_case()
    gap = by_role(result)["gap"].data
    np.testing.assert_allclose(gap[0, 0], result.landmarks["file_tip"].point_px)
    np.testing.assert_allclose(gap[-1].sum(axis=0), result.landmarks["apex"].point_px)
    # drawn length against the number: 24 points of the line at 5 mm * 60 deg / 119
    length_mm = np.hypot(*gap[:, 1].T).sum() * 0.05
    assert length_mm == pytest.approx(24 * 5 * np.radians(60) / 119, abs=0.02)


def test_the_construction_shows_axis_and_chord():
    _, _, result = made_case()
    drawn, made = by_role(result)["construction"], result.construction
    np.testing.assert_allclose(drawn.data[0, 0], made.axis_start_px)
    np.testing.assert_allclose(drawn.data[1, 0], made.departure_px)
    np.testing.assert_allclose(drawn.data[1].sum(axis=0), made.canal_end_px)
    assert drawn.colours[0] != drawn.colours[1]


def test_without_a_result_there_is_nothing_to_draw():
    assert all(len(d.data) == 0 for d in layers.result_drawings(None))
    _, _, result = made_case()
    bare = replace(result, file_line=None, canal_line=None, landmarks={}, measurements={}, construction=None)
    assert all(len(d.data) == 0 for d in layers.result_drawings(bare))


def test_lines_of_other_canals_stay_in_view():
    _, _, result = made_case()
    _, _, other = made_case(canal="2", origin=(120.0, 300.0))
    drawn = by_role(result, [other])
    assert len(drawn["file"].data) == 2 * len(by_role(result)["file"].data)
    assert len(drawn["gap"].data) == len(by_role(result)["gap"].data)


def test_colours_are_of_the_okabe_ito_palette():
    # Okabe M, Ito K. Color Universal Design (2002, rev. 2008): the eight colours as hexadecimal sRGB
    palette = {"#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7"}
    _, _, result = made_case()
    used = {c for d in layers.result_drawings(result) for c in d.colours} - {layers.WHITE}
    assert used | set(layers.GROUP_COLOURS.values()) <= palette


def test_the_image_layer_carries_the_radiograph_and_a_contrast_of_the_film():
    radiograph = made_radiograph()
    data, kwargs, kind = layers.image_layer(radiograph, layers.frame_of(1.0, None, millimetres=True))
    low, high = kwargs["contrast_limits"]
    assert (kind, data is radiograph.grey) == ("image", True)
    assert 0 <= low < high <= 1
    assert kwargs["metadata"][layers.RADIOGRAPH] is radiograph


def test_number_rows_say_value_uncertainty_unit_method_and_basis():
    _, clicks, result = made_case()
    rows = number_rows(result, Canal(0, result.facts).with_clicks(clicks))
    assert rows[0].name == "Working length"
    assert rows[0].value == "22.01 ± 0.10 mm"
    assert "set file length plus gap" in rows[0].details
    assert "Basis: scale from the file" in rows[0].details
    assert any(row.value == "30.0 ± 1.2°" for row in rows)
    assert [row.name for row in headline(result)][:2] == ["Working length", "Gap, tip to apex"]
    assert headline(None) == ()


def test_what_is_missing_is_told_in_the_words_of_the_panel():
    _, clicks, result = made_case(scale=None)
    canal = Canal(0, result.facts).with_clicks({k: v for k, v in clicks.items() if k != "file_tip"})
    missing = [row for row in number_rows(result, canal) if row.value == "–"]
    assert missing
    assert all(name not in row.details for row in missing for name in LANDMARKS if "_" in name)
    assert any("file tip" in row.details for row in missing)


def test_grave_remarks_come_first():
    remarks = [Remark("note", "c"), Remark("stop", "a"), Remark("warn", "b")]
    assert [line[-1] for line in remark_lines(remarks)] == ["a", "b", "c"]


def test_a_number_without_uncertainty_is_written_without_one():
    _, _, result = made_case()
    bare = replace(result, measurements={"gap_mm": Measurement("gap_mm", -0.4, "mm", None, "m", "b")})
    assert headline(bare)[0].value == "-0.40 mm"


def test_what_is_said_about_an_image():
    facts = image_facts(plain_radiograph())
    assert "80 rows x 60 columns, 8 bits" in facts
    assert "states no pixel size" in facts
    cautions = image_cautions(plain_radiograph(aspect=1.5))
    assert "known length" in cautions
    assert "not square" in cautions
