"""``periapical curvature`` and ``periapical methods`` as a user meets them."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image
from rich.console import Console

from radio.measure.classes import SCHEMES
from radio.measure.methods import METHODS, QUANTITIES, method_named
from radio.measure.what_if import what_if
from radio.record.curvature_case import CurvatureCase
from radio.record.curvature_json import CurvatureDocument
from radio.record.curvature_terminal import curvature_block
from radio.record.methods_terminal import listed, methods_block
from tests.fixtures.bent import straight_and_arc
from tests.fixtures.drawn_study import click_rows, write_study
from tests.fixtures.made_case import made_radiograph
from tests.test_cli import ROOT, fails_with, periapical

MM_PER_PX = 0.05
BEND_DEG, PLANE_DEG = 60.0, 40.0


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    write_study(folder, ["a.png"])
    return folder


def curvature(folder, *arguments):
    return periapical("curvature", "a.png", "--clicks", "CLICKS.csv", *arguments, cwd=folder)


def read(done) -> dict:
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return CurvatureDocument.model_validate_json(done.stdout).model_dump(by_alias=True)


def test_an_answer_withholds_what_rests_on_it(study, tmp_path):
    answers = tmp_path / "ANSWERS.csv"
    answers.write_text("image,canal,check,answer,note\na.png,1,6,yes,made smaller\n")
    stated = ("--mm-per-px", "0.05", "--scale-from", "given", "--json", "-")
    (whole,), (without,) = (
        read(curvature(study, *stated, *more))["views"][0]["canals"] for more in ((), ("--answers", answers))
    )
    assert "scale_mm_per_px" in whole["lengths"]
    assert "scale_mm_per_px" not in without["lengths"]
    assert "schneider_deg" in without["quantities"]
    # a row of a canal that the image does not have is told
    answers.write_text("image,canal,check,answer,note\na.png,ML,6,yes,\n")
    assert "no such canal" in curvature(study, *stated, "--answers", answers).stderr


# -- one view ------------------------------------------------------------------------------------------------


def test_every_quantity_of_every_method_is_told(study):
    done = curvature(study, "--images", "IMAGES.csv")
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert "a.png: Tooth 36, canal 1" in words
    for method in METHODS:
        assert method.name in done.stdout
    for quantity in QUANTITIES.values():
        assert quantity.title in words
    for part in (
        *("Value ± u", "95 % interval", "departure tolerance 0.10 mm", "smoothing spline"),
        *("Basis: this view; axis from the coronal run", "Coronal axis: found by rule"),
        *("Departure point: found by rule", "First curve of the S; Second curve of the S: the canal is not"),
        *("Class: Schneider's classes: ", "Class: Difficulty bands", "one view only", "% agree"),
        "not a medical device",
    ):
        assert part in words, part


def test_the_angles_are_those_of_the_drawn_canal(study):
    (view,) = read(curvature(study, "--images", "IMAGES.csv", "--json", "-"))["views"]
    (canal,) = view["canals"]
    # 8 mm straight, then radius 5 mm through 60 degrees: half of it by Schneider (tangent-chord theorem)
    assert canal["quantities"]["schneider_deg"]["value"] == pytest.approx(32, abs=5)
    # the line of the last 2 mm of an arc has the direction of its middle: 1 mm, or 11 degrees, short of 60
    assert canal["quantities"]["weine_deg"]["value"] == pytest.approx(48.5, abs=6)
    assert canal["quantities"]["tangent_circle_deg"]["value"] == pytest.approx(60, abs=8)
    assert canal["quantities"]["tangent_circle_radius_mm"]["value"] == pytest.approx(5, abs=1.2)
    assert canal["words"]["s_shaped"]["word"] == "no"
    low, high = canal["quantities"]["schneider_deg"]["interval95"]
    assert low < canal["quantities"]["schneider_deg"]["value"] < high
    assert canal["lengths"]["canal_length_mm"]["value"] == pytest.approx(8 + 5 * np.pi / 3, abs=0.6)
    assert canal["not_measured"].keys() == {"primary_curve_deg", "secondary_curve_deg"}
    assert canal["what_if"] is None


def test_only_the_methods_asked_for_are_told_in_their_own_order(study):
    arguments = ("--images", "IMAGES.csv", "--method", "weine", "--method", "Schneider")
    done = curvature(study, *arguments)
    assert done.returncode == 0, done.stderr
    assert done.stdout.index("Schneider angle") < done.stdout.index("Weine angle")
    assert "Smallest radius" not in done.stdout
    document = read(curvature(study, *arguments, "--json", "-"))
    assert list(document["methods"]) == ["schneider", "weine"]
    assert document["methods"]["weine"]["standing"] == method_named("weine").standing
    (canal,) = document["views"][0]["canals"]
    assert list(canal["quantities"]) == ["schneider_deg", "weine_deg"]
    # the radius scheme is for a quantity that is not shown
    assert [one["scheme"] for one in canal["classes"]] == ["schneider", "difficulty"]


def test_without_a_scale_angles_alone_and_the_reason(study):
    done = curvature(study, "--scale-from", "none")
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert "Scale: none, so angles only" in words
    assert "departure tolerance 5 px (no scale)" in words
    assert "Smallest radius" in words.partition("Not there: ")[2]
    assert "there is no scale" in words


def test_a_fact_given_as_option_counts(study):
    document = read(curvature(study, "--mm-per-px", "0,05", "--tooth", "46", "--json", "-"))
    (canal,) = document["views"][0]["canals"]
    assert canal["facts"]["tooth"] == "46"
    assert canal["lengths"]["scale_mm_per_px"]["value"] == 0.05


def test_an_own_class_scheme(study, tmp_path):
    table = tmp_path / "ours.csv"
    table.write_text("scheme,quantity,label,from,to\nours,weine_deg,little,,48\nours,weine_deg,much,48,\n")
    done = curvature(study, "--images", "IMAGES.csv", "--classes", table)
    words = " ".join(done.stdout.split())
    told = words.partition("Class: ours: ")[2]
    assert told.startswith(("little; its 95 % interval also reaches much", "much; its 95 % interval also"))
    fails_with(
        curvature(study, "--method", "schneider", "--classes", table),
        "The class scheme ours is for weine_deg, which the chosen methods do not give; add --method weine",
    )


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("scheme,quantity,label,from,to\nours,weine,a,,9\n", ["ours.csv: row 2, quantity", "weine_deg"]),
        ("scheme,quantity,label,from,to\nours,canal_form,a,,9\n", ["row 2, quantity", "allowed is one of"]),
        ("scheme,quantity,label,from\nours,weine_deg,a,9\n", ["ours.csv has no column to"]),
        ("scheme,quantity,label,from,to\nours,weine_deg,a,1,5,9\n", ["line 2", "6 cells"]),
        ("scheme,quantity,label,from,to\n", ["ours.csv: The table of classes has no rows"]),
    ],
)
def test_a_wrong_class_scheme(study, tmp_path, text, parts):
    table = tmp_path / "ours.csv"
    table.write_text(text)
    fails_with(curvature(study, "--classes", table), *parts)


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["--method", "schnieder"], ["no curvature method 'schnieder'", *(one.name for one in METHODS)]),
        (["--method"], ["requires an argument"]),
        (["--classes", "none.csv"], ["none.csv cannot be read"]),
        (["--between-views", "90"], ["--between-views is for two views"]),
        (["--steps"], ["--steps is for pictures"]),
        (["--two-view", "none.png"], ["There is no image at none.png"]),
        (["--two-view", "a.png"], ["names a.png again"]),
        (
            ["--two-view", "b.png", "--between-views", "5"],
            ["--between-views: given '5'", "10 to 170 degrees"],
        ),
        (["--two-view", "b.png", "--between-views", "x"], ["--between-views: given 'x'"]),
        (["--between-views-sd", "2"], ["--between-views-sd is for two views"]),
        (["--two-view", "b.png", "--between-views-sd", "45"], ["--between-views-sd: given '45'", "0 to 30"]),
        (["--json", "CLICKS.csv"], ["one of the inputs"]),
        (["--json", "no/such/place.json"], ["cannot be written"]),
        (["--picture", "a.png"], ["one of the inputs"]),
        (["--tooth", "99"], ["--tooth", "ISO 3950"]),
        (["--electronic-mm", "21"], ["No such option"]),
    ],
)
def test_wrong_typing_is_one_clear_message_and_exit_code_2(study, arguments, parts):
    fails_with(curvature(study, *arguments), *parts)


def test_no_canal_is_nothing_measured(study, tmp_path):
    clicks = tmp_path / "CLICKS.csv"
    rows = [row for row in click_rows("a.png") if ",file_" in row]
    clicks.write_text("\n".join(["image,canal,landmark,order,row,col", *rows]) + "\n")
    arguments = ("curvature", study / "a.png", "--clicks", clicks, "--file-length-mm", "16.4")
    done = periapical(*arguments)
    assert done.returncode == 1, done.stderr
    assert "no click for orifice" in " ".join(done.stdout.split())
    out = tmp_path / "out.json"
    assert periapical(*arguments, "--what-if", "--json", out).returncode == 1
    (canal,) = CurvatureDocument.model_validate_json(out.read_text(encoding="utf-8")).views[0].canals
    assert canal.quantities == {}
    assert canal.not_measured.keys() == QUANTITIES.keys()


# -- placed by hand ------------------------------------------------------------------------------------------


def placed_study(folder, study, *rows):
    shutil.copy(study / "a.png", folder / "a.png")
    shutil.copy(study / "IMAGES.csv", folder / "IMAGES.csv")
    (folder / "CLICKS.csv").write_text((study / "CLICKS.csv").read_text() + "\n".join(rows) + "\n")


def test_a_placed_axis_and_departure_take_the_place_of_the_rule(study, tmp_path):
    # the drawn canal starts at row 120, col 200 and goes straight down for 8 mm, 160 px; the axis clicked
    # leans by atan(16 / 160), 5.7 degrees, toward the bend
    placed_study(
        tmp_path,
        study,
        *("a.png,1,coronal_axis,1,120,184", "a.png,1,coronal_axis,2,280,200", "a.png,1,departure,1,280,200"),
    )
    (canal,) = read(curvature(tmp_path, "--images", "IMAGES.csv", "--json", "-"))["views"][0]["canals"]
    found = canal["quantities"]["schneider_deg"]
    assert found["value"] == pytest.approx(30 - np.degrees(np.arctan(0.1)), abs=2.5)
    assert "axis as placed by hand, departure as placed by hand" in found["basis"]
    assert canal["parts"]["coronal_axis"] == "placed by hand"
    assert canal["parts"]["departure"].startswith("placed by hand, ")
    assert canal["clicks"]["coronal_axis"] == ((120, 184), (280, 200))
    shown = " ".join(curvature(tmp_path, "--images", "IMAGES.csv").stdout.split())
    assert "Coronal axis: placed by hand" in shown
    assert "Departure point: placed by hand" in shown


def test_a_placed_departure_alone_leaves_the_axis_to_the_rule(study, tmp_path):
    placed_study(tmp_path, study, "a.png,1,departure,,280,200")
    done = periapical("measure", "a.png", "--clicks", "CLICKS.csv", "--json", "-", cwd=tmp_path)
    (canal,) = json.loads(done.stdout)["canals"]
    basis = canal["measurements"]["schneider_deg"]["basis"]
    assert "axis from the coronal run, departure as placed by hand" in basis


def test_a_batch_takes_placed_points_too(study, tmp_path):
    placed_study(tmp_path, study, "a.png,1,coronal_axis,1,120,184", "a.png,1,coronal_axis,2,280,200")
    done = periapical("batch", "IMAGES.csv", "CLICKS.csv", "--out", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    plain = periapical("batch", "IMAGES.csv", "CLICKS.csv", "--out", tmp_path / "plain", cwd=study)
    assert plain.returncode == 0, plain.stderr
    angles = []
    for folder in ("out", "plain"):
        with (tmp_path / folder / "results.csv").open(newline="", encoding="utf-8") as stream:
            (row,) = csv.DictReader(stream)
            angles.append(float(row["schneider_deg"]))
    # an axis that leans toward the bend by b is left by the arc after a, 5 (cos b - cos(a - b)) being 0.1 mm;
    # from there the chord stands half way between the tangents
    b = np.arctan(0.1)
    a = b + np.arccos(np.cos(b) - 0.1 / 5.0)
    assert angles[0] == pytest.approx(np.degrees(0.5 * (a + np.pi / 3) - b), abs=2.5)
    assert angles[1] - angles[0] > 1


@pytest.mark.parametrize(
    ("rows", "part"),
    [
        (["a.png,1,departure,1,9,9", "a.png,1,departure,2,8,8"], "departure is given 2 times"),
        ([f"a.png,1,coronal_axis,{n},{100 * n},200" for n in (1, 2, 3)], "coronal_axis is given by 3 points"),
        (["a.png,1,departure,1,900,200"], "departure at row 900"),
    ],
)
def test_wrongly_placed_points(study, tmp_path, rows, part):
    placed_study(tmp_path, study, *rows)
    fails_with(curvature(tmp_path), part)


# -- what-if -------------------------------------------------------------------------------------------------


def test_what_if_is_a_table_and_is_in_the_json(study):
    arguments = ("--images", "IMAGES.csv", "--what-if", "--method", "schneider", "--method", "form")
    words = " ".join(curvature(study, *arguments).stdout.split())
    assert "What if: Each part moved by 0.5 mm, one at a time." in words
    assert "Form: apically curved" in words
    assert "end longer: canal end 0.5 mm further, straight on" in words
    (canal,) = read(curvature(study, *arguments, "--json", "-"))["views"][0]["canals"]
    found = canal["what_if"]
    assert (found["by"], found["unit"]) == (0.5, "mm")
    assert found["before"]["schneider_deg"] == canal["quantities"]["schneider_deg"]["value"]
    assert [(one["part"], one["way"]) for one in found["moves"]] == [
        *(("axis", "left"), ("axis", "right"), ("departure", "coronal"), ("departure", "apical")),
        *(("end", "up"), ("end", "down"), ("end", "shorter"), ("end", "longer")),
    ]
    left, right = (found["moves"][n]["after"]["schneider_deg"] for n in (0, 1))
    # the coronal end 0.5 mm aside of some 9 mm of axis
    assert right - left == pytest.approx(2 * np.degrees(np.arctan(0.5 / 9.0)), abs=1.0)


# -- layout --------------------------------------------------------------------------------------------------


def rendered(block, width):
    out = io.StringIO()
    Console(file=out, width=width, highlight=False).print(block)
    return out.getvalue()


@pytest.fixture(scope="module")
def case(study):
    from radio.image.radiograph import read_radiograph
    from radio.record.tables import read_cases_of_image
    from radio.study.one_image import measure_canals

    table = read_cases_of_image(study / "a.png", study / "CLICKS.csv", study / "IMAGES.csv")
    ((result, clicks),) = measure_canals(read_radiograph(study / "a.png"), table.cases).pairs
    return CurvatureCase("a.png", result, clicks, METHODS, SCHEMES, what_if(result.stack))


@pytest.mark.parametrize("width", [72, 80, 100, 140])
def test_nothing_is_cut_off(case, width):
    text = rendered(curvature_block(case, width), width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
    words = " ".join(text.split())
    for _, _, one in case.quantities:
        if hasattr(one, "value"):
            decimals = {"deg": 1, "mm": 2, "1/mm": 3, "deg/mm": 2, "ratio": 2}[one.unit]
            assert f"{one.value:.{decimals}f} ± {one.sd:.{decimals}f}" in words
    for unit in ("°", "mm", "1/mm", "°/mm"):
        assert f", {unit} " in words or f" {unit} " in words
    # every move is a column, its heading whole
    for part, ways in (("axis", 2), ("depart.", 2), ("end", 4)):
        assert sum(line.split().count(part) for line in text.splitlines() if line.startswith(" ")) >= ways
    assert "longer" in text
    for method in METHODS:
        assert method.name in text


@pytest.mark.parametrize("width", [80, 140])
def test_the_list_of_methods_is_not_cut_off(width):
    text = rendered(methods_block(*listed(None)), width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text


# -- methods -------------------------------------------------------------------------------------------------


def test_every_method_and_scheme_is_listed():
    done = periapical("methods")
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout
    words = " ".join(done.stdout.split())
    for method in METHODS:
        for part in (method.title, method.definition, method.source, method.standing, method.absent):
            assert " ".join(part.split()) in words
    for column, quantity in QUANTITIES.items():
        assert f"{column} (" in words
        assert quantity.title in words
    for scheme in SCHEMES:
        for part in (scheme.title, scheme.told, scheme.source, scheme.note):
            assert " ".join(part.split()) in words
    assert "from memory" in words


def test_one_method_or_scheme():
    shown = periapical("methods", "Weine").stdout
    assert "weine_deg (°)" in shown
    assert "long_axis_deg" not in shown
    assert "bands" not in shown.casefold()
    with_classes = periapical("methods", "schneider").stdout
    assert "schneider_deg (°)" in with_classes
    assert "case difficulty form" in with_classes
    scheme = periapical("methods", "difficulty").stdout
    assert "low below 10°" in scheme
    assert "Curvature methods" not in scheme
    fails_with(
        periapical("methods", "cosine"),
        "There is no curvature method or class scheme 'cosine'",
        *(one.name for one in (*METHODS, *SCHEMES)),
    )


def test_help_names_the_methods():
    for command in ("curvature", "methods"):
        told = " ".join(periapical(command, "--help").stdout.split())
        assert "Example: periapical" in told
        assert "Exit codes: 0 done" in told
        for method in METHODS:
            assert method.name in told


# -- two views -----------------------------------------------------------------------------------------------


def write_views(folder, second_share=1.0, canals=(("1", "1"),)) -> None:
    """A canal in space, bent in a plane turned about the tooth, as two views at right angles show it."""
    planar = straight_and_arc(8.0, 5.0, BEND_DEG)
    points = ["image,canal,landmark,order,row,col"]
    for name, azimuth, share in (("a.png", 0.0, 1.0), ("b.png", 90.0, second_share)):
        across = planar[:, 1] * np.cos(np.radians(PLANE_DEG - azimuth))
        line = share * np.stack([planar[:, 0], across], axis=1) / MM_PER_PX + [100.0, 200.0]
        grey = made_radiograph(lines=[(line[::8], 5.0, -0.15)]).grey
        Image.fromarray((grey * 65535).astype(np.uint16)).save(folder / name)
        for canal in {one[name == "b.png"] for one in canals}:
            marks = {"orifice": line[:1], "canal_via": line[[500, 1000, 1300]], "canal_end": line[-1:]}
            points += [
                f"{name},{canal},{mark},{order},{row:.1f},{col:.1f}"
                for mark, places in marks.items()
                for order, (row, col) in enumerate(places, start=1)
            ]
    (folder / "CLICKS.csv").write_text("\n".join(points) + "\n")


@pytest.fixture(scope="module")
def views(tmp_path_factory):
    folder = tmp_path_factory.mktemp("views")
    write_views(folder)
    return folder


def test_two_views_give_the_canal_in_space(views):
    arguments = (
        "--mm-per-px",
        "0.05",
        "--two-view",
        "b.png",
        "--between-views",
        "90",
    )
    document = read(curvature(views, *arguments, "--json", "-"))
    assert [view["image"] for view in document["views"]] == ["a.png", "b.png"]
    (found,) = document["in_space"]
    numbers = {name: one["value"] for name, one in found["measurements"].items()}
    # the bend is in one plane, so space shows the planar values of the canal itself
    assert numbers["length_3d_mm"] == pytest.approx(8 + 5 * np.pi / 3, abs=0.5)
    assert numbers["schneider_3d_deg"] == pytest.approx(33, abs=6)
    assert numbers["weine_3d_deg"] == pytest.approx(48.5, abs=6)
    # both angles of the direction from departure to end; tan^2 = tan^2 + tan^2 gives back the angle itself
    assert numbers["resultant_bend_deg"] == pytest.approx(33, abs=6)
    assert numbers["bend_plane_deg"] == pytest.approx(PLANE_DEG, abs=8)
    assert found["same_canal"] is True
    assert found["not_measured"] == {}
    assert found["between_views_sd_deg"] == 3.0
    in_plane = {name: one["value"] for name, one in found["own_plane"]["quantities"].items()}
    # by every method: the arc of 5 mm through 60 degrees, seen square on
    for name, truth in (("tangent_circle_deg", BEND_DEG), ("tangent_circle_radius_mm", 5.0)):
        low, high = found["own_plane"]["quantities"][name]["interval95"]
        assert low < truth < high, name
    assert in_plane["schneider_deg"] == pytest.approx(numbers["schneider_3d_deg"], abs=1)
    assert found["own_plane"]["words"]["s_shaped"]["word"] == "no"
    assert len(found["points_mm"]) > 50
    done = curvature(views, *arguments)
    words = " ".join(done.stdout.split())
    assert "Canal 1 in space, from a.png and b.png, 90° ± 3° apart" in words
    assert "By each method, in the plane the canal bends in" in words
    assert "Parallel projection" in words
    assert "Assumed:" in words
    assert "Bend from the two angles" in words
    assert "No second view" not in words
    assert "Warning: These two views" not in words


def test_two_views_are_drawn_in_space(views, tmp_path):
    arguments = ("--two-view", "b.png", "--method", "schneider", "--picture", str(tmp_path))
    done = curvature(views, "--mm-per-px", "0.05", *arguments)
    assert done.returncode == 0, done.stderr
    names = {path.name for path in tmp_path.iterdir()}
    assert {"a_1_in-space.png", "a_1_in-space.svg", "a_1_schneider.png", "b_1_schneider.png"} < names
    assert not any(name.startswith("b_1_in-space") for name in names)
    assert f"Pictures: {len(names)} in" in " ".join(done.stdout.split())


def test_what_cannot_be_drawn_in_space_is_told(views, tmp_path):
    arguments = ("--two-view", "b.png", "--method", "schneider", "--picture", str(tmp_path))
    words = " ".join(curvature(views, *arguments).stdout.split())
    assert "Not drawn: a.png, canal 1, in-space: a.png and b.png, canal 1: the canal in space cannot" in words
    assert "There is no scale in the first view" in words
    assert not list(tmp_path.glob("*in-space*"))


def test_two_views_of_different_height_are_warned_of(tmp_path):
    write_views(tmp_path, second_share=0.8)
    done = curvature(tmp_path, "--mm-per-px", "0.05", "--two-view", "b.png", "--method", "schneider")
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert "Warning: These two views do not seem to show the same canal" in words
    # numbers of two canals put together are none
    assert "In space" not in words
    assert "Not there: Canal in space: these two views do not seem to show one canal" in words


def test_two_views_of_different_teeth_are_warned_of(views, tmp_path):
    table = tmp_path / "IMAGES.csv"
    table.write_text("image,tooth,mm_per_px,subject\na.png,36,0.05,A1\nb.png,37,0.05,A1\n")
    arguments = ("--images", table, "--two-view", "b.png", "--method", "schneider")
    done = curvature(views, *arguments)
    assert done.returncode == 0, done.stderr
    told = "The two views are stated to show tooth 36 and tooth 37: this is not one canal."
    assert f"Warning: {told}" in " ".join(done.stdout.split())
    (found,) = read(curvature(views, *arguments, "--json", "-"))["in_space"]
    assert found["same_canal"] is False
    assert found["remarks"][0] == told


def test_two_views_without_a_scale_give_the_bend_alone(views):
    done = curvature(views, "--two-view", "b.png", "--method", "schneider")
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert "Bend from the two angles" in words
    assert "Not there: Canal in space: There is no scale in the first view" in words


def test_canals_without_a_partner_are_named(tmp_path):
    write_views(tmp_path, canals=(("1", "1"), ("MB", "DB")))
    arguments = ("--mm-per-px", "0.05", "--two-view", "b.png", "--method", "schneider")
    words = " ".join(curvature(tmp_path, *arguments).stdout.split())
    assert "No second view: canal MB was measured in a.png only, not in b.png." in words
    assert "No second view: canal DB was measured in b.png only, not in a.png." in words
    document = read(curvature(tmp_path, *arguments, "--json", "-"))
    assert [one["canal"] for one in document["in_space"]] == ["1"]
    assert len(document["unmatched"]) == 2


def test_two_views_with_no_canal_in_common(tmp_path):
    write_views(tmp_path, canals=(("MB", "DB"),))
    fails_with(curvature(tmp_path, "--two-view", "b.png"), "a.png has MB; b.png has DB. Name them alike.")


def test_two_views_need_rows_of_the_second(study, tmp_path):
    placed_study(tmp_path, study)
    shutil.copy(study / "a.png", tmp_path / "b.png")
    fails_with(curvature(tmp_path, "--two-view", "b.png"), "CLICKS.csv has no row for the image b.png")


# -- pictures, and a method of one's own --------------------------------------------------------------------


def test_pictures_of_the_methods_asked_for(study, tmp_path):
    arguments = ("--images", "IMAGES.csv", "--method", "schneider", "--picture", tmp_path / "drawn")
    done = curvature(study, *arguments)
    assert done.returncode == 0, done.stderr
    drawn = {path.name for path in (tmp_path / "drawn").iterdir()}
    assert {"a_1_schneider.png", "a_1_schneider.svg"} <= drawn
    assert not any("weine" in name for name in drawn)
    assert f"Pictures: {len(drawn)} in " in done.stdout


TOY = '''
"""A method for the test."""

import numpy as np

from radio.measure.drawn import Step
from radio.measure.methods.contract import CurvatureMethod, Quantity
from radio.measure.methods.shared_steps import canal_step

METHOD = CurvatureMethod(
    name="bow",
    order=25,
    title="Bow of the canal",
    definition="Length of the canal over the straight distance of its ends.",
    source="made for a test",
    standing="made for a test",
    quantities=(Quantity("bow_quotient", "Length over distance", "ratio", 0.001),),
    values=lambda stack: {"bow_quotient": stack.length / np.hypot(*(stack.end - stack.orifice).T)},
    settings=lambda _: "no settings",
    construct=lambda stack: (canal_step(stack), Step("Join its ends.", ())),
)
'''


def test_a_method_is_added_by_one_module_and_appears_everywhere(study, tmp_path):
    for package in ("radio", "calib"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "radio" / "measure" / "methods" / "bow.py").write_text(TOY)

    def run(*arguments):
        done = subprocess.run(
            [sys.executable, "-m", "radio.cli", *map(str, arguments)],
            cwd=study,
            env={**os.environ, "PYTHONPATH": str(tmp_path), "PYTHONIOENCODING": "utf-8"},
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    assert "Length of the canal over the straight distance" in run("methods", "bow")
    names = " ".join(run("curvature", "--help").split())
    assert "weine, bow, long-axis" in names
    case = ("a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv")
    words = " ".join(
        run("curvature", *case, "--method", "bow", "--what-if", "--picture", tmp_path / "drawn").split()
    )
    assert "bow Length over distance 1.0" in words
    assert (tmp_path / "drawn" / "a_1_bow.png").stat().st_size > 1000
    (canal,) = json.loads(run("curvature", *case, "--json", "-"))["views"][0]["canals"]
    assert canal["quantities"]["bow_quotient"]["method"] == "Bow of the canal, no settings"
    (canal,) = json.loads(run("measure", *case, "--json", "-"))["canals"]
    # 13.24 mm of canal; its ends are 8 + 5 sin 60 mm down and 5 (1 - cos 60) mm aside
    exact = (8 + 5 * np.pi / 3) / np.hypot(8 + 5 * np.sin(np.pi / 3), 2.5)
    assert canal["measurements"]["bow_quotient"]["value"] == pytest.approx(exact, abs=0.02)
    run("batch", "IMAGES.csv", "CLICKS.csv", "--out", tmp_path / "out")
    with (tmp_path / "out" / "results.csv").open(newline="", encoding="utf-8") as stream:
        (row,) = csv.DictReader(stream)
    assert float(row["bow_quotient"]) == pytest.approx(exact, abs=0.02)
    assert float(row["bow_quotient_sd"]) > 0


def test_readme_has_every_method_and_landmark():
    from radio.measure.case import LANDMARKS

    told = (ROOT / "README.md").read_text(encoding="utf-8")
    section = told.partition("\n## Curvature\n")[2].partition("\n## ")[0]
    rows = [line for line in section.splitlines() if line.startswith("| `")]
    assert [line.split("`")[1] for line in rows] == [method.name for method in METHODS]
    for method, line in zip(METHODS, rows, strict=True):
        assert method.title in line
        for quantity in method.quantities:
            assert f"`{quantity.column}`" in line
    for landmark in LANDMARKS:
        assert landmark in told
