"""The journal of a batch run: what is done stays done when the run is stopped at any moment.

One line of JSON for each canal, added as soon as the canal is done. A line is found again by a key made of
everything its outcome depends on: the bytes of the image, the facts and clicks of all its canals, the
parameters of the curvature methods and the program.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from types import TracebackType
from typing import Self

from radio.measure.settings import CurvatureSettings
from radio.record.atomic import cannot_write
from radio.record.tables import CaseInput

# what can change a number: the program itself and these
_NUMERIC_PACKAGES = (
    "numpy",
    "scipy",
    "scikit-image",
    "opencv-python-headless",
    "pydicom",
    "python-gdcm",
    "pylibjpeg",
    "pylibjpeg-openjpeg",
    "pylibjpeg-rle",
    "pyjpegls",
    "pillow",
    "tifffile",
)


@dataclasses.dataclass(frozen=True)
class Entry:
    """The outcome of one canal: a row of the results table, or the reason why there is none."""

    row: Mapping[str, str] | None
    reason: str = ""


@cache
def package_versions() -> Mapping[str, str]:
    """Versions of the packages that can change a number."""
    found = {}
    for name in _NUMERIC_PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "absent"
    return found


@cache
def program_sha256() -> str:
    """Hash of the program's own sources, so that a changed program measures anew."""
    import calib
    import radio

    digest = hashlib.sha256()
    for package in (calib, radio):
        root = Path(str(package.__file__)).parent
        for source in sorted(root.rglob("*.py")):
            digest.update(source.relative_to(root).as_posix().encode() + b"\0" + source.read_bytes() + b"\0")
    return digest.hexdigest()


def content_sha256(path: Path) -> str:
    """Hash of the bytes at `path`; empty when they cannot be read."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return ""


def case_key(
    case: CaseInput, on_image: Sequence[CaseInput], image_sha256: str, settings: CurvatureSettings
) -> str:
    """Make the key of one canal: equal inputs, settings and program give an equal key.

    `on_image` are all canals of its image, for checks compare them.
    """
    content = {
        "image": case.image,
        "image_sha256": image_sha256,
        "canal": case.facts.canal,
        "canals": [_given(one) for one in on_image],
        "curvature_settings": dataclasses.asdict(settings),
        "program": program_sha256(),
        "packages": dict(package_versions()),
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def _given(case: CaseInput) -> dict[str, object]:
    clicks = {name: points.tolist() for name, points in case.clicks.items()}
    return {"facts": dataclasses.asdict(case.facts), "clicks": clicks}


class Journal:
    """The journal of one output folder, open for adding.

    Parameters
    ----------
    path : pathlib.Path
        Made if it is not there. A last line that a stopped run left unfinished is cut off.

    Raises
    ------
    PeriapicalError
        It cannot be opened.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._entries: dict[str, Entry] = {}
        try:
            self._stream = path.open("a+b")
            self._load()
        except OSError as problem:
            raise cannot_write(path, problem) from problem

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stream.close()

    def _load(self) -> None:
        self._stream.seek(0)
        whole = 0
        for line in self._stream:
            if not line.endswith(b"\n"):
                break
            whole += len(line)
            try:
                content = json.loads(line)
                self._entries[content["key"]] = Entry(content["row"], content["reason"])
            except (ValueError, KeyError, TypeError):
                continue  # a damaged line costs its own canal a second measurement
        self._stream.truncate(whole)

    def get(self, key: str) -> Entry | None:
        """Find what is done under a key, or None."""
        return self._entries.get(key)

    def add(self, key: str, entry: Entry, *, keep: bool = True) -> None:
        """Note one canal.

        Parameters
        ----------
        key : str
            Its key, see :func:`case_key`.
        entry : Entry
            Its outcome.
        keep : bool
            Write it down; otherwise it counts for this run only.

        Raises
        ------
        PeriapicalError
            The disk is full or gone.
        """
        self._entries[key] = entry
        if not keep:
            return
        row = None if entry.row is None else dict(entry.row)
        line = json.dumps({"key": key, "row": row, "reason": entry.reason})
        try:
            self._stream.write(line.encode() + b"\n")
            self._stream.flush()
        except OSError as problem:
            raise cannot_write(self._path, problem) from problem
