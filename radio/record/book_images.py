"""Images of a casebook that were moved, found again by their content."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from radio.errors import BookError
from radio.image.decoded import LARGEST_BYTES
from radio.image.radiograph import sha256_of


def look_for(folder: Path, wanted: set[str], *, deep: bool = True) -> dict[str, Path]:
    """Find images by their SHA-256.

    Parameters
    ----------
    folder : pathlib.Path
        What cannot be read in it is passed over.
    wanted : set of str
        Hexadecimal digests.
    deep : bool
        Whether to look through all folders in it, too.

    Raises
    ------
    BookError
        The folder is not there.
    """
    if not folder.is_dir():
        raise BookError(f"The folder {folder} is not there; give one to look for images in.")
    found: dict[str, Path] = {}
    for path in _files(folder, deep=deep):
        if len(found) == len(wanted):
            break
        try:
            if 0 < path.stat().st_size <= LARGEST_BYTES:
                sha256 = sha256_of(path.read_bytes())
                if sha256 in wanted:
                    found.setdefault(sha256, path)
        except OSError:
            continue
    return found


def _files(folder: Path, *, deep: bool) -> Iterator[Path]:
    for at, folders, names in os.walk(folder):
        folders[:] = sorted(folders) if deep else []
        yield from (Path(at) / name for name in sorted(names))
