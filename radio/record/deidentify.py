"""Images and tables without what says whose they are; lettering in the pixels is left to a person.

DICOM follows the Basic profile of PS3.15 Annex E (:mod:`radio.record.deidentify_dicom`); other images are
written anew from their pixels alone, so that no tag, comment or thumbnail goes along. An image that seems to
have lettering burnt in is withheld until somebody has decided on it.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from radio.errors import ImageError, PeriapicalError
from radio.image.decoded import Decoded
from radio.image.lettering import Lettering, find_lettering
from radio.image.radiograph import decode_image, grey_of, sha256_of
from radio.record.atomic import make_directory, write_bytes, write_text
from radio.record.deidentify_dicom import Dates, PlainDicom, plain_dicom
from radio.record.dicom_object import code_item, object_bytes, put_pixels
from radio.record.pseudonyms import Pseudonyms
from radio.record.wording import MADE_BY

Decision = Literal["withhold", "blank", "keep"]
DECISIONS: tuple[Decision, ...] = ("withhold", "blank", "keep")
REPORT_NAME = "de-identification.json"
NOT_PROVEN = (
    "No procedure proves that nobody can be recognised. Look at every image before it is handed on: letters "
    "on strong texture, handwriting and the shape of a restoration are not found. Local law and the ethics "
    "board decide what may be handed on."
)


@dataclass(frozen=True)
class ImageOutcome:
    """What became of one image; nothing in it says whose it is.

    Parameters
    ----------
    name : str
        New name.
    subject : str
        Pseudonym; empty where none is known.
    written : bool
        Whether it was written.
    lettering : tuple of Lettering
        Places that look like lettering.
    decision : str
        What was done about them: "none found", "withheld", "blanked" or "kept".
    removed : mapping of str to int
        What was taken out, by name of the element or kind of data.
    reason : str
        Why it was not written.
    """

    name: str
    subject: str
    written: bool
    lettering: tuple[Lettering, ...] = ()
    decision: str = "none found"
    removed: Mapping[str, int] = field(default_factory=dict)
    reason: str = ""


@dataclass(frozen=True)
class Rules:
    """How to de-identify.

    Parameters
    ----------
    dates : {"remove", "shift"}
    lettering : {"withhold", "blank", "keep"}
        What to do where lettering is suspected and nothing else was decided.
    decided : mapping of str to {"blank", "keep"}
        Decisions on single images, by their new names.
    """

    dates: Dates = "remove"
    lettering: Decision = "withhold"
    decided: Mapping[str, Decision] = field(default_factory=dict)


class Deidentification:
    """One run over some images; the pseudonyms come from a key.

    Parameters
    ----------
    out : pathlib.Path
        Folder for what may be handed on.
    key : Pseudonyms
    rules : Rules

    Raises
    ------
    PeriapicalError
        The key lies in the folder that is to be handed on, or the folder cannot be made.
    """

    def __init__(self, out: Path, key: Pseudonyms, rules: Rules) -> None:
        if key.path.resolve().is_relative_to(out.resolve()):
            raise PeriapicalError(
                f"The key is to lie in {out}, the folder that is handed on; keep it apart, in another place."
            )
        make_directory(out)
        make_directory(key.path.parent)
        # the secret is safe before the first pseudonym is used
        key.save()
        self.out, self.key, self.rules = out, key, rules
        self.review = key.path.with_name(f"{key.path.stem}-review")
        self.outcomes: dict[Path, ImageOutcome] = {}
        self.words: set[str] = set()

    def image(self, path: Path, subject: str = "") -> ImageOutcome:
        """De-identify one image.

        Parameters
        ----------
        path : pathlib.Path
        subject : str
            Whose it is, where that is stated beside it.
        """
        where = path.resolve()
        if where not in self.outcomes:
            self.outcomes[where] = self._made(path, subject)
        return self.outcomes[where]

    def finish(self, tables: Mapping[str, object] | None = None) -> Path:
        """Write the report and the key; gives where the report is."""
        self.key.save()
        report = self.out / REPORT_NAME
        before = _told_before(report)
        images = {one.name: asdict(one) for one in self.outcomes.values()}
        told = {
            "made_by": MADE_BY,
            "profile": "DICOM PS3.15 Annex E, Basic Application Level Confidentiality Profile (113100)",
            "dates": "moved into the past, by days that differ from subject to subject"
            if self.rules.dates == "shift"
            else "removed",
            "remember": NOT_PROVEN,
            "images": list({**before, **images}.values()),
            "tables": dict(tables or {}),
        }
        write_text(report, json.dumps(told, indent=1) + "\n")
        return report

    def _made(self, path: Path, subject: str) -> ImageOutcome:
        try:
            data = path.read_bytes()
        except OSError as problem:
            return ImageOutcome("", "", written=False, reason=f"cannot be read ({problem.strerror})")
        stem = self.key.image(path.resolve(), sha256_of(data))
        self.words.add(path.stem)
        try:
            decoded = decode_image(data)
            grey, _, _ = grey_of(decoded)
        except ImageError as problem:
            return ImageOutcome(stem, "", written=False, reason=f"is not read: {problem}")
        except Exception as problem:  # decoders meet damaged data with every kind of exception
            kind = type(problem).__name__
            return ImageOutcome(
                stem, "", written=False, reason=f"is damaged or of an unknown variety ({kind})"
            )
        return self._written(stem, data, decoded, grey, subject)

    def _written(
        self, stem: str, data: bytes, decoded: Decoded, grey: npt.NDArray[np.float32], subject: str
    ) -> ImageOutcome:
        plain = None
        if decoded.file_format == "DICOM":
            plain = plain_dicom(data, self.key, subject=subject, dates=self.rules.dates)
            self.words |= plain.words
        suffix = ".dcm" if plain else (".tif" if decoded.value.dtype.kind == "f" else ".png")
        name = stem + suffix
        whose = plain.subject if plain else self.key.subject(subject)
        removed = plain.removed if plain else {f"all of the {decoded.file_format} but its pixels": 1}
        places = find_lettering(grey)
        says_so = plain is not None and plain.says_burnt_in
        suspected = bool(places) or says_so
        decision = self._decided(name) if suspected else "keep"
        if suspected:
            self._show(stem, grey, places)
        if decision == "withhold":
            reason = (
                "lettering is suspected in the pixels; look at it and decide"
                if places
                else "the header says that lettering is burnt in, none was found; look at it and decide"
            )
            return ImageOutcome(name, whose, False, places, "withheld", removed, reason)
        if decision == "blank":
            _blank(decoded, places)
        done = {"blank": "blanked", "keep": "kept"}[decision] if suspected else "none found"
        write_bytes(self.out / name, _encoded(decoded, plain, done))
        return ImageOutcome(name, whose, True, places, done, removed)

    def _decided(self, name: str) -> Decision:
        """What was decided on an image: in this run, or by the same key before."""
        decision = self.rules.decided.get(name, self.rules.lettering)
        if decision != "withhold":
            self.key.decisions[name] = decision
        return self.key.decisions.get(name, "withhold")

    def _show(self, stem: str, grey: npt.NDArray[np.float32], places: Sequence[Lettering]) -> None:
        """Draw what was found beside the key: lettering must not go with what is handed on."""
        import cv2

        make_directory(self.review)
        shown = cv2.cvtColor(np.round(grey * 255).astype(np.uint8), cv2.COLOR_GRAY2BGR)
        for one in places:
            cv2.rectangle(shown, (one.left, one.top), (one.right - 1, one.bottom - 1), (0, 94, 213), 2)
        write_bytes(self.review / f"{stem}.png", cv2.imencode(".png", shown)[1].tobytes())


def _told_before(report: Path) -> dict[str, object]:
    """Images of earlier runs into the same folder, by name: they lie there still.

    Raises
    ------
    PeriapicalError
        What is there is no such report.
    """
    if not report.exists():
        return {}
    try:
        return {one["name"]: one for one in json.loads(report.read_text(encoding="utf-8"))["images"]}
    except (OSError, ValueError, LookupError, TypeError) as problem:
        raise PeriapicalError(
            f"{report} is no report of a de-identification; give another folder or take it away."
        ) from problem


def checked_decisions(blank: Collection[str], keep: Collection[str]) -> dict[str, Decision]:
    """Decisions on single images by name.

    Raises
    ------
    PeriapicalError
        One is to be blanked and kept.
    """
    both = sorted(set(blank) & set(keep))
    if both:
        raise PeriapicalError(f"--blank and --keep are both given for {', '.join(both)}; give one of them.")
    return {**dict.fromkeys(blank, "blank"), **dict.fromkeys(keep, "keep")}


def _blank(decoded: Decoded, places: Sequence[Lettering]) -> None:
    """Fill places with what lies about them, in the stored and the shown values."""
    for name in ("stored", "value"):
        pixels = np.array(getattr(decoded, name))
        for one in places:
            inside = (slice(one.top, one.bottom), slice(one.left, one.right))
            rim = np.concatenate(
                [pixels[inside][0], pixels[inside][-1], pixels[inside][:, 0], pixels[inside][:, -1]]
            )
            pixels[inside] = np.sort(rim, axis=0)[len(rim) // 2]
        setattr(decoded, name, pixels)


def _encoded(decoded: Decoded, plain: PlainDicom | None, done: str) -> bytes:
    if plain is not None:
        return _dicom_bytes(decoded, plain, done)
    if decoded.value.dtype.kind == "f":
        import tifffile

        value = np.array(decoded.value)
        if decoded.known_padding is not None:
            value[decoded.known_padding] = np.nan
        stream = BytesIO()
        tifffile.imwrite(stream, value, software=False, metadata=None, photometric="minisblack")
        return stream.getvalue()
    import cv2

    pixels: npt.NDArray[Any] = np.asarray(decoded.value)
    if decoded.known_padding is not None:
        most = np.iinfo(pixels.dtype).max
        opaque = np.where(decoded.known_padding, 0, most).astype(pixels.dtype)
        pixels = np.dstack([pixels, pixels, pixels, opaque])
    return cv2.imencode(".png", pixels)[1].tobytes()


def _dicom_bytes(decoded: Decoded, plain: PlainDicom, done: str) -> bytes:
    from pydicom.sr.codedict import codes

    ds = plain.dataset
    plain_grey = plain.photometric in ("MONOCHROME1", "MONOCHROME2")
    bits = decoded.bits_stored if plain_grey else 8 * decoded.stored.dtype.itemsize
    put_pixels(ds, decoded.stored, bits, plain.photometric if plain_grey else "MONOCHROME2")
    if done == "blanked":
        code = codes.DCM.CleanPixelDataOption
        ds.DeidentificationMethodCodeSequence.append(code_item(code.value, "DCM", code.meaning))
        ds.BurnedInAnnotation = "NO"
    elif done == "kept":
        ds.BurnedInAnnotation = "YES"
    return object_bytes(ds)
