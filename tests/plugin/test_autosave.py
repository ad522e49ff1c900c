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

from napari_periapical import keeping
from napari_periapical.autosave import Autosave, described
from napari_periapical.background import LatestWins
from napari_periapical.controller import Controller
from napari_periapical.drafts import draft_path, read_draft, write_draft
from napari_periapical.sheet import Canal
from radio.measure.case import CaseFacts
from tests.plugin.made import HeldRunner, plain_radiograph, straight_length
from tests.plugin.sessions import IMAGE, NO_SCALE, controller, documents, newest_draft


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
    assert "canal ML: File length, mm 21, here not stated" in told
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
        "from tests.plugin.sessions import controller\n"
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
        "from tests.plugin.sessions import controller\n"
        "one = controller(pathlib.Path(sys.argv[1]))\n"
        "one.autosave.runner = lambda job, done: None\n"
        "one.place((10.0, 20.0))\n"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, timeout=120)
    assert newest_draft(tmp_path, IMAGE.sha256)[0].sheet.canal.points("orifice") == ((10.0, 20.0),)


def test_a_step_hardly_waits_for_its_keeping(tmp_path, monkeypatch):
    """With a disk that takes a fifth of a second, a step takes a few milliseconds."""
    from napari_periapical import autosave

    written, threads = [], []

    def slow(*args, **given):
        threads.append(threading.get_ident())
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
    while one.autosave.write_all() or not written:  # what a test may wait for, and a window may not
        time.sleep(0.01)
    assert sorted(took)[len(took) // 2] < 0.005
    assert max(took) < 0.1  # none waited for the disk
    assert threads[0] != threading.get_ident()
    assert len(written) < 20
    assert kept(one, tmp_path) == one.session.sheet


def test_a_program_that_is_killed_loses_no_step_it_had_finished(tmp_path):
    code = (
        "import sys, pathlib\n"
        "from tests.plugin.sessions import controller\n"
        "one = controller(pathlib.Path(sys.argv[1]))\n"
        "for k in range(10_000):\n"
        "    one.choose('canal_via')\n"
        "    one.place((30.0, 0.005 * k))\n"
        "    print(k + 1, flush=True)\n"
    )
    finished, command = 0, [sys.executable, "-c", code, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as run:
        for line in run.stdout:
            finished = int(line)
            if finished == 40:
                run.kill()
    again = controller(tmp_path)
    assert again.messages[0][0] == "note"
    # the step in progress may be there or not
    assert len(again.canal.points("canal_via")) in (finished, finished + 1)


# -- several windows on one image ---------------------------------------------------------------------------


def test_work_of_another_window_that_is_not_in_what_came_back_is_offered(tmp_path):
    first = controller(tmp_path)
    first.place((10.0, 20.0))
    second = controller(tmp_path)  # opened while the first goes on
    assert second.session.other_drafts == ()
    first.place((40.0, 20.0))
    mine = first.session.sheet
    second.choose("apex")
    second.place((55.0, 21.0))
    theirs = second.session.sheet
    assert len(documents(tmp_path)) == 2
    third = controller(tmp_path)
    assert third.session.sheet == theirs
    (other,) = third.session.other_drafts
    assert other.sheet == mine
    assert described(other).endswith(": 1 canal, 2 points")
    third.take_up(other)
    assert third.session.sheet == mine
    assert third.session.other_drafts == ()
    assert "Undo goes back" in third.messages[-1][1]
    third.undo()
    assert third.session.sheet == theirs
    third.redo()
    third.place((50.0, 30.0))
    # the work of all three is in the third now, or was seen and left by it
    fourth = controller(tmp_path)
    assert fourth.session.sheet == third.session.sheet
    assert fourth.session.other_drafts == ()


def test_what_was_gone_on_with_is_not_offered_again_and_empty_or_equal_drafts_never(tmp_path):
    for k in range(3):  # one sitting after the other
        one = controller(tmp_path)
        one.choose("canal_via")
        one.place((10.0 + 10.0 * k, 20.0))
    assert len(documents(tmp_path)) == 3
    last = controller(tmp_path)
    assert last.session.other_drafts == ()
    empty, same = controller(tmp_path / "b"), controller(tmp_path / "b")
    empty.state_fact("tooth", "36")
    same.place((10.0, 20.0))
    beside = controller(tmp_path / "b")
    assert beside.session.other_drafts == ()


def test_only_a_draft_that_is_offered_is_taken_up(tmp_path):
    one = controller(tmp_path)
    one.place((10.0, 20.0))
    draft, _ = newest_draft(tmp_path, IMAGE.sha256)
    before = one.session.sheet
    one.take_up(draft)
    assert one.session.sheet == before
    assert one.undoable == "placing Orifice"


def test_a_line_that_was_being_traced_is_traced_on(tmp_path):
    one = controller(tmp_path)
    one.choose("file_start")
    one.session.chosen = False
    one.click((5.0, 5.0))
    one.pin((9.0, 9.0))
    again = controller(tmp_path)
    assert again.tracing == "file"
    assert again.session.landmark == "file_tip"
    again.end_line((15.0, 15.0))
    assert again.tracing is None
    assert again.canal.points("file_via") == ((9.0, 9.0),)
    assert controller(tmp_path).tracing is None
    # giving the line up takes what was traced before the program ended, too
    again.undo()
    assert again.tracing == "file"
    again.cancel_line()
    assert again.canal.clicks == ()
