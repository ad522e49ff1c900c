"""A casebook under blows: killed programs, several at once, full disks, read-only media, and merges."""

from __future__ import annotations

import itertools
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from radio.errors import BookError
from radio.record.book_check import check
from radio.record.book_merge import merge
from radio.record.casebook import Casebook
from tests.record.books import course, filled, forge, reading, tracing

resource = pytest.importorskip("resource", reason="limits of a process, which Windows does not know")
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="processes are forked, which Windows does not know"),
    # Python 3.12 warns of forks beside threads; the children here use nothing of other threads
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]
KILLS = 200
FORK = multiprocessing.get_context("fork") if sys.platform != "win32" else None
ONE = tracing(reader="reader A")


def fresh():
    return ONE.model_copy(update={"uuid": uuid4()})


def write_for_ever(path, told):
    with Casebook.open(path) as book:
        while True:
            one = fresh()
            book.add_tracings([one])
            told.send(str(one.uuid))


def write_some(path, count, told):
    with Casebook.open(path) as book:
        for _ in range(count):
            one = fresh()
            book.add_tracings([one])
            told.send(str(one.uuid))
    told.close()


def start(target, *given):
    """Run something in a process of its own that tells through a pipe."""
    here, there = FORK.Pipe(duplex=False)
    process = FORK.Process(target=target, args=(*given, there))
    process.start()
    there.close()
    return process, here


def everything(pipe):
    told = []
    try:
        while True:
            told.append(pipe.recv())
    except EOFError:
        return told


def test_two_hundred_kills_lose_not_one_saved_tracing(tmp_path):
    """SQLite documents that what was committed survives its process; here that is tried with ours."""
    path, promised, draw = tmp_path / "a.casebook", [], random.Random(20261126)
    Casebook.make(path).close()
    for _ in range(KILLS):
        process, pipe = start(write_for_ever, path)
        promised.append(pipe.recv())  # it has begun
        time.sleep(draw.uniform(0.0, 0.02))
        os.kill(process.pid, signal.SIGKILL)
        promised += everything(pipe)
        process.join()
        assert process.exitcode == -signal.SIGKILL
    with Casebook.open(path) as book:
        there = {str(one.uuid) for one in book.revisions()}
        assert set(promised) <= there
        assert len(there) <= len(promised) + KILLS  # at most one each was kept and not told of yet
        assert check(book).damage == ()
    assert len(promised) > KILLS


def test_several_processes_write_at_once_and_nothing_is_lost_or_doubled(tmp_path):
    path = tmp_path / "a.casebook"
    Casebook.make(path).close()
    running = [start(write_some, path, 25) for _ in range(4)]
    with Casebook.open(path, write=False) as reader:
        while any(process.is_alive() for process, _ in running):
            seen = reader.revisions()
            assert len({one.uuid for one in seen}) == len(seen)
    told = [uuid for _, pipe in running for uuid in everything(pipe)]
    for process, _ in running:
        process.join()
        assert process.exitcode == 0
    with Casebook.open(path) as book:
        assert sorted(told) == sorted(str(one.uuid) for one in book.revisions())
        assert len(told) == 100
        assert check(book).damage == ()


