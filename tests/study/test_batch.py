from __future__ import annotations

import csv
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from radio.errors import PeriapicalError, TableError
from radio.record.atomic import directory_lock
from radio.record.results import RESULT_COLUMNS
from radio.study.batch import run_batch
from radio.study.journal import program_sha256
from tests.fixtures.drawn_study import click_rows, write_study

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def program_as_it_is_now():
    """Forget the hash of the program, which may have been edited since another test."""
    program_sha256.cache_clear()


def read(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def without_time(rows):
    return [{name: text for name, text in row.items() if name != "seconds"} for row in rows]


def batch_process(images: Path, clicks: Path, out: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "radio.cli", "batch", str(images), str(clicks), "--out", str(out)]
    return subprocess.Popen(
        command,
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
        # a runner in the background ignores Ctrl-C, and its children would inherit that
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )


def journal_lines(out: Path) -> int:
    journal = out / "journal.jsonl"
    return journal.read_bytes().count(b"\n") if journal.exists() else 0


def wait_until(done, seconds=60.0):
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.005)


def test_results_in_input_order_with_run_record(tmp_path):
    images, clicks = write_study(tmp_path, ["b.png", "a.png"])
    seen = []
    summary = run_batch(images, clicks, tmp_path / "out", progress=lambda *told: seen.append(told))
    rows = read(tmp_path / "out" / "results.csv")
    assert [row["image"] for row in rows] == ["b.png", "a.png"]
    assert list(rows[0]) == list(RESULT_COLUMNS)
    assert float(rows[0]["working_length_mm"]) == pytest.approx(16.4 + float(rows[0]["gap_mm"]), abs=1e-4)
    assert read(tmp_path / "out" / "skipped.csv") == []
    assert (summary.measured, summary.skipped, summary.reused) == (2, 0, 0)
    assert seen == [(0, 2, ""), (1, 2, "b.png"), (2, 2, "a.png")]
    record = json.loads((tmp_path / "out" / "run.json").read_text())
    assert record["status"] == "complete"
    assert record["counts"] == {"canals": 2, "measured": 2, "skipped": 0, "reused": 0, "images": 2}
    assert set(record["image_sha256"]) == {"a.png", "b.png"}
    assert record["packages"]["numpy"]
    assert record["started"] <= record["finished"]


