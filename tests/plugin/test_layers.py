from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.scale import Scale
from napari_periapical import drawings, layers
from napari_periapical.about import image_cautions, image_facts
from napari_periapical.drawings import CanalShown, result_drawings
from napari_periapical.layers import Frame
from napari_periapical.number_rows import (
    angle_rows,
    beside_canal,
    headline,
    length_rows,
    method_missing,
    remark_lines,
    scale_rows,
)
from napari_periapical.sheet import Canal
from radio.measure.case import LANDMARKS, CaseFacts, Remark
from radio.measure.methods import METHODS, method_named
from radio.measure.result import Finding, Measurement
from tests.fixtures.made_case import made_case, made_radiograph
from tests.plugin.made import plain_radiograph

SCALE = Scale(0.05, 0.04, 0.001, "given", "as given")


def all_rows(result, canal):
    return (*length_rows(result, canal), *scale_rows(result, canal), *angle_rows(result, canal))


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


def test_the_image_layer_carries_the_radiograph_and_a_contrast_of_the_film():
    radiograph = made_radiograph()
    data, kwargs, kind = layers.image_layer(radiograph, layers.frame_of(1.0, None, millimetres=True))
    low, high = kwargs["contrast_limits"]
    assert (kind, data is radiograph.grey) == ("image", True)
    assert 0 <= low < high <= 1
    assert kwargs["metadata"][layers.RADIOGRAPH] is radiograph


def test_number_rows_say_value_uncertainty_unit_method_and_basis():
    _, clicks, result = made_case()
    rows = all_rows(result, Canal(0, result.facts).with_clicks(clicks))
    assert rows[0].name == "Working length"
    assert rows[0].value == "22.01 ± 0.10 mm"
    assert "set file length plus gap" in rows[0].details
    assert "Basis: scale from the file" in rows[0].details
    assert any(row.value == "30.0 ± 1.2°" for row in rows)
    assert [row.name for row in headline(result)][:2] == ["Working length", "Gap, tip to apex"]
    assert headline(None) == ()


def test_the_length_to_work_to_stands_first_where_a_rule_or_an_estimate_gives_one():
    _, _, result = made_case()
    target = Measurement("target_length_mm", 21.01, "mm", 0.1, "m", "b")
    ruled = replace(result, measurements={**result.measurements, target.name: target})
    assert headline(ruled)[0].name == "Target by rule"
    assert beside_canal(ruled).splitlines()[:2] == ["Target 21.01 ± 0.10 mm", "WL 22.01 ± 0.10 mm"]
    estimate = Measurement("estimated_length_mm", 20.5, "mm", 0.3, "m", "b")
    fileless = {k: v for k, v in result.measurements.items() if k not in ("working_length_mm", "gap_mm")}
    without = replace(result, measurements={**fileless, estimate.name: estimate})
    assert headline(without)[0].name == "Estimate, no file"
    assert beside_canal(without).startswith("Estimate 20.50 ± 0.30 mm\nCanal ")


def test_the_box_on_the_image_shows_the_main_number_of_the_chosen_method():
    _, _, made = made_case()
    assert "Schneider 30.0 ± 1.2°" in beside_canal(made).splitlines()
    weine = Measurement("weine_deg", 24.0, "deg", 2.0, "m", "b")
    radius = Measurement("tangent_circle_radius_mm", 9.0, "mm", 1.0, "m", "b")
    form = Finding("canal_form", "C", 0.9, "m", "b")
    result = replace(
        made,
        measurements={**made.measurements, weine.name: weine, radius.name: radius},
        findings={form.name: form},
    )
    told = {
        "weine": "Weine angle 24.0 ± 2.0°",
        "tangent-circle": "Tangent circle, radius 9.00 ± 1.00 mm",
        "form": "Form C",
    }
    for name, line in told.items():
        text = beside_canal(result, method_named(name))
        assert text.splitlines()[-1] == line
        assert "Schneider" not in text
        chosen = {"methods": (), "numbers": method_named(name)}  # also where no construction is drawn
        drawn = {one.role: one for one in result_drawings(CanalShown(0, result), **chosen)}
        assert drawn["numbers"].labels == (text,)
    bare = replace(result, findings={}, measurements={"gap_mm": result.measurements["gap_mm"]})
    assert beside_canal(bare, method_named("weine")).splitlines()[-1].startswith("Gap ")


