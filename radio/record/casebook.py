"""The casebook: one SQLite file that keeps tracings, readings and courses for years, and loses nothing.

It is only ever added to. A change is a new revision that takes the place of an earlier one; the earlier one
stays and can be restored. Images are known by their SHA-256 and where they were last seen; the book holds no
pixels.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self
from uuid import UUID, uuid4

from radio.errors import BookError
from radio.measure.readings_list import ListedReading
from radio.record.book_entries import COLUMNS, Body, Revision, revision_from_row, revision_of
from radio.record.book_schema import make_database, now, open_database, reading, rows, told_in_words, writing
from radio.record.course import Course
from radio.record.kept import KeptCanal
from radio.record.tracing import Tracing
from radio.record.wording import MADE_BY

_SHORTEST_ID = 4


@dataclass(frozen=True)
class Added:
    """How many entries were new, and how many were there already."""

    new: int
    known: int


class Casebook:
    """A casebook that is open; make or open it, and close it (or use it as a context manager).

    Several processes may have one open; each addition is one transaction and on the disk when it returns.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self.connection = connection

    @classmethod
    def make(cls, path: Path) -> Self:
        """Make an empty casebook.

        Raises
        ------
        BookError
            Something has that name, or the place cannot be written.
        """
        return cls(path, make_database(path))

    @classmethod
    def open(cls, path: Path, *, write: bool = True) -> Self:
        """Open a casebook.

        Parameters
        ----------
        path : pathlib.Path
        write : bool
            False leaves the file as it is, and reads it on a medium that takes no writing.

        Raises
        ------
        BookError
            It is not there, no casebook, damaged, of a later version, or the place cannot be written.
        """
        return cls(path, open_database(path, write=write))

    def close(self) -> None:
        """Let go of the file."""
        self.connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- adding -------------------------------------------------------------------------------------------

    def add_tracings(
        self,
        tracings: Iterable[Tracing],
        *,
        paths: Mapping[str, Path] | None = None,
    ) -> Added:
        """Keep revisions of tracings; those that are there already stay as they are.

        Parameters
        ----------
        tracings : iterable of Tracing
        paths : mapping of str to pathlib.Path, optional
            Where the images are, by SHA-256.

        Raises
        ------
        BookError
            A revision is there with other content, or the book cannot be written; nothing was added then.
        """
        given = tuple(tracings)
        images = {one.image_sha256: one.image_shape for one in given}
        with writing(self.connection, self.path):
            added = self.write_revisions(map(revision_of, given))
            for sha256, shape in images.items():
                self.connection.execute("INSERT OR IGNORE INTO image VALUES (?, ?, ?)", (sha256, *shape))
            for sha256, path in (paths or {}).items():
                self._see(sha256, path)
        return added

    def add_reading(self, reading: ListedReading, author: str = "") -> Added:
        """Keep an electronic reading, unless it is there already."""
        return self._add(revision_of(reading, author))

    def add_course(self, course: Course, author: str = "") -> Added:
        """Keep the course of a canal; it takes the place of the one that stood for that canal."""
        whose = (course.subject, course.tooth, course.canal)
        with writing(self.connection, self.path):
            earlier = [one for one in self.standing("course") if (one.subject, one.tooth, one.canal) == whose]
            if any(one.content == course for one in earlier):
                return Added(0, 1)
            return self.write_revisions([revision_of(course, author, frozenset(one.uuid for one in earlier))])

    def _add(self, revision: Revision) -> Added:
        with writing(self.connection, self.path):
            return self.write_revisions([revision])

    def write_revisions(self, revisions: Iterable[Revision]) -> Added:
        """Add revisions within a transaction; those that are there with the same content are passed over.

        Raises
        ------
        BookError
            One is there with other content.
        """
        new = known = 0
        marks = ", ".join("?" * len(COLUMNS))
        for one in revisions:
            there = self._found("SELECT * FROM revision WHERE uuid = ?", (str(one.uuid),))
            if not there:
                cells = (*one.cells, one.digest)
                self.connection.execute(f"INSERT INTO revision VALUES ({marks})", cells)
                pairs = [(str(one.uuid), str(earlier)) for earlier in sorted(one.supersedes)]
                self.connection.executemany("INSERT INTO supersedes VALUES (?, ?)", pairs)
                new += 1
            elif there[0].says_the_same(one):
                known += 1
            else:
                raise BookError(
                    f"Revision {one.uuid} of {one.kind} is in {self.path.name} with other content; a kept "
                    "revision never changes. Nothing was added."
                )
        return Added(new, known)

    # -- reading ------------------------------------------------------------------------------------------

    def revisions(self) -> tuple[Revision, ...]:
        """Every revision, the oldest first."""
        return self._found("SELECT * FROM revision ORDER BY created, uuid")

    def standing(self, kind: str | None = None) -> tuple[Revision, ...]:
        """The revisions that no other one takes the place of, the oldest first."""
        if kind is None:
            return self._found("SELECT * FROM standing ORDER BY created, uuid")
        return self._found("SELECT * FROM standing WHERE kind = ? ORDER BY created, uuid", (kind,))

    def _found(self, query: str, values: tuple[object, ...] = ()) -> tuple[Revision, ...]:
        with reading(self.connection, self.path):
            earlier: dict[str, set[UUID]] = {}
            of_these = f"SELECT uuid, earlier FROM supersedes WHERE uuid IN (SELECT uuid FROM ({query}))"
            for uuid, superseded in rows(self.connection, of_these, values):
                earlier.setdefault(uuid, set()).add(UUID(superseded))
            found = rows(self.connection, query, values)
        return tuple(revision_from_row(row, frozenset(earlier.get(row[0], ()))) for row in found)

    def digests(self) -> dict[UUID, str]:
        """The digest that was written with each revision."""
        with told_in_words(self.path, "read"):
            return {UUID(u): d for u, d in rows(self.connection, "SELECT uuid, digest FROM revision")}

    def named(self, prefix: str) -> Revision:
        """Find the revision whose UUID begins so.

        Raises
        ------
        BookError
            None does, or several do.
        """
        wanted = prefix.casefold().strip()
        if len(wanted) < _SHORTEST_ID:
            raise BookError(f"The name {prefix!r} is too short; give at least {_SHORTEST_ID} of its digits.")
        found = [one for one in self.revisions() if str(one.uuid).startswith(wanted)]
        if len(found) != 1:
            told = "no revision" if not found else f"{len(found)} revisions"
            raise BookError(
                f"{told} of {self.path.name} begin with {prefix!r}; 'periapical casebook list' names them."
            )
        return found[0]

    def history(self, prefix: str) -> tuple[Revision, ...]:
        """Every revision of the same thing, the oldest first; several that stand are a conflict of two books.

        Raises
        ------
        BookError
            No revision begins so, or several do.
        """
        everything = self.revisions()
        wanted = {self.named(prefix).uuid}
        while True:
            later = {one.uuid for one in everything if one.supersedes & wanted}
            earlier = {uuid for one in everything if one.uuid in wanted for uuid in one.supersedes}
            if later | earlier <= wanted:
                return tuple(one for one in everything if one.uuid in wanted)
            wanted |= later | earlier

    def kept(
        self, *, subject: str | None = None, tooth: str | None = None, reader: str | None = None
    ) -> tuple[KeptCanal, ...]:
        """Give what stands of every canal, with its readings and course, for exports.

        Parameters
        ----------
        subject, tooth, reader : str, optional
            Only these.
        """
        readings: dict[tuple[str, str, str], list[ListedReading]] = {}
        courses: dict[tuple[str, str, str], Course] = {}
        tracings: list[tuple[tuple[str, str, str], Tracing]] = []
        for one in self.standing():
            content, whose = one.content, (one.subject, one.tooth, one.canal)
            if isinstance(content, ListedReading):
                readings.setdefault(whose, []).append(content)
            elif isinstance(content, Course):
                courses[whose] = content
            else:
                wanted = ((subject, one.subject), (tooth, one.tooth), (reader, content.reader))
                if all(given is None or given == there for given, there in wanted):
                    tracings.append((whose, content))
        return tuple(
            KeptCanal(
                *whose,
                one,
                self.image_path(one.image_sha256),
                tuple(readings.get(whose, ())),
                courses.get(whose),
            )
            for whose, one in tracings
        )

    # -- restoring ----------------------------------------------------------------------------------------

    def restore(self, prefix: str, author: str = "") -> Revision:
        """Let an earlier revision stand again, as a new one that takes the place of what stands now.

        Raises
        ------
        BookError
            There is no such revision, or it stands already.
        """
        wanted, chain = self.named(prefix), self.history(prefix)
        superseded = {uuid for one in chain for uuid in one.supersedes}
        heads = frozenset(one.uuid for one in chain if one.uuid not in superseded)
        if heads == {wanted.uuid}:
            raise BookError(f"Revision {wanted.uuid} stands already; nothing was done.")
        revision = _again(wanted, chain, heads, author)
        self._add(revision)
        return revision

    # -- images -------------------------------------------------------------------------------------------

    def image_path(self, sha256: str) -> Path | None:
        """Where an image was last seen, if it is there still; None where it is not."""
        query = "SELECT path, bytes FROM place WHERE image_sha256 = ? ORDER BY seen DESC, path"
        with told_in_words(self.path, "read"):
            places = self.connection.execute(query, (sha256,)).fetchall()
        for place, size in places:
            path = Path(place)
            try:
                if path.stat().st_size == size:
                    return path
            except OSError:
                continue
        return None

    def images(self) -> tuple[str, ...]:
        """The SHA-256 of every image the book knows."""
        with told_in_words(self.path, "read"):
            return tuple(one for (one,) in rows(self.connection, "SELECT sha256 FROM image ORDER BY sha256"))

    def find_images(self, folder: Path, *, deep: bool = True) -> dict[str, Path]:
        """Look for images in a folder by their content, and remember where they are.

        Parameters
        ----------
        folder : pathlib.Path
        deep : bool
            Whether to look in the folders within it, too.

        Returns
        -------
        dict of str to pathlib.Path
            The images that were found, by SHA-256.

        Raises
        ------
        BookError
            The folder is not there.
        """
        from radio.record.book_images import look_for

        found = look_for(folder, set(self.images()), deep=deep)
        with writing(self.connection, self.path):
            for sha256, path in found.items():
                self._see(sha256, path)
        return found

    def image_rows(self) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
        """Give the rows on images and on where they were seen, as they stand in the book."""
        with told_in_words(self.path, "read"):
            images = self.connection.execute("SELECT * FROM image").fetchall()
            return images, self.connection.execute("SELECT * FROM place").fetchall()

    def _see(self, sha256: str, path: Path) -> None:
        """Remember where an image was seen."""
        size = path.stat().st_size if path.is_file() else -1
        cells = (sha256, str(path.absolute()), size, now())
        self.connection.execute("INSERT OR IGNORE INTO place VALUES (?, ?, ?, ?)", cells)


def _again(wanted: Revision, chain: Iterable[Revision], heads: frozenset[UUID], author: str) -> Revision:
    """Make the revision that says again what an earlier one said."""
    content: Body = wanted.content
    if not isinstance(content, Tracing):
        return replace(wanted, uuid=uuid4(), created=now(), author=author, software=MADE_BY, supersedes=heads)
    tracings = [one.content for one in chain]
    last = max(one.revision for one in tracings if isinstance(one, Tracing))
    newest = max((one for one in chain if one.uuid in heads), key=lambda one: (one.created, one.uuid))
    restored = content.model_copy(
        update={
            "uuid": uuid4(),
            "revision": last + 1,
            "supersedes": newest.uuid,
            "created": datetime.now().astimezone(),
        }
    )
    made = revision_of(restored, supersedes=heads)
    return replace(made, author=author or made.author)
