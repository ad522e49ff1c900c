"""What a curvature method is: a module of this package that holds one `METHOD`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy.typing as npt

from radio.measure.drawn import Step
from radio.measure.settings import spelled
from radio.measure.stack import TraceStack

Unit = Literal["deg", "mm", "1/mm", "deg/mm", "ratio", "word"]

_ENDINGS = {"deg": "_deg", "mm": "_mm", "1/mm": "_per_mm", "deg/mm": "_deg_per_mm", "ratio": ""}


@dataclass(frozen=True)
class Quantity:
    """One number, or word, that a method gives.

    Parameters
    ----------
    column : str
        Name in tables, with the unit as suffix.
    title : str
        Name for people.
    unit : str
        ``"word"`` for a form or a side.
    smallest_sd : float
        Standard uncertainty is never stated below this, in `unit`; unused for a word.
    at_least : float
        No value is below this.
    reciprocal : bool
        True for a radius: its reciprocal, not itself, spreads evenly, and it has no upper end when the canal
        may be straight.
    noise_adds : bool
        True for a sum or a maximum of bends whichever way they turn: every waver of a trace makes it greater
        (a radius smaller).
    of_image : bool
        True for a side of the image, which means nothing in space.
    """

    column: str
    title: str
    unit: Unit
    smallest_sd: float = 0.0
    reciprocal: bool = False
    at_least: float = 0.0
    noise_adds: bool = False
    of_image: bool = False

    @property
    def needs_mm(self) -> bool:
        """Whether it means nothing without a scale."""
        return "mm" in self.unit

    @property
    def beside(self) -> str:
        """Column of its standard uncertainty; for a word, of the share of possible traces that agree."""
        if self.unit == "word":
            return f"{self.column}_share"
        ending = _ENDINGS[self.unit]
        return f"{self.column.removesuffix(ending)}_sd{ending}"


@dataclass(frozen=True)
class CurvatureMethod:
    """One published way of putting numbers on the bend of a canal.

    Parameters
    ----------
    name : str
        As typed on the command line.
    order : int
        Place in lists; the lower the earlier.
    title : str
        Name for people.
    definition : str
        The construction in words.
    source : str
        Where it was published.
    standing : str
        What of it was verified, and what is only from memory or derived.
    quantities : tuple of Quantity
    values : callable
        From a stack of K traces to an array of K values (or words) by column; NaN where there is none.
    settings : callable
        From a stack to the parameters used, in words that stand beside the value.
    construct : callable
        From a stack to the steps of the construction of its first trace, in the unit of the stack.
    absent : str
        Why a value may be missing.
    needs_mm : bool
        True where the construction itself has lengths in millimetres.
    uses_axis : bool
        False where neither the coronal axis nor the departure point is part of the construction.
    bounds : callable, optional
        From a stack with draws to the ends of a 95 % interval by column, for a value whose own draws do not
        show its spread, as a length beyond a threshold.
    """

    name: str
    order: int
    title: str
    definition: str
    source: str
    standing: str
    quantities: tuple[Quantity, ...]
    values: Callable[[TraceStack], Mapping[str, npt.NDArray[Any]]]
    settings: Callable[[TraceStack], str]
    construct: Callable[[TraceStack], tuple[Step, ...]]
    absent: str = ""
    needs_mm: bool = False
    uses_axis: bool = True
    bounds: Callable[[TraceStack], Mapping[str, tuple[float, float]]] | None = None


def tolerance_words(stack: TraceStack) -> str:
    """Departure tolerance for people."""
    if stack.unit == "mm":
        return f"departure tolerance {spelled(stack.tolerance, 2)} mm"
    return f"departure tolerance {spelled(stack.tolerance)} px (no scale)"


def portion_words(stack: TraceStack) -> str:
    """Apical portion for people."""
    told = _along_words(stack, stack.apical_portion, stack.settings.apical_portion_mm)
    third = float(stack.length[0]) / 3
    if stack.unit == "mm" and stack.settings.apical_portion_mm > third:
        told = f"{third:.1f} mm (a third of the canal)"
    return f"apical line through the last {told}"


def smoothing_words(stack: TraceStack) -> str:
    """Smoothing for people."""
    told = _along_words(stack, stack.smooth_span, stack.settings.smoothing_mm)
    return f"smoothing spline, waves of {told} halved"


def _along_words(stack: TraceStack, taken: float, stated_mm: float) -> str:
    """A length along the canal for people: as stated, or what is taken for it without a scale."""
    if stack.unit == "mm":
        return f"{spelled(stated_mm, 1)} mm"
    return f"{taken:.0f} px ({100 * taken / float(stack.length[0]):.3g} % of the canal, no scale)"