def test_what_is_missing_is_told_in_the_words_of_the_panel():
    _, clicks, result = made_case(scale=None)
    canal = Canal(0, result.facts).with_clicks({k: v for k, v in clicks.items() if k != "file_tip"})
    missing = [row for row in all_rows(result, canal) if row.value.startswith("–")]
    # the length that is there, in pixels, is told apart from the one that is not
    lengths = [row.value for row in all_rows(result, canal) if row.name == "Canal length"]
    assert sorted(value.rpartition(" ")[2] for value in lengths) == ["mm", "px"]
    assert "– mm" in lengths
    assert {"– mm/px", "– mm"} <= {row.value for row in missing}
    assert missing
    assert all(name not in row.details for row in missing for name in LANDMARKS if "_" in name)
    assert any("“File tip”" in row.details for row in missing)


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
    assert "not square" in image_cautions(plain_radiograph(aspect=1.5), CaseFacts())


@pytest.mark.parametrize(
    ("facts", "asked"),
    [
        (CaseFacts(), True),
        (CaseFacts(file_length_mm=21.0), False),
        (CaseFacts(ball_diameter_mm=5.0), False),
        (CaseFacts(mm_per_px=0.03), False),
        (CaseFacts(scale_from="ball", file_length_mm=21.0), True),
        (CaseFacts(scale_from="file", file_length_mm=21.0), False),
        (CaseFacts(scale_from="dicom", file_length_mm=21.0), True),
        (CaseFacts(scale_from="none"), False),
    ],
)
def test_a_known_length_is_asked_for_while_none_is_stated_that_counts(facts, asked):
    assert ("known length" in image_cautions(plain_radiograph(), facts)) == asked


def test_remarks_name_points_and_fields_as_the_panel_does():
    lines = remark_lines(
        [
            Remark("warn", "mark file_start and file_tip, or mark it with canal_via"),
            Remark("note", "ball_diameter_mm"),
        ]
    )
    assert lines == [
        "! mark “File start” and “File tip”, or mark it with “On the canal”",
        "· “Ball diameter”",
    ]


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_a_method_says_what_it_lacks_without_a_scale(method):
    _, _, result = made_case(scale=None)
    told = method_missing(result, method)
    lacks = any(one.needs_mm or method.needs_mm for one in method.quantities)
    assert ("there is no scale" in told) == lacks
    assert "orifice" in method_missing(None, method)


def test_a_method_that_gives_all_its_numbers_lacks_nothing():
    _, _, result = made_case()
    assert method_missing(result, method_named("schneider")) == ""
    bare = replace(result, measurements={}, absent={"schneider_deg": "the canal is straight"})
    assert method_missing(bare, method_named("schneider")) == "Not measured: the canal is straight."


def box_of(avoid, within=(1000, 800), at=(500.0, 400.0), side="right"):
    drawing = drawings.Drawing(
        "numbers",
        "box",
        np.array([at]),
        ("#FFFFFF",),
        ("WL 22.01 ± 0.10 mm\nGap +1.01 ± 0.08 mm",),
        ((side, 0),),
        avoid=np.asarray(avoid, dtype=float).reshape(-1, 2),
        within=within,
    )
    (box,) = layers.text_boxes(drawing, Frame(1.0, 1.0, "pixel"), 0.5)
    return box.min(axis=0), box.max(axis=0)


def free_of(box, points):
    first, last = box
    return not ((points > first) & (points < last)).all(axis=1).any()


def test_a_box_of_numbers_covers_neither_lines_nor_points_and_stays_on_the_image():
    rows = np.arange(0.0, 1000.0, 2.0)
    canal = np.stack([rows, 400.0 + 20 * np.sin(rows / 90)], axis=1)
    first, last = box_of(canal)
    assert free_of((first, last), canal)
    assert first[1] > 400  # beside it, on the side asked for
    # another canal where it would stand: it goes elsewhere
    second = canal + np.array([0.0, 60.0])
    both = np.concatenate([canal, second])
    assert not free_of((first, last), second)
    assert free_of(box_of(both), both)
    # near an edge the other side is taken, or another height
    for at, side in (((500.0, 780.0), "right"), ((500.0, 15.0), "left"), ((4.0, 400.0), "right")):
        low, high = box_of(np.array([at]), at=at, side=side)
        assert (low >= 0).all()
        assert (high <= (1000, 800)).all()
        assert free_of((low, high), np.array([at]))


def test_a_box_stays_where_it_is_while_a_point_is_moved_a_little():
    rows = np.arange(0.0, 1000.0, 2.0)
    boxes = [box_of(np.stack([rows, 400.0 + k * 0.2 * np.sin(rows / 90)], axis=1)) for k in range(10)]
    for first, _ in boxes:
        assert np.allclose(first, boxes[0][0])


def test_a_box_is_placed_anew_when_what_it_must_not_cover_has_changed():
    one, same, other = (
        drawings.Drawing("numbers", "box", np.zeros((1, 2)), avoid=np.full((1, 2), k))
        for k in (1.0, 1.0, 2.0)
    )
    assert one.same_as(same)
    assert not one.same_as(other)
