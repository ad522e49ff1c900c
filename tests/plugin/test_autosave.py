"""Keeping by itself: every step is on the disk, nothing of another session is touched, all comes back."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
import uuid
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from napari_periapical import drafts as on_disk
from napari_periapical import keeping
from napari_periapical.autosave import Autosave
from napari_periapical.background import LatestWins
from napari_periapical.controller import Controller
from napari_periapical.drafts import Draft, draft_path, newest_draft, read_draft, write_draft
from napari_periapical.preferences import Preferences
from napari_periapical.sheet import Canal, Sheet, View
from radio.errors import TableError
from radio.image.display import Display
from radio.measure.case import LANDMARKS, CaseFacts
from radio.measure.check_rules.contract import Answer
from radio.measure.checks import RULES
from radio.measure.methods import METHODS
from radio.measure.settings import LIMITS, CurvatureSettings
from tests.plugin.made import HeldRunner, plain_radiograph, straight_length

NO_SCALE = CaseFacts(scale_from="none")
IMAGE = plain_radiograph()
CHECKS = [rule.id for rule in RULES]


def controller(folder, facts=(NO_SCALE,), *, image=IMAGE, **given):
    """Open an image as a viewer does that keeps its drafts in a folder."""
    one = Controller(measure=straight_length, autosave=Autosave(lambda: folder), **given)
    one.messages = []
    one.told.connect(lambda level, text: one.messages.append((level, text)) if text else None)
    one.open(image, facts)
    return one


def documents(folder):
    return sorted(folder.glob("*.json"))


def age(path, hours):
    """Make a draft older, as far as the disk tells."""
    then = time.time() - hours * 3600
    os.utime(path, (then, then))


# -- everything comes back ------------------------------------------------------------------------------

coordinates = st.floats(-0.5, 5000.0, allow_nan=False)
words = st.text(max_size=20)
millimetres = st.none() | st.floats(0.01, 40.0)


@st.composite
def canals(draw, uid):
    canal = Canal(
        uid,
        CaseFacts(
            canal=draw(words),
            tooth=draw(st.sampled_from(("", "36", "85"))),
            scale_from=draw(st.none() | st.sampled_from(("file", "ball", "dicom", "given", "none"))),
            file_length_mm=draw(millimetres),
            file_start_at=draw(st.sampled_from(("stop", "handle"))),
            file_size=draw(st.none() | st.sampled_from((6, 8, 25, 140))),
            mm_per_px=draw(millimetres),
            electronic_mm=draw(millimetres),
            electronic_mark=draw(st.none() | st.sampled_from(("zero", "half"))),
            resorption=draw(st.none() | st.sampled_from(("none", "bone", "bone+root"))),
            answers=tuple(
                Answer(one, draw(st.sampled_from(("yes", "no"))), draw(words))
                for one in draw(st.lists(st.sampled_from(CHECKS), max_size=2, unique=True))
            ),
        ),
        settings=CurvatureSettings(
            **{name: draw(st.floats(max(one.low, 1e-6), one.high)) for name, one in LIMITS.items()}
        ),
        seen=tuple(draw(st.lists(words, max_size=2))),
    )
    for name in draw(st.lists(st.sampled_from(LANDMARKS), max_size=12)):
        point = draw(st.tuples(coordinates, coordinates))
        canal, _ = canal.with_added(name, point, exact=draw(st.booleans()))
    return canal


@st.composite
def sheets(draw):
    count = draw(st.integers(1, 4))
    uids = draw(st.lists(st.integers(0, 50), min_size=count, max_size=count, unique=True))
    low = draw(st.none() | st.floats(0.0, 0.5))
    display = Display(
        low=low,
        high=None if low is None else draw(st.floats(0.51, 1.0)),
        gamma=draw(st.floats(0.1, 10)),
        invert=draw(st.booleans()),
        local_contrast=draw(st.floats(0, 1)),
        sharpen=draw(st.floats(0, 1)),
        beside_original=draw(st.booleans()),
    )
    methods = st.sampled_from([one.name for one in METHODS])
    view = View(
        method=draw(methods),
        step=draw(st.integers(0, 5)),
        kept=tuple(draw(st.lists(methods, max_size=3))),
        constructions=draw(st.booleans()),
        hidden=frozenset(draw(st.lists(st.sampled_from(uids), max_size=3))),
        numbers=draw(st.booleans()),
        display=display,
    )
    return Sheet(tuple(draw(canals(uid)) for uid in uids), draw(st.integers(0, count - 1)), view)


@given(sheets())
def test_a_draft_brings_every_sheet_back_to_the_last_digit(tmp_path_factory, sheet):
    folder = tmp_path_factory.mktemp("drafts")
    session, stated = uuid.uuid4(), (CaseFacts(canal="ML", tooth="36"),)
    saved_as = (on_disk.SavedAs(uid=3, document="/a b/ü_tracing.json", uuid=uuid.uuid4(), revision=2),)
    at = write_draft(folder, IMAGE, session, given=stated, sheet=sheet, saved_as=saved_as)
    draft, told = newest_draft(folder, IMAGE.sha256)
    assert (draft.sheet, draft.given, draft.saved_as, told) == (sheet, stated, saved_as, ())
    assert (draft.saved, draft.session, draft.image_sha256) == (at, session, IMAGE.sha256)
    assert draft.saved.utcoffset() is not None


def test_the_document_says_what_it_is_and_bears_the_caution(tmp_path):
    from radio.record.wording import CAUTION

    controller(tmp_path).place((10.0, 20.0))
    (path,) = documents(tmp_path)
    content = json.loads(path.read_text(encoding="utf-8"))
    assert content["schema"] == "napari-periapical draft"
    assert (content["schema_version"], content["caution"]) == (1, CAUTION)
    assert datetime.fromisoformat(content["saved"]).tzinfo is not None
    assert path.name.startswith(IMAGE.sha256[:16])


# -- every step is kept ---------------------------------------------------------------------------------


def kept(one, folder):
    draft, _ = newest_draft(folder, one.session.radiograph.sha256)
    return draft.sheet if draft is not None else None


def test_every_step_is_kept_and_a_held_point_is_not(tmp_path):
    one = controller(tmp_path)
    assert documents(tmp_path) == []
    for act in (
        lambda: one.place((10.25, 20.125)),
        lambda: one.place((40.0, 20.0), exact=True),
        lambda: one.state_fact("tooth", "36"),
        lambda: one.state_setting("apical_portion_mm", "3"),
        lambda: one.show_numbers(False),
        one.add_canal,
        lambda: one.choose_canal(0),
        one.undo,
        one.undo,
        one.redo,
    ):
        act()
        assert kept(one, tmp_path) == one.session.sheet
    before = one.session.sheet
    one.begin_move("orifice", 0)
    one.move_to((11.0, 20.0))
    assert kept(one, tmp_path) == before
    one.end_move()
    assert kept(one, tmp_path) == one.session.sheet != before
    assert len(documents(tmp_path)) == 1


def test_what_was_placed_comes_back_as_one_step(tmp_path):
    one = controller(tmp_path)
    one.place((10.0, 20.0))
    one.place((40.5, 20.25))
    one.add_canal()
    one.state_fact("canal", "ML")
    one.state_setting("smoothing_mm", "2,5")
    one.choose_method("tangent-circle")
    one.choose_canal(0)
    again = controller(tmp_path)
    assert again.session.sheet == one.session.sheet
    (draft,) = [read_draft(path) for path in documents(tmp_path)]
    assert again.messages == [
        ("note", f"Brought back what was placed on {draft.saved.astimezone():%d %b %H:%M}.")
    ]
    assert again.shown.result is not None
    again.undo()
    assert again.session.sheet.canals == (Canal(0, NO_SCALE),)
    assert again.undoable == ""
    again.redo()
    assert again.session.sheet == one.session.sheet


def test_nothing_is_said_of_an_image_that_was_only_looked_at(tmp_path):
    controller(tmp_path)
    assert controller(tmp_path).messages == []
    assert documents(tmp_path) == []


def test_what_was_taken_away_does_not_come_back(tmp_path):
    one = controller(tmp_path)
    one.place((10.0, 20.0))
    one.remove_selected()
    again = controller(tmp_path)
    assert (again.canal.clicks, again.messages, again.undoable) == ((), [], "")


def test_undoing_what_was_brought_back_loses_nothing_until_something_new_is_placed(tmp_path):
    controller(tmp_path).place((10.0, 20.0))
    controller(tmp_path).undo()
    again = controller(tmp_path)
    assert again.canal.points("orifice") == ((10.0, 20.0),)
    again.undo()
    again.place((30.0, 30.0))
    assert controller(tmp_path).canal.points("orifice") == ((30.0, 30.0),)
    # undone to the very beginning, the session has nothing to keep, and the one before counts
    again.undo()
    assert controller(tmp_path).canal.points("orifice") == ((10.0, 20.0),)


def test_the_year_is_told_where_it_is_another(tmp_path):
    one = controller(tmp_path)
    one.place((10.0, 20.0))
    (path,) = documents(tmp_path)
    content = json.loads(path.read_text())
    content["saved"] = (datetime.now().astimezone() - timedelta(days=800)).isoformat()
    path.write_text(json.dumps(content))
    assert str(datetime.now().year - 2) in controller(tmp_path).messages[0][1]


def test_an_image_that_is_open_already_comes_back_as_it_was_left_and_not_from_the_disk(tmp_path):
    one = controller(tmp_path)
    one.place((10.0, 20.0))
    one.open(plain_radiograph(seed=4), [NO_SCALE])
    one.open(IMAGE, [NO_SCALE])
    assert one.undoable == "placing Orifice"
    assert one.messages == []


def test_a_draft_of_an_image_with_the_same_beginning_of_its_hash_is_of_another_image(tmp_path):
    controller(tmp_path).place((10.0, 20.0))
    sha = IMAGE.sha256
    twin = replace(IMAGE, sha256=sha[:-1] + ("0" if sha[-1] != "0" else "1"))
    assert controller(tmp_path, image=twin).canal.clicks == ()


def test_facts_of_the_table_stay_beneath_what_is_brought_back_and_are_told_when_they_changed(tmp_path):
    stated = CaseFacts(canal="ML", scale_from="none", tooth="36")
    one = controller(tmp_path, [stated])
    one.place((10.0, 20.0))
    one.state_fact("tooth", "37")
    again = controller(tmp_path, [stated])
    assert again.canal.facts.tooth == "37"
    assert "stated" not in again.messages[0][1]
    changed = controller(tmp_path, [replace(stated, tooth="46", file_length_mm=21.0), CaseFacts(canal="DB")])
    assert changed.canal.facts == replace(stated, tooth="37")
    told = changed.messages[0][1]
    assert "has changed since" in told
    assert "canal ML: Tooth (ISO 3950) 46, here 37" in told
    assert "canal ML: File length, mm 21.0, here not stated" in told
    assert "canal DB is new" in told
    changed.undo()
    assert [canal.facts.canal for canal in changed.session.sheet.canals] == ["ML", "DB"]
    assert changed.canal.facts.tooth == "46"


# -- what was saved -------------------------------------------------------------------------------------


def test_what_was_saved_where_comes_back(tmp_path):
    one = controller(tmp_path / "drafts")
    one.place((10.0, 20.0))
    one.place((40.0, 20.0))
    path = tmp_path / "köpie von case_tracing.json"
    keeping.keep_tracing(one, path)
    again = controller(tmp_path / "drafts")
    assert keeping.saved_state(again.session) == keeping.saved_state(one.session)
    assert "saved as revision 1" in keeping.saved_state(again.session)
    assert again.session.kept_in == {0: path}
    again.begin_move("apex", 0)
    again.move_to((41.0, 20.0))
    again.end_move()
    assert "changed since revision 1" in keeping.saved_state(again.session)
    assert "revision 2" in keeping.keep_tracing(again, path)
    # reopened from its document, it is known to be saved there as well
    keeping.reopen(again, path)
    assert "saved as revision 2" in keeping.saved_state(controller(tmp_path / "drafts").session)


def test_a_tracing_that_is_gone_is_told(tmp_path):
    one = controller(tmp_path / "drafts")
    one.place((10.0, 20.0))
    one.place((40.0, 20.0))
    path = tmp_path / "t.json"
    keeping.keep_tracing(one, path)
    path.unlink()
    again = controller(tmp_path / "drafts")
    assert "not saved" in keeping.saved_state(again.session)
    assert f"{path} is not there any more" in again.messages[0][1]
    assert again.canal.clicks == one.canal.clicks


# -- what cannot be read --------------------------------------------------------------------------------


def damage(path, how):
    content = json.loads(path.read_text())
    canal = content["sheet"]["canals"][0]
    text = None
    if how == "half":
        text = path.read_text()[:300]
    elif how == "empty":
        text = ""
    elif how == "binary":
        path.write_bytes(b"\x00\xff\xfe" * 100)
        return
    elif how == "list":
        text = "[1, 2]"
    elif how == "other":
        text = '{"schema": "other", "schema_version": 1}'
    elif how == "nan":
        canal["clicks"][0][1][0][0] = "NaN"
    elif how == "infinite":
        canal["clicks"][0][1][0][0] = "Infinity"
    elif how == "landmark":
        canal["clicks"][0][0] = "crown"
    elif how == "twice":
        canal["clicks"][0][1] *= 2
    elif how == "exact":
        canal["facts"]["exact"] = [["apex", 7]]
    elif how == "active":
        content["sheet"]["active"] = 9
    elif how == "uids":
        content["sheet"]["canals"] *= 2
    elif how == "method":
        content["sheet"]["view"]["method"] = "guess"
    elif how == "setting":
        canal["settings"]["apical_portion_mm"] = -1
    elif how == "display":
        content["sheet"]["view"]["display"]["gamma"] = 99
    elif how == "unknown":
        content["colour"] = "red"
    elif how == "no zone":
        content["saved"] = "2026-11-25T10:42:00"
    path.write_text(json.dumps(content) if text is None else text)


DAMAGES = (
    *("half", "empty", "binary", "list", "other", "nan", "infinite", "landmark", "twice", "exact", "active"),
    *("uids", "method", "setting", "display", "unknown", "no zone"),
)


@pytest.mark.parametrize("how", DAMAGES)
def test_a_damaged_draft_is_left_alone_and_named_and_the_next_newest_counts(tmp_path, how):
    controller(tmp_path).place((10.0, 20.0))
    (older,) = documents(tmp_path)
    age(older, 1)
    controller(tmp_path).place((33.0, 20.0))
    (newer,) = set(documents(tmp_path)) - {older}
    damage(newer, how)
    before = newer.read_bytes()
    again = controller(tmp_path)
    assert again.canal.points("orifice") == ((10.0, 20.0),)
    assert again.canal.points("apex") == ()
    level, told = again.messages[0]
    assert level == "problem"
    assert f"{newer.name} is damaged and was left alone" in told
    assert "Brought back" in told
    again.place((50.0, 20.0))
    assert newer.read_bytes() == before


def test_only_damaged_drafts_leave_a_fresh_sheet_and_a_message(tmp_path):
    controller(tmp_path).place((10.0, 20.0))
    damage(*documents(tmp_path), "half")
    again = controller(tmp_path)
    assert (again.canal.clicks, again.undoable) == ((), "")
    assert "damaged" in again.messages[0][1]
    again.place((1.0, 2.0))
    assert len(documents(tmp_path)) == 2


def test_a_draft_of_a_later_version_is_not_touched(tmp_path):
    controller(tmp_path).place((10.0, 20.0))
    (later,) = documents(tmp_path)
    content = json.loads(later.read_text()) | {"schema_version": 2, "colour": "red"}
    later.write_text(json.dumps(content))
    before = later.read_bytes()
    again = controller(tmp_path)
    assert again.canal.clicks == ()
    assert "later version" in again.messages[0][1]
    for k in range(on_disk.MOST_OF_AN_IMAGE + 3):
        age(later, 100)
        one = controller(tmp_path)
        one.choose("canal_via")
        one.place((20.0, 1.0 + k))
    assert len(documents(tmp_path)) == 1 + on_disk.MOST_OF_AN_IMAGE
    assert later.read_bytes() == before
    with pytest.raises(TableError, match="later version"):
        read_draft(later)


# -- sessions side by side ------------------------------------------------------------------------------


def test_two_sessions_on_one_image_never_overwrite_each_other(tmp_path):
    one = controller(tmp_path)
    two = controller(tmp_path)
    one.place((10.0, 20.0))
    two.place((60.0, 30.0))
    one.place((40.0, 20.0))
    assert len(documents(tmp_path)) == 2
    there = {read_draft(path).session: read_draft(path).sheet for path in documents(tmp_path)}
    assert there == {one.autosave.uuid: one.session.sheet, two.autosave.uuid: two.session.sheet}


def test_two_processes_on_one_image_never_overwrite_each_other(tmp_path):
    """Each process places its own points, both at once; both are there whole at the end."""
    code = (
        "import sys, pathlib\n"
        "from tests.plugin.test_autosave import controller\n"
        "one = controller(pathlib.Path(sys.argv[1]))\n"
        "for k in range(30):\n"
        "    one.place((float(sys.argv[2]), float(k)))\n"
        "    one.choose('canal_via')\n"
        "print(one.autosave.uuid)\n"
    )
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path), str(row)], stdout=subprocess.PIPE, text=True
        )
        for row in (11, 44)
    ]
    named = [uuid.UUID(run.communicate(timeout=120)[0].strip()) for run in runs]
    assert [run.returncode for run in runs] == [0, 0]
    for session, row in zip(named, (11.0, 44.0), strict=True):
        draft = read_draft(draft_path(tmp_path, IMAGE.sha256, session))
        (canal,) = draft.sheet.canals
        mine = [point for _, points in canal.clicks for point in points if point[0] == row]
        assert len(mine) == 30
    assert not [path for path in tmp_path.iterdir() if path.suffix != ".json"]


def test_at_most_so_many_drafts_of_an_image_are_kept_and_the_oldest_go(tmp_path):
    other = controller(tmp_path, image=plain_radiograph(seed=9))
    other.place((1.0, 1.0))
    (of_another,) = documents(tmp_path)
    age(of_another, 1000)
    sessions = []
    for k in range(on_disk.MOST_OF_AN_IMAGE + 5):
        one = controller(tmp_path)
        one.choose("canal_via")
        one.place((10.0, 1.0 + k))
        sessions.append(one.autosave.uuid)
        age(draft_path(tmp_path, IMAGE.sha256, one.autosave.uuid), 100 - k)
    mine = {read_draft(path).session for path in documents(tmp_path) if path != of_another}
    assert mine == set(sessions[-on_disk.MOST_OF_AN_IMAGE :])
    assert of_another.exists()


# -- what cannot be written -----------------------------------------------------------------------------


def test_a_folder_that_is_a_file_is_told_once_and_work_goes_on(tmp_path):
    place = tmp_path / "drafts"
    place.write_text("in the way")
    one = controller(place)
    for k in range(3):
        one.place((10.0, 20.0 + k))
        one.choose("canal_via")
    problems = [text for level, text in one.messages if level == "problem"]
    assert len(problems) == 1
    assert str(place) in problems[0]
    assert "Not kept by itself" in problems[0]
    assert len(one.canal.points("canal_via")) == 2
    assert one.autosave.told(one.session) == problems[0]
    assert place.read_text() == "in the way"
    # as soon as it can be written again it is, and a further failure is told again
    place.unlink()
    one.place((50.0, 20.0))
    assert "Kept by itself at" in one.autosave.told(one.session)
    assert kept(one, place) == one.session.sheet


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="rights as on POSIX")
def test_a_full_disk_and_a_folder_of_others_are_told_in_words(tmp_path, monkeypatch):
    import errno

    from radio.record import atomic

    one = controller(tmp_path)
    one.place((10.0, 20.0))
    before = kept(one, tmp_path)
    for number, word in ((errno.ENOSPC, "No space left"), (errno.EROFS, "Read-only")):

        def fail(*_, number=number, **__):
            raise OSError(number, os.strerror(number))

        with monkeypatch.context() as patch:
            patch.setattr(atomic.os, "fsync", fail)
            one.state_fact("tooth", "36" if word == "Read-only" else "37")
        assert word in one.autosave.told(one.session)
        assert kept(one, tmp_path) == before
        assert [path.suffix for path in tmp_path.iterdir()] == [".json"]
    assert len([text for level, text in one.messages if level == "problem"]) == 1


def test_whatever_goes_wrong_in_keeping_the_work_goes_on(tmp_path, monkeypatch):
    from napari_periapical import autosave

    def fail(*_, **__):
        raise RuntimeError("out of order")

    monkeypatch.setattr(autosave, "write_draft", fail)
    one = controller(tmp_path)
    one.place((10.0, 20.0))
    assert one.canal.points("orifice") == ((10.0, 20.0),)
    assert "out of order" in one.messages[-1][1]


def test_switched_off_nothing_is_kept_or_brought_back(tmp_path):
    controller(tmp_path).place((10.0, 20.0))
    wanted = [False]
    autosave = Autosave(lambda: tmp_path, lambda: wanted[0])
    one = Controller(measure=straight_length, autosave=autosave)
    one.open(IMAGE, [NO_SCALE])
    one.place((30.0, 30.0))
    assert one.canal.clicks == (("orifice", ((30.0, 30.0),)),)
    assert len(documents(tmp_path)) == 1
    assert "switched off" in autosave.told(one.session)
    wanted[0] = True  # from the next step on
    one.place((50.0, 30.0))
    assert kept(one, tmp_path) == one.session.sheet


# -- off the thread of the screen -----------------------------------------------------------------------


def test_jobs_that_are_passed_over_lose_nothing(tmp_path):
    """A runner drops a waiting job for a newer one, also when that is of another image."""
    runner, other = HeldRunner(), plain_radiograph(seed=6)
    one = controller(tmp_path)
    one.autosave.runner = runner
    one.place((10.0, 20.0))
    one.place((40.0, 20.0))
    first = one.session.sheet
    one.open(other, [NO_SCALE])
    one.place((7.0, 7.0))
    assert documents(tmp_path) == []
    runner.run(len(runner.jobs) - 1)  # the newest alone
    assert newest_draft(tmp_path, IMAGE.sha256)[0].sheet == first
    assert newest_draft(tmp_path, other.sha256)[0].sheet == one.session.sheet


def test_a_runner_that_goes_leaves_nothing_unwritten(tmp_path):
    one = controller(tmp_path)
    runner = LatestWins(lambda function: function())
    one.autosave.runner = runner
    runner.stop()
    one.place((10.0, 20.0))
    assert documents(tmp_path) == []
    one.autosave.runner = HeldRunner()  # as when the panel goes
    assert kept(one, tmp_path) == one.session.sheet


def test_what_waits_is_written_when_the_program_ends(tmp_path):
    code = (
        "import sys, pathlib\n"
        "from tests.plugin.test_autosave import controller\n"
        "one = controller(pathlib.Path(sys.argv[1]))\n"
        "one.autosave.runner = lambda job, done: None\n"
        "one.place((10.0, 20.0))\n"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, timeout=120)
    assert newest_draft(tmp_path, IMAGE.sha256)[0].sheet.canal.points("orifice") == ((10.0, 20.0),)


def test_a_step_hardly_waits_for_its_keeping(tmp_path, monkeypatch):
    """With a disk that takes a fifth of a second, a step takes a few milliseconds."""
    from napari_periapical import autosave

    written, threads = [], set()

    def slow(*args, **given):
        threads.add(threading.get_ident())
        time.sleep(0.2)
        written.append(given["sheet"])
        return write_draft(*args, **given)

    monkeypatch.setattr(autosave, "write_draft", slow)
    one = controller(tmp_path)
    one.autosave.runner = LatestWins(lambda function: function())
    took = []
    for k in range(20):
        one.session.push("a step", one.session.sheet.with_canal(Canal(0).with_points("apex", ((1.0, k),))))
        start = time.perf_counter()
        one.autosave.note(one.session)
        took.append(time.perf_counter() - start)
    one.autosave.runner = LatestWins(lambda function: function())
    assert sorted(took)[len(took) // 2] < 0.005
    assert threading.get_ident() not in threads or len(threads) > 1
    assert len(written) < 20
    assert kept(one, tmp_path) == one.session.sheet


def test_preferences_are_how_an_image_begins(tmp_path):
    wanted = [Preferences(departure_tolerance_mm=0.25, apical_portion_mm=3.0, numbers=False, magnifier=False)]
    one = controller(tmp_path, preferences=lambda: wanted[0])
    assert one.canal.settings == CurvatureSettings(departure_tolerance_mm=0.25, apical_portion_mm=3.0)
    assert (one.view.numbers, one.view.magnifier) == (False, False)
    one.add_canal()
    assert one.canal.settings.apical_portion_mm == 3.0
    # what is chosen in the panel holds for the next image too, until the settings say otherwise
    one.show_numbers(True)
    one.open(plain_radiograph(seed=2), [NO_SCALE])
    assert (one.view.numbers, one.view.magnifier) == (True, False)
    wanted[0] = Preferences(magnifier=True, numbers=False)
    one.open(plain_radiograph(seed=3), [NO_SCALE])
    assert (one.view.numbers, one.view.magnifier) == (True, True)
    assert one.canal.settings == CurvatureSettings()
    # an image that is open keeps what it has
    one.open(IMAGE, [NO_SCALE])
    assert one.canal.settings.apical_portion_mm == 3.0


def test_drafts_lie_in_a_folder_of_the_persons_own(monkeypatch, tmp_path):
    """By the base directory specification of freedesktop.org, on the systems that follow it."""
    monkeypatch.undo()
    if sys.platform.startswith("linux"):
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
        assert on_disk.drafts_folder() == tmp_path / "napari-periapical" / "drafts"
    assert on_disk.drafts_folder().is_absolute()


def test_no_test_of_the_panel_reaches_the_folder_of_the_person(drafts):
    assert on_disk.drafts_folder() == drafts
    assert Draft.model_fields["schema_name"].alias == "schema"
