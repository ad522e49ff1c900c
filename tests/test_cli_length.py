"""``periapical length`` and ``periapical plan`` as a user runs them."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.fixtures.drawn_study import write_study
from tests.test_cli import ROOT, fails_with, periapical

SAMPLES = ROOT / "sample_images"
TABLES = ("--clicks", SAMPLES / "CLICKS.csv", "--images", SAMPLES / "IMAGES.csv")


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("lengths")
    write_study(folder, ["a.png"])
    return folder


def test_length_by_file_with_rule_picture_and_json(study, tmp_path) -> None:
    done = periapical(
        *("length", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv", "--length-rule", "1"),
        *("--resorption", "bone", "--picture", tmp_path / "drawn", "--json", tmp_path / "out.json"),
        cwd=study,
    )
    assert done.returncode == 0, done.stderr
    told = flat(done.stdout)
    for part in (
        "Working length:",
        "Length by proportion:",
        "► apex minus 1 mm",
        "by resorption: bone, minus 1.5 mm",
        "The subtraction is a convention",
        "Uncertainty of the working length",
        "textbook",
        "ALARA",
        "not a medical device",
    ):
        assert part in told, part
    assert {one.name for one in (tmp_path / "drawn").iterdir()} == {
        f"a_1_length-end.{kind}" for kind in ("png", "svg")
    }
    document = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert (document["schema"], document["schema_version"]) == ("napari-periapical lengths", 1)
    (canal,) = document["canals"]
    length = canal["working_length_mm"]
    by_rule = {one["rule"]: one for one in canal["by_rule"]}
    assert set(by_rule) == {"0.5", "1", "1.5", "2", "resorption (bone)"}
    assert [name for name, one in by_rule.items() if one["chosen"]] == ["1"]
    for one in by_rule.values():
        target = one["target_length_mm"]
        assert target["value"] == pytest.approx(length["value"] - one["subtract_mm"])
        assert target["sd"] == length["sd"]
    # file length × tooth / file is file length plus gap where the scale is from the file
    assert canal["proportion_length_mm"]["value"] == pytest.approx(length["value"], rel=1e-9)
    assert canal["proportion_length_mm"]["sd"] == pytest.approx(length["sd"], rel=1e-6)
    assert sum(one["share"] for one in canal["proportion_budget"]) == pytest.approx(1.0)
    parts = [one["contribution_mm"] for one in canal["working_length_budget"]]
    assert sum(part**2 for part in parts) == pytest.approx(length["sd"] ** 2)
    assert canal["advice"]["told"][-1].startswith("Every exposure is justified")


def test_length_without_a_file_is_an_estimate() -> None:
    done = periapical("length", SAMPLES / "s05_diagnostic_ball.jpg", *TABLES, "--json", "-")
    assert done.returncode == 0, done.stderr
    (canal,) = json.loads(done.stdout)["canals"]
    assert canal["working_length_mm"] is canal["gap_mm"] is canal["proportion_length_mm"] is None
    assert canal["advice"] is None
    assert canal["estimated_length_mm"]["method"].startswith("along the canal, coronal reference")
    assert not any(one["chosen"] for one in canal["by_rule"])


def test_target_goes_into_tables_json_and_terminal(study, tmp_path) -> None:
    rows = (study / "IMAGES.csv").read_text(encoding="utf-8").splitlines()
    stated = [f"{rows[0]},length_rule,resorption", f"{rows[1]},resorption,bone+root"]
    (study / "RULED.csv").write_text("\n".join(stated) + "\n", encoding="utf-8")
    done = periapical("batch", "RULED.csv", "CLICKS.csv", "--out", tmp_path, cwd=study)
    assert done.returncode == 0, done.stderr
    with (tmp_path / "results.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert float(row["target_length_mm"]) == pytest.approx(float(row["working_length_mm"]) - 2.0)
    assert row["target_length_sd_mm"] == row["working_length_sd_mm"]
    assert row["length_rule"] == "resorption (bone+root)"
    assert row["estimated_length_mm"] == ""
    shown = periapical("measure", "a.png", "--clicks", "CLICKS.csv", "--images", "RULED.csv", cwd=study)
    assert "Target length by rule" in shown.stdout
    kept = periapical(
        *("measure", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv", "--json", "-"),
        *("--length-rule", "0.7: wide foramen"),
        cwd=study,
    )
    (canal,) = json.loads(kept.stdout)["canals"]
    assert canal["facts"]["length_rule"] == "0.7: wide foramen"
    assert "own: wide foramen" in canal["measurements"]["target_length_mm"]["basis"]
    plain = periapical(
        *("measure", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv", "--json", "-"),
        *("--length-rule", "resorption"),
        cwd=study,
    )
    (canal,) = json.loads(plain.stdout)["canals"]
    assert canal["not_measured"]["target_length_mm"].startswith("resorption is not given")
    told = periapical(
        *("length", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv"),
        *("--length-rule", "resorption"),
        cwd=study,
    )
    assert "Target length by rule: none. resorption is not given" in flat(told.stdout)


def test_a_length_from_the_handle_is_cut_from_the_reference() -> None:
    done = periapical("length", SAMPLES / "s07_beyond_apex.png", *TABLES, "--length-rule", "1", "--json", "-")
    (canal,) = json.loads(done.stdout)["canals"]
    (chosen,) = [one["target_length_mm"] for one in canal["by_rule"] if one["chosen"]]
    assert canal["facts"]["file_start_at"] == "handle"
    assert chosen["value"] == pytest.approx(canal["reference_length_mm"]["value"] - 1.0)
    assert chosen["value"] < canal["working_length_mm"]["value"] - 2.0


def test_no_length_is_exit_1(study) -> None:
    done = periapical("length", "a.png", "--clicks", "CLICKS.csv", "--scale-from", "none", cwd=study)
    assert done.returncode == 1
    assert "No length to the radiographic apex could be measured" in flat(done.stdout)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--length-rule", "0.8"), "--length-rule: given '0.8'; allowed is one of 0.5, 1, 1.5, 2 (mm)"),
        (("--length-rule", "0.8:"), "without a reason"),
        (("--length-rule", "9: far"), "0 to 5 mm"),
        (("--resorption", "some"), "--resorption: given 'some'; allowed is one of none, bone, bone+root"),
        (("--resorption", 300 * "x"), f"--resorption: given '{40 * 'x'}…'; allowed is one of none"),
    ],
)
def test_a_wrong_rule_is_told_in_one_line(study, given, told) -> None:
    fails_with(periapical("length", "a.png", "--clicks", "CLICKS.csv", *given, cwd=study), told)


def test_a_plan_from_what_is_stated(tmp_path) -> None:
    done = periapical(
        *("plan", "--file-size", "15", "--reaches-freely", "yes", "--curvature-deg", "35,5", "--tooth", "36"),
        *("--json", tmp_path / "plan.json"),
    )
    assert done.returncode == 0, done.stderr
    told = flat(done.stdout)
    for part in (
        "Tooth 36 Order, as commonly taught: coronal flaring first, length late",
        "textbook rule, from memory",
        "Taught against it: The length is always taken before preparation",
        "Either order may be recorded",
        "The treating clinician decides",
        "not a medical device",
    ):
        assert part in told, part
    document = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    assert (document["schema"], document["image"]) == ("napari-periapical plan", "")
    (canal,) = document["canals"]
    assert (canal["order"], canal["curvature"]["value"], canal["tooth"]) == ("flare first", 35.5, "36")
    assert set(canal["steps"]) == set(canal["stage_of_length"]) == {"length first", "flare first"}


def test_a_plan_with_curvature_from_the_image() -> None:
    done = periapical(
        *("plan", SAMPLES / "s03_s_shape_file15.tif", *TABLES, "--file-size", "20"),
        *("--reaches-freely", "yes", "--json", "-"),
    )
    assert done.returncode == 0, done.stderr
    (canal,) = json.loads(done.stdout)["canals"]
    assert canal["s_shaped"] is True
    assert canal["order"] == "flare first"
    assert canal["tooth"] == "15"
    assert canal["curvature"]["sd"] > 0


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ((), "--file-size and --reaches-freely"),
        (("--file-size", "12", "--reaches-freely", "yes"), "--file-size: given '12'; allowed is a size of"),
        (
            ("--file-size", "15", "--reaches-freely", "maybe"),
            "--reaches-freely: given 'maybe'; allowed is one",
        ),
        (("--file-size", "15", "--reaches-freely", "no", "--taper", "2"), "--taper: given '2'; allowed"),
        (("--file-size", "15", "--reaches-freely", "no", "--tooth", "6"), "--tooth: given '6'; allowed is"),
        (
            ("--file-size", "15", "--reaches-freely", "no", "--curvature-deg", "200"),
            "--curvature-deg: given '200'",
        ),
        (("--file-size", "15", "--reaches-freely", "no", "--clicks", "C.csv"), "belong to an image"),
        (("a.png", "--file-size", "15", "--reaches-freely", "no"), "give them with --clicks"),
        (
            (
                *("a.png", "--clicks", "CLICKS.csv", "--file-size", "15", "--reaches-freely", "no"),
                *("--curvature-deg", "3"),
            ),
            "give one of them",
        ),
    ],
)
def test_wrong_plans_are_told_in_one_line(study, given, told) -> None:
    fails_with(periapical("plan", *given, cwd=study), told)


@pytest.mark.parametrize("command", ["length", "plan"])
def test_help_has_an_example(command) -> None:
    told = flat(periapical(command, "--help").stdout)
    assert f"Example: periapical {command}" in told
    assert "Exit codes: 0 done" in told


def test_an_order_without_a_curvature_is_told_with_its_condition() -> None:
    done = periapical("plan", "--file-size", "15", "--reaches-freely", "yes")
    assert done.returncode == 0, done.stderr
    assert "On a condition: only if the canal bends by less than 10°" in flat(done.stdout)
    stated = periapical("plan", "--file-size", "15", "--reaches-freely", "yes", "--curvature-deg", "5")
    assert "On a condition" not in stated.stdout
