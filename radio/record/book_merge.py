"""Two casebooks made one: the rows of both, whichever came first."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from radio.errors import BookError
from radio.record.book_schema import rows, told_in_words, writing
from radio.record.casebook import Added, Casebook


@dataclass(frozen=True)
class Merged:
    """What came of a merge.

    Parameters
    ----------
    added : Added
        Revisions that were new, and that were there already.
    conflicts : tuple of str
        Canals of which more than one revision stands now: both books went on with the same one.
    """

    added: Added
    conflicts: tuple[str, ...]


def merge(book: Casebook, other: Path) -> Merged:
    """Take everything of another book into this one; the other book stays as it is.

    Lossless, and the same whichever book is taken into which, in whatever order, and however often: revisions
    are known by their UUIDs and never change.

    Parameters
    ----------
    book : Casebook
        Open for writing.
    other : pathlib.Path
        The other book.

    Raises
    ------
    BookError
        The other book cannot be read, is damaged, or has a revision of the same name with other content;
        nothing was taken then.
    """
    if other.exists() and other.samefile(book.path):
        raise BookError(f"{other} is the same casebook; give another one to take in.")
    with Casebook.open(other, write=False) as source:
        revisions, written = source.revisions(), source.digests()
        bad = [one for one in revisions if written[one.uuid] != one.digest]
        if bad:
            raise BookError(
                f"{other} is damaged: revision {bad[0].uuid} is not as it was written "
                f"({len(bad)} in all). Nothing was taken; see 'periapical casebook check'."
            )
        images, places = source.image_rows()
    with writing(book.connection, book.path):
        added = book.write_revisions(revisions)
        book.connection.executemany("INSERT OR IGNORE INTO image VALUES (?, ?, ?)", images)
        book.connection.executemany("INSERT OR IGNORE INTO place VALUES (?, ?, ?, ?)", places)
    return Merged(added, conflicts_of(book))


def conflicts_of(book: Casebook) -> tuple[str, ...]:
    """Name revisions that stand beside another one that took the place of the same."""
    query = (
        "SELECT standing.uuid, supersedes.earlier FROM standing JOIN supersedes USING (uuid) "
        "ORDER BY standing.created, standing.uuid"
    )
    with told_in_words(book.path, "read"):
        found = rows(book.connection, query)
    successors: dict[str, list[str]] = {}
    for uuid, earlier in found:
        successors.setdefault(earlier, []).append(uuid)
    return tuple(
        f"{' and '.join(heads)} both take the place of {earlier}"
        for earlier, heads in successors.items()
        if len(heads) > 1
    )
