"""Checks and their answers through the commands, on a sample image."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from radio.cli import app

SAMPLES = Path(__file__).resolve().parents[1] / "sample_images"
IMAGE = "s07_beyond_apex.png"


def run(*arguments):
    return CliRunner().invoke(app, [str(one) for one in arguments])


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """The rows of one sample, and a table of answers to it, beside a copy of the image."""
    folder = tmp_path_factory.mktemp("study")
    (folder / IMAGE).write_bytes((SAMPLES / IMAGE).read_bytes())
    for name in ("IMAGES.csv", "CLICKS.csv"):
        header, *rows = (SAMPLES / name).read_text().splitlines()
        kept = [row for row in rows if row.startswith(IMAGE)]
        (folder / name).write_text("\n".join([header, *kept]) + "\n")
    answers = f"image,check,answer,note\n{IMAGE},2,stop,set at 25 mm\n{IMAGE},P25,yes,\n"
    (folder / "ANSWERS.csv").write_text(answers)
    return folder


def test_measure_withholds_what_a_stop_doubts_and_says_so(tables):
    shared = ("--clicks", tables / "CLICKS.csv", "--images", tables / "IMAGES.csv")
    done = run("measure", tables / IMAGE, *shared, "--answers", tables / "ANSWERS.csv", "--json", "-")
    assert done.exit_code == 0, done.output
    (canal,) = json.loads(done.stdout)["canals"]
    stop = next(one for one in canal["checks"] if one["level"] == "stop")
    assert stop["id"] == "P2"
    assert "said to count from the stop" in stop["seen"]
    assert canal["facts"]["answers"][0] == {"check": "P2", "answer": "stop", "note": "set at 25 mm"}
    assert not {"P2", "P25"} & set(canal["unanswered"])
    assert "P10" in canal["unanswered"]
    assert canal["not_measured"]["working_length_mm"].startswith("withheld by check 2")
    assert not [name for name in canal["measurements"] if name.endswith("_mm")]
    assert "schneider_deg" in canal["measurements"]


def test_batch_keeps_checks_and_answers(tables, tmp_path):
    done = run(
        "batch",
        tables / "IMAGES.csv",
        tables / "CLICKS.csv",
        "--out",
        tmp_path / "plain",
    )
    assert done.exit_code == 0, done.output
    (row,) = csv.DictReader((tmp_path / "plain" / "results.csv").read_text().splitlines())
    assert "P2 warn" in row["checks"].split("; ")
    assert float(row["working_length_mm"]) > 0

    (tables / "ACCEPTED.csv").write_text(f"image,check,answer\n{IMAGE},P2,handle\n")
    answers = ("--answers", tables / "ACCEPTED.csv")
    done = run("batch", tables / "IMAGES.csv", tables / "CLICKS.csv", "--out", tmp_path / "plain", *answers)
    assert done.exit_code == 0, done.output
    (answered,) = csv.DictReader((tmp_path / "plain" / "results.csv").read_text().splitlines())
    assert "P2 warn (handle)" in answered["checks"].split("; ")
    assert answered["working_length_mm"] == row["working_length_mm"]
    assert "counted from the handle" in row["warnings"]
    assert "counted from the handle" not in answered["warnings"]
    record = json.loads((tmp_path / "plain" / "run.json").read_text())
    assert record["arguments"]["answers"] == str(tables / "ACCEPTED.csv")
    assert set(record["input_sha256"]) == {"images_table", "clicks_table", "answers_table"}


def test_the_note_of_an_answer_stands_beside_its_check(tables, tmp_path):
    answers = tmp_path / "NOTED.csv"
    rows = (f"{IMAGE},10,no,stop hidden by clamp", f"{IMAGE},25,yes,calliper")
    answers.write_text("\n".join(("image,check,answer,note", *rows)) + "\n")
    images, clicks = tables / "IMAGES.csv", tables / "CLICKS.csv"
    done = run("batch", images, clicks, "--out", tmp_path / "out", "--answers", answers)
    assert done.exit_code == 0, done.output
    (row,) = csv.DictReader((tmp_path / "out" / "results.csv").read_text().splitlines())
    assert {"P10 stop (no: stop hidden by clamp)", "P25 (yes: calliper)"} <= set(row["checks"].split("; "))
    assert row["working_length_mm"] == ""
    shown = run("measure", tables / IMAGE, "--clicks", clicks, "--images", images, "--answers", answers)
    told = " ".join(shown.output.split())
    assert "Answered: no: stop hidden by clamp." in told
    assert "Answered: check 25: yes: calliper" in told


def test_a_table_of_answers_is_not_written_over(tables):
    place = tables / "ANSWERS.csv"
    shared = ("--clicks", tables / "CLICKS.csv", "--answers", place, "--json", place)
    done = run("measure", tables / IMAGE, *shared)
    assert done.exit_code == 1
    assert "is one of the inputs" in str(done.exception)
    assert place.read_text().startswith("image,check")
