"""The command ``periapical checks``."""

from __future__ import annotations

from typing import Annotated

import typer

from radio.cli_shared import EXIT_CODES


def add_checks_commands(app: typer.Typer) -> None:
    """Register the command."""
    app.command(epilog=f"Example: periapical checks 3 9   |   {EXIT_CODES}")(checks)


def checks(
    numbers: Annotated[
        list[str] | None,
        typer.Argument(metavar="[IDS]", help="Numbers of checks; all of them without.", show_default=False),
    ] = None,
) -> None:
    """List the pre-flight checks: what each looks at, its level, what it rests on and how well that is known.

    A stop takes away the numbers that rest on what is in doubt, a warning and a note stand beside them. A
    person's answers come in a table, ANSWERS.csv, with the columns image, canal, check, answer, note: measure
    and batch take it with --answers, and keep each answer beside the check.
    """
    from radio.record.checks_terminal import rules_block, rules_named
    from radio.record.terminal import caution_text, make_console

    console = make_console()
    console.print(rules_block(rules_named(numbers or [])))
    console.print(caution_text())
