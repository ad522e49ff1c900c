"""Checks of the scale and of the file length it comes from."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from calib.dicom_spacing import scale_from_dicom
from calib.evidence import Evidence, PitchEvidence
from calib.instruments import STANDARD_LENGTHS_MM
from calib.known_length import scale_given
from calib.meant_length import NOMINAL_LENGTHS_MM, MeantLength
from calib.scale import CalibrationError, Scale
from calib.several import NamedScale, compare_scales
from radio.image.detail import detail_share
from radio.measure.check_rules.contract import CheckRule, Found
from radio.measure.check_rules.seen import Seen
from radio.measure.file_scale import scale_of_ball, scale_of_file
from radio.measure.receptor_pitch import pitch_conflicts
from radio.measure.scale_witness import (
    GREATEST_MAGNIFICATION,
    LEAST_MAGNIFICATION,
    length_judged,
    witness_of,
)

_SQUARE_WITHIN = 1e-3
# Images enlarged four times and more end below this, those as exposed near 1; cut-off of this program.
_LEAST_DETAIL = 0.45
LONGEST_MM = 40.0
"""No file is longer from where its length counts: choice of this program."""
_CHECK_LENGTH = "Read the file length again, at the stop or on the handle, and correct it."


def _no_scale(seen: Seen) -> Iterator[Found]:
    if seen.no_scale:
        yield Found(
            "stop",
            f"No scale, so no millimetres: {seen.no_scale}",
            "State the length of the file, the diameter of a ball or the pixel size. Angles need none.",
            final=True,
        )


_FROM_HANDLE = (
    "The working length is counted from the handle, where the stated file length begins. In the mouth it is "
    "counted from the coronal reference."
)


def _which_length(seen: Seen) -> Iterator[Found]:
    length, start = seen.facts.file_length_mm, seen.facts.file_start_at
    if length is None:
        return
    said = seen.said("P2")
    if said and said != start:
        yield Found(
            "stop",
            f"The length is said to count from the {said}, but file_start is stated as the {start}.",
            "Correct file_start_at or the answer.",
            ("scale", "tip") if seen.scale is not None and seen.scale.source == "file" else ("tip",),
            final=True,
        )
    elif length > LONGEST_MM:
        yield Found(
            "stop",
            f"{length:g} mm is longer than any file.",
            _CHECK_LENGTH,
            ("scale", "tip") if seen.scale is not None and seen.scale.source == "file" else ("tip",),
            final=True,
        )
    elif start == "stop":
        yield from _from_stop(length)
    elif length not in NOMINAL_LENGTHS_MM:
        yield Found(
            "warn",
            f"{length:g} mm is stated as the length from the handle; files are sold with "
            f"{', '.join(f'{one:g}' for one in NOMINAL_LENGTHS_MM)} mm. {_FROM_HANDLE}",
            "If a stop was set, mark the stop and say so with file_start_at.",
        )
    elif "working_length_mm" in seen.measurements:
        yield Found("warn", _FROM_HANDLE, "Set a stop, or mark the reference and read the length from there.")


def _from_stop(length: float) -> Iterator[Found]:
    taken = "it is taken as the length set by the stop"
    if length > max(STANDARD_LENGTHS_MM):
        longest = f"{max(STANDARD_LENGTHS_MM):g} mm"
        told = (
            f"{length:g} mm from stop to tip is more than the {longest} of the longest usual file; {taken}."
        )
        yield Found("warn", told, _CHECK_LENGTH)
    elif length in STANDARD_LENGTHS_MM:
        told = f"{length:g} mm is a length files are sold in; {taken}."
        yield Found("note", told, "Is it? State with file_start_at, or answer, where the length begins.")


def _evidence(seen: Seen) -> Iterator[Evidence]:
    """What is known of the scale besides the file: a ball; the pitch, or what the header is calibrated on."""
    with suppress(CalibrationError):
        by_ball = scale_of_ball(seen.traced.ball, seen.facts, seen.traced.aspect)
        if by_ball is not None:
            yield witness_of(by_ball)
    if seen.pitch_mm is not None:
        yield PitchEvidence(seen.pitch_mm)
        return
    with suppress(CalibrationError):
        yield witness_of(scale_from_dicom(seen.radiograph.spacing))


def _misfit(judged: MeantLength) -> str:
    return f"{judged.words} Ratio {judged.ratio:.2f} to the {judged.basis}."


def _wrong_length(seen: Seen) -> Iterator[Found]:
    if seen.scale is None or seen.scale.source != "file":
        return
    all_judged = (length_judged(seen.facts, seen.scale, one) for one in _evidence(seen))
    misfit = next((one for one in all_judged if one.suspicious), None)
    if misfit is not None:
        yield Found("warn", _misfit(misfit), _CHECK_LENGTH)


def _magnification(seen: Seen) -> Iterator[Found]:
    factor = seen.magnification
    if factor is None or LEAST_MAGNIFICATION <= factor <= GREATEST_MAGNIFICATION:
        return
    low = factor < LEAST_MAGNIFICATION
    why = (
        "the known length leans against the receptor, or it is stated too long"
        if low
        else "the known length is stated too short, or the tooth is far from the receptor"
    )
    yield Found(
        "warn",
        f"Detector pitch over scale is {factor:.2f}; usual is 1.0 to 1.1. Either {why}.",
        "Check the known length and how the receptor was placed.",
    )


def _pixels(seen: Seen) -> Iterator[Found]:
    own = seen.scale is not None and seen.scale.source in ("file", "ball")
    if seen.said("P6") == "yes":
        yield Found(
            "warn" if own else "stop",
            "The image is said to have been resized or stretched since its pixel size was stated.",
            "Measure the original export, or take the scale from a file or a ball in the image; an image "
            "stretched in one direction cannot be measured.",
            () if own else ("scale",),
            final=True,
        )
    for told in pitch_conflicts(seen.pitches):
        yield Found("warn", told, "Correct detector_pitch_mm or dpi, or measure the original export.")
    if abs(seen.radiograph.pixel_aspect - 1) > _SQUARE_WITHIN:
        yield Found(
            "note",
            f"The header states pixels {seen.radiograph.pixel_aspect:.3f} times as high as wide; lengths and "
            "angles allow for it.",
            "Check that the image itself was not stretched.",
        )
    share = detail_share(seen.radiograph.grey, seen.radiograph.bits_stored)
    if share is not None and share < _LEAST_DETAIL:
        yield Found(
            "warn",
            f"The finest detail is some {1 / max(share, 0.02):.0f} times as coarse as the pixels: the image "
            "was enlarged, or smoothed heavily. More pixels are no more sharpness: uncertainties come out "
            "too small.",
            "Measure the image as it was exported, at its own resolution.",
        )
    dpi = [float(one) for one in seen.radiograph.header.get("resolution_dpi", "").split(" x ") if one]
    if len(dpi) == 2 and min(dpi) > 0 and abs(dpi[0] / dpi[1] - 1) > 0.01:
        yield Found(
            "warn",
            f"The image states {dpi[0]:g} dots per inch across and {dpi[1]:g} down. Its pixels were taken as "
            "square.",
            "If it was scanned so, or stretched, lengths and angles are wrong: export it with square pixels.",
        )


def _second_source(seen: Seen) -> Iterator[Found]:
    """The traced file by a scale that is not its own: the one that counts, or a given pixel size."""
    length_px = seen.measurements.get("file_length_px")
    by_file = scale_of_file(length_px, seen.traced.landmarks, seen.facts, seen.traced.aspect)
    given, scale = _given_beside(seen), seen.scale
    if scale is None:
        return
    if by_file is not None:
        pitch_mm = seen.pitch_mm if scale.source == "dicom" else None
        other = given if scale.source == "file" else scale
        if other is not None:
            evidence = witness_of(other) if pitch_mm is None else PitchEvidence(pitch_mm)
            yield from _misfit_of(seen, by_file, other, evidence)
    if given is not None and scale.source != "file":
        judged = compare_scales([NamedScale(f"The scale from {scale.source}", scale), _named(given)])
        if judged.pairs[0].apart:
            yield Found("warn", judged.words, "Check what both were made from; the first one counts.")


def _given_beside(seen: Seen) -> Scale | None:
    """A pixel size that is stated although another scale counts."""
    if seen.facts.mm_per_px is None or seen.scale is None or seen.scale.source == "given":
        return None
    try:
        return scale_given(seen.facts.mm_per_px, seen.facts.mm_per_px_sd, pixel_aspect=seen.traced.aspect)
    except CalibrationError:
        return None


def _named(given: Scale) -> NamedScale:
    return NamedScale("the given pixel size", given)


def _misfit_of(seen: Seen, by_file: Scale, other: Scale, evidence: Evidence) -> Iterator[Found]:
    judged = length_judged(seen.facts, by_file, evidence)
    if judged.suspicious:
        traced_mm = seen.measurements["file_length_px"].value * other.col_mm_per_px
        name = "given pixel size" if other.source == "given" else f"scale from {other.source}"
        yield Found(
            "warn",
            f"The traced file measures {traced_mm:.1f} mm by the {name}. {_misfit(judged)}",
            "Check file length and what the scale was made from; one of them is wrong, or the file leans.",
        )


SCALE_RULES = (
    CheckRule(
        "P1",
        "scale",
        "stop",
        "whether anything gives millimetres, and of which kind it is",
        "A pixel size in the plane of the detector is not one in the plane of the tooth",
        "arithmetic, and the documentation of open imaging libraries, verified",
        _no_scale,
        settles=(),
    ),
    CheckRule(
        "P2",
        "which length was entered",
        "stop",
        f"whether the length is a usual one from where it begins, and at most {LONGEST_MM:g} mm",
        "A length set by a stop and a nominal length from the handle differ by millimetres",
        "reasoning of this program; 28 mm and other lengths than 21, 25 and 31 are from memory",
        _which_length,
        "Where does the stated file length begin: at the stop or at the handle?",
        settles=("stop", "handle"),
    ),
    CheckRule(
        "P3",
        "file length entered",
        "warn",
        "scale from the file against detector pitch, ball or header",
        "A length mistyped by 21 for 25 mm puts the scale off by 19 %; magnification and lean explain less",
        "arithmetic; limits of magnification 1 to 1.15 and of lean 15° are common practice, no source",
        _wrong_length,
    ),
    CheckRule(
        "P4",
        "implied magnification",
        "warn",
        f"detector pitch over scale, {LEAST_MAGNIFICATION:g} to {GREATEST_MAGNIFICATION:g}",
        "Read lengths became worse at a magnification of 1.3 and not at 1.1 (Radan, thesis, 1999)",
        "verified; the cut-offs are this program's",
        _magnification,
    ),
    CheckRule(
        "P6",
        "pixels as exposed",
        "stop",
        "pixel size along rows and columns, pitches stated and in the header, and a question",
        "A stated pixel size no longer holds once an image was resized",
        "reasoning of this program",
        _pixels,
        "Was the image resized or stretched since its pixel size was stated?",
        settles=("no",),
        doubts=("yes",),
    ),
    CheckRule(
        "P14",
        "file length by another scale",
        "warn",
        "the traced file by a scale that is not its own, or by a pixel size given beside it",
        "Both must agree within their uncertainties, lean and depth",
        "reasoning of this program",
        _second_source,
    ),
)
