from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from radio.errors import BookError, PeriapicalError
from radio.record import book_schema
from radio.record.book_check import back_up, check
from radio.record.casebook import Casebook
from radio.record.teeth import universal
from radio.record.tracing import Tracing, load_tracings, save_tracings
from tests.record.books import RADIOGRAPH, course, filled, forge, reading, tracing

GOLDEN = Path(__file__).parents[1] / "data" / "casebook_version_1.casebook"


def test_what_is_kept_comes_back_exactly_with_who_when_and_what(tmp_path):
    one, path = tracing(reader="reader A"), tmp_path / "a.casebook"
    with Casebook.make(path) as book:
        assert book.add_tracings([one]).new == 1
        assert book.add_tracings([one]).known == 1  # again: nothing doubles
        book.add_reading(reading(), "reader A")
        book.add_reading(reading(), "reader B")
        book.add_course(course(21.0, 21.4), "reader A")
    with Casebook.open(path, write=False) as book:
        (kept,) = book.kept()
        assert kept.tracing == one
        assert (kept.subject, kept.tooth, kept.canal) == ("P-01", "36", "1")
        assert kept.tracing.clicks == one.clicks
        assert kept.tracing.scale == one.scale
        assert [r.reading.mm for r in kept.readings] == [21.5]
        assert kept.course == course(21.0, 21.4)
        (revision,) = book.standing("tracing")
        assert revision.author == "reader A"
        assert revision.software == one.software
        assert revision.created.endswith("+00:00")
        assert book.kept(tooth="36", subject="P-01", reader="reader A")
        assert not book.kept(tooth="37")
        assert not book.kept(reader="reader B")


def test_a_change_is_a_new_revision_and_any_revision_can_stand_again(tmp_path):
    with Casebook.make(tmp_path / "a.casebook") as book:
        first = tracing(reader="reader A")
        second = tracing(reader="reader A", supersedes=first)
        third = tracing(reader="reader B", supersedes=second)
        book.add_tracings([first, second, third])
        assert [one.tracing for one in book.kept()] == [third]
        assert [one.uuid for one in book.history(str(second.uuid))] == [first.uuid, second.uuid, third.uuid]
        restored = book.restore(str(first.uuid)[:8], "tutor")
        (now,) = book.kept()
        assert now.tracing.uuid == restored.uuid
        assert now.tracing.revision == 4
        assert now.tracing.supersedes == third.uuid
        assert (now.tracing.clicks, now.tracing.reader) == (first.clicks, "reader A")
        assert restored.author == "tutor"
        assert len(book.history(str(first.uuid))) == 4
        with pytest.raises(BookError, match="stands already"):
            book.restore(str(restored.uuid))
        # a course that goes on takes the place of the one before, and of that canal's only
        book.add_course(course(21.0))
        book.add_course(course(21.0, canal="2"))
        book.add_course(course(21.0, 21.5))
        book.add_course(course(21.0, 21.5))  # said twice
        assert len(book.standing("course")) == 2
        assert len([one for one in book.revisions() if one.kind == "course"]) == 3
        old = next(one for one in book.revisions() if one.kind == "course" and one.content == course(21.0))
        book.restore(str(old.uuid))
        assert book.kept()[0].course == course(21.0)


def test_names_are_found_by_their_beginning(tmp_path):
    with filled(tmp_path / "a.casebook") as book:
        with pytest.raises(BookError, match="too short"):
            book.named("ab")
        with pytest.raises(BookError, match="no revision"):
            book.named("zzzzzz")
        one = book.revisions()[0]
        assert book.named(str(one.uuid).upper()[:13]) == one


def test_nothing_in_it_is_ever_changed_or_taken_away(tmp_path):
    """The log is guarded by the database itself, whoever opens it."""
    path = tmp_path / "a.casebook"
    filled(path).close()
    with sqlite3.connect(path) as plain:
        for table in ("revision", "supersedes", "about"):
            for action in (f"DELETE FROM {table}", f"UPDATE {table} SET rowid = rowid + 1"):
                with pytest.raises(sqlite3.IntegrityError, match="only added to"):
                    plain.execute(action)
    plain.close()


def test_the_book_can_be_read_with_sql_alone(tmp_path):
    path, one = tmp_path / "a.casebook", tracing(reader="reader A")
    with Casebook.make(path) as book:
        book.add_tracings([one])
    plain = sqlite3.connect(path)
    query = "SELECT value, sd, unit, reader, image FROM measurements WHERE quantity = 'gap_mm'"
    gap = one.measurements["gap_mm"]
    assert plain.execute(query).fetchall() == [(gap.value, gap.sd, "mm", "reader A", "made.png")]
    plain.close()


