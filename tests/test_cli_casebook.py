"""``periapical casebook`` as a person uses it, on the sample images."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from radio.cli import app
from radio.errors import BookError, PeriapicalError
from radio.record.casebook import Casebook
from radio.record.tracing import load_tracings
from tests.record.books import filled, forge, tracing

SAMPLES = Path(__file__).parents[1] / "sample_images"
COMMANDS = (
    *(
        "make",
        "add",
        "list",
        "show",
        "history",
        "restore",
        "merge",
        "back-up",
        "check",
        "find",
        "export",
        "sheet",
        "de-identify",
    ),
)


def run(*arguments, code=0):
    done = CliRunner().invoke(app, ["casebook", *map(str, arguments)], catch_exceptions=True)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == code, done.output
    return done.output


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "a.casebook"
    filled(path).close()
    return path


@pytest.fixture
def case(tmp_path):
    """Two canals of one image, with their tables, to be changed by a test."""
    folder = tmp_path / "images"
    folder.mkdir()
    shutil.copy(SAMPLES / "s04_two_canals.dcm", folder)
    for name in ("IMAGES.csv", "CLICKS.csv"):
        rows = (SAMPLES / name).read_text().splitlines()
        kept = [row for row in rows[1:] if row.startswith("s04")]
        (folder / name).write_text("\n".join([rows[0], *kept]) + "\n")
    return folder


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_an_example_that_names_itself(command):
    assert f"Example: periapical casebook {command} " in " ".join(run(command, "--help").split())


def test_a_book_is_made_filled_listed_and_its_entries_shown(tmp_path, case):
    path = tmp_path / "a.casebook"
    assert "Made the casebook" in run("make", path)
    tables = ("--images", case / "IMAGES.csv", "--clicks", case / "CLICKS.csv")
    assert "Added to a.casebook: 2 revisions." in run("add", path, *tables, "--by", "R1")
    assert "Added to a.casebook: 0 revisions." in run("add", path, *tables, "--by", "R1")
    listed = run("list", path, "--universal")
    assert listed.count("s04_two_canals.dcm") == 2
    assert "36 (Universal 19)" in " ".join(listed.split())
    name = re.search(r"^\s*([0-9a-f]{8}) .* MB ", listed, re.MULTILINE)[1]
    shown = " ".join(run("show", path, name).split())
    for told in ("Working length", "95 % interval", "scale from file", "R1", "not a medical device"):
        assert told in shown
    # the same tables changed are a new revision, and by another reader another tracing
    clicks = case / "CLICKS.csv"
    clicks.write_text(
        re.sub(
            r"(s04_two_canals.dcm,MB,apex,[^,]*,)(\d+)",
            lambda m: f"{m[1]}{int(m[2]) + 3}",
            clicks.read_text(),
        )
    )
    assert "Added to a.casebook: 1 revision." in run("add", path, *tables, "--by", "R1")
    assert "Added to a.casebook: 2 revisions." in run("add", path, *tables, "--by", "R2")
    assert "2 revisions." in run("history", path, name)
    assert "4 revisions." in run("list", path)
    assert "0 revisions." in run("list", path, "--tooth", "11")
    run("restore", path, name, "--by", "tutor")
    assert "3 revisions." in run("history", path, name)
    content = json.loads(run("list", path, "--json", "-"))
    assert content["schema"] == "napari-periapical casebook revisions"
    assert len(content["revisions"]) == 4
    assert all(one["stands"] for one in content["revisions"])
    assert "whole" in run("check", path)
    # the image is moved, and found again
    (case / "s04_two_canals.dcm").rename(tmp_path / "other name.dcm")
    assert "1 images are not where" in run("check", path)
    assert "1 images found, 0 still missing" in run("find", path, tmp_path)


def test_readings_courses_and_tracings_are_added_once(tmp_path, book):
    tables = (
        "--readings",
        SAMPLES / "readings" / "READINGS.csv",
        "--courses",
        SAMPLES / "course" / "COURSE.csv",
    )
    told = run("add", book, *tables, "--by", "R1")
    assert "READINGS.csv line 6, The repeated readings" in told
    with Casebook.open(book, write=False) as opened:
        before = len(opened.revisions())
    assert before > 10
    run("add", book, *tables, code=1)  # nothing new, and a row that cannot be taken
    with Casebook.open(book, write=False) as opened:
        assert len(opened.revisions()) == before
    out = tmp_path / "t.json"
    run("export", book, "--tracings", out, "--everything", tmp_path / "all.json")
    assert len(load_tracings(out)) == 3
    assert len(json.loads((tmp_path / "all.json").read_text())["revisions"]) == before
    other = tmp_path / "b.casebook"
    run("make", other)
    assert "3 revisions" in run("add", other, "--tracings", out)
    assert "0 new, 3 there already" in run("merge", book, other)


def test_books_are_merged_backed_up_and_a_conflict_is_told(tmp_path, book):
    copy = tmp_path / "copy.casebook"
    assert "Backed up and checked" in run("back-up", book, copy)
    with Casebook.open(book) as one, Casebook.open(copy) as two:
        standing = next(r.content for r in one.standing("tracing") if r.canal == "1")
        one.add_tracings([tracing(supersedes=standing, reader="reader A")])
        two.add_tracings([tracing(supersedes=standing, reader="reader B")])
    assert "both stand, restore the one that is right" in run("merge", book, copy)
    assert "1 new, 6 there already" in run("merge", copy, book)
    assert "both stand" in run("check", copy)


def test_damage_ends_with_an_error_and_wrong_requests_say_what_to_do(tmp_path, book):
    for arguments, told in (
        (("add", book), "There is nothing to add"),
        (("add", book, "--images", "x.csv"), "belong together"),
        (("export", book), "Say what is to be written"),
        (("show", book, "abcdef123"), "no revision"),
        (("list", tmp_path / "none.casebook"), "there is nothing there"),
        (("make", book), "never written over"),
    ):
        with pytest.raises(PeriapicalError, match=told):
            run(*arguments)
    forge(book, "author = 'forged' WHERE kind = 'course'")
    with pytest.raises(BookError, match="is damaged: revision"):
        run("check", book)
