"""Saving and reopening with the real tracer: what comes back is what was there, to the last digit."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest

from napari_periapical import keeping
from napari_periapical.controller import Controller
from radio.errors import ImageError, PeriapicalError, TableError
from radio.measure.case import CaseFacts
from radio.record.casebook import Casebook
from radio.record.kept_tracings import image_of
from radio.record.tracing import Tracing, load_tracings
from tests.plugin.drawn import ESSENTIAL, case, click
from tests.plugin.made import plain_radiograph, straight_length


@pytest.fixture
def controller(case_radiograph):
    one = Controller()
    one.open(case_radiograph, [case().facts])
    for name in ESSENTIAL:
        one.place(click(name))
    return one


def numbers(controller):
    return {name: (one.value, one.sd) for name, one in controller.shown.result.measurements.items()}


def test_what_is_reopened_is_exactly_what_was_saved(controller, case_radiograph, tmp_path):
    controller.state_fact("electronic_mm", "20,75")
    controller.state_fact("electronic_mark", "zero")
    path = tmp_path / "case_tracing.json"
    assert "revision 1" in keeping.keep_tracing(controller, path, reader="R1")
    other = Controller()
    other.open(case_radiograph)
    told = keeping.reopen(other, path)
    assert "differ" not in told
    assert other.canal.facts == controller.canal.facts
    assert other.canal.clicks == controller.canal.clicks
    assert numbers(other) == numbers(controller)
    assert numbers(other)["working_length_mm"][1] > 0
    assert load_tracings(path)[0].reader == "R1"
    other.undo()
    assert other.canal.clicks == ()


def test_saving_again_adds_a_revision_and_leaves_the_first_as_it_was(controller, tmp_path):
    path = tmp_path / "case_tracing.json"
    keeping.keep_tracing(controller, path)
    first = json.loads(path.read_text())["tracings"][0]
    assert "already" in keeping.keep_tracing(controller, path)
    controller.begin_move("apex", 0)
    row, col = click("apex")
    controller.move_to((row + 3.25, col))
    controller.end_move()
    assert "changed since revision 1" in keeping.saved_state(controller.session)
    assert "revision 2" in keeping.keep_tracing(controller, path)
    assert "saved as revision 2" in keeping.saved_state(controller.session)
    kept = json.loads(path.read_text())["tracings"]
    assert kept[0] == first
    assert (kept[1]["revision"], kept[1]["supersedes"]) == (2, first["uuid"])
    assert kept[1]["clicks"]["apex"] == [[row + 3.25, col]]


def test_two_sessions_saving_to_one_document_lose_nothing(controller, case_radiograph, tmp_path):
    path = tmp_path / "case_tracing.json"
    keeping.keep_tracing(controller, path)
    other = Controller()
    other.open(case_radiograph, [case().facts])
    for name in ESSENTIAL:
        row, col = click(name)
        other.place((row + 1.5, col))
    assert "revision 2" in keeping.keep_tracing(other, path)
    assert [t.revision for t in load_tracings(path)] == [1, 2]


def test_the_table_has_a_row_for_each_canal(controller, tmp_path):
    path = tmp_path / "results.csv"
    keeping.keep_table(controller, path)
    with path.open(newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert row["image"] == "case.dcm"
    assert float(row["working_length_mm"]) == pytest.approx(numbers(controller)["working_length_mm"][0])
    assert float(row["schneider_sd_deg"]) > 0


def test_a_tracing_of_another_image_is_refused_by_name(controller, tmp_path):
    path = tmp_path / "case_tracing.json"
    keeping.keep_tracing(controller, path)
    other = Controller()
    with pytest.raises(ImageError, match="Open the radiograph first"):
        keeping.reopen(other, path)
    other.open(plain_radiograph())
    with pytest.raises(TableError, match=r"case\.dcm"):
        keeping.reopen(other, path)
    assert other.undoable == ""


def test_the_image_beside_a_tracing_is_found(controller, case_path, tmp_path):
    path = tmp_path / "case_tracing.json"
    keeping.keep_tracing(controller, path)
    assert image_of(path) is None
    (tmp_path / "case.dcm").write_bytes(case_path.read_bytes())
    assert image_of(path) == tmp_path / "case.dcm"


def test_numbers_that_come_out_otherwise_now_are_told(controller, case_radiograph, tmp_path):
    path = tmp_path / "case_tracing.json"
    keeping.keep_tracing(controller, path)
    document = json.loads(path.read_text())
    document["tracings"][0]["measurements"]["gap_mm"]["value"] += 0.5
    path.write_text(json.dumps(document))
    other = Controller()
    other.open(case_radiograph)
    assert "gap_mm was" in keeping.reopen(other, path)


def test_nothing_is_saved_when_a_canal_cannot_be_measured(tmp_path):
    controller = Controller(measure=straight_length)
    with pytest.raises(ImageError, match="no radiograph open"):
        keeping.keep_table(controller, tmp_path / "results.csv")
    controller.open(plain_radiograph(), [CaseFacts(scale_from="none")])
    with pytest.raises(TableError, match="No landmark is placed yet"):
        keeping.keep_table(controller, tmp_path / "results.csv")
    controller.place((10.0, 10.0))
    with pytest.raises(TableError, match="orifice and apex"):
        keeping.keep_tracing(controller, tmp_path / "tracing.json")
    assert list(tmp_path.iterdir()) == []


def test_clicks_are_stored_without_rounding(case_radiograph, tmp_path):
    controller = Controller()
    controller.open(case_radiograph, [case().facts])
    for name in ESSENTIAL:
        row, col = click(name)
        controller.place((row + 1 / 3, np.nextafter(col, 1e9)))
    keeping.keep_tracing(controller, tmp_path / "t.json")
    (saved,) = load_tracings(tmp_path / "t.json")
    assert tuple(saved.clicks.items()) == controller.canal.clicks


def on_images(*seeds, measure=straight_length):
    one = Controller(measure=measure)
    for seed in seeds:
        one.open(plain_radiograph(seed=seed), [CaseFacts(scale_from="none")])
        one.choose("orifice")
        one.place((10.0, 20.0))
        one.choose("apex")
        one.place((40.0 + seed, 20.0))
    return one


def test_one_table_holds_every_image_of_the_sitting(tmp_path):
    one = on_images(3, 4, 5)
    one.open(plain_radiograph(seed=6))  # nothing placed on this one
    path, seen = tmp_path / "all.csv", []
    told = keeping.keep_common_table(one, path, lambda done, of: seen.append((done, of)) is None)
    assert told == "Table saved: 3 canals of 3 images in all.csv."
    assert seen == [(1, 3), (2, 3), (3, 3)]
    with path.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    # the straight length of each, as the table of its image alone has it
    assert [float(row["canal_length_px"]) for row in rows] == pytest.approx([33.0, 34.0, 35.0])
    keeping_alone = tmp_path / "one.csv"
    one.open(plain_radiograph(seed=4))
    keeping.keep_table(one, keeping_alone)
    assert keeping_alone.read_text().splitlines()[1] in path.read_text().splitlines()


def test_a_table_of_all_that_is_stopped_writes_nothing_and_a_bad_image_is_left_out_and_named(tmp_path):
    def choosy(radiograph, clicks, facts, settings):
        if radiograph.sha256 == plain_radiograph(seed=4).sha256:
            raise TableError("there is no canal")
        return straight_length(radiograph, clicks, facts, settings)

    one, path = on_images(3, 4, measure=choosy), tmp_path / "all.csv"
    assert keeping.keep_common_table(one, path, lambda *_: False).startswith("Stopped")
    assert not path.exists()
    told = keeping.keep_common_table(one, path)
    assert told.startswith("Table saved: 1 canal of 1 image in all.csv. Left out: ")
    assert "there is no canal" in told
    with pytest.raises(TableError, match="No landmark is placed on any image"):
        keeping.keep_common_table(Controller(), path)


# -- in a casebook -----------------------------------------------------------------------------------------


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "practice.casebook"
    Casebook.make(path).close()
    return path


def standing(book):
    with Casebook.open(book, write=False) as opened:
        return [one.content for one in opened.standing()]


def moved(controller, by=3.25):
    controller.begin_move("apex", 0)
    row, col = controller.canal.clicks_px()["apex"][0]
    controller.move_to((row + by, col))
    controller.end_move()


def test_a_casebook_holds_what_is_saved_and_gives_it_back(controller, case_radiograph, book):
    assert "revision 1" in keeping.keep_tracing(controller, book, "R1")
    assert "already" in keeping.keep_tracing(controller, book, "R1")
    moved(controller)
    assert "changed since revision 1" in keeping.saved_state(controller.session)
    assert "revision 2" in keeping.keep_tracing(controller, book, "R1")
    (one,) = standing(book)
    assert (one.revision, one.reader) == (2, "R1")
    with Casebook.open(book, write=False) as opened:
        assert len(opened.history(str(one.uuid))) == 2
        assert opened.image_path(case_radiograph.sha256) == case_radiograph.path.resolve()
    other = Controller()
    other.open(case_radiograph)
    assert "differ" not in keeping.reopen(other, book)
    assert other.canal.clicks == controller.canal.clicks
    assert numbers(other) == numbers(controller)


def test_readers_of_one_casebook_do_not_take_each_others_place_nor_see_each_other(
    controller, case_radiograph, book
):
    keeping.keep_tracing(controller, book, "R1")
    other = Controller()
    other.open(case_radiograph, [case().facts])
    for name in ESSENTIAL:
        row, col = click(name)
        other.place((row + 1.5, col))
    assert "revision 1" in keeping.keep_tracing(other, book, "R2")
    assert sorted((one.reader, one.revision) for one in standing(book)) == [("R1", 1), ("R2", 1)]
    third = Controller()
    third.open(case_radiograph)
    with pytest.raises(TableError, match=r"it has some by R1, R2\. Name the reader"):
        keeping.reopen(third, book)
    with pytest.raises(TableError, match="no tracing of this image by R3"):
        keeping.reopen(third, book, "R3")
    keeping.reopen(third, book, "R2")
    assert third.canal.clicks == other.canal.clicks
    # going on with what somebody else traced begins a line of revisions of one's own
    moved(third)
    assert "revision 1" in keeping.keep_tracing(third, book, "R3")
    assert len(standing(book)) == 3


def test_canals_of_a_name_on_two_teeth_stand_beside_each_other(controller, book):
    controller.state_fact("tooth", "36")
    keeping.keep_tracing(controller, book, "R1")
    controller.state_fact("tooth", "37")
    controller.session.saved.clear()
    keeping.keep_tracing(controller, book, "R1")
    assert sorted(one.facts.tooth for one in standing(book)) == ["36", "37"]


def test_a_damaged_casebook_is_named_and_left_alone(controller, book):
    content = bytearray(book.read_bytes())
    content[100:4000] = b"x" * 3900
    book.write_bytes(content)
    with pytest.raises(PeriapicalError, match=r"practice\.casebook"):
        keeping.keep_tracing(controller, book, "R1")
    assert book.read_bytes() == content


def test_the_order_in_which_landmarks_were_named_is_no_change(controller, case_radiograph, book):
    result, clicks = controller.shown.result, controller.canal.clicks_px()
    turned = {name: clicks[name] for name in reversed(clicks)}
    with Casebook.open(book) as opened:
        opened.add_tracings([Tracing.from_case(case_radiograph, turned, result)])
    other = Controller()
    other.open(case_radiograph)
    keeping.reopen(other, book)
    assert "saved as revision 1" in keeping.saved_state(other.session)
    assert "already" in keeping.keep_tracing(other, book)
