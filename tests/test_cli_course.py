"""``periapical course`` as a user runs it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.test_cli import ROOT, fails_with, periapical

SAMPLES = ROOT / "sample_images" / "course"


@pytest.fixture
def folder(tmp_path) -> Path:
    for name in ("COURSE.csv", "REPEATS.csv"):
        shutil.copy(SAMPLES / name, tmp_path / name)
    return tmp_path


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_sample_course(folder) -> None:
    done = periapical("course", "COURSE.csv", "--repeats", "REPEATS.csv", "--out", "out", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    told = flat(done.stdout)
    for part in (
        "Tooth 36, canal MB (T01)",
        "5 whole, scouting to final -0.70 ± 0.28 0.42 shorter",
        "longer by 0.80 mm, more than your least significant change 0.37 mm",
        "file size differs (15 / 25); file material differs (stainless steel / nickel-titanium)",
        "2.77 × SD 0.15 mm",
        "Published changes, mm (minus = shorter)",
        "Nothing is predicted from them or from curvature",
        "not a medical device",
    ):
        assert part in told, part
    assert {path.name for path in (folder / "out").iterdir()} == {
        "course.json",
        *(f"course_T01_36_{canal}.{kind}" for canal in ("MB", "D") for kind in ("png", "svg")),
    }
    document = json.loads((folder / "out" / "course.json").read_text(encoding="utf-8"))
    # pairs differ by 0.2, 0.1, 0.3, 0.2, 0 and 0.3 mm: SD = sqrt(sum of squares / 2n) (Dahlberg)
    own = document["courses"][0]["changes"][1]["repeatability"]
    assert own["sd_mm"] == pytest.approx((0.27 / 12) ** 0.5)
    assert own["repeats"] == 6


def test_a_document_is_judged_anew(folder) -> None:
    periapical("course", "COURSE.csv", "--out", "first", cwd=folder)
    done = periapical("course", "first/course.json", "--reader-sd-mm", "0,5", "--out", "second", cwd=folder)
    assert done.returncode == 0, done.stderr
    first, second = (
        json.loads((folder / name / "course.json").read_text(encoding="utf-8"))["courses"]
        for name in ("first", "second")
    )
    assert [one["entries"] for one in first] == [one["entries"] for one in second]
    # 2.77 times the default of 0.2 mm, and times 0.5 mm
    verdicts = [[change["verdict"] for change in one[0]["changes"]][-1] for one in (first, second)]
    assert verdicts == ["shorter", "not distinguishable"]


def test_without_repeats_the_default_is_said(folder) -> None:
    told = flat(periapical("course", "COURSE.csv", "--out", "out", cwd=folder).stdout)
    assert "The SD is a default, not your own" in told
    assert "the default least significant change 0.55 mm" in told


def test_other_file_sizes_on_request(folder) -> None:
    (folder / "C.csv").write_text(
        "tooth,canal,stage,length_mm,file_size,reference,method,basis\n"
        "36,MB,scouting,21,10,MB,radiograph,gap\n36,MB,final,20.9,15,MB,radiograph,gap\n"
    )
    blocked = periapical("course", "C.csv", "--out", "out", cwd=folder)
    # nothing could be compared
    assert blocked.returncode == 1
    assert "file size differs (10 / 15)" in flat(blocked.stdout)
    asked = periapical("course", "C.csv", "--across-file-sizes", "--out", "out", cwd=folder)
    assert asked.returncode == 0
    assert "File sizes differ (10 / 15): compared across file sizes because you asked for it." in flat(
        asked.stdout
    )
    # in the row itself, too
    assert "(file sizes 10 / 15)" in flat(asked.stdout).split("Judged by")[0].replace("│", " ")


def test_a_wrong_row_is_skipped_and_named(folder) -> None:
    with (folder / "COURSE.csv").open("a", encoding="utf-8") as stream:
        stream.write("T01,36,D,final,220,,mark zero,15,,DB cusp tip,electronic,,\n")
    done = periapical("course", "COURSE.csv", "--out", "out", cwd=folder)
    assert done.returncode == 0
    told = flat(done.stdout)
    assert "Skipped: Tooth 36, canal D (T01): COURSE.csv line 11, column length_mm: given '220'" in told
    document = json.loads((folder / "out" / "course.json").read_text(encoding="utf-8"))
    assert len(document["courses"]) == len(document["skipped"]) == 1


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("none.csv",), "none.csv cannot be read"),
        (
            ("COURSE.csv", "--reader-sd-mm", "9"),
            "--reader-sd-mm: given '9'; allowed is a number from 0.005 to 3",
        ),
        (("COURSE.csv", "--reader-sd-mm", "0.2", "--repeats", "REPEATS.csv"), "give one of them"),
        (("COURSE.csv", "--reader", "A"), "give their table with --repeats"),
        (("COURSE.csv", "--repeats", "REPEATS.csv", "--reader", "B"), "there are those of reader A"),
        (("REPEATS.csv",), "no column stage"),
        (("BAD.csv",), "column stage: given 'flared'"),
    ],
)
def test_wrong_input_is_told_in_one_line(folder, arguments, told) -> None:
    (folder / "BAD.csv").write_text("stage,length_mm\nflared,21\n")
    done = periapical("course", *arguments, "--out", "out", cwd=folder)
    fails_with(done, told)
    assert not (folder / "out").exists()


def test_inputs_are_not_written_over(folder) -> None:
    periapical("course", "COURSE.csv", "--out", "out", cwd=folder)
    before = (folder / "out" / "course.json").read_bytes()
    done = periapical("course", "out/course.json", "--out", "out", cwd=folder)
    fails_with(done, "is one of the inputs")
    assert (folder / "out" / "course.json").read_bytes() == before


def test_two_canals_of_one_name_on_disk_keep_both_pictures(folder) -> None:
    (folder / "C.csv").write_text(
        "tooth,canal,stage,length_mm,file_size,reference,method,basis\n"
        + "".join(
            f"36,{canal},{stage},21,10,MB,radiograph,gap\n"
            for canal in ("M/B", "M:B", "m-b")
            for stage in ("scouting", "final")
        )
    )
    assert periapical("course", "C.csv", "--out", "out", cwd=folder).returncode == 0
    assert len({path.name.casefold() for path in (folder / "out").glob("*.png")}) == 3


def test_help_has_an_example() -> None:
    told = flat(periapical("course", "--help").stdout)
    assert "Example: periapical course sample_images/course/COURSE.csv" in told
    assert "Exit codes: 0 done" in told
