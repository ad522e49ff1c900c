"""What ``periapical curvature --picture`` writes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph
    from radio.measure.case import CaseResult
    from radio.measure.methods import CurvatureMethod
    from radio.measure.view_pair import ViewPair
    from radio.record.curvature_pictures import Written


@dataclass(frozen=True, eq=False)
class ViewToDraw:
    """One image and its measured canals."""

    image: Path
    radiograph: Radiograph
    results: tuple[CaseResult, ...]


def draw_pictures(
    views: Sequence[ViewToDraw],
    pairs: Sequence[ViewPair],
    methods: Sequence[CurvatureMethod],
    folder: Path,
    steps: bool,
    *,
    quiet: bool,
) -> None:
    """Write the pictures, and say how many there are and which could not be drawn.

    Parameters
    ----------
    views : sequence of ViewToDraw
        One or two.
    pairs : sequence of ViewPair
        Canals seen in both.
    methods : sequence of CurvatureMethod
    folder : pathlib.Path
        Where they go; two images of one name have a folder each in it.
    steps : bool
        Also one picture for each step.
    quiet : bool
        Whether standard output is taken.

    Raises
    ------
    PeriapicalError
        The folder cannot be written.
    """
    from radio.record.curvature_pictures import write_pictures, write_space_pictures

    clash = len({one.image.stem.casefold() for one in views}) < len(views)
    count = 0
    for one, own in zip(views, ("first_view", "second_view"), strict=False):
        traced = [result for result in one.results if result.stack is not None]
        if traced:
            place = folder / own if clash else folder
            count += _told(one, write_pictures(one.radiograph, traced, place, methods, steps=steps), quiet)
    if pairs:
        first, second = views
        images = (first.radiograph, second.radiograph)
        count += _told(first, write_space_pictures(pairs, images, folder), quiet)
    if count:
        typer.echo(f"Pictures: {count} in {folder.resolve()}", err=quiet)


def _told(view: ViewToDraw, written: Written, quiet: bool) -> int:
    """Say what could not be drawn; the number of pictures that could."""
    for missing in written.not_drawn:
        where = f"{view.image.name}, canal {missing.canal}, {missing.picture}"
        typer.echo(f"Not drawn: {where}: {missing.reason}", err=quiet)
    return len(written.paths)
