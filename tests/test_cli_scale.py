"""``periapical scale`` as a user runs it."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from tests.fixtures.painted import painted_tooth
from tests.test_cli import ROOT, fails_with, periapical

SAMPLES = ROOT / "sample_images"
TABLES = ("--clicks", SAMPLES / "CLICKS.csv", "--images", SAMPLES / "IMAGES.csv")
STATED = ("--file-size", "20", "--ball-diameter-mm", "3", "--no-diameters")


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """A painted tooth with file and ball; what its file measures."""
    folder = tmp_path_factory.mktemp("scales")
    tooth = painted_tooth(ball=True)
    Image.fromarray((tooth.grey * 65535).astype(np.uint16)).save(folder / "a.png")
    rows = [
        f"a.png,1,{name},{order},{row:.2f},{col:.2f}"
        for name, points in tooth.clicks.items()
        for order, (row, col) in enumerate(points, start=1)
    ]
    (folder / "CLICKS.csv").write_text("\n".join(["image,canal,landmark,order,row,col", *rows]) + "\n")
    return folder, f"{tooth.file_length_mm:.2f}", tooth


def run(study, *arguments):
    folder, length, _ = study
    given = () if "--file-length-mm" in arguments else ("--file-length-mm", length)
    return periapical("scale", "a.png", "--clicks", "CLICKS.csv", *given, *arguments, cwd=folder)


def test_all_scales_budget_and_checks_in_terminal_json_and_picture(study, tmp_path) -> None:
    _, _, tooth = study
    pitch = f"{1.05 * tooth.mm_per_px:.5f}"
    done = run(
        study,
        *(*STATED, "--detector-pitch-mm", pitch, "--dpi", "800", "--json", tmp_path / "out.json"),
        *("--known-mm", "3", "--between", "100,100:100,200", "--picture", tmp_path / "out.svg"),
    )
    assert done.returncode == 0, done.stderr
    told = flat(done.stdout)
    for part in (
        "a.png: scales",
        "file counts for the lengths",
        "Uncertainty budget",
        "place of the stop",
        "triangular ± 0.25 mm, stop set on a ruler: common practice, no source",
        "The scales agree.",
        "implies a magnification of",
        "File length by detector pitch as stated",
        "File length by ball",
        "a tilt of the canal of up to 10° against the file could make it",
        "The stated file length is not touched, only the gap.",
        "Bounds, not an uncertainty; nothing is corrected",
        "not a medical device",
    ):
        assert part in told, part
    assert (tmp_path / "out.svg").read_text(encoding="utf-8").count("file counts for the lengths") == 1
    document = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert (document["schema"], document["schema_version"]) == ("napari-periapical scales", 1)
    scales = {one["name"]: one for one in document["scales"]}
    assert set(scales) == {"file", "ball", "detector pitch", "scan resolution", "wire"}
    assert scales["wire"]["mm_per_px"] == pytest.approx(0.03)
    assert scales["file"]["magnification"]["value"] == pytest.approx(1.05, abs=0.03)
    assert scales["detector pitch"]["magnification"] is None
    for one in scales.values():
        assert sum(line["share"] for line in one["budget"]) == pytest.approx(1.0)
        made = sum(line["contribution_mm_per_px"] ** 2 for line in one["budget"])
        assert made**0.5 == pytest.approx(one["sd_mm_per_px"])
    (canal,) = document["canals"]
    assert canal["counts"] == "file"
    assert {one["evidence"] for one in canal["file_length_meant"]} >= {"detector pitch as stated", "ball"}
    assert {one["name"] for one in canal["bounds"]} == {"gap_mm", "canal_length_mm", "working_length_mm"}
    assert all(one["standing"] for one in canal["cross_checks"])


def test_a_length_mistyped_is_warned_of_with_the_likely_one(study) -> None:
    """A file of 21 mm entered as 25 mm: its scale is 25/21 of what the pitch allows, arithmetic."""
    done = periapical(
        *("scale", SAMPLES / "s02_curved_file10.png", *TABLES, "--file-length-mm", "25", "--no-diameters"),
        *("--detector-pitch-mm", "0.037"),
    )
    assert done.returncode == 0, done.stderr
    told = flat(done.stdout)
    assert "Warning: File length by detector pitch as stated: The stated file length of 25 mm" in told
    assert "21 mm (25 mm entered for 21 mm) is more than 1000 times likelier" in told


def test_a_ball_counts_where_it_is_asked_for(study) -> None:
    done = run(study, *STATED, "--scale-from", "ball", "--json", "-")
    document = json.loads(done.stdout)
    (canal,) = document["canals"]
    assert canal["counts"] == "ball"
    assert "receptor" in next(one["geometry"] for one in canal["bounds"])
    assert document["agreement"]["agree"] is True
    assert document["no_scale_from"][0]["name"] == "image header"


def test_diameters_give_a_second_scale(study) -> None:
    done = run(study, "--file-size", "20", "--json", "-")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    (canal,) = document["canals"]
    by_name = {one["name"]: one["mm_per_px"] for one in document["scales"]}
    lean = canal["diameters_against_length"]
    assert lean["ratio"] == pytest.approx(by_name["diameters of the file"] / by_name["file"])
    assert lean["interval95"][0] < lean["ratio"] < lean["interval95"][1]
    assert canal["counts"] == "file"
    assert lean["words"] in {one["text"] for one in canal["cross_checks"] if one["kind"] == "lean"}


def test_two_canals_of_a_header_are_told_apart() -> None:
    done = periapical("scale", SAMPLES / "s04_two_canals.dcm", *TABLES, "--no-diameters", "--json", "-")
    document = json.loads(done.stdout)
    assert {one["canal"]: one["counts"] for one in document["canals"]} == {
        "MB": "file of canal MB",
        "ML": "file of canal ML",
    }
    assert document["detector_pitch"]["where"] == "of the image header"
    assert len(document["agreement"]["pairs"]) == 1


def test_scales_are_shown_although_none_is_asked_for(study) -> None:
    done = run(study, *STATED, "--scale-from", "none")
    assert done.returncode == 0, done.stderr
    assert "no scale counts for the lengths: scale_from is none" in flat(done.stdout)


def test_nothing_that_gives_a_scale_is_exit_1(study, tmp_path) -> None:
    folder, _, _ = study
    done = periapical(
        *("scale", "a.png", "--clicks", "CLICKS.csv", "--no-diameters", "--picture", tmp_path / "a.png"),
        cwd=folder,
    )
    assert done.returncode == 1
    told = flat(done.stdout)
    assert "nothing gives a scale" in told
    assert "No scale from file: file_length_mm is not given" in told
    assert not (tmp_path / "a.png").exists()


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--detector-pitch-mm", "20"), "--detector-pitch-mm: given '20'; allowed is a number from 0.01 to"),
        (("--dpi", "fine"), "--dpi: given 'fine'; allowed is a number from 75 to 4800 dots per inch"),
        (("--known-mm", "5"), "needs both --known-mm and --between"),
        (("--between", "1,2:3,4"), "needs both --known-mm and --between"),
        (("--intervals", "4"), "needs both --known-mm and --between"),
        (
            ("--known-mm", "5", "--between", "1,2,3,4"),
            "--between: given '1,2,3,4'; allowed is ROW,COL:ROW,COL",
        ),
        (("--known-mm", "5", "--between", "1,2:9999,4"), "lies outside the image"),
        (("--known-mm", "5", "--between", "1,2:1,2"), "are the same"),
        (("--known-mm", "0", "--between", "1,2:9,4"), "--known-mm: given '0'"),
        (("--known-mm", "5", "--between", "1,2:9,4", "--intervals", "2.5"), "--intervals: given '2.5'"),
        (("--tilt-deg", "-3"), "--tilt-deg: given '-3'; allowed is a number from 0 to 45 degrees"),
        (("--tilt-deg", "40", "--lean-deg", "40"), "exceed 60"),
        (("--depth-mm", "15", "--lean-deg", "45"), "lessen them or enlarge the distance"),
        (("--picture", "scales.bmp"), "PNG".lower()),
        (("--picture", "a.png"), "is one of the inputs"),
        (("--file-length-mm", "210"), "--file-length-mm: given '210'"),
    ],
)
def test_what_is_typed_wrong_is_told_in_one_line(study, given, told) -> None:
    fails_with(run(study, "--no-diameters", *given), told)


def test_help_has_an_example() -> None:
    told = flat(periapical("scale", "--help").stdout)
    assert "Example: periapical scale" in told
    assert "Exit codes: 0 done" in told


def test_remarks_on_the_trace_and_stops_of_the_scale_are_told(study, tmp_path) -> None:
    answers = tmp_path / "ANSWERS.csv"
    answers.write_text("image,check,answer,note\na.png,10,no,behind the clamp\n")
    done = run(study, "--no-diameters", "--mm-per-px-sd", "0.001", "--answers", answers)
    told = flat(done.stdout)
    assert "mm_per_px_sd is stated without mm_per_px" in told
    assert "Answered: no: behind the clamp" in told
    assert "no scale counts for the lengths: withheld by check 10" in told
    assert "its uncertainty is that of its parts" in flat(run(study, "--no-diameters").stdout)
