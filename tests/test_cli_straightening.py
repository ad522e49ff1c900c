"""``periapical straightening`` as a user meets it."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from PIL import Image
from rich.console import Console

from radio.record.straightening_json import StraighteningDocument
from radio.record.straightening_terminal import straightening_block
from tests.fixtures.painted import painted_tooth
from tests.measure.test_straightening_case import bounds
from tests.test_cli import fails_with, periapical

SCALED = ("--mm-per-px", "0.03", "--scale-from", "given")
PREPARED = ("--prepared-size", "25", "--prepared-taper", "0.06")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    tooth = painted_tooth(turn_deg=40.0, size=None)
    Image.fromarray((tooth.grey * 65535).astype(np.uint16)).save(folder / "a.png")
    rows = [
        f"a.png,1,{name},{order},{row:.2f},{col:.2f}"
        for name, points in tooth.clicks.items()
        for order, (row, col) in enumerate(points, start=1)
    ]
    (folder / "CLICKS.csv").write_text("\n".join(["image,canal,landmark,order,row,col", *rows]) + "\n")
    return folder


def run(study, *arguments, **environment):
    return periapical(
        "straightening", "a.png", "--clicks", "CLICKS.csv", *arguments, cwd=study, **environment
    )


def test_bounds_meaning_walls_and_published_changes_are_told(study) -> None:
    done = run(study, *SCALED, *PREPARED)
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    for part in (
        *("a.png: Canal 1: straightening", "Geometry, not a prediction", "mm ± u", "95 % interval"),
        *("At most, canal as traced", "widened about the centre line", "widened about the taut path"),
        *("a thread without thickness", "prepared with size 25 of taper 0.06", "seen over"),
        *("-0.77 ± 0.42", "Davis 2002", "contradict each other", "from memory"),
        "not a medical device",
    ):
        assert part in words, part


def test_a_narrow_terminal_loses_nothing() -> None:
    _, found = bounds(40.0)
    console = Console(width=70, record=True, file=io.StringIO())
    console.print(straightening_block("a.png", found, 70))
    words = " ".join(console.export_text().split())
    for one in found.shrinks.values():
        assert f"{one.value:.2f} ± {one.sd:.2f}" in words
        assert one.method in words


def test_json_and_picture(study, tmp_path) -> None:
    out, drawn = tmp_path / "out.json", tmp_path / "drawn.svg"
    done = run(study, *SCALED, *PREPARED, "--json", out, "--picture", drawn)
    assert done.returncode == 0, done.stderr
    document = StraighteningDocument.model_validate_json(out.read_text())
    (canal,) = document.canals
    assert canal.measuring is None
    assert canal.prepared is not None
    assert (canal.prepared.size, canal.prepared.taper) == (25, 0.06)
    values = [one.value for one in canal.shrinks.values()]
    assert list(canal.shrinks) == ["shrink_traced_mm", "shrink_centred_mm", "shrink_leaning_mm"]
    assert values[0] <= values[1] <= values[2]
    assert "not a prediction" in document.meaning
    assert {one.standing for one in document.published} >= {"from memory, no figures"}
    # lengths of what is drawn are those that are told
    way = canal.ways["traced"]
    steps = np.diff(np.array(way.path_px), axis=0)
    assert float(np.hypot(*steps.T).sum()) * 0.03 == pytest.approx(way.path_mm, abs=0.02)
    assert canal.canal_length_mm.value - way.path_mm == pytest.approx(values[0], abs=0.02)
    text = drawn.read_text()
    for words in ("geometry, not a prediction", "widened with size 25 of taper 0.06", "Davis 2002"):
        assert words in text


def test_json_on_standard_output_is_alone_there(study) -> None:
    done = run(study, *SCALED, "--json", "-")
    assert done.returncode == 0, done.stderr
    (canal,) = json.loads(done.stdout)["canals"]
    assert canal["prepared"] is None
    assert list(canal["shrinks"]) == ["shrink_traced_mm"]


def test_without_a_scale_nothing_is_bounded(study) -> None:
    done = run(study, "--scale-from", "none")
    assert done.returncode == 1
    assert "there is no scale" in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--prepared-size", "17"], ["--prepared-size", "given '17'", "ISO 3630-1"]),
        (["--prepared-size", "25", "--prepared-taper", "6"], ["--prepared-taper", "6 % is 0.06"]),
        (["--prepared-taper", "0.06"], ["--prepared-size", "give that too"]),
        (["--picture", "out.pdf"], ["png or svg"]),
        (["--picture", "a.png"], ["one of the inputs"]),
    ],
)
def test_wrong_input_is_said_in_one_line(study, arguments, told) -> None:
    fails_with(run(study, *SCALED, *arguments), *told)


def test_help_has_an_example() -> None:
    done = periapical("straightening", "--help", COLUMNS="150")
    assert done.returncode == 0
    assert "Example: periapical straightening" in done.stdout
    assert "--prepared-size" in done.stdout


def test_what_an_answer_withholds_is_not_bounded(study, tmp_path) -> None:
    answers = tmp_path / "ANSWERS.csv"
    # the pixels are not those exposed: no scale that is stated holds
    answers.write_text("image,canal,check,answer,note\na.png,1,6,yes,made smaller for mail\n")
    done = run(study, *SCALED, "--answers", answers)
    assert done.returncode == 1
    assert "there is no scale" in " ".join(done.stdout.split())
    answers.write_text("image,canal,check,answer,note\na.png,1,6,no,\n")
    assert run(study, *SCALED, "--answers", answers).returncode == 0