def fill_the_disk(path, told):
    """Write where no file may grow beyond what the book has now and a little: a disk that is full."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    limit = path.stat().st_size + 300_000
    with Casebook.open(path) as book:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        try:
            while True:
                one = fresh()
                book.add_tracings([one])
                told.send(str(one.uuid))
        except BookError as problem:
            told.send(f"! {problem}")


def test_a_full_disk_is_said_in_words_and_loses_nothing_that_was_saved(tmp_path):
    path = tmp_path / "a.casebook"
    with filled(path) as book:
        before = {str(one.uuid) for one in book.revisions()}
    process, pipe = start(fill_the_disk, path)
    *saved, told = everything(pipe)
    process.join()
    assert "a.casebook cannot be written" in told
    assert any(word in told for word in ("the disk is full", "the disk does not answer"))
    assert len(saved) > 2
    with Casebook.open(path) as book:
        assert check(book).damage == ()
        assert set(saved) == {str(one.uuid) for one in book.revisions()} - before
        assert book.add_tracings([fresh()]).new == 1  # with room again it goes on


def as_nobody(path, told):
    """Work as somebody who may read there and not write, as on a medium that takes no writing."""
    if os.geteuid() == 0:
        os.setgid(65534)
        os.setuid(65534)
    for act in (lambda: Casebook.open(path, write=False), lambda: Casebook.open(path)):
        try:
            with act() as book:
                kept = len(book.kept())
                book.add_tracings([fresh()])
        except BookError as problem:
            told.send((kept, str(problem)))
        kept = -1
    told.close()


def test_a_read_only_medium_is_read_and_writing_is_refused_in_words():
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.casebook"
        filled(path).close()
        path.chmod(0o444)
        Path(folder).chmod(0o555)
        before = path.read_bytes()
        process, pipe = start(as_nobody, path)
        told = everything(pipe)
        process.join()
        Path(folder).chmod(0o755)
        assert path.read_bytes() == before
        assert [one.name for one in Path(folder).iterdir()] == ["a.casebook"]
    assert [kept for kept, _ in told] == [2, -1]
    assert all("read-only" in problem or "yours" in problem for _, problem in told)


# -- merging ------------------------------------------------------------------------------------------------

BASE = tracing(reader="reader A")
ENTRIES = [
    BASE,
    tracing(reader="reader A", supersedes=BASE),
    tracing(reader="reader B", supersedes=BASE),
    tracing(canal="2"),
    tracing(canal="3", subject="P-02"),
]
SAID = [reading(), reading(20.5, canal="2"), course(21.0), course(21.0, 21.5)]


def made(folder, name, entries, said):
    book = Casebook.make(folder / f"{name}-{uuid4().hex}.casebook")
    book.add_tracings([ENTRIES[k] for k in sorted(entries)])
    for k in sorted(said):
        one = SAID[k]
        book.add_course(one) if k > 1 else book.add_reading(one)
    return book


def content(book):
    """Everything a book says, whenever it was written down."""
    return {(one.uuid, one.kind, one.body, one.supersedes) for one in book.revisions()}


def merged(folder, *books):
    """Merge books into an empty one, in this order."""
    into = made(folder, "into", (), ())
    for book in books:
        merge(into, book.path)
    return content(into)


choices = st.tuples(
    st.sets(st.integers(0, len(ENTRIES) - 1)),
    st.sets(st.integers(0, len(SAID) - 1)),
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(choices, min_size=3, max_size=3))
def test_merging_is_lossless_idempotent_and_independent_of_order(tmp_path, drawn):
    books = [made(tmp_path, f"b{k}", *one) for k, one in enumerate(drawn)]
    whole = set().union(*map(content, books))
    for order in itertools.permutations(books):
        assert merged(tmp_path, *order) == whole  # lossless, commutative, associative
    assert merged(tmp_path, *books, *books) == whole  # idempotent
    before = [content(book) for book in books]
    again = merge(books[0], books[1].path)
    assert again.added.new == len(before[1] - before[0])
    assert content(books[1]) == before[1]  # the other one stays as it is
    for book in books:
        book.close()


def test_two_books_that_went_on_with_the_same_tracing_are_a_conflict_until_somebody_decides(tmp_path):
    first, second = tmp_path / "a.casebook", tmp_path / "b.casebook"
    with Casebook.make(first) as one, Casebook.make(second) as two:
        one.add_tracings([BASE, ENTRIES[1]])
        two.add_tracings([BASE, ENTRIES[2]])
        (told,) = merge(one, second).conflicts
        assert str(ENTRIES[1].uuid) in told
        assert str(ENTRIES[2].uuid) in told
        assert len(one.kept()) == 2  # both are shown
        one.restore(str(ENTRIES[1].uuid))
        (decided,) = one.kept()
        assert decided.tracing.reader == "reader A"
        assert check(one).conflicts == ()


def test_a_book_with_another_content_under_one_name_or_damage_is_not_taken_in(tmp_path):
    path, other = tmp_path / "a.casebook", tmp_path / "b.casebook"
    changed = BASE.model_copy(update={"reader": "somebody else"})
    with Casebook.make(path) as book:
        book.add_tracings([BASE])
        with Casebook.make(other) as second:
            second.add_tracings([ENTRIES[3], changed])
        before = content(book)
        with pytest.raises(BookError, match="other content"):
            merge(book, other)
        assert content(book) == before
        with pytest.raises(BookError, match="same casebook"):
            merge(book, path)
        with pytest.raises(BookError, match="nothing there"):
            merge(book, tmp_path / "c.casebook")
        forge(other, "author = 'forged'")
        with pytest.raises(BookError, match="is damaged: revision"):
            merge(book, other)
        assert content(book) == before
