"""``periapical readings`` as a user meets it."""

from __future__ import annotations

import csv
import io
import json

import pytest

from tests.fixtures.drawn_study import write_study
from tests.test_cli import fails_with, periapical

LIST = (
    "image,electronic_mm,electronic_mark,radiographic_mm,radiographic_sd_mm,canal_state\n"
    "a.png,20,zero,21.5,0.1,flooded\nb.png,21,zero,21.2,0.1,\nc.png,23,zero,22.4,0.1,\nd.png,19,half,20.1,,\n"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("readings")
    (place / "READINGS.csv").write_text(LIST, encoding="utf-8")
    return place


def words(done) -> str:
    return " ".join(done.stdout.split())


def test_a_list_is_compared_shown_and_written(folder):
    done = periapical("readings", "READINGS.csv", "--out", "out", cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    for part in (
        *("Zero mark, 3 readings", "Half mark, 1 reading", "Limits of agreement, bias ± 1.96 SD"),
        *("a.png, canal 1: -1.50 ± 0.27 mm; stated and fitting: flooded canal", "not average"),
        *("Checklist where the electronic length is the shorter one (2 readings)", "(from memory)"),
        *(
            "Checklist where the electronic length is the longer one (1 reading)",
            "common practice, no source",
        ),
        "not a medical device",
    ):
        assert part in words(done), part
    names = {path.name for path in (folder / "out").iterdir()}
    assert names == {"readings_compared.csv", "agreement.json", "agreement.png", "agreement.svg"}
    document = json.loads((folder / "out" / "agreement.json").read_text(encoding="utf-8"))
    assert document["schema"] == "napari-periapical readings"
    assert [one["mark"] for one in document["by_mark"]] == ["zero", "half"]


def test_tolerance_and_multiplier_are_chosen(folder):
    done = periapical(
        *("readings", "READINGS.csv", "--out", "out2", "--tolerance-mm", "1,0", "--multiplier", "2"),
        cwd=folder,
    )
    assert done.returncode == 0, done.stderr
    assert "bias ± 2 SD" in words(done)
    assert "Against 1 mm: " in words(done)
    rows = list(csv.DictReader(io.StringIO((folder / "out2" / "readings_compared.csv").read_text("utf-8"))))
    assert {row["tolerance_mm"] for row in rows} == {"1"}


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["--tolerance-mm", "0"], ["--tolerance-mm", "'0'", "0.5 or 1.0 mm"]),
        (["--tolerance-mm", "5"], ["--tolerance-mm", "'5'", "0.5 or 1.0 mm", "repeated"]),
        (["--multiplier", "3"], ["--multiplier", "'3'", "1.96 or 2"]),
        (["--results", "none.csv"], ["none.csv cannot be read"]),
    ],
)
def test_wrong_options_are_told(folder, arguments, parts):
    done = periapical("readings", "READINGS.csv", "--out", "no", *arguments, cwd=folder)
    fails_with(done, *parts)
    assert not (folder / "no").exists()


def test_repeats_far_apart_are_not_averaged(folder):
    rows = "subject,electronic_mm,repeats_mm,radiographic_mm\nS1,20.1,20 30,21\nS2,21,,21.2\n"
    (folder / "FAR.csv").write_text(rows, encoding="utf-8")
    done = periapical("readings", "FAR.csv", "--out", "far", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert "FAR.csv line 2, The repeated readings 20.1, 20, 30 mm lie 10.00 mm apart" in words(done)
    assert "23.37" not in words(done)


def test_nothing_compared_is_exit_1_with_the_reasons(folder):
    (folder / "BAD.csv").write_text("image,electronic_mm\na.png,21\n", encoding="utf-8")
    done = periapical("readings", "BAD.csv", "--out", "bad", cwd=folder)
    assert done.returncode == 1
    assert "Skipped: BAD.csv line 2, column radiographic_mm: empty" in words(done)
    assert not (folder / "bad" / "agreement.png").exists()
    assert json.loads((folder / "bad" / "agreement.json").read_text())["skipped"][0]["line"] == 2


def test_an_input_is_not_written_over(folder):
    (folder / "same").mkdir()
    (folder / "same" / "readings_compared.csv").write_text(LIST, encoding="utf-8")
    done = periapical("readings", "same/readings_compared.csv", "--out", "same", cwd=folder)
    fails_with(done, "is one of the inputs")


def test_help_has_an_example_and_the_columns():
    told = " ".join(periapical("readings", "--help").stdout.split())
    assert "Example: periapical readings READINGS.csv" in told
    assert "electronic_mark" in told


def test_readings_join_what_batch_measured(tmp_path):
    write_study(tmp_path, ["a.png"])
    done = periapical("batch", "IMAGES.csv", "CLICKS.csv", "--out", "results", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    (row,) = csv.DictReader(io.StringIO((tmp_path / "results" / "results.csv").read_text("utf-8")))
    length = float(row["working_length_mm"])
    table = f"image,electronic_mm,electronic_mark\na.png,{length - 1.25:.2f},zero\n"
    (tmp_path / "READINGS.csv").write_text(table, encoding="utf-8")
    done = periapical(
        *("readings", "READINGS.csv", "--results", "results/results.csv", "--out", "out"), cwd=tmp_path
    )
    assert (done.returncode, done.stderr) == (0, "")
    (compared,) = csv.DictReader(io.StringIO((tmp_path / "out" / "readings_compared.csv").read_text("utf-8")))
    assert float(compared["electronic_difference_mm"]) == pytest.approx(-1.25, abs=0.006)
    assert float(compared["radiographic_sd_mm"]) == pytest.approx(float(row["working_length_sd_mm"]))
    assert "results.csv line 2" in compared["radiographic_from"]


def test_what_is_stated_of_the_canal_in_table_and_options_chooses_the_causes(tmp_path):
    write_study(tmp_path, ["a.png"])
    images = tmp_path / "IMAGES.csv"
    header, row, *_ = images.read_text(encoding="utf-8").splitlines()
    more = ",electronic_canal_state,electronic_tolerance_mm"
    images.write_text(f"{header}{more}\n{row},flooded,1\n", encoding="utf-8")
    reading = ("--electronic-mm", "12", "--electronic-mark", "zero", "--electronic-bleeding", "no")
    for command in ("measure", "length"):
        done = periapical(
            *(command, "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv", *reading), cwd=tmp_path
        )
        assert done.returncode == 0, done.stderr
        assert "Stated and fitting: flooded canal. Also possible: foramen short of" in words(done)
        assert "bleeding or exudate" not in words(done)
        assert "lies beyond 1 mm" in words(done)
    wrong = ("measure", "a.png", "--clicks", "CLICKS.csv", "--electronic-patency", "maybe")
    done = periapical(*wrong, cwd=tmp_path)
    assert done.returncode == 2
    assert "--electronic-patency: given 'maybe'; allowed is one of yes, no" in done.stderr


def test_measure_tells_causes_where_the_reading_differs(tmp_path):
    write_study(tmp_path, ["a.png"])
    done = periapical(
        *("measure", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv"),
        *("--electronic-mm", "12", "--electronic-mark", "zero"),
        cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    assert "more than 1 mm: do not average" in words(done)
    assert "The electronic length is the shorter one. Possible: foramen short of" in words(done)
    assert "The state of the canal was not stated" in words(done)
    assert "half mark" not in words(done)
