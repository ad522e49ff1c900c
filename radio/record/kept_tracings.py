"""Where tracings are kept: a document of JSON or a casebook, told apart by their content."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from radio.image.radiograph import Radiograph
from radio.record.casebook import Casebook
from radio.record.tracing import Tracing, latest, load_tracings, save_tracings

_SQLITE = b"SQLite format 3\0"


def is_casebook(path: Path) -> bool:
    """Tell whether a casebook lies there, whatever it is called."""
    try:
        with path.open("rb") as stream:
            return stream.read(len(_SQLITE)) == _SQLITE
    except OSError:
        return False


def standing_tracings(path: Path) -> tuple[Tracing, ...]:
    """Revisions that no other one supersedes; none where there is nothing yet.

    Raises
    ------
    PeriapicalError
        What is there cannot be read or is damaged.
    """
    if is_casebook(path):
        with Casebook.open(path, write=False) as book:
            return tuple(one.content for one in book.standing() if isinstance(one.content, Tracing))
    return latest(load_tracings(path)) if path.exists() else ()


def every_tracing(path: Path) -> tuple[Tracing, ...]:
    """All revisions, those that were superseded among them.

    Raises
    ------
    PeriapicalError
        What is there cannot be read or is damaged.
    """
    if not is_casebook(path):
        return load_tracings(path)
    with Casebook.open(path, write=False) as book:
        return tuple(one.content for one in book.revisions() if isinstance(one.content, Tracing))


def keep_tracings(path: Path, added: Sequence[Tracing], radiograph: Radiograph) -> None:
    """Add revisions of one image; what is there stays as it is.

    Parameters
    ----------
    path : pathlib.Path
        A casebook, or a document, made if it is not there.
    added : sequence of Tracing
    radiograph : Radiograph
        The image they are of; a casebook remembers where it lies.

    Raises
    ------
    PeriapicalError
        What is there is damaged, or cannot be written; nothing was added then.
    """
    if not is_casebook(path):
        save_tracings(path, added)
        return
    paths = {} if radiograph.path is None else {radiograph.sha256: radiograph.path}
    with Casebook.open(path) as book:
        book.add_tracings(added, paths=paths)


def image_of(path: Path) -> Path | None:
    """The image of the tracing kept last that is where a casebook saw it, or beside a document."""
    if is_casebook(path):
        with Casebook.open(path, write=False) as book:
            for one in reversed(book.standing("tracing")):
                found = (
                    book.image_path(one.content.image_sha256) if isinstance(one.content, Tracing) else None
                )
                if found is not None:
                    return found
        return None
    for tracing in standing_tracings(path):
        candidate = path.parent / tracing.image_name
        if tracing.image_name and candidate.is_file():
            return candidate
    return None
