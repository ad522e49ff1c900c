"""Drafts on the disk: all comes back to the last digit, what cannot be read stays, the oldest go."""

from __future__ import annotations

import json
import os
import sys
import uuid
from dataclasses import replace
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from napari_periapical import drafts as on_disk
from napari_periapical.drafts import Draft, draft_path, read_draft, write_draft
from napari_periapical.sheet import Canal, Sheet, View
from radio.errors import TableError
from radio.image.display import Display
from radio.measure.case import LANDMARKS, CaseFacts
from radio.measure.check_rules.contract import Answer
from radio.measure.checks import RULES
from radio.measure.methods import METHODS
from radio.measure.settings import LIMITS, CurvatureSettings
from tests.plugin.made import plain_radiograph
from tests.plugin.sessions import IMAGE, age, controller, documents, newest_draft

CHECKS = [rule.id for rule in RULES]

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
        magnifier=draw(st.booleans()),
        second=draw(st.sampled_from(("", "a" * 64))),
        tube_to=draw(st.sampled_from(("", "mesial", "distal"))),
        mesial_at=draw(st.sampled_from(("", "left", "right"))),
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


def test_a_draft_of_an_image_with_the_same_beginning_of_its_hash_is_of_another_image(tmp_path):
    controller(tmp_path).place((10.0, 20.0))
    sha = IMAGE.sha256
    twin = replace(IMAGE, sha256=sha[:-1] + ("0" if sha[-1] != "0" else "1"))
    assert controller(tmp_path, image=twin).canal.clicks == ()


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


def test_drafts_lie_in_a_folder_of_the_persons_own(monkeypatch, tmp_path):
    """By the base directory specification of freedesktop.org, on the systems that follow it."""
    monkeypatch.undo()
    if sys.platform.startswith("linux"):
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
        assert on_disk.drafts_folder() == tmp_path / "napari-periapical" / "drafts"
    assert on_disk.drafts_folder().is_absolute()


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="rights as on POSIX")
def test_only_the_person_can_look_into_the_folder(tmp_path):
    controller(tmp_path / "of this program" / "drafts").place((10.0, 20.0))
    assert (tmp_path / "of this program" / "drafts").stat().st_mode & 0o777 == 0o700


def test_no_test_of_the_panel_reaches_the_folder_of_the_person(drafts):
    assert on_disk.drafts_folder() == drafts
    assert Draft.model_fields["schema_name"].alias == "schema"
