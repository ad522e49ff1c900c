from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from calib.scale import Scale
from radio.errors import PeriapicalError
from radio.measure.case import CaseFacts, CaseResult
from radio.record import colours
from radio.record.picture import draw_picture
from radio.record.picture_drawing import Drawing, spread_rows
from radio.record.picture_numbers import lay_out_numbers
from radio.record.picture_view import crop_to_tooth
from radio.trace.line import LandmarkFix
from tests.fixtures.made_case import made_case, made_radiograph

EMPTY = CaseResult(CaseFacts(), None, None, None, None, {}, {}, None)


def pixels(path):
    with Image.open(path) as image:
        assert image.format == "PNG"
        return np.asarray(image.convert("RGB")).astype(int)


def colour_count(image, colour, within=40):
    wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
    return int((np.abs(image - wanted).max(axis=2) < within).sum())


def test_picture_shows_each_part_in_its_colour(tmp_path):
    lines, _, result = made_case()
    draw_picture(made_radiograph(lines=lines), [result], tmp_path / "out.png")
    image = pixels(tmp_path / "out.png")
    for name in ("FILE", "CANAL", "CHORD", "GAP"):
        assert colour_count(image, getattr(colours, f"{name}_COLOUR")) > 50, name
    assert image.shape[0] > 1000
    assert list(tmp_path.iterdir()) == [tmp_path / "out.png"]


def test_colours_can_be_told_apart_and_are_those_the_key_names():
    # Okabe & Ito, "Color Universal Design" (2008): red, green and blue parts, from memory;
    # matplotlib 3.11 has the same under the name "okabe_ito"
    palette = {
        "orange": (230, 159, 0),
        "blue": (86, 180, 233),
        "yellow": (240, 228, 66),
        "pink": (204, 121, 167),
        "vermilion": (213, 94, 0),
        "green": (0, 158, 115),
        "white": (255, 255, 255),
    }
    named = {name: value for name, value in vars(colours).items() if name.endswith("_COLOUR")}
    parts = [tuple(int(value[i : i + 2], 16) for i in (1, 3, 5)) for value in named.values()]
    assert sorted(parts) == sorted(palette.values())
    key = {
        "FILE": "orange the file",
        "CANAL": "blue the canal",
        "GAP": "vermilion, thick, the gap",
        "AXIS": "yellow, dash-dotted, the coronal axis",
        "CHORD": "pink, long dashes, the chord",
    }
    words = " ".join(
        line.words for line in lay_out_numbers(made_radiograph(), [EMPTY]).lines if not line.value
    )
    for name, told in key.items():
        rgb = tuple(int(named[f"{name}_COLOUR"][i : i + 2], 16) for i in (1, 3, 5))
        assert rgb == palette[told.split()[0].rstrip(",")]
        assert told in words


def test_file_and_canal_are_drawn_each_in_its_own_colour():
    from matplotlib.figure import Figure

    _, _, result = made_case()
    radiograph = made_radiograph()
    axes = Figure(figsize=(4, 5)).add_subplot()
    Drawing(axes, radiograph, crop_to_tooth(radiograph, [result])).draw([result])
    for line, colour in (
        (result.file_line, colours.FILE_COLOUR),
        (result.canal_line, colours.CANAL_COLOUR),
    ):
        first = line.points_px[:2, ::-1].tolist()
        (drawn,) = [one for one in axes.lines if one.get_xydata()[:2].tolist() == first]
        assert drawn.get_color() == colour


def test_without_a_gap_no_gap_is_drawn(tmp_path):
    lines, _, result = made_case(scale=None)
    draw_picture(made_radiograph(lines=lines), [result], tmp_path / "out.png")
    assert colour_count(pixels(tmp_path / "out.png"), "#D55E00", within=25) == 0


def test_stretches_without_support_are_dashed(tmp_path):
    lines, _, result = made_case(remarks=())
    whole = replace(result.canal_line, confident=np.ones_like(result.canal_line.confident))
    draw_picture(made_radiograph(lines=lines), [result], tmp_path / "dashed.png")
    draw_picture(made_radiograph(lines=lines), [replace(result, canal_line=whole)], tmp_path / "whole.png")
    dashed, solid = (colour_count(pixels(tmp_path / f"{n}.png"), "#56B4E9") for n in ("dashed", "whole"))
    assert dashed < solid


def test_an_image_where_nothing_was_found_is_still_drawn(tmp_path):
    draw_picture(made_radiograph(), [EMPTY], tmp_path / "out.png")
    assert pixels(tmp_path / "out.png").std() > 10


def test_a_ball_is_drawn_and_inside_the_crop(tmp_path):
    ball = LandmarkFix("ball_centre", 260.0, 230.0, 255.0, 235.0, 0.3, 0.3, "circle fit", True)
    result = replace(
        EMPTY,
        facts=CaseFacts(scale_from="ball", ball_diameter_mm=5.0),
        scale=Scale(0.05, 0.05, 0.0002, "ball", "circle fit"),
        landmarks={"ball_centre": ball},
    )
    crop = crop_to_tooth(made_radiograph(), [result])
    assert crop.top <= 210
    assert crop.bottom >= 310
    draw_picture(made_radiograph(), [result], tmp_path / "out.png")
    assert colour_count(pixels(tmp_path / "out.png"), "#009E73") > 50


def test_the_crop_holds_everything_and_stays_in_the_image():
    _, _, result = made_case(origin=(82.0, 5.0))
    radiograph = made_radiograph()
    crop = crop_to_tooth(radiograph, [result])
    points = np.vstack([result.file_line.points_px, result.canal_line.points_px])
    assert crop.top <= points[:, 0].min()
    assert crop.bottom >= points[:, 0].max()
    assert crop.left == -0.5
    assert crop.right <= radiograph.grey.shape[1] - 0.5


def test_numbers_carry_uncertainty_unit_method_and_basis():
    lines, _, result = made_case()
    numbers = lay_out_numbers(made_radiograph(lines=lines), [result])
    words = " ".join(line.words for line in numbers.lines)
    values = {line.words: line.value for line in numbers.lines if line.value}
    assert values["Gap, file tip to radiographic apex"] == "+1.01 ± 0.08 mm"
    assert values["Schneider angle"] == "30.0 ± 1.2°"
    assert values["Scale"] == "0.05000 ± 0.00020 mm/px"
    for part in ("set file length plus gap", "Warning: Between 8.9", "not a medical device", "No exposure"):
        assert part in words


def test_labels_do_not_overlap_and_stay_inside():
    rows = spread_rows([10.0, 10.0, 11.0, 90.0, 95.0, 96.0], step=8.0, lowest=5.0, highest=95.0)
    assert np.diff(rows).min() >= 8.0 - 1e-9
    assert rows[0] >= 5.0
    assert rows[-1] <= 95.0


def test_wrong_use_and_wrong_place(tmp_path):
    with pytest.raises(ValueError, match="at least one canal"):
        draw_picture(made_radiograph(), [], tmp_path / "out.png")
    with pytest.raises(PeriapicalError, match="cannot be written"):
        draw_picture(made_radiograph(), [EMPTY], tmp_path / "none" / "out.png")
