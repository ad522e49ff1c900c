"""The demonstration: measure the sample images and show everything that leaves the tool."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import radio
from radio.errors import PeriapicalError
from radio.measure.case import CaseResult
from radio.record.atomic import make_directory, write_text
from radio.record.measured import measured_json
from radio.record.picture import draw_picture
from radio.record.sheet import SheetEntry, write_sheet
from radio.record.tables import CaseInput, Skip, read_cases
from radio.study.batch import run_batch
from radio.study.one_image import measure_image


@dataclass(frozen=True)
class DemoOutcome:
    """What the demonstration made.

    Parameters
    ----------
    results : tuple of (str, CaseResult)
        Image name and what was measured, one for each canal.
    skips : tuple of Skip
        Canals that were not measured.
    sheet : pathlib.Path
        The page that lists all of it.
    first_image : pathlib.Path or None
        A sample image to open in the viewer.
    """

    results: tuple[tuple[str, CaseResult], ...]
    skips: tuple[Skip, ...]
    sheet: Path
    first_image: Path | None


def sample_images_folder() -> Path:
    """Find the sample images: packaged with the program, or beside it in a source tree.

    Raises
    ------
    PeriapicalError
        They are in neither place.
    """
    package = Path(str(radio.__file__)).parent
    places = (package / "_sample_images", package.parent / "sample_images")
    for place in places:
        if (place / "IMAGES.csv").is_file() and (place / "CLICKS.csv").is_file():
            return place
    raise PeriapicalError(
        f"The sample images are not there (looked in {' and '.join(map(str, places))}); "
        "install the program again, or run it from its source tree."
    )


def run_demo(out: Path, progress: Callable[[int, int, str], None] | None = None) -> DemoOutcome:
    """Measure the sample images into `out`: tables, one picture and one JSON an image, and a page.

    Parameters
    ----------
    out : pathlib.Path
        Folder for all of it; made if it is not there.
    progress : callable, optional
        Called with images done, images in all, and the image just finished.

    Raises
    ------
    PeriapicalError
        The sample images are missing or the folder cannot be written.
    """
    samples = sample_images_folder()
    images, clicks = samples / "IMAGES.csv", samples / "CLICKS.csv"
    make_directory(out / "pictures")
    make_directory(out / "measurements")
    run_batch(images, clicks, out)
    table = read_cases(images, clicks)
    by_image: dict[Path, list[CaseInput]] = {}
    for case in table.cases:
        by_image.setdefault(case.path, []).append(case)
    entries, skips = [], list(table.skips)
    for done, (path, cases) in enumerate(by_image.items(), start=1):
        entry, missed = _show_image(path, cases, out)
        entries += [] if entry is None else [entry]
        skips += missed
        if progress is not None:
            progress(done, len(by_image), cases[0].image)
    sheet = out / "index.html"
    write_sheet(sheet, "Sample images, measured", entries, skips)
    results = tuple((entry.image, result) for entry in entries for result in entry.results)
    return DemoOutcome(results, tuple(skips), sheet, next(iter(by_image), None))


def _show_image(path: Path, cases: list[CaseInput], out: Path) -> tuple[SheetEntry | None, list[Skip]]:
    measured = measure_image(path, cases)
    pairs, skips = measured.pairs, measured.skips
    if measured.radiograph is None or not pairs:
        return None, skips
    results = tuple(result for result, _ in pairs)
    stem = path.name.replace(".", "_")
    draw_picture(measured.radiograph, results, out / "pictures" / f"{stem}.png")
    write_text(out / "measurements" / f"{stem}.json", measured_json(measured.radiograph, pairs, skips))
    return SheetEntry(cases[0].image, f"pictures/{stem}.png", results), skips
