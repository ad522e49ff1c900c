"""What the commands ``periapical casebook ...`` share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from radio.cli_shared import EXIT_CODES, option

casebook_app = typer.Typer(
    name="casebook",
    help="Keep tracings, electronic readings and courses for years in one file that is only added to.",
    no_args_is_help=True,
    rich_markup_mode="markdown",
    context_settings={"help_option_names": ["-h", "--help"]},
)

BookArgument = Annotated[Path, typer.Argument(metavar="BOOK", help="The casebook.", show_default=False)]
NameArgument = Annotated[
    str, typer.Argument(metavar="NAME", help="The first digits of a revision's name.", show_default=False)
]
UniversalOption = Annotated[
    bool, typer.Option("--universal", help="Universal tooth numbers beside ISO 3950.")
]
KeyOption = Annotated[
    Path | None,
    option("The key that makes the pseudonyms and says who is who; made if new. Keep it apart.", "KEY.json"),
]
ByOption = Annotated[str, typer.Option(metavar="WHO", help="Who does it: initials or a number.")]


def example(text: str) -> str:
    """The line below the help of a command."""
    return f"Example: periapical casebook {text}   |   {EXIT_CODES}"
