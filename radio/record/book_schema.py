"""The tables of a casebook, its schema versions, and how the one SQLite file is opened.

A casebook is a log: rows are added and never changed or taken away, which triggers see to. What supersedes
what stands in a table of its own, so that two books are merged by taking the rows of both, in any order.

Durability follows the documentation of SQLite ("Write-Ahead Logging" and "PRAGMA synchronous"): in WAL mode
with ``synchronous=FULL`` a transaction that was committed survives a loss of power. WAL needs a disk of this
machine; on a network share SQLite itself warns that it may fail.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote
from uuid import uuid4

from radio.errors import BookError
from radio.record.wording import MADE_BY

APPLICATION_ID = 0x70657269
"""Marks a SQLite file as a casebook of ours: "peri"."""
BUSY_S = 30.0
"""How long a process waits for another one that writes."""
_NEVER = ("revision", "supersedes", "image", "place", "about")

_VERSION_1 = """
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE revision (
    uuid TEXT PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('tracing', 'reading', 'course')),
    created TEXT NOT NULL,
    author TEXT NOT NULL,
    software TEXT NOT NULL,
    subject TEXT NOT NULL,
    tooth TEXT NOT NULL,
    canal TEXT NOT NULL,
    image_sha256 TEXT NOT NULL,
    body TEXT NOT NULL CHECK (json_valid(body)),
    digest TEXT NOT NULL
) STRICT;
CREATE TABLE supersedes (
    uuid TEXT NOT NULL REFERENCES revision (uuid),
    earlier TEXT NOT NULL,
    PRIMARY KEY (uuid, earlier)
) STRICT;
CREATE TABLE image (sha256 TEXT PRIMARY KEY, image_rows INTEGER NOT NULL, image_cols INTEGER NOT NULL) STRICT;
CREATE TABLE place (
    image_sha256 TEXT NOT NULL,
    path TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    seen TEXT NOT NULL,
    PRIMARY KEY (image_sha256, path, seen)
) STRICT;
CREATE INDEX revision_by_tooth ON revision (subject, tooth, canal);
CREATE INDEX revision_by_image ON revision (image_sha256);
CREATE INDEX superseded ON supersedes (earlier);
CREATE VIEW standing AS
    SELECT * FROM revision WHERE uuid NOT IN (SELECT earlier FROM supersedes);
CREATE VIEW measurements AS
    SELECT standing.subject, standing.tooth, standing.canal, standing.author AS reader, standing.created,
        standing.uuid AS tracing, json_extract(body, '$.image_name') AS image, number.key AS quantity,
        json_extract(number.value, '$.value') AS value, json_extract(number.value, '$.unit') AS unit,
        json_extract(number.value, '$.sd') AS sd, json_extract(number.value, '$.method') AS method,
        json_extract(number.value, '$.basis') AS basis
    FROM standing, json_each(body, '$.measurements') AS number WHERE kind = 'tracing';