def test_a_kept_revision_never_changes_and_a_refusal_adds_nothing(tmp_path):
    one = tracing()
    other = one.model_copy(update={"reader": "somebody else"})
    with Casebook.make(tmp_path / "a.casebook") as book:
        book.add_tracings([one])
        with pytest.raises(BookError, match="other content; a kept"):
            book.add_tracings([tracing(canal="3"), other])
        assert [kept.tracing for kept in book.kept()] == [one]


def test_a_document_of_tracings_goes_in_and_out_unchanged(tmp_path):
    first = tracing(reader="reader A")
    document = tmp_path / "t.json"
    save_tracings(document, [first, tracing(supersedes=first)])
    with Casebook.make(tmp_path / "a.casebook") as book:
        book.add_tracings(load_tracings(document))
        contents = [one.content for one in book.revisions()]
    assert all(isinstance(one, Tracing) for one in contents)
    save_tracings(tmp_path / "again.json", contents)
    assert set(map(str, load_tracings(tmp_path / "again.json"))) == set(map(str, load_tracings(document)))


# -- images -------------------------------------------------------------------------------------------------


def test_an_image_is_found_where_it_was_last_seen_and_again_when_it_was_moved(tmp_path):
    import hashlib

    content = b"any image"
    sha256 = hashlib.sha256(content).hexdigest()
    old, new = tmp_path / "old" / "x.png", tmp_path / "new" / "deep" / "renamed.png"
    old.parent.mkdir()
    old.write_bytes(content)
    one = tracing().model_copy(update={"image_sha256": sha256})
    with Casebook.make(tmp_path / "a.casebook") as book:
        book.add_tracings([one], paths={sha256: old})
        assert book.kept()[0].image_path == old
        new.parent.mkdir(parents=True)
        old.rename(new)
        assert book.kept()[0].image_path is None
        assert check(book).missing_images == (sha256,)
        (tmp_path / "new" / "other.png").write_bytes(b"another")
        assert book.find_images(tmp_path / "new") == {sha256: new}
        assert book.kept()[0].image_path == new
        new.write_bytes(b"something longer")  # another image now
        assert book.kept()[0].image_path is None
        with pytest.raises(BookError, match="not there"):
            book.find_images(tmp_path / "nowhere")


# -- what can be wrong with it ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "told"),
    [(None, "there is nothing there"), (b"", "no casebook"), (b"no database at all" * 90, "no casebook")],
)
def test_what_is_no_casebook_is_said_and_left_alone(tmp_path, content, told):
    path = tmp_path / "a.casebook"
    if content is not None:
        path.write_bytes(content)
    for write in (True, False):
        with pytest.raises(BookError, match=told):
            Casebook.open(path, write=write)
    assert content is None or path.read_bytes() == content


def test_a_missing_drive_a_taken_name_and_a_foreign_database_are_named(tmp_path):
    with pytest.raises(BookError, match="Is the drive connected"):
        Casebook.open(tmp_path / "gone" / "a.casebook")
    with pytest.raises(BookError, match="make it or choose another place"):
        Casebook.make(tmp_path / "gone" / "a.casebook")
    Casebook.make(tmp_path / "a.casebook").close()
    with pytest.raises(BookError, match="never written over"):
        Casebook.make(tmp_path / "a.casebook")
    assert [one.name for one in tmp_path.iterdir()] == ["a.casebook"]
    plain = sqlite3.connect(tmp_path / "b.casebook")
    plain.execute("CREATE TABLE x (y)")
    plain.close()
    with pytest.raises(BookError, match="no casebook; nothing was done"):
        Casebook.open(tmp_path / "b.casebook")


def test_a_book_of_a_later_version_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "a.casebook"
    filled(path).close()
    plain = sqlite3.connect(path)
    plain.execute("PRAGMA user_version = 9")
    plain.close()
    before = path.read_bytes()
    for write in (True, False):
        with pytest.raises(BookError, match="schema version 9; this program knows 1 to 1"):
            Casebook.open(path, write=write)
    assert path.read_bytes() == before


def damage_of(path):
    """Say what is wrong with a book, whether it can still be opened or not."""
    try:
        with Casebook.open(path, write=False) as book:
            return check(book).damage
    except BookError as problem:
        return (str(problem),)


