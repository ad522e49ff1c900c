"""The commands ``periapical methods`` and ``periapical curvature``."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperCommand

from radio.cli_pictures import ViewToDraw, draw_pictures
from radio.cli_shared import (
    EXIT_CODES,
    NOTHING_MEASURED,
    STANDARD_OUTPUT,
    AnswersOption,
    ClicksOption,
    ImageArgument,
    ImagesOption,
    JsonOption,
    keep_inputs,
    measure_given,
    option,
    read_tables,
    stated_number,
    takes_facts,
    takes_settings,
    warn,
    write_json,
)

if TYPE_CHECKING:
    from radio.image.radiograph import Radiograph
    from radio.measure.classes import Scheme
    from radio.measure.methods import CurvatureMethod
    from radio.measure.settings import CurvatureSettings
    from radio.measure.view_pair import ViewPair
    from radio.record.curvature_case import CurvatureCase
    from radio.record.tables import CaseTable, Skip


class _NamesMethods(TyperCommand):
    """A command whose help ends with the names of the methods there are."""

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the help; the methods are loaded only now."""
        from radio.measure.methods import METHODS

        names = ", ".join(method.name for method in METHODS)
        self.epilog = f"Methods: {names}.\n\n{self.epilog}"
        super().format_help(ctx, formatter)


def add_curvature_commands(app: typer.Typer) -> None:
    """Register both commands."""
    app.command(
        cls=_NamesMethods,
        epilog="Example: periapical curvature tooth36.png --clicks CLICKS.csv --file-length-mm 21 "
        f"--method schneider --method weine --what-if --picture drawn   |   {EXIT_CODES}",
    )(takes_facts(lengths=False)(takes_settings()(curvature)))
    app.command(cls=_NamesMethods, epilog=f"Example: periapical methods schneider   |   {EXIT_CODES}")(
        methods
    )


def methods(
    name: Annotated[
        str | None,
        typer.Argument(help="One method or class scheme; all of them without.", show_default=False),
    ] = None,
) -> None:
    """List every curvature method and class scheme.

    Each with its columns and units, definition and source, and what of it was verified and what is only from
    memory.
    """
    from radio.record.methods_terminal import listed, methods_block
    from radio.record.terminal import make_console

    make_console().print(methods_block(*listed(name)))


@dataclass(frozen=True, eq=False)
class _Asked:
    """What is asked of every canal."""

    methods: tuple[CurvatureMethod, ...]
    schemes: tuple[Scheme, ...]
    settings: CurvatureSettings
    what_if: bool


@dataclass(frozen=True, eq=False)
class _Seen:
    """One image with the curvature of its canals."""

    image: Path
    radiograph: Radiograph
    cases: tuple[CurvatureCase, ...]
    skips: tuple[Skip, ...]
    warnings: tuple[str, ...]


def curvature(
    image: ImageArgument,
    clicks: ClicksOption,
    images: ImagesOption = None,
    answers: AnswersOption = None,
    method: Annotated[
        list[str] | None, option("Show this method; give it again for another. Else all.", "NAME")
    ] = None,
    classes: Annotated[Path | None, option("Your own class scheme, beside the others.", "SCHEME.csv")] = None,
    what_if: Annotated[
        bool, typer.Option("--what-if", help="Move axis, departure and canal end by 0.5 mm each.")
    ] = False,
    two_view: Annotated[
        Path | None, option("The same canals in a second image, in the same tables.", "IMAGE2")
    ] = None,
    between_views: Annotated[str | None, option("Angle between the views, 90 unless given.", "DEG")] = None,
    between_views_sd: Annotated[
        str | None, option("Standard uncertainty of that angle, 3 unless given.", "DEG")
    ] = None,
    picture: Annotated[
        Path | None,
        option(
            "Folder for pictures of each construction and, of two views, of the canal in space, PNG and SVG.",
            "DIR",
        ),
    ] = None,
    steps: Annotated[
        bool, typer.Option("--steps", help="With --picture: also one picture for each step.")
    ] = False,
    json: JsonOption = None,
    *,
    given: Mapping[str, str],
    settings: CurvatureSettings,
) -> None:
    """Curvature of the canals of one image by every published method.

    Each value with its standard uncertainty, 95 % interval, settings and basis, and its class by named
    schemes. The landmarks coronal_axis (two points) and departure (one) in the clicks table take the place of
    what the rule finds. A fact stated by an option goes before the images table and counts for every canal,
    in both views. SCHEME.csv has the columns scheme, quantity, label, from, to.
    """
    from radio.errors import PeriapicalError
    from radio.record.curvature_case import methods_named

    chosen = methods_named(method or [])
    own, told = _own_scheme(classes, chosen)
    turn = _turn(two_view, between_views, between_views_sd)
    if steps and picture is None:
        raise PeriapicalError("--steps is for pictures; give their folder with --picture.")
    keep_inputs((image, clicks, images, answers, classes, two_view), (json, picture))
    asked = _Asked(chosen, own, settings, what_if)
    read = partial(read_tables, clicks=clicks, images=images, given=given, answers=answers)
    seen = _see([image] if two_view is None else [image, two_view], read, clicks, asked)
    pairs, unmatched = _pair(seen, turn, chosen) if two_view is not None else ((), ())
    if json != STANDARD_OUTPUT:
        _show(seen, pairs, unmatched)
    if json is not None:
        _write(seen, pairs, unmatched, asked, json)
    if picture is not None:
        views = [ViewToDraw(one.image, one.radiograph, tuple(c.result for c in one.cases)) for one in seen]
        draw_pictures(views, pairs, chosen, picture, steps, quiet=json == STANDARD_OUTPUT)
    # the tables are the same for both views, and so may be what is said of them
    warn(dict.fromkeys((*told, *(text for one in seen for text in one.warnings))))
    if not any(case.result.stack is not None for one in seen for case in one.cases):
        raise typer.Exit(NOTHING_MEASURED)