def test_bad_images_are_one_row_each_and_not_the_end(tmp_path):
    images, clicks = write_study(tmp_path, ["a.png", "empty.png", "text.png", "gone.png", "cut.png", "z.png"])
    (tmp_path / "empty.png").write_bytes(b"")
    (tmp_path / "text.png").write_text("no image at all")
    (tmp_path / "gone.png").unlink()
    whole = (tmp_path / "cut.png").read_bytes()
    (tmp_path / "cut.png").write_bytes(whole[: len(whole) // 2])
    summary = run_batch(images, clicks, tmp_path / "out")
    skipped = {row["image"]: row["reason"] for row in read(tmp_path / "out" / "skipped.csv")}
    assert set(skipped) == {"empty.png", "text.png", "gone.png", "cut.png"}
    assert all(skipped.values())
    assert [row["image"] for row in read(tmp_path / "out" / "results.csv")] == ["a.png", "z.png"]
    assert (summary.measured, summary.skipped) == (2, 4)


def test_a_bug_in_one_canal_is_one_row(tmp_path, monkeypatch):
    import radio.measure.pipeline as pipeline

    images, clicks = write_study(tmp_path, ["a.png", "b.png"])
    right = pipeline.measure_case
    calls = []

    def wrong_once(radiograph, points, facts, settings):
        calls.append(radiograph.path)
        if len(calls) == 1:
            raise ZeroDivisionError("division by zero")
        return right(radiograph, points, facts, settings)

    monkeypatch.setattr(pipeline, "measure_case", wrong_once)
    run_batch(images, clicks, tmp_path / "out")
    (skip,) = read(tmp_path / "out" / "skipped.csv")
    assert skip["image"] == "a.png"
    assert "unexpected ZeroDivisionError" in skip["reason"]
    # such an outcome may pass: it is tried again, the other one is not
    monkeypatch.setattr(pipeline, "measure_case", right)
    summary = run_batch(images, clicks, tmp_path / "out")
    assert (summary.measured, summary.skipped, summary.reused) == (2, 0, 1)


def test_an_image_with_several_canals_is_read_once(tmp_path, monkeypatch):
    import radio.image.radiograph as module

    images, clicks = write_study(tmp_path, ["a.png"])
    images.write_text(images.read_text() + "a.png,2,36,file,16.4,15\n")
    clicks.write_text(clicks.read_text() + "\n".join(click_rows("a.png", "2")) + "\n")
    right, reads = module.read_radiograph, []

    def counted(path):
        reads.append(path)
        return right(path)

    monkeypatch.setattr(module, "read_radiograph", counted)
    assert run_batch(images, clicks, tmp_path / "out").measured == 2
    assert reads == [tmp_path / "a.png"]


def test_nothing_is_measured_twice_and_changed_inputs_are_measured_anew(tmp_path, monkeypatch):
    images, clicks = write_study(tmp_path, ["a.png", "b.png"])
    out = tmp_path / "out"
    run_batch(images, clicks, out)
    before = read(out / "results.csv")
    assert run_batch(images, clicks, out).reused == 2
    assert read(out / "results.csv") == before

    images.write_text(images.read_text().replace("a.png,1,36,file,16.4", "a.png,1,36,file,17.4"))
    assert run_batch(images, clicks, out).reused == 1
    assert read(out / "results.csv")[0]["scale_mm_per_px"] != before[0]["scale_mm_per_px"]
    assert read(out / "results.csv")[1] == before[1]

    (tmp_path / "b.png").write_bytes((tmp_path / "b.png").read_bytes() + b"\0")
    assert run_batch(images, clicks, out).reused == 1

    monkeypatch.setattr("radio.study.journal.program_sha256", lambda: "another version")
    assert run_batch(images, clicks, out).reused == 0


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is POSIX")
def test_a_killed_run_goes_on_where_it_stood(tmp_path):
    names = [f"i{number:02d}.png" for number in range(12)]
    images, clicks = write_study(tmp_path, names)
    out, whole = tmp_path / "out", tmp_path / "whole"
    with batch_process(images, clicks, out) as process:
        wait_until(lambda: journal_lines(out) >= 3)
        os.kill(process.pid, signal.SIGKILL)
    done = journal_lines(out)
    assert 3 <= done < len(names)
    assert not (out / "results.csv").exists()
    assert json.loads((out / "run.json").read_text())["status"] == "running"

    summary = run_batch(images, clicks, out)
    assert summary.reused == done
    assert (summary.measured, summary.skipped) == (len(names), 0)
    run_batch(images, clicks, whole)
    assert without_time(read(out / "results.csv")) == without_time(read(whole / "results.csv"))


@pytest.mark.skipif(os.name == "nt", reason="SIGINT is POSIX")
def test_ctrl_c_says_so_and_keeps_what_is_done(tmp_path):
    images, clicks = write_study(tmp_path, [f"i{number:02d}.png" for number in range(12)])
    out = tmp_path / "out"
    with batch_process(images, clicks, out) as process:
        wait_until(lambda: journal_lines(out) >= 1)
        os.kill(process.pid, signal.SIGINT)
        _, told = process.communicate(timeout=30)
        assert process.returncode == 130
    assert b"the same command goes on" in told
    assert json.loads((out / "run.json").read_text())["status"] == "interrupted"
    assert run_batch(images, clicks, out).reused >= 1


@pytest.mark.parametrize(
    "tail", [b'{"key": "abc", "row": {"ima', b"\xff\xfe", b'{"key": 3}\n', b"nonsense\n", b"\n"]
)
def test_a_torn_or_damaged_journal_is_no_obstacle(tmp_path, tail):
    images, clicks = write_study(tmp_path, ["a.png"])
    out = tmp_path / "out"
    run_batch(images, clicks, out)
    with (out / "journal.jsonl").open("ab") as stream:
        stream.write(tail)
    images.write_text(images.read_text().replace("16.4", "17.4"))
    assert run_batch(images, clicks, out).reused == 0
    assert run_batch(images, clicks, out).reused == 1


def test_several_processes_give_the_same_table(tmp_path):
    images, clicks = write_study(tmp_path, ["a.png", "b.png", "c.png"])
    (tmp_path / "b.png").write_bytes(b"")
    run_batch(images, clicks, tmp_path / "one")
    summary = run_batch(images, clicks, tmp_path / "two", workers=2)
    assert (summary.measured, summary.skipped) == (2, 1)
    one, two = (without_time(read(tmp_path / name / "results.csv")) for name in ("one", "two"))
    assert one == two


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is POSIX")
def test_a_process_that_is_ended_from_outside_costs_no_image(tmp_path):
    names = [f"i{number}.png" for number in range(6)]
    images, clicks = write_study(tmp_path, names)
    killed = []

    def kill_one(done, _total, _image):
        children = multiprocessing.active_children()
        if done and children and not killed:
            killed.append(children[0].pid)
            os.kill(children[0].pid, signal.SIGKILL)

    summary = run_batch(images, clicks, tmp_path / "out", workers=2, progress=kill_one)
    assert killed
    assert (summary.measured, summary.skipped) == (6, 0)
    assert [row["image"] for row in read(tmp_path / "out" / "results.csv")] == names


def test_two_runs_do_not_write_to_one_folder(tmp_path):
    images, clicks = write_study(tmp_path, ["a.png"])
    out = tmp_path / "out"
    out.mkdir()
    # a lock belongs to an open folder, so one process can stand for two
    with directory_lock(out, wait=False), pytest.raises(PeriapicalError, match="Another run"):
        run_batch(images, clicks, out)


def test_wrong_arguments(tmp_path):
    images, clicks = write_study(tmp_path, ["a.png"])
    with pytest.raises(PeriapicalError, match="workers is 0"):
        run_batch(images, clicks, tmp_path / "out", workers=0)
    with pytest.raises(TableError, match="cannot be read"):
        run_batch(tmp_path / "none.csv", clicks, tmp_path / "out")
    with pytest.raises(PeriapicalError, match="cannot be written"):
        run_batch(images, clicks, images)


def test_a_canal_of_which_nothing_can_be_measured_is_skipped_with_the_reason(tmp_path):
    images, clicks = write_study(tmp_path, ["a.png"])
    images.write_text("image,scale_from\na.png,none\n")
    clicks.write_text("image,landmark,row,col\na.png,reference,100,100\n")
    assert run_batch(images, clicks, tmp_path / "out").skipped == 1
    (skip,) = read(tmp_path / "out" / "skipped.csv")
    assert skip["reason"]
