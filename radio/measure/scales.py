"""Every scale one image can give, each with its source, and which of them counts for the lengths."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from calib.dicom_spacing import scale_from_dicom
from calib.known_length import scale_given
from calib.pitch import ASSUMED_NOTE, scale_from_pitch, scale_from_scan
from calib.scale import Scale
from radio.errors import CalibrationError, PeriapicalError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult
from radio.measure.file_scale import girth_of, scale_of_ball, scale_of_file, scale_of_girth
from radio.measure.girth_scale import GirthScale
from radio.measure.known_distance import KnownDistance, scale_of_known_distance
from radio.measure.receptor_pitch import Pitch, pitch_conflicts, receptor_pitches


@dataclass(frozen=True)
class StatedScales:
    """What is stated of the pixels of an image beside the facts of its canals.

    Parameters
    ----------
    detector_pitch_mm : float or None
        Width of a column on the receptor, mm.
    dpi : float or None
        Resolution a film was scanned with, dots per inch.
    known : KnownDistance or None
    """

    detector_pitch_mm: float | None = None
    dpi: float | None = None
    known: KnownDistance | None = None


@dataclass(frozen=True)
class ImageScale:
    """One scale of an image.

    Parameters
    ----------
    name : str
        What it was made from, with the canal where there are several; differs from all others.
    canal : str or None
        Canal whose file, ball or statement it comes from; None where it is of the whole image.
    scale : Scale
    assumed : bool
        It rests on an assumed magnification.
    twin_of : str
        Name of the scale that was made from the same thing before; empty where there is none.
    """

    name: str
    canal: str | None
    scale: Scale
    assumed: bool
    twin_of: str = ""


@dataclass(frozen=True)
class ScalesOfImage:
    """All scales of an image.

    Parameters
    ----------
    scales : tuple of ImageScale
    absent : tuple of (str, str)
        What gave no scale although something was stated of it, and why.
    pitch : Pitch or None
        Of the receptor, where it is known.
    remarks : tuple of str
    counted : mapping of str to (str or None)
        For each canal the name of the scale that counts for its lengths; None where none does.
    girths : mapping of str to GirthScale
        For each canal what the diameters of its file gave, where they gave something.
    """

    scales: tuple[ImageScale, ...]
    absent: tuple[tuple[str, str], ...]
    pitch: Pitch | None
    remarks: tuple[str, ...]
    counted: Mapping[str, str | None]
    girths: Mapping[str, GirthScale] = field(default_factory=dict)

    def named(self, name: str) -> ImageScale:
        """Return the scale of that name."""
        return next(one for one in self.scales if one.name == name)

    def of_file(self, canal: str) -> ImageScale | None:
        """Return the scale by the length of the file of a canal."""
        own = (one for one in self.scales if one.scale.source == "file" and one.canal == canal)
        return next(own, None)


def scales_of_image(
    radiograph: Radiograph,
    results: Sequence[CaseResult],
    stated: StatedScales,
    *,
    diameters: bool = True,
) -> ScalesOfImage:
    """Gather every scale the image can give.

    Parameters
    ----------
    radiograph : Radiograph
    results : sequence of CaseResult
        Its canals as measured.
    stated : StatedScales
    diameters : bool
        Whether to measure the diameters of files, which takes up to half a minute each.

    Returns
    -------
    ScalesOfImage
        The scale that counts for a canal is the one its lengths were measured with; scales stated here, of a
        pitch, a scan, a wire or a grid, stand beside it and count for no length.

    Raises
    ------
    CalibrationError
        A pitch, resolution or known distance that is stated is wrong.
    PeriapicalError
        A point of the known distance lies outside the image.
    """
    several = len(results) > 1
    made = [one for result in results for one in _of_canal(result, radiograph, several=several)]
    scales = [_with_twin(one, made[:index]) for index, one in enumerate(made)]
    scales += _given(results, radiograph)
    absent = [one for result in results for one in _lacking(result, several)]
    girths: dict[str, GirthScale] = {}
    for result in results if diameters else ():
        name, canal = f"diameters of the file{_of(result, several)}", result.facts.canal
        try:
            girth = girth_of(radiograph, result, results)
        except PeriapicalError as problem:
            absent.append((name, str(problem)))
            continue
        if girth is not None:
            girths[canal] = girth
            scale = scale_of_girth(girth, radiograph.pixel_aspect)
            scales.append(ImageScale(name, canal, scale, assumed=False))
    try:
        scales.append(_of_the_image("image header", scale_from_dicom(radiograph.spacing)))
    except CalibrationError as problem:
        absent.append(("image header", str(problem)))
    scales += _stated_ones(stated, radiograph)
    pitch, remarks = _pitch(radiograph, stated)
    counted = {one.facts.canal: _counted(one, scales) for one in results}
    return ScalesOfImage(tuple(scales), tuple(absent), pitch, remarks, counted, girths)


def _stated_ones(stated: StatedScales, radiograph: Radiograph) -> Iterator[ImageScale]:
    """Scales of a stated pitch, scan, wire or grid."""
    aspect = radiograph.pixel_aspect
    if stated.detector_pitch_mm is not None:
        scale = scale_from_pitch(stated.detector_pitch_mm, pixel_aspect=aspect)
        yield _of_the_image("detector pitch", scale)
    if stated.dpi is not None:
        yield _of_the_image("scan resolution", scale_from_scan(stated.dpi, pixel_aspect=aspect))
    if stated.known is not None:
        scale = scale_of_known_distance(stated.known, radiograph)
        yield _of_the_image("wire" if stated.known.intervals is None else "grid", scale)


def _of_the_image(name: str, scale: Scale) -> ImageScale:
    return ImageScale(name, None, scale, ASSUMED_NOTE in scale.notes)


def _of_canal(result: CaseResult, radiograph: Radiograph, *, several: bool) -> Iterator[ImageScale]:
    """Scales of the file and the ball of one canal."""
    facts, aspect = result.facts, radiograph.pixel_aspect
    length_px = result.measurements.get("file_length_px")
    by_file = scale_of_file(length_px, result.landmarks, facts, aspect)
    for name, scale in (("file", by_file), ("ball", scale_of_ball(result.ball, facts, aspect))):
        if scale is not None:
            yield ImageScale(f"{name}{_of(result, several)}", facts.canal, scale, assumed=False)


def _of(result: CaseResult, several: bool) -> str:
    return f" of canal {result.facts.canal}" if several else ""


def _given(results: Sequence[CaseResult], radiograph: Radiograph) -> Iterator[ImageScale]:
    """Pixel sizes that were given: one for the whole image where all canals agree."""
    given = {
        one.facts.canal: (one.facts.mm_per_px, one.facts.mm_per_px_sd)
        for one in results
        if one.facts.mm_per_px is not None
    }
    alike = len(set(given.values())) == 1
    for canal, (mm_per_px, sd) in list(given.items())[: 1 if alike else None]:
        name = "given pixel size" + ("" if alike else f" of canal {canal}")
        scale = scale_given(mm_per_px, sd, pixel_aspect=radiograph.pixel_aspect)
        yield ImageScale(name, None if alike else canal, scale, assumed=False)


def _with_twin(one: ImageScale, before: Sequence[ImageScale]) -> ImageScale:
    """Mark a ball that another canal has already: it is no second witness."""
    for other in before:
        if other.scale.source == one.scale.source == "ball" and _alike(one.scale, other.scale):
            return replace(one, twin_of=other.name)
    return one


def _alike(one: Scale, other: Scale) -> bool:
    """Whether two scales are the same within less than the uncertainty of either."""
    return abs(one.mm_per_px - other.mm_per_px) < min(one.sd_mm_per_px, other.sd_mm_per_px)


def _lacking(result: CaseResult, several: bool) -> Iterator[tuple[str, str]]:
    """What was half given: a length without a traced file, a diameter without a ball, and the reverse."""
    facts, of = result.facts, _of(result, several)
    traced = "file_length_px" in result.measurements
    if traced and facts.file_length_mm is None:
        yield f"file{of}", "file_length_mm is not given"
    if facts.file_length_mm is not None and not traced:
        yield f"file{of}", "the file was not traced from file_start to file_tip"
    if facts.ball_diameter_mm is not None and result.ball is None:
        yield f"ball{of}", "no ball was found at ball_centre"
    if facts.ball_diameter_mm is None and result.ball is not None:
        yield f"ball{of}", "ball_diameter_mm is not given"


def _pitch(radiograph: Radiograph, stated: StatedScales) -> tuple[Pitch | None, tuple[str, ...]]:
    """Pitch of the receptor as stated, of the scan, or of the header; and where these differ."""
    known = receptor_pitches(
        stated.detector_pitch_mm, stated.dpi, radiograph.spacing, radiograph.pixel_aspect
    )
    return (known[0] if known else None), pitch_conflicts(known)


def _counted(result: CaseResult, scales: Sequence[ImageScale]) -> str | None:
    """Name of the scale the lengths of a canal were measured with."""
    if result.scale is None:
        return None
    canal, source = result.facts.canal, result.scale.source
    return next(one.name for one in scales if one.scale.source == source and one.canal in (canal, None))