def _own_scheme(
    table: Path | None, chosen: Sequence[CurvatureMethod]
) -> tuple[tuple[Scheme, ...], tuple[str, ...]]:
    """All class schemes, with the user's own, and warnings about its table."""
    from radio.record.curvature_case import read_scheme, schemes_for

    own, warnings = (None, ()) if table is None else read_scheme(table)
    return schemes_for(own, chosen), warnings


def _turn(two_view: Path | None, angle: str | None, sd: str | None) -> tuple[float, float]:
    """Angle between the views and its standard uncertainty, degrees."""
    from radio.errors import PeriapicalError
    from radio.measure.resultant import SMALLEST_BETWEEN_DEG
    from radio.measure.view_pair import DEFAULT_TURN_SD_DEG

    found = []
    for name, text, otherwise, low, high in (
        ("--between-views", angle, 90.0, SMALLEST_BETWEEN_DEG, 180 - SMALLEST_BETWEEN_DEG),
        ("--between-views-sd", sd, DEFAULT_TURN_SD_DEG, 0.0, 30.0),
    ):
        if text is not None and two_view is None:
            raise PeriapicalError(f"{name} is for two views; give the second image with --two-view.")
        found.append(otherwise if text is None else stated_number(name, text, low, high, "degrees"))
    return found[0], found[1]


def _see(
    places: Sequence[Path], read: Callable[[Path], CaseTable], clicks: Path, asked: _Asked
) -> list[_Seen]:
    """Read all images and their rows, then measure; what is wrong with either is said early."""
    from radio.errors import PeriapicalError
    from radio.image.radiograph import read_radiograph

    radiographs = [read_radiograph(place) for place in places]
    tables = [read(place) for place in places]
    if len(places) == 2:
        _share_canals(places, tables)
    if len({one.sha256 for one in radiographs}) < len(places):
        told = f"{places[0].name} and {places[1].name} are the same image, byte for byte"
        raise PeriapicalError(f"{told}; give the other view of the tooth.")
    return [
        _measure(place, radiograph, table, clicks.name, asked)
        for place, radiograph, table in zip(places, radiographs, tables, strict=True)
    ]


def _share_canals(places: Sequence[Path], tables: Sequence[CaseTable]) -> None:
    """Refuse two views that have not one canal in common."""
    from radio.errors import PeriapicalError

    if places[0].exists() and places[1].exists() and places[0].samefile(places[1]):
        raise PeriapicalError(f"--two-view names {places[0].name} again; give the other view of the tooth.")
    names = [[case.facts.canal for case in table.cases] + [s.canal for s in table.skips] for table in tables]
    if not set(names[0]) & set(names[1]):
        has = "; ".join(
            f"{place.name} has {', '.join(found)}" for place, found in zip(places, names, strict=True)
        )
        raise PeriapicalError(f"The two views have no canal of the same name: {has}. Name them alike.")


def _measure(image: Path, radiograph: Radiograph, table: CaseTable, clicks: str, asked: _Asked) -> _Seen:
    from radio.measure.what_if import what_if
    from radio.record.curvature_case import CurvatureCase

    measured = measure_given(radiograph, table, clicks, asked.settings)
    cases = tuple(
        CurvatureCase(
            image.name,
            result,
            points,
            asked.methods,
            asked.schemes,
            what_if(result.stack, asked.methods) if asked.what_if and result.stack is not None else None,
        )
        for result, points in measured.pairs
    )
    return _Seen(image, radiograph, cases, (*table.skips, *measured.skips), table.warnings)


def _pair(
    seen: Sequence[_Seen], turn: tuple[float, float], methods: Sequence[CurvatureMethod]
) -> tuple[tuple[ViewPair, ...], tuple[str, ...]]:
    """Canals measured in both views put together, and a sentence on each that was not."""
    from radio.measure.view_pair import pair_views

    first, second = ({case.result.facts.canal: case.result for case in one.cases} for one in seen)
    pairs = tuple(
        pair_views(one, second[name], *turn, methods=methods) for name, one in first.items() if name in second
    )
    names = [one.image.name for one in seen]
    told = "canal {} was measured in {} only, not in {}"
    alone = [told.format(name, *names) for name in first if name not in second]
    alone += [told.format(name, *reversed(names)) for name in second if name not in first]
    return pairs, tuple(alone)


def _show(seen: Sequence[_Seen], pairs: Sequence[ViewPair], unmatched: Sequence[str]) -> None:
    from radio.record.curvature_terminal import curvature_block
    from radio.record.space_terminal import pair_block
    from radio.record.terminal import caution_text, make_console, skips_block

    console = make_console()
    for one in seen:
        for case in one.cases:
            console.print(curvature_block(case, console.width))
    for pair in pairs:
        console.print(pair_block(pair, (seen[0].image.name, seen[1].image.name), console.width))
    for text in unmatched:
        console.print(f"No second view: {text}.", markup=False)
    console.print(skips_block([skip for one in seen for skip in one.skips]))
    console.print(caution_text())


def _write(
    seen: Sequence[_Seen],
    pairs: Sequence[ViewPair],
    unmatched: Sequence[str],
    asked: _Asked,
    json: Path,
) -> None:
    from radio.record.curvature_json import View, curvature_json

    views = [View.from_cases(one.radiograph, one.cases, one.skips) for one in seen]
    write_json(curvature_json(views, asked.methods, pairs, unmatched), json)
