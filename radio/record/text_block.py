"""Lines of text on a picture, broken to a width and written from the top of a pane."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

_LINE_SPACING = 1.32
# width of a character in em that surely is enough, and how much fewer characters fit when bold
_CHARACTER_EM = 0.56
_BOLD_SHARE = 0.9


@dataclass(frozen=True)
class TextLine:
    """One line: words at the left, a value, if any, at the right; size and space before it in points."""

    words: str
    points: float
    bold: bool = False
    colour: str = "black"
    value: str = ""
    space_before: float = 0.0

    @property
    def height_in(self) -> float:
        """Height it takes, inches."""
        return (self.points * _LINE_SPACING + self.space_before) / 72


def height_in(lines: Sequence[TextLine]) -> float:
    """Height that lines take, inches."""
    return sum(line.height_in for line in lines)


def broken(
    text: str,
    points: float,
    width_in: float,
    *,
    bold: bool = False,
    colour: str = "black",
    space_before: float = 0.0,
    hanging: str = "",
) -> list[TextLine]:
    """Break a text into lines that fit a width.

    Parameters
    ----------
    text : str
    points : float
        Size of the type.
    width_in : float
        Room, inches.
    bold, colour
        How it is written.
    space_before : float
        Points above its first line.
    hanging : str
        What stands before its second and further lines.
    """
    room = int(width_in * 72 / (points * _CHARACTER_EM))
    words = textwrap.wrap(text, int(room * (_BOLD_SHARE if bold else 1)), subsequent_indent=hanging)
    return [
        TextLine(one, points, bold, colour, space_before=0 if index else space_before)
        for index, one in enumerate(words)
    ]


def write_lines(axes: Any, lines: Sequence[TextLine], room_in: float) -> None:
    """Write lines from the top of matplotlib axes that are `room_in` inches high."""
    axes.set(xlim=(0, 1), ylim=(room_in, 0))
    axes.axis("off")
    down = 0.0
    for line in lines:
        down += line.height_in
        style = {
            "fontsize": line.points,
            "fontweight": "bold" if line.bold else "normal",
            "color": line.colour,
            "va": "bottom",
            "parse_math": False,
        }
        axes.text(0, down, line.words, ha="left", **style)
        if line.value:
            axes.text(1, down, line.value, ha="right", **(style | {"fontweight": "bold"}))