def test_a_check_sees_any_change_made_behind_its_back(tmp_path):
    path = tmp_path / "a.casebook"
    with filled(path) as book:
        found = check(book)
        assert (found.revisions, found.standing, found.damage, found.conflicts) == (5, 4, (), ())
        assert found.missing_images == (RADIOGRAPH.sha256,)
    forge(path, "body = replace(body, '21.5', '20.5') WHERE kind = 'reading'")
    with Casebook.open(path, write=False) as book:
        (told,) = check(book).damage
        assert "not as it was written" in told
        with pytest.raises(BookError, match="damaged, no backup was made"):
            back_up(book, tmp_path / "copy.casebook")
    assert not (tmp_path / "copy.casebook").exists()
    # pages of the file overwritten: SQLite's own check, or its refusal to read
    data = bytearray(path.read_bytes())
    data[4096 * 3 : 4096 * 6] = b"\xff" * (4096 * 3)
    path.write_bytes(bytes(data))
    assert damage_of(path)


def test_a_backup_is_the_book_as_it_stands_also_while_it_is_written_to(tmp_path):
    copy = tmp_path / "copy.casebook"
    with filled(tmp_path / "a.casebook") as book:
        back_up(book, copy)
        book.add_tracings([tracing(canal="9")])
        with pytest.raises(BookError, match="never takes the place"):
            back_up(book, copy)
        with Casebook.open(copy) as again:
            assert [one.digest for one in again.revisions()] == [one.digest for one in book.revisions()[:-1]]
    assert sorted(one.name for one in tmp_path.iterdir()) == ["a.casebook", "copy.casebook"]


# -- schema versions ----------------------------------------------------------------------------------------


def test_the_golden_book_of_version_1_is_read_for_ever(tmp_path):
    """Made once by the first release; it is never made anew."""
    path = tmp_path / "golden.casebook"
    shutil.copy(GOLDEN, path)
    with Casebook.open(path, write=False) as book:
        assert check(book).damage == ()
        kept = {one.canal: one for one in book.kept()}
        assert set(kept) == {"1", "2"}
        assert kept["1"].tracing.revision == 2
        assert kept["1"].tracing.measurements["gap_mm"].unit == "mm"
        assert [one.reading.mm for one in kept["1"].readings] == [21.5]
        assert kept["1"].course == course(21.0)
    with Casebook.open(path) as book:
        assert book.add_tracings([tracing(canal="3")]).new == 1


def test_an_older_book_is_read_as_it_is_and_brought_up_after_a_backup(tmp_path, monkeypatch):
    path = tmp_path / "a.casebook"
    filled(path).close()
    before = path.read_bytes()
    newer = (*book_schema.MIGRATIONS, "CREATE TABLE added_later (x TEXT) STRICT;")
    monkeypatch.setattr(book_schema, "MIGRATIONS", newer)
    with Casebook.open(path, write=False) as book:
        assert len(book.kept()) == 2
        assert book.connection.execute("SELECT count(*) FROM added_later").fetchone() == (0,)
    assert path.read_bytes() == before
    with Casebook.open(path) as book:
        assert len(book.kept()) == 2
        assert book.connection.execute("PRAGMA user_version").fetchone() == (2,)
    assert (tmp_path / "a.casebook.version1").exists()
    monkeypatch.undo()
    with Casebook.open(tmp_path / "a.casebook.version1", write=False) as book:
        assert len(book.kept()) == 2


def test_a_migration_that_fails_leaves_the_book_as_it_was(tmp_path, monkeypatch):
    path = tmp_path / "a.casebook"
    filled(path).close()
    monkeypatch.setattr(book_schema, "MIGRATIONS", (*book_schema.MIGRATIONS, "CREATE TABLE x (y); NONSENSE;"))
    with pytest.raises(BookError, match="syntax error"):
        Casebook.open(path)
    monkeypatch.undo()
    with Casebook.open(path) as book:
        assert check(book).damage == ()
        assert book.connection.execute("SELECT name FROM sqlite_master WHERE name = 'x'").fetchall() == []


# -- teeth ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fdi", "expected"),
    # HL7 terminology page of tooth identification, Universal numbering, as far as it was read
    [
        ("18", "1"),
        ("17", "2"),
        ("11", "8"),
        ("21", "9"),
        ("22", "10"),
        ("34", "21"),
        ("33", "22"),
        ("46", "30"),
        # by the rule of the systems: ends of the quadrants, and deciduous teeth by letters
        ("28", "16"),
        ("38", "17"),
        ("48", "32"),
        ("55", "A"),
        ("51", "E"),
        ("61", "F"),
        ("75", "K"),
        ("85", "T"),
    ],
)
def test_universal_numbers_of_teeth(fdi, expected):
    assert universal(fdi) == expected


@pytest.mark.parametrize("wrong", ["19", "56", "9", "361", "3x", "٣٦"])
def test_what_is_no_tooth_has_no_universal_number(wrong):
    with pytest.raises(PeriapicalError, match="ISO 3950"):
        universal(wrong)
    assert universal("") == ""
