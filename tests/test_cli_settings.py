"""The parameters of the curvature methods as a user states them: options, tables, JSON and words."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import asdict

import numpy as np
import pytest

from radio.errors import TableError
from radio.measure.perturb import SEED
from radio.measure.settings import DEFAULT_SETTINGS, LIMITS, CurvatureSettings
from radio.record.cells import settings_from_texts
from radio.study.batch import run_batch
from tests.fixtures.drawn_study import write_study
from tests.test_cli import fails_with, periapical

STATED = {
    "departure_tolerance_mm": 0.3,
    "departure_tolerance_px": 8.0,
    "apical_portion_mm": 1.0,
    "long_axis_portion": 0.25,
    "smoothing_mm": 3.0,
}
OPTIONS = [part for name, value in STATED.items() for part in (f"--{name.replace('_', '-')}", value)]
TOLD = (
    "departure tolerance 0.30 mm",
    "apical line through the last 1.0 mm",
    "coronal and apical portion 25 % of the canal each",
    "smoothing spline, waves of 3.0 mm halved",
)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    write_study(folder, ["a.png"])
    return folder


def curvature(folder, *arguments):
    return periapical("curvature", "a.png", "--clicks", "CLICKS.csv", *arguments, cwd=folder)


def canal_of(done) -> dict:
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    (canal,) = document["canals"] if "canals" in document else document["views"][0]["canals"]
    return canal


# -- texts ---------------------------------------------------------------------------------------------------


def test_texts_become_settings_and_the_rest_has_its_default() -> None:
    assert settings_from_texts({}) == DEFAULT_SETTINGS
    found = settings_from_texts({"departure_tolerance_mm": "0,15", "smoothing_mm": "3"})
    assert found == CurvatureSettings(departure_tolerance_mm=0.15, smoothing_mm=3.0)


@pytest.mark.parametrize("name", list(LIMITS))
@pytest.mark.parametrize("text", ["", "x", "1e9", "-1", "0", "nan", "inf", "0.2 mm", "30%"])
def test_a_wrong_text_names_option_and_limits(name: str, text: str) -> None:
    with pytest.raises(TableError) as told:
        settings_from_texts({name: text})
    option = f"--{name.replace('_', '-')}"
    assert str(told.value).startswith(f"{option}: given {text!r}; allowed is {LIMITS[name].words}")


# -- curvature -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["curvature", "measure", "batch"])
def test_help_tells_each_default(command: str) -> None:
    shown = " ".join(re.sub(r"[│╭╮╰╯─]", " ", periapical(command, "--help").stdout).split())
    panel = shown.partition("How curvature is measured ")[2]
    words = {1 / 3: "a third"}
    for name, value in asdict(DEFAULT_SETTINGS).items():
        told = panel.partition(f"--{name.replace('_', '-')} ")[2]
        assert f"{words.get(value, format(value, 'g'))} unless given" in told.partition(" --")[0], name


def test_curvature_prints_them_with_each_number_and_once_what_u_is_from(study) -> None:
    words = " ".join(curvature(study, "--images", "IMAGES.csv", *OPTIONS).stdout.split())
    # a setting may be broken over two lines of its column: it stands whole in the JSON
    canal = canal_of(curvature(study, "--images", "IMAGES.csv", *OPTIONS, "--json", "-"))
    assert canal["settings"] == STATED
    methods = {one["method"] for one in (*canal["quantities"].values(), *canal["words"].values())}
    for part in TOLD:
        assert any(part in method for method in methods), part
    assert TOLD[0] in words
    assert "0.10 mm" not in " ".join(methods)
    possible = canal["possible_traces"]
    assert possible["seed"] == SEED
    told = f"from {possible['count']} possible traces (drawn by the seed {SEED})"
    assert words.count(f"u: standard uncertainty, {told}.") == 1
    assert words.count(str(SEED)) == 1


def test_the_angles_of_the_drawn_canal_follow(study) -> None:
    # 8 mm straight, then radius 5 mm through 60 degrees. It is t off its axis after arccos(1 - t / 5) of the
    # arc, and the chord from there stands half way to 60 (tangent-chord theorem); the axis that is fitted to
    # the trace leans a little toward the bend, as much as the tolerance lets it
    angles = {}
    for tolerance in (0.05, 0.3):
        stated = ("--departure-tolerance-mm", tolerance, "--method", "schneider")
        canal = canal_of(curvature(study, "--images", "IMAGES.csv", *stated, "--json", "-"))
        angles[tolerance] = canal["quantities"]["schneider_deg"]["value"]
        late = np.degrees(np.arccos(1 - tolerance / 5))
        assert angles[tolerance] == pytest.approx((60 + late) / 2, abs=4)
    assert angles[0.3] - angles[0.05] > 2


def test_without_a_scale_the_pixels_count(study) -> None:
    canal = canal_of(curvature(study, *OPTIONS, "--scale-from", "none", "--json", "-"))
    assert "departure tolerance 8 px (no scale)" in canal["quantities"]["schneider_deg"]["method"]
    # 1 mm of a usual canal of 13.3 mm
    assert "7.5 % of the canal, no scale" in canal["quantities"]["weine_deg"]["method"]


def test_what_if_is_by_the_same_settings(study) -> None:
    arguments = ("--images", "IMAGES.csv", "--what-if", *OPTIONS, "--json", "-")
    canal = canal_of(curvature(study, *arguments))
    for name in ("schneider_deg", "long_axis_deg", "weine_deg"):
        assert canal["what_if"]["before"][name] == canal["quantities"][name]["value"]


def test_a_given_scale_is_said_to_have_no_uncertainty_stated(study) -> None:
    given = " ".join(curvature(study, "--mm-per-px", "0.05", "--method", "schneider").stdout.split())
    assert "Scale: 0.05000 mm/px from given; pixel size stated by the user; its uncertainty is not" in given
    measured = periapical(
        *("measure", "a.png", "--clicks", "CLICKS.csv", "--mm-per-px", "0.05"), COLUMNS="140", cwd=study
    )
    assert "its uncertainty is not stated" in " ".join(measured.stdout.replace("│", " ").split())
    by_file = " ".join(curvature(study, "--images", "IMAGES.csv", "--method", "schneider").stdout.split())
    assert "is not stated" not in by_file


@pytest.mark.parametrize("command", [("curvature", "a.png", "--clicks"), ("measure", "a.png", "--clicks")])
def test_all_that_is_wrong_is_one_message(study, command) -> None:
    wrong = ("--long-axis-portion", "0.6", "--smoothing-mm", "40")
    fails_with(
        periapical(*command, "CLICKS.csv", *wrong, cwd=study),
        "--long-axis-portion: given '0.6'; allowed is a number from 0.1 to 0.5 of the canal's length",
        "--smoothing-mm: given '40'; allowed is a number from 0.5 to 10 mm",
    )


# -- measure and batch ---------------------------------------------------------------------------------------


def test_measure_measures_by_them_and_says_so(study) -> None:
    arguments = ("measure", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv", *OPTIONS)
    canal = canal_of(periapical(*arguments, "--json", "-", cwd=study))
    assert canal["curvature_settings"] == STATED
    by_curvature = canal_of(curvature(study, "--images", "IMAGES.csv", *OPTIONS, "--json", "-"))
    for name in ("schneider_deg", "long_axis_deg", "smallest_radius_mm"):
        assert canal["measurements"][name] == by_curvature["quantities"][name]
    assert TOLD[0] in " ".join(periapical(*arguments, cwd=study).stdout.split())


def rows_of(folder) -> list[dict[str, str]]:
    with (folder / "results.csv").open(newline="", encoding="utf-8") as stream:
        return [{**row, "seconds": ""} for row in csv.DictReader(stream)]


def test_a_batch_by_other_settings_takes_nothing_over(tmp_path) -> None:
    images, clicks = write_study(tmp_path, ["a.png", "b.png"])
    out, alone = tmp_path / "out", tmp_path / "alone"
    assert run_batch(images, clicks, out).reused == 0
    stated = CurvatureSettings(**STATED)
    assert run_batch(images, clicks, out, settings=stated).reused == 0
    rows = rows_of(out)
    assert [row["departure_tolerance_mm"] for row in rows] == ["0.3", "0.3"]
    for row in rows:
        assert all(part in row["curvature_settings"] for part in TOLD)
    assert json.loads((out / "run.json").read_text())["curvature_settings"] == STATED
    run_batch(images, clicks, alone, settings=stated)
    assert rows_of(alone) == rows
    # both are still known
    assert run_batch(images, clicks, out, settings=stated).reused == 2
    assert run_batch(images, clicks, out).reused == 2
    assert [row["departure_tolerance_mm"] for row in rows_of(out)] == ["0.1", "0.1"]


def test_the_batch_command_takes_them_into_its_processes(tmp_path) -> None:
    write_study(tmp_path, ["a.png", "b.png"])
    done = periapical(
        *("batch", "IMAGES.csv", "CLICKS.csv", "--out", "out", "--workers", "2", *OPTIONS), cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr
    assert {row["departure_tolerance_mm"] for row in rows_of(tmp_path / "out")} == {"0.3"}
    assert json.loads((tmp_path / "out" / "run.json").read_text())["curvature_settings"] == STATED
    fails_with(
        periapical(
            *("batch", "IMAGES.csv", "CLICKS.csv", "--out", "none", "--departure-tolerance-px", "0"),
            cwd=tmp_path,
        ),
        "--departure-tolerance-px: given '0'; allowed is a number above 0, at most 100 px",
    )
    assert not (tmp_path / "none").exists()
