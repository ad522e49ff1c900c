from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import subprocess
import sys
import warnings
from pathlib import Path
from unittest import mock

import pytest

from radio.cli import main
from radio.record.tracing import save_tracings
from tests.fixtures.drawn_study import write_study

ROOT = Path(__file__).resolve().parents[1]


def periapical(
    *arguments: object, cwd: Path = ROOT, apart: bool = False, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run the command: in this process, which has loaded everything already, or apart as a person does.

    Given an environment of its own it runs apart.
    """
    if not (apart or environment):
        return _run_here([str(one) for one in arguments], cwd)
    paths = os.pathsep.join([str(ROOT), str(ROOT / "plugins")])
    return subprocess.run(
        [sys.executable, "-m", "radio.cli", *map(str, arguments)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": paths, "PYTHONIOENCODING": "utf-8", **environment},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def _run_here(arguments: list[str], cwd: Path) -> subprocess.CompletedProcess[str]:
    out, err, code = io.StringIO(), io.StringIO(), 0
    with (
        contextlib.chdir(cwd),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        warnings.catch_warnings(),
        mock.patch.object(sys, "argv", ["periapical", *arguments]),
    ):
        # what a process of its own would do with them
        warnings.simplefilter("default")
        try:
            main()
        except SystemExit as ended:
            code = int(ended.code or 0)
    return subprocess.CompletedProcess(arguments, code, out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    write_study(folder, ["a.png"])
    # an image of which the tables say nothing
    (folder / "b.png").write_bytes((folder / "a.png").read_bytes())
    return folder


def fails_with(done: subprocess.CompletedProcess[str], *parts: str) -> None:
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    words = " ".join(done.stderr.split())
    for part in parts:
        assert part in words


def test_version_and_help():
    assert periapical("--version", apart=True).stdout.startswith("napari-periapical ")
    shown = periapical("--help", apart=True).stdout
    for command in ("demo", "view", "measure", "batch"):
        assert command in shown
        told = periapical(command, "--help")
        assert told.returncode == 0
        assert "Example: periapical" in " ".join(told.stdout.split())
        assert "Exit codes: 0 done" in " ".join(told.stdout.split())


def test_measure_shows_numbers_with_uncertainty_and_basis(study):
    done = periapical("measure", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv", cwd=study)
    assert done.returncode == 0, done.stderr
    for part in ("a.png: Tooth 36, canal 1", "Working length", "±", "95 % interval", "file length plus gap"):
        assert part in done.stdout
    assert "Not measured: electronic_difference_mm: electronic_mm is not given" in done.stdout
    assert "not a medical device" in done.stdout


def test_measure_without_images_table_and_with_options(study):
    done = periapical(
        *("measure", "a.png", "--clicks", "CLICKS.csv", "--file-length-mm", "16,4", "--json", "-"), cwd=study
    )
    assert done.returncode == 0, done.stderr
    (canal,) = json.loads(done.stdout)["canals"]
    assert canal["facts"]["file_length_mm"] == 16.4
    length, gap = (canal["measurements"][name]["value"] for name in ("working_length_mm", "gap_mm"))
    assert length == pytest.approx(16.4 + gap)


def test_measure_writes_json_and_picture(study, tmp_path):
    done = periapical(
        *("measure", "a.png", "--clicks", "CLICKS.csv", "--images", "IMAGES.csv"),
        *("--json", tmp_path / "out.json", "--picture", tmp_path / "out.png"),
        cwd=study,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads((tmp_path / "out.json").read_text())["image"] == "a.png"
    assert (tmp_path / "out.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_angles_without_any_scale(study):
    done = periapical("measure", "a.png", "--clicks", "CLICKS.csv", "--json", "-", cwd=study)
    (canal,) = json.loads(done.stdout)["canals"]
    assert canal["scale_source"] is None
    assert canal["measurements"]["schneider_deg"]["unit"] == "deg"
    assert "canal_length_mm" in canal["not_measured"]


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["measure", "none.png", "--clicks", "CLICKS.csv"], ["There is no image at none.png", "spelling"]),
        (["measure", "none.png", "--clicks", "none.csv"], ["There is no image at none.png"]),
        (["measure", ".", "--clicks", "CLICKS.csv"], ["is a folder", "the path of one image is needed"]),
        (["measure", "b.png", "--clicks", "CLICKS.csv"], ["no row for the image b.png", "it has a.png"]),
        (["measure", "a.png", "--clicks", "none.csv"], ["none.csv", "cannot be read"]),
        (["measure", "a.png"], ["Missing option", "--clicks"]),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--images", "none.csv"], ["cannot be read"]),
        (["measure", "a.png", "--clicks", "a.png"], ["not UTF-8"]),
        (["measure", "CLICKS.csv", "--clicks", "CLICKS.csv"], ["CLICKS.csv: This is no DICOM, PNG"]),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--tooth", "99"], ["--tooth", "ISO 3950"]),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--file-size", "12"], ["--file-size", "ISO 3630-1"]),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--file-length-mm", "x"], ["10 to 40 mm"]),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--scale-from", "guess"], ["dicom, given, none"]),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--picture", "a.png"], ["one of the inputs"]),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--json", "CLICKS.csv"], ["one of the inputs"]),
        (
            ["measure", "a.png", "--clicks", "CLICKS.csv", "--json", "out", "--picture", "./out"],
            ["out is to hold both"],
        ),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--json", "."], ["cannot be written"]),
        (
            ["measure", "a.png", "--clicks", "CLICKS.csv", "--json", "no/such/place.json"],
            ["cannot be written"],
        ),
        (["measure", "a.png", "--clicks", "CLICKS.csv", "--pictures", "x.png"], ["No such option"]),
        (["batch", "IMAGES.csv", "CLICKS.csv"], ["Missing option", "--out"]),
        (["batch", "IMAGES.csv", "CLICKS.csv", "--out", "a.png"], ["cannot be written"]),
        (["batch", "none.csv", "CLICKS.csv", "--out", "out"], ["none.csv", "cannot be read"]),
        (["batch", "IMAGES.csv", "IMAGES.csv", "--out", "out"], ["no column landmark"]),
        (["batch", "CLICKS.csv", "IMAGES.csv", "--out", "out"], ["no column"]),
        (["batch", "IMAGES.csv", "CLICKS.csv", "--out", "out", "--workers", "0"], ["--workers"]),
        (["batch", "IMAGES.csv", "CLICKS.csv", "--out", "out", "--workers", "two"], ["--workers"]),
        (
            ["batch", "IMAGES.csv", "CLICKS.csv", "--out", "out", "--cluster", "tcp://x:1"],
            ["not available yet in this version"],
        ),
        (["demo", "--out", "a.png"], ["cannot be written"]),
        (["mesure", "a.png"], ["No such command"]),
    ],
)
def test_wrong_typing_is_one_clear_message_and_exit_code_2(study, arguments, parts):
    fails_with(periapical(*arguments, cwd=study), *parts)


def test_inputs_stay_as_they_are(study):
    before = {path.name: path.read_bytes() for path in study.iterdir() if path.is_file()}
    periapical("measure", "a.png", "--clicks", "CLICKS.csv", "--picture", "./a.png", cwd=study)
    assert {path.name: path.read_bytes() for path in study.iterdir() if path.is_file()} == before


def test_saved_tracings_are_not_written_over(study, tmp_path):
    save_tracings(tmp_path / "kept.json", [])
    before = (tmp_path / "kept.json").read_bytes()
    done = periapical(
        "measure", "a.png", "--clicks", "CLICKS.csv", "--json", tmp_path / "kept.json", cwd=study
    )
    fails_with(done, "holds saved tracings")
    assert (tmp_path / "kept.json").read_bytes() == before


def test_an_image_that_is_none(study, tmp_path):
    (tmp_path / "a.png").write_bytes(b"GIF89a nothing")
    fails_with(periapical("measure", tmp_path / "a.png", "--clicks", study / "CLICKS.csv"), "a.png")


def table_of_points(folder, *rows):
    clicks = folder / "CLICKS.csv"
    clicks.write_text("\n".join(["image,canal,landmark,row,col", *rows]) + "\n")
    return clicks


OUTSIDE = "a.png,far,apex,5000,10"
TOO_FEW = "a.png,few,reference,100,100"


def test_points_outside_the_image_are_wrong_input(study, tmp_path):
    clicks = table_of_points(tmp_path, OUTSIDE)
    done = periapical("measure", study / "a.png", "--clicks", clicks, "--json", tmp_path / "out.json")
    fails_with(
        done, "CLICKS.csv, canal far: apex at row 5000, col 10 lies outside", "520 rows and 460 columns"
    )
    assert done.stdout == ""
    assert not (tmp_path / "out.json").exists()


def test_wrong_input_in_every_canal_is_told_of_each(study, tmp_path):
    clicks = table_of_points(tmp_path, OUTSIDE, "a.png,odd,apx,10,10")
    done = periapical("measure", study / "a.png", "--clicks", clicks)
    fails_with(done, "CLICKS.csv line 3, column landmark: given 'apx'", "canal far: apex at row 5000")


def test_points_that_make_no_line_measure_nothing(study, tmp_path):
    clicks = table_of_points(tmp_path, TOO_FEW, OUTSIDE)
    done = periapical("measure", study / "a.png", "--clicks", clicks, "--json", tmp_path / "out.json")
    assert done.returncode == 1, done.stderr
    words = " ".join(done.stdout.split())
    assert "Skipped: a.png, canal few: Nothing to trace" in words
    assert "Skipped: a.png, canal far: apex at row 5000" in words
    skipped = json.loads((tmp_path / "out.json").read_text())["skipped"]
    assert [one["canal"] for one in skipped] == ["few", "far"]


def test_one_canal_given_wrong_does_not_stop_the_other(study, tmp_path):
    rows = [row.split(",") for row in (study / "CLICKS.csv").read_text().splitlines()[1:]]
    good = [f"a.png,1,{landmark},{row},{col}" for _, _, landmark, _, row, col in rows]
    done = periapical("measure", study / "a.png", "--clicks", table_of_points(tmp_path, OUTSIDE, *good))
    assert done.returncode == 0, done.stderr
    assert "Skipped: a.png, canal far: apex at row 5000" in " ".join(done.stdout.split())


def test_a_batch_with_points_outside_goes_on(study, tmp_path):
    (tmp_path / "a.png").write_bytes((study / "a.png").read_bytes())
    (tmp_path / "IMAGES.csv").write_text("image,canal\na.png,far\n")
    table_of_points(tmp_path, OUTSIDE)
    done = periapical("batch", "IMAGES.csv", "CLICKS.csv", "--out", "out", cwd=tmp_path)
    assert done.returncode == 1, done.stderr
    assert "lies outside the image" in (tmp_path / "out" / "skipped.csv").read_text()


def test_a_batch_does_not_write_over_its_tables(study, tmp_path):
    for name in ("a.png", "CLICKS.csv"):
        (tmp_path / name).write_bytes((study / name).read_bytes())
    table = (study / "IMAGES.csv").read_bytes()
    (tmp_path / "results.csv").write_bytes(table)
    done = periapical("batch", "results.csv", "CLICKS.csv", "--out", ".", cwd=tmp_path)
    fails_with(done, "results.csv is one of the inputs")
    assert (tmp_path / "results.csv").read_bytes() == table


def test_stopped_by_the_user(monkeypatch, capsys):
    from radio import cli
    from radio.study import batch, demo

    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(batch, "run_batch", stopped)
    monkeypatch.setattr(demo, "run_demo", stopped)
    for arguments in (["demo"], ["batch", "IMAGES.csv", "CLICKS.csv", "--out", "none"]):
        monkeypatch.setattr(sys, "argv", ["periapical", *arguments])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        assert ended.value.code == 130


def test_batch_writes_tables_and_tells_the_counts(study, tmp_path):
    done = periapical("batch", "IMAGES.csv", "CLICKS.csv", "--out", tmp_path / "out", cwd=study)
    assert done.returncode == 0, done.stderr
    assert "1 measured, 0 skipped" in done.stdout
    with (tmp_path / "out" / "results.csv").open(newline="", encoding="utf-8") as stream:
        assert [row["image"] for row in csv.DictReader(stream)] == ["a.png"]


def test_batch_in_which_nothing_can_be_measured(study, tmp_path):
    (tmp_path / "IMAGES.csv").write_text("image\nnone.png\n")
    (tmp_path / "CLICKS.csv").write_text("image,landmark,row,col\nnone.png,apex,1,2\n")
    done = periapical("batch", "IMAGES.csv", "CLICKS.csv", "--out", "out", cwd=tmp_path)
    assert done.returncode == 1
    assert "0 measured, 1 skipped" in done.stdout


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems always have a display")
def test_view_without_a_display_says_what_is_needed(study):
    nothing = {"DISPLAY": "", "WAYLAND_DISPLAY": "", "QT_QPA_PLATFORM": ""}
    fails_with(periapical("view", study / "a.png", **nothing), ".[gui]")


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["none.png"], "There is no image at none.png"),
        (["CLICKS.csv"], "CLICKS.csv: This is no DICOM, PNG"),
        (["."], "is a folder"),
        (["--casebook", "none.db"], "none.db cannot be opened"),
    ],
)
def test_view_of_what_cannot_be_opened(study, arguments, part):
    pytest.importorskip("napari")
    fails_with(periapical("view", *arguments, cwd=study, QT_QPA_PLATFORM="offscreen"), part)


def test_view_without_napari_says_how_to_install_it(monkeypatch, capsys):
    import importlib.util

    from radio import cli

    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    monkeypatch.setattr(sys, "argv", ["periapical", "view"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 2
    assert "pip install '.[gui]' (in the project folder)" in capsys.readouterr().err


def test_demo_measures_the_sample_images(tmp_path):
    done = periapical("demo", "--out", tmp_path / "demo", apart=True)
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "demo" / "index.html").read_text(encoding="utf-8")
    with (tmp_path / "demo" / "results.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len({row["image"] for row in rows}) >= 6
    for row in rows:
        assert row["image"] in page
        assert row["schneider_deg"]
    for picture in (tmp_path / "demo" / "pictures").iterdir():
        assert f"pictures/{picture.name}" in page
    assert "not a medical device" in page
    assert "not a medical device" in done.stdout
