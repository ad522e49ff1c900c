"""Whether a casebook is whole, and a copy of it to go back to."""

from __future__ import annotations

import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

from radio.errors import BookError
from radio.record.book_merge import conflicts_of
from radio.record.book_schema import rows, told_in_words
from radio.record.casebook import Casebook


@dataclass(frozen=True)
class Checked:
    """What a check of a casebook found.

    Parameters
    ----------
    revisions, standing : int
        How many there are, and how many of them stand.
    damage : tuple of str
        What is not as it was written; empty in a whole book.
    conflicts : tuple of str
        Revisions that stand beside each other; for a person to decide.
    missing_images : tuple of str
        SHA-256 of images that are not where they were last seen.
    """

    revisions: int
    standing: int
    damage: tuple[str, ...]
    conflicts: tuple[str, ...]
    missing_images: tuple[str, ...]


def check(book: Casebook) -> Checked:
    """Check a casebook: the file itself, every revision against the digest written with it, and its content.

    Raises
    ------
    BookError
        It is too damaged to be read at all.
    """
    with told_in_words(book.path, "checked"):
        told = [told for (told,) in rows(book.connection, "PRAGMA integrity_check")]
        damage = [] if told == ["ok"] else [f"SQLite: {one}" for one in told]
        astray = rows(book.connection, "PRAGMA foreign_key_check")
    damage += [f"a row of {table} refers to nothing" for table, *_ in astray]
    revisions, written = book.revisions(), book.digests()
    for one in revisions:
        if one.digest != written[one.uuid]:
            damage.append(f"revision {one.uuid} is not as it was written")
            continue
        try:
            _ = one.content
        except BookError as problem:
            damage.append(str(problem))
    missing = tuple(one for one in book.images() if book.image_path(one) is None)
    return Checked(len(revisions), len(book.standing()), tuple(damage), conflicts_of(book), missing)


def back_up(book: Casebook, to: Path) -> None:
    """Copy a casebook as it stands now, also while others write to it; the copy is checked before it is kept.

    Parameters
    ----------
    book : Casebook
    to : pathlib.Path
        The copy; nothing may have that name.

    Raises
    ------
    BookError
        Something has that name, the place cannot be written, or the copy is not whole.
    """
    if to.exists():
        raise BookError(f"{to} exists already; a backup never takes the place of another one.")
    if not to.parent.is_dir():
        raise BookError(f"The folder {to.parent} is not there; make it or choose another place.")
    neighbour = to.with_name(f".{to.name}.{uuid4().hex}.part")
    try:
        with told_in_words(to, "written"):
            copy = sqlite3.connect(neighbour)
            try:
                book.connection.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()
        with Casebook.open(neighbour, write=False) as made:
            damage = check(made).damage
        if damage:
            raise BookError(f"The casebook {book.path} is damaged, no backup was made of it: {damage[0]}.")
        with neighbour.open("rb") as stream:
            os.fsync(stream.fileno())
        os.rename(neighbour, to)
    except OSError as problem:
        raise BookError(f"The backup {to} cannot be written ({problem.strerror}).") from problem
    finally:
        neighbour.unlink(missing_ok=True)
