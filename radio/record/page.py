"""A sheet of paper with panes laid out in inches from its upper left corner, saved as PNG or SVG."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from radio.errors import PeriapicalError
from radio.record.atomic import write_bytes

FORMATS = ("png", "svg")
_DPI = 150


def file_stems(names: Iterable[str]) -> list[str]:
    """Names that pictures may have on every system, no two alike."""
    found: list[str] = []
    for name in names:
        stem = re.sub(r"[^\w.-]+", "-", name)
        taken = {one.casefold() for one in found}
        number = 2
        free = stem
        while free.casefold() in taken:
            free, number = f"{stem}-{number}", number + 1
        found.append(free)
    return found


class Page:
    """White paper.

    Parameters
    ----------
    width_in, height_in : float
        Its size, inches.
    """

    def __init__(self, width_in: float, height_in: float) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.figure: Any = Figure(figsize=(width_in, height_in), dpi=_DPI, facecolor="white")
        FigureCanvasAgg(self.figure)
        self._size_in = (width_in, height_in)

    def pane(self, left: float, top: float, wide: float, tall: float, **more: Any) -> Any:
        """Matplotlib axes at a place, all in inches, `top` counted downward from the upper edge."""
        width, height = self._size_in
        place = (left / width, 1.0 - (top + tall) / height, wide / width, tall / height)
        return self.figure.add_axes(place, **more)

    def save(self, out: Path) -> None:
        """Write the page; the suffix of the name says in which format.

        Parameters
        ----------
        out : pathlib.Path
            Ends in ``.png`` or ``.svg``. In an SVG text stays text.

        Raises
        ------
        PeriapicalError
            Another suffix, or the place cannot be written.
        """
        kind = checked_format(out.suffix.lower().removeprefix("."), out.name)
        from matplotlib import rc_context

        stream = io.BytesIO()
        # no date and a fixed salt: the same page gives the same bytes
        metadata = {"Date": None} if kind == "svg" else {}
        with rc_context({"svg.fonttype": "none", "svg.hashsalt": "napari-periapical"}):
            self.figure.savefig(stream, format=kind, dpi=_DPI, metadata=metadata)
        write_bytes(out, stream.getvalue())


def checked_format(kind: str, given: str) -> str:
    """Return a format that a page can be saved in.

    Raises
    ------
    PeriapicalError
        It is another one.
    """
    if kind in FORMATS:
        return kind
    allowed = " or ".join(FORMATS)
    raise PeriapicalError(f"A picture cannot be saved as {given!r}; give a name or format that is {allowed}.")
