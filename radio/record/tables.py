"""The images and clicks tables that a user writes: from rows to canals ready to be measured."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from radio.errors import TableError
from radio.measure.case import CaseFacts, Clicks
from radio.record import cells
from radio.record.click_rows import Points, gather_points, problems_of_click
from radio.record.fact_cells import FACT_COLUMNS, facts_from_cells
from radio.record.rows import Row, read_rows

IMAGE_COLUMNS = ("image", *FACT_COLUMNS)
CLICK_COLUMNS = ("image", "canal", "landmark", "order", "row", "col", "exact")


@dataclass(frozen=True, eq=False)
class CaseInput:
    """One canal on one image, ready to be measured.

    Parameters
    ----------
    image : str
        The image as the table names it.
    path : pathlib.Path
        Where it is.
    facts : CaseFacts
        What the images table states, and which points the clicks table calls exact.
    clicks : mapping of str to ndarray, shape (N, 2)
        Rough (row, col) by landmark; repeated landmarks in order.
    """

    image: str
    path: Path
    facts: CaseFacts
    clicks: Clicks


@dataclass(frozen=True)
class Skip:
    """A canal that is not measured: which, and why."""

    image: str
    canal: str
    reason: str


@dataclass(frozen=True, eq=False)
class CaseTable:
    """What two tables hold together.

    Parameters
    ----------
    entries : tuple of CaseInput or Skip
        One for each canal: first the rows of the images table in order, then what only the clicks table has.
    warnings : tuple of str
        What was passed over.
    """

    entries: tuple[CaseInput | Skip, ...]
    warnings: tuple[str, ...]

    @property
    def cases(self) -> tuple[CaseInput, ...]:
        """The canals that can be measured, in order."""
        return tuple(entry for entry in self.entries if isinstance(entry, CaseInput))

    @property
    def skips(self) -> tuple[Skip, ...]:
        """The canals that cannot be measured, in order."""
        return tuple(entry for entry in self.entries if isinstance(entry, Skip))


@dataclass
class _Canal:
    """What one table says about one canal."""

    image: str
    path: Path
    canal: str
    facts: CaseFacts = field(default_factory=CaseFacts)
    rows: list[Row] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


_Key = tuple[Path, str]


def read_cases(images: Path, clicks: Path) -> CaseTable:
    """Read and join the images table and the clicks table.

    A wrong cell costs its own canal only. Image names are relative to the table they stand in.

    Parameters
    ----------
    images, clicks : pathlib.Path
        The two tables; see :data:`IMAGE_COLUMNS` and :data:`CLICK_COLUMNS`.

    Returns
    -------
    CaseTable
        Canals to measure and canals to skip.

    Raises
    ------
    TableError
        A table cannot be read at all, lacks a needed column or has no rows.
    """
    stated, warnings = _read_images(images)
    clicked, lost, more = _read_clicks(clicks)
    return CaseTable((*_join(stated, clicked, images.name, clicks.name), *lost), (*warnings, *more))


def read_cases_of_image(
    image: Path, clicks: Path, images: Path | None = None, given: Mapping[str, str] | None = None
) -> CaseTable:
    """Read what the tables say about one image.

    Parameters
    ----------
    image : pathlib.Path
        The image; rows count when their image has the same name (the same place, where several share it).
    clicks : pathlib.Path
        The clicks table.
    images : pathlib.Path or None
        The images table; without it every canal has the default facts.
    given : mapping of str to str, optional
        Facts stated besides the table, as text by column name; they go before the table.

    Raises
    ------
    TableError
        A table cannot be read, has nothing on this image, or a given fact is wrong.
    """
    clicked, _, warnings = _read_clicks(clicks)
    clicked = _of_image(clicked, image, clicks.name)
    if images is None:
        stated = {
            key: _Canal(one.image, image, one.canal, CaseFacts(one.canal)) for key, one in clicked.items()
        }
        source = "the options"
    else:
        stated, more = _read_images(images)
        stated = _of_image(stated, image, images.name)
        warnings += more
        source = images.name
    for one in stated.values():
        one.path = image
        _override(one, given or {})
    return CaseTable(tuple(_join(stated, clicked, source, clicks.name)), tuple(warnings))


def _override(one: _Canal, given: Mapping[str, str]) -> None:
    if not given:
        return
    option = "--{}".format
    one.facts, problems = facts_from_cells(given, lambda c: option(c.replace("_", "-")), one.facts)
    if problems:
        raise TableError("; ".join(problems))


def _of_image(canals: dict[_Key, _Canal], image: Path, table: str) -> dict[_Key, _Canal]:
    """Keep the canals of one image, joined under its own place."""
    same_name = {key: one for key, one in canals.items() if key[0].name == image.name}
    same_place = {key: one for key, one in same_name.items() if key[0] == _resolved(image)}
    chosen = same_place or same_name
    if not chosen:
        names = sorted({one.image for one in canals.values()})
        listed = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
        raise TableError(f"{table} has no row for the image {image.name}; it has {listed or 'none'}.")
    if len({key[0] for key in chosen}) > 1:
        places = ", ".join(sorted({one.image for one in chosen.values()}))
        raise TableError(f"{table} names several images {image.name} ({places}); none of them is {image}.")
    return {(_resolved(image), one.canal): one for one in chosen.values()}


def _read_images(path: Path) -> tuple[dict[_Key, _Canal], list[str]]:
    rows, warnings = read_rows(path, IMAGE_COLUMNS, required=("image",))
    if not rows:
        raise TableError(f"{path.name} has a header but no rows; give one row for each canal.")
    canals: dict[_Key, _Canal] = {}
    for row in rows:
        facts, wrong = facts_from_cells(row.cells)
        image = row.cells["image"]
        one = _Canal(image, located(path, image), facts.canal, facts, [row])
        problems = [row.problem] if row.problem else [*wrong]
        if not image:
            problems.append("column image: empty; give the name of the image")
        one.problems = [f"{path.name} line {row.line}, {problem}" for problem in problems]
        first = canals.setdefault((one.path, one.canal), one)
        if first is not one:
            first.problems += one.problems
            lines = f"lines {first.rows[0].line} and {row.line}"
            if facts == first.facts:
                warnings.append(f"{path.name} {lines}: the same row twice; one was passed over")
            else:
                first.problems.append(
                    f"{path.name} {lines} both describe image {image}, canal {one.canal}; keep one"
                )
    return canals, warnings


def _read_clicks(path: Path) -> tuple[dict[_Key, _Canal], list[Skip], list[str]]:
    rows, warnings = read_rows(path, CLICK_COLUMNS, required=("image", "landmark", "row", "col"))
    if not rows:
        raise TableError(f"{path.name} has a header but no rows; give one row for each point.")
    canals: dict[_Key, _Canal] = {}
    lost = []
    for row in rows:
        image, place = row.cells["image"], f"{path.name} line {row.line}"
        try:
            canal = cells.canal(row.cells.get("canal", ""))
        except TableError as problem:
            lost.append(Skip(image, "", f"{place}, column canal: {problem}"))
            continue
        if not image:
            lost.append(Skip("", canal, f"{place}, column image: empty; give the name of the image"))
            continue
        where = located(path, image)
        one = canals.setdefault((where, canal), _Canal(image, where, canal))
        one.rows.append(row)
        one.problems += [f"{place}, {problem}" for problem in problems_of_click(row)]
    return canals, lost, warnings


def _join(
    stated: dict[_Key, _Canal], clicked: dict[_Key, _Canal], images: str, clicks: str
) -> Iterable[CaseInput | Skip]:
    # the same name in both tables is the same image even when the tables lie in different places
    by_text = {(one.image, one.canal): key for key, one in clicked.items()}
    used = set()
    for key, one in stated.items():
        found = key if key in clicked else by_text.get((one.image, one.canal))
        points = Points({}, ())
        problems = list(one.problems)
        if found is None:
            if not problems:
                problems.append(f"{clicks} has no point for image {one.image}, canal {one.canal}")
        else:
            used.add(found)
            problems += clicked[found].problems
            if not problems:
                points, problems = gather_points(clicked[found].rows, clicks)
        if problems:
            yield Skip(one.image, one.canal, "; ".join(problems))
        else:
            yield CaseInput(one.image, one.path, replace(one.facts, exact=points.exact), points.clicks)
    for key, one in clicked.items():
        if key not in used:
            reason = f"{clicks} has points but {images} has no row for canal {one.canal} of image {one.image}"
            yield Skip(one.image, one.canal, "; ".join([reason, *one.problems]))


def located(table: Path, image: str) -> Path:
    """Find the place of an image named in a table; a Windows path is understood elsewhere too."""
    place = table.parent / image
    if os.sep == "/" and "\\" in image and not place.exists():
        place = table.parent / PurePosixPath(image.replace("\\", "/"))
    return _resolved(place)


def _resolved(path: Path) -> Path:
    # not Path.resolve: a linked image keeps the name the user knows it by
    return Path(os.path.abspath(path))
