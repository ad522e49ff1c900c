"""Writing so that a reader, or a crash, never meets half of what was written."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from radio.errors import PeriapicalError


def write_bytes(path: Path, data: bytes) -> None:
    """Replace the content of `path` in one step.

    The bytes go to a neighbour first, are forced to the disk, and then take the name over, so that after a
    crash there is either the old content or the new.

    Parameters
    ----------
    path : pathlib.Path
        Where to write; a symbolic link is followed.
    data : bytes
        The whole content.

    Raises
    ------
    PeriapicalError
        The place cannot be written.
    """
    target = Path(os.path.realpath(path))
    neighbour = target.with_name(f".{target.name}.{uuid.uuid4().hex}.part")
    try:
        # os.open, not tempfile: the new content gets the permissions an ordinary new document gets
        handle = os.open(neighbour, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(neighbour, target)
        except BaseException:
            neighbour.unlink(missing_ok=True)
            raise
    except OSError as problem:
        raise cannot_write(path, problem) from problem


def write_text(path: Path, text: str) -> None:
    """Replace the content of `path` by UTF-8 text in one step; see :func:`write_bytes`."""
    write_bytes(path, text.encode("utf-8"))


def make_directory(path: Path) -> None:
    """Make a directory with its parents; fine if it is there.

    Raises
    ------
    PeriapicalError
        It cannot be made, or something that is not a directory has its name.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise cannot_write(path, problem) from problem


def cannot_write(path: Path, problem: OSError) -> PeriapicalError:
    """Make the error for a place that cannot be written."""
    reason = problem.strerror or type(problem).__name__
    return PeriapicalError(f"{path} cannot be written ({reason}); give a place that exists and is yours.")


@contextmanager
def directory_lock(directory: Path, *, wait: bool) -> Iterator[bool]:
    """Keep other processes of this project out of a directory while the block runs.

    The lock sits on the directory itself, leaves nothing behind and ends with the process. Systems without
    such locks (Windows) run unlocked.

    Parameters
    ----------
    directory : pathlib.Path
        An existing directory.
    wait : bool
        Wait for the other process, or go on at once.

    Yields
    ------
    bool
        False when another process holds the lock and `wait` is false.
    """
    try:
        import fcntl
    except ImportError:
        yield True
        return
    handle = os.open(directory, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
            held = True
        except BlockingIOError:
            held = False
        except OSError:  # some network shares know no locks
            held = True
        yield held
    finally:
        os.close(handle)
