"""The command ``periapical readings``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from radio.cli_shared import EXIT_CODES, NOTHING_MEASURED, keep_inputs, naming, option, warn

if TYPE_CHECKING:
    from radio.measure.readings_list import ComparedList
    from radio.record.readings_table import ReadingsTable

_COMPARED, _AGREEMENT, _PICTURE = "readings_compared.csv", "agreement.json", "agreement"


def add_readings_commands(app: typer.Typer) -> None:
    """Register the command."""
    app.command(
        epilog="Example: periapical readings READINGS.csv --results results/results.csv --out readings   |   "
        f"{EXIT_CODES}"
    )(readings)


def readings(
    table: Annotated[
        Path, typer.Argument(metavar="READINGS.csv", help="Table of readings.", show_default=False)
    ],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for what is written.", show_default=False)],
    results: Annotated[
        Path | None,
        option("Results table with the working lengths, joined by image and canal.", "RESULTS.csv"),
    ] = None,
    tolerance_mm: Annotated[str | None, option("Difference that is accepted: 0.5, or 1.0.", "MM")] = None,
    multiplier: Annotated[
        str | None, option("Standard deviations to the limits: 1.96 unless given, or 2.", "N")
    ] = None,
) -> None:
    """Compare a list of electronic readings with radiographic lengths; the two are never averaged.

    READINGS.csv, one row a reading: image or subject, canal, tooth, electronic_mm, electronic_mark (zero or
    half), repeats_mm (further readings, the first not again), radiographic_mm, radiographic_sd_mm, file_size,
    canal_state (dry, moist, flooded), resorption (none, internal, external), bleeding, metal_contact,
    previous_filling, open_apex, suspected_perforation, patency (yes, no), time, chosen_mm, chosen_basis
    (radiographic, electronic, other), chosen_reason, chosen_by. Only electronic_mm and one of image and
    subject are needed; an empty cell means not stated. Writes readings_compared.csv, agreement.json and
    agreement.png and .svg to DIR. Readings at different marks are kept apart; repeats more than 1 mm apart
    are not compared.
    """
    from radio.measure.readings_list import compare_list
    from radio.record.readings_table import read_readings

    accepted, wide = _tolerance(tolerance_mm), _multiplier(multiplier)
    keep_inputs((table, results), [out / name for name in _written()])
    read = read_readings(table, results)
    found = compare_list(read.listed, accepted)
    _write(found, read, wide, out)
    _show(found, read, wide, out)
    if not found.compared:
        raise typer.Exit(NOTHING_MEASURED)


def _tolerance(text: str | None) -> float:
    from radio.measure.electronic import TOLERANCES_MM
    from radio.record.cells import accepted_mm

    with naming("--tolerance-mm"):
        return TOLERANCES_MM[0] if text is None else accepted_mm(text.strip())


def _multiplier(text: str | None) -> float:
    from radio.errors import PeriapicalError, echoed
    from radio.measure.differences import MULTIPLIERS

    if text is None:
        return MULTIPLIERS[0]
    found = [one for one in MULTIPLIERS if text.strip().replace(",", ".") in (f"{one:g}", f"{one:.1f}")]
    if not found:
        allowed = " or ".join(f"{one:g}" for one in MULTIPLIERS)
        raise PeriapicalError(
            f"--multiplier: given {echoed(text)}; allowed is {allowed}, as the two papers have it."
        )
    return found[0]


def _written() -> list[str]:
    from radio.record.page import FORMATS

    return [_COMPARED, _AGREEMENT, *(f"{_PICTURE}.{kind}" for kind in FORMATS)]


def _write(found: ComparedList, read: ReadingsTable, multiplier: float, out: Path) -> None:
    from radio.record.atomic import make_directory, write_text
    from radio.record.readings_compared import write_compared
    from radio.record.readings_json import readings_json
    from radio.record.readings_picture import draw_readings

    make_directory(out)
    write_compared(out / _COMPARED, found.compared, read.lost)
    write_text(out / _AGREEMENT, readings_json(found, read.lost, read.warnings))
    if found.compared:
        draw_readings(found, multiplier, [out / name for name in _written()[2:]])


def _show(found: ComparedList, read: ReadingsTable, multiplier: float, out: Path) -> None:
    from radio.record.readings_terminal import readings_block
    from radio.record.terminal import caution_text, make_console

    console = make_console()
    console.print(readings_block(found, read.lost, multiplier))
    console.print(f"Tables and picture: {out.resolve()}", markup=False)
    console.print(caution_text())
    warn(read.warnings)