"""
_GUARDS = "".join(
    f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table} "
    f"BEGIN SELECT RAISE(ABORT, 'a casebook is only added to'); END;\n"
    for table in _NEVER
    for verb in ("update", "delete")
)
MIGRATIONS: tuple[str, ...] = (_VERSION_1 + _GUARDS,)
"""What makes each schema version of the one before; a new version is one more entry, never a changed one."""


@contextmanager
def told_in_words(path: Path, doing: str) -> Iterator[None]:
    """Turn what SQLite says into an error a person can act on.

    Raises
    ------
    BookError
        In the place of any error of SQLite.
    """
    try:
        yield
    except sqlite3.Error as problem:
        raise BookError(f"The casebook {path} cannot be {doing}: {_reason(problem)}") from problem


def _reason(problem: sqlite3.Error) -> str:
    """Say what an error of SQLite means and what to do."""
    text = str(problem)
    known = {
        "full": "the disk is full; make room and do it again, nothing was lost",
        "readonly": "the place is read-only; copy the casebook to a disk you may write on",
        "locked": f"another program has been writing to it for {BUSY_S:.0f} s; try again when that is done",
        "not a database": "it is no casebook, or it is damaged; the newest backup is the way back",
        "malformed": "it is damaged; go back to the newest backup, and keep this one for what can be saved",
        "unable to open": "there is nothing to open; is the drive there, and the place yours?",
        "disk I/O": "the disk does not answer as it should; is the drive still there?",
        "only added to": "a casebook is only added to",
    }
    found = next((told for word, told in known.items() if word in text), None)
    return f"{found} ({text})." if found else f"{text}."


def open_database(path: Path, *, write: bool) -> sqlite3.Connection:
    """Open the database of a book, at the present schema version.

    A book of an older version is read through a copy in memory, and brought to the present version when it is
    opened for writing, after a backup beside it.

    Parameters
    ----------
    path : pathlib.Path
        The book, which must be there.
    write : bool
        Whether rows are to be added.

    Raises
    ------
    BookError
        It is not there, no casebook, damaged, of a later version, or cannot be read or written.
    """
    if not path.is_file():
        where = "there is nothing there" if path.parent.is_dir() else f"{path.parent} is not there"
        raise BookError(
            f"The casebook {path} cannot be opened: {where}. Is the drive connected? "
            f"A new one is made with: periapical casebook make {path}"
        )
    with told_in_words(path, "opened"):
        connection = _connect(path, "rw" if write else "ro")
        try:
            return _at_present_version(connection, path, write=write)
        except BaseException:
            connection.close()
            raise


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    place = f"file:{quote(str(path.absolute()))}"
    connection = sqlite3.connect(f"{place}?mode={mode}", uri=True, timeout=BUSY_S, isolation_level=None)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as problem:
        connection.close()
        # on a medium that takes no writing, not even the small file beside the book that readers share
        wal = path.with_name(f"{path.name}-wal")
        if mode != "ro" or (wal.exists() and wal.stat().st_size):
            raise
        if not any(word in str(problem) for word in ("unable to open", "readonly")):
            raise
        connection = sqlite3.connect(f"{place}?mode=ro&immutable=1", uri=True, isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _at_present_version(connection: sqlite3.Connection, path: Path, *, write: bool) -> sqlite3.Connection:
    version = version_of(connection, path)
    if version == len(MIGRATIONS):
        if write:
            _make_durable(connection)
        return connection
    if not write:
        copy = sqlite3.connect(":memory:", isolation_level=None)
        connection.backup(copy)
        connection.close()
        migrate(copy, version)
        return copy
    backup = path.with_name(f"{path.name}.version{version}")
    if not backup.exists():
        kept = sqlite3.connect(backup)
        connection.backup(kept)
        kept.close()
    _make_durable(connection)
    try:
        migrate(connection, version)
    except sqlite3.Error:
        if version_of(connection, path) != len(MIGRATIONS):  # unless another process did it meanwhile
            raise
    return connection


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """Give the schema version of a book.

    Raises
    ------
    BookError
        It is no casebook, or of a later version than this program knows.
    """
    (mark,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if mark != APPLICATION_ID:
        raise BookError(f"{path} is a database, but no casebook; nothing was done to it.")
    if not 1 <= version <= len(MIGRATIONS):
        raise BookError(
            f"The casebook {path} is of schema version {version}; this program knows 1 to "
            f"{len(MIGRATIONS)}. Use a newer version of napari-periapical; nothing was done to it."
        )
    return int(version)


def _make_durable(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")


def migrate(connection: sqlite3.Connection, version: int) -> None:
    """Bring a database from one schema version (0: nothing in it) to the present one, all or nothing."""
    scripts = MIGRATIONS[version:]
    marks = f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {len(MIGRATIONS)};"
    try:
        connection.executescript(f"BEGIN IMMEDIATE; {''.join(scripts)} {marks} COMMIT;")
    except sqlite3.Error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def make_database(path: Path) -> sqlite3.Connection:
    """Make the database of a new book.

    Raises
    ------
    BookError
        Something has that name already, or the place cannot be written.
    """
    if not path.parent.is_dir():
        raise BookError(f"The folder {path.parent} is not there; make it or choose another place.")
    if path.exists():
        raise BookError(f"{path} exists already; a casebook is never written over.")
    neighbour = path.with_name(f".{path.name}.{uuid4().hex}.part")
    with told_in_words(path, "made"):
        # made under another name, so that nobody ever meets half a book
        connection = sqlite3.connect(neighbour, isolation_level=None)
        try:
            migrate(connection, 0)
            connection.execute("INSERT INTO about VALUES ('uuid', ?)", (str(uuid4()),))
            connection.execute("INSERT INTO about VALUES ('made', ?)", (now(),))
            connection.execute("INSERT INTO about VALUES ('software', ?)", (MADE_BY,))
        finally:
            connection.close()
    try:
        _give_name(neighbour, path)
    except FileExistsError as problem:
        raise BookError(f"{path} exists already; a casebook is never written over.") from problem
    except OSError as problem:
        raise BookError(f"The casebook {path} cannot be made ({problem.strerror}).") from problem
    finally:
        neighbour.unlink(missing_ok=True)
    return open_database(path, write=True)


def _give_name(neighbour: Path, path: Path) -> None:
    """Let a file take a name that nothing has."""
    try:
        os.link(neighbour, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if path.exists():
            raise FileExistsError(str(path)) from None
        os.replace(neighbour, path)


def now() -> str:
    """Give the time as rows bear it: ISO 8601, UTC."""
    return datetime.now(UTC).isoformat()


@contextmanager
def writing(connection: sqlite3.Connection, path: Path) -> Iterator[None]:
    """Do the block as one transaction: all of it is kept, or none.

    Raises
    ------
    BookError
        It cannot be written.
    """
    with told_in_words(path, "written"):
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


@contextmanager
def reading(connection: sqlite3.Connection, path: Path) -> Iterator[None]:
    """See one state of the book in all of the block, whatever other processes add meanwhile.

    Raises
    ------
    BookError
        It cannot be read.
    """
    with told_in_words(path, "read"):
        if connection.in_transaction:
            yield
            return
        connection.execute("BEGIN")
        try:
            yield
        finally:
            connection.execute("ROLLBACK")


def rows(connection: sqlite3.Connection, query: str, values: Sequence[object] = ()) -> list[tuple[str, ...]]:
    """Give the rows a query finds."""
    return connection.execute(query, tuple(values)).fetchall()
