"""All curvature pictures of an image, under clear names."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from radio.errors import PeriapicalError
from radio.measure.case import CaseResult
from radio.measure.methods import METHODS, CurvatureMethod
from radio.measure.view_pair import ViewPair
from radio.record.atomic import make_directory
from radio.record.constructions import construction_page, draw_steps
from radio.record.curvature_page import comparison_page
from radio.record.curvature_profile import profile_page
from radio.record.page import FORMATS, Page, checked_format, file_stems
from radio.record.space_picture import space_page

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph

# no method may have one of these names
ALL_METHODS = "all-methods"
ALONG_CANAL = "along-canal"
IN_SPACE = "in-space"


@dataclass(frozen=True)
class NotDrawn:
    """A picture that could not be made.

    Parameters
    ----------
    canal : str
    picture : str
        Name of the method, ``"all-methods"``, ``"along-canal"`` or ``"in-space"``.
    reason : str
        Why, in words for the user.
    """

    canal: str
    picture: str
    reason: str


@dataclass(frozen=True)
class Written:
    """What :func:`write_pictures` and :func:`write_space_pictures` did.

    Parameters
    ----------
    paths : tuple of pathlib.Path
        Pictures written.
    not_drawn : tuple of NotDrawn
        Pictures that could not be made.
    """

    paths: tuple[Path, ...]
    not_drawn: tuple[NotDrawn, ...]


def write_pictures(
    radiograph: Radiograph,
    results: Sequence[CaseResult],
    directory: Path,
    methods: Sequence[CurvatureMethod] = METHODS,
    formats: Sequence[str] = FORMATS,
    *,
    steps: bool = False,
) -> Written:
    """Write, for every canal, the construction of each method, all methods side by side, and the profile.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    results : sequence of CaseResult
        Its canals.
    directory : pathlib.Path
        Where the pictures go; made where it is not there. The names are ``<image>_<canal>_<method>.png`` and
        so on, ``..._all-methods`` and ``..._along-canal``.
    methods : sequence of CurvatureMethod
        The methods to draw.
    formats : sequence of str
        ``"png"``, ``"svg"``.
    steps : bool
        Also one picture for each step of each construction, ``..._step1.png`` and so on.

    Returns
    -------
    Written
        The pictures, and with its reason each that could not be drawn.

    Raises
    ------
    PeriapicalError
        A format is unknown, none is given, or the place cannot be written.
    """
    kinds = _checked_formats(formats)
    make_directory(directory)
    paths: list[Path] = []
    not_drawn: list[NotDrawn] = []
    canals = [result.facts.canal for result in results]
    for result, stem in zip(results, stems(radiograph, canals), strict=True):
        begin = directory / stem
        written = _write(begin, result.facts.canal, _pages(radiograph, result, methods), kinds)
        paths += written.paths
        not_drawn += written.not_drawn
        if steps:
            skipped = {one.picture for one in written.not_drawn}
            for method in methods:
                if method.name not in skipped:
                    name = f"{stem}_{method.name}"
                    paths += draw_steps(radiograph, result, method, directory, stem=name, formats=kinds)
    return Written(tuple(paths), tuple(not_drawn))


def write_space_pictures(
    pairs: Sequence[ViewPair],
    images: tuple[Radiograph, Radiograph],
    directory: Path,
    formats: Sequence[str] = FORMATS,
) -> Written:
    """Write a picture of every canal in space, named after the first image: ``<image>_<canal>_in-space.png``.

    Parameters
    ----------
    pairs : sequence of ViewPair
        The canals that were seen in both views.
    images : tuple of Radiograph
        First and second view.
    directory, formats
        As of :func:`write_pictures`.

    Returns
    -------
    Written
        A canal whose views do not go together is not drawn.

    Raises
    ------
    PeriapicalError
        As of :func:`write_pictures`.
    """
    kinds = _checked_formats(formats)
    make_directory(directory)
    paths: list[Path] = []
    not_drawn: list[NotDrawn] = []
    for pair, stem in zip(pairs, stems(images[0], [one.name for one in pairs]), strict=True):
        pages = [(IN_SPACE, partial(space_page, pair, images))]
        written = _write(directory / stem, pair.name, pages, kinds)
        paths += written.paths
        not_drawn += written.not_drawn
    return Written(tuple(paths), tuple(not_drawn))


def _checked_formats(formats: Sequence[str]) -> list[str]:
    kinds = [checked_format(kind.lower(), kind) for kind in formats]
    if not kinds:
        raise PeriapicalError(f"No picture format is given; give one or both of {', '.join(FORMATS)}.")
    return kinds


def _write(
    begin: Path, canal: str, pages: Iterable[tuple[str, Callable[[], Page]]], kinds: Sequence[str]
) -> Written:
    """Write pages under the beginning of a path and their own names."""
    paths: list[Path] = []
    not_drawn: list[NotDrawn] = []
    for name, make in pages:
        try:
            page = make()
        except PeriapicalError as problem:
            not_drawn.append(NotDrawn(canal, name, str(problem)))
            continue
        for kind in kinds:
            paths.append(begin.parent / f"{begin.name}_{name}.{kind}")
            page.save(paths[-1])
    return Written(tuple(paths), tuple(not_drawn))


def _pages(
    radiograph: Radiograph, result: CaseResult, methods: Sequence[CurvatureMethod]
) -> Iterator[tuple[str, Callable[[], Page]]]:
    for method in methods:
        yield method.name, partial(construction_page, radiograph, result, method)
    yield ALL_METHODS, partial(comparison_page, radiograph, result, methods)
    yield ALONG_CANAL, partial(profile_page, radiograph, result)


def stems(radiograph: Radiograph, canals: Sequence[str]) -> list[str]:
    """What the names of the pictures of each canal begin with: safe on every system, no two alike."""
    image = radiograph.path.stem if radiograph.path else "image"
    return file_stems(f"{image}_{canal}" for canal in canals)
