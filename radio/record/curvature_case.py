"""The curvature of one canal as it is told: chosen methods, classes, what was placed, and what is absent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from radio.errors import PeriapicalError, TableError
from radio.measure.case import CaseResult, Clicks
from radio.measure.classes import SCHEMES, Classified, Scheme
from radio.measure.methods import METHODS, QUANTITIES, CurvatureMethod, Quantity, method_named
from radio.measure.own_scheme import SCHEME_COLUMNS, scheme_from_rows
from radio.measure.result import Finding, Measurement
from radio.measure.what_if import WhatIf
from radio.record.classed import classes_of_result
from radio.record.rows import read_rows
from radio.record.wording import missing_measures


@dataclass(frozen=True, eq=False)
class CurvatureCase:
    """One measured canal, and what is asked of its curvature.

    Parameters
    ----------
    image : str
        Name of the image.
    result : CaseResult
    clicks : mapping of str to ndarray, shape (N, 2)
        What it was measured from.
    methods : sequence of CurvatureMethod
        The methods that are shown.
    schemes : sequence of Scheme
        Class schemes that are shown where their quantity is.
    what_if : WhatIf or None
        None where it was not asked for, or there is no canal.
    """

    image: str
    result: CaseResult
    clicks: Clicks
    methods: Sequence[CurvatureMethod]
    schemes: Sequence[Scheme]
    what_if: WhatIf | None = None

    @property
    def quantities(self) -> list[tuple[CurvatureMethod, Quantity, Measurement | Finding]]:
        """What the chosen methods gave, in their order."""
        found: dict[str, Measurement | Finding] = {**self.result.measurements, **self.result.findings}
        return [
            (method, quantity, found[quantity.column])
            for method in self.methods
            for quantity in method.quantities
            if quantity.column in found
        ]

    @property
    def absent(self) -> dict[str, str]:
        """Reason by column for what the chosen methods did not give."""
        there = {quantity.column for _, quantity, _ in self.quantities}
        whole = missing_measures(self.result, set(self.clicks)).get("schneider_deg", "see the remarks")
        return {
            quantity.column: self.result.absent.get(quantity.column, whole)
            for method in self.methods
            for quantity in method.quantities
            if quantity.column not in there
        }

    @property
    def classes(self) -> tuple[Classified, ...]:
        """Classes by the schemes whose quantity is shown."""
        shown = {quantity.column for _, quantity, _ in self.quantities}
        return classes_of_result(self.result, [one for one in self.schemes if one.quantity in shown])

    @property
    def parts(self) -> dict[str, str]:
        """Whether coronal axis and departure were found by the rule or placed by hand, in words."""
        stack = self.result.stack
        if stack is None:
            return {}
        digits = 1 if stack.unit == "mm" else 0
        where = f"{float(stack.departure_s[0]):.{digits}f} {stack.unit} along the canal from the orifice"
        axis = "found by rule, through the longest straight beginning of the canal"
        departure = f"found by rule, {where}"
        if stack.placed.axis is not None:
            axis = "placed by hand"
        if stack.placed.departure is not None:
            departure = f"placed by hand, {where}"
        elif not stack.leaves[0]:
            departure = f"none: the canal stays within {stack.tolerance:g} {stack.unit} of its axis"
        return {"coronal_axis": axis, "departure": departure}


def methods_named(names: Sequence[str]) -> tuple[CurvatureMethod, ...]:
    """Methods by name in their own order, each once; all of them without a name.

    Raises
    ------
    PeriapicalError
        A name is no method's; the names there are are listed.
    """
    chosen = {method_named(name).name for name in names}
    return tuple(method for method in METHODS if not names or method.name in chosen)


def read_scheme(path: Path) -> tuple[Scheme, tuple[str, ...]]:
    """Read a user's own class scheme from a table with a band in each row.

    Parameters
    ----------
    path : pathlib.Path
        Columns ``scheme, quantity, label, from, to``.

    Returns
    -------
    Scheme
    tuple of str
        Warnings.

    Raises
    ------
    TableError
        The text names table and row, what was given and what is allowed.
    """
    rows, warnings = read_rows(path, SCHEME_COLUMNS, SCHEME_COLUMNS)
    for row in rows:
        if row.problem:
            raise TableError(f"{path.name} line {row.line}: {row.problem}")
    numbers = [name for name, quantity in QUANTITIES.items() if quantity.unit != "word"]
    try:
        return scheme_from_rows([(row.line, row.cells) for row in rows], numbers), tuple(warnings)
    except TableError as problem:
        raise TableError(f"{path.name}: {problem}") from problem


def schemes_for(own: Scheme | None, methods: Sequence[CurvatureMethod]) -> tuple[Scheme, ...]:
    """All schemes, the user's own among them.

    Raises
    ------
    PeriapicalError
        The own scheme is for a quantity that none of the chosen methods gives.
    """
    if own is None:
        return SCHEMES
    if own.quantity not in {quantity.column for method in methods for quantity in method.quantities}:
        (giver,) = (method for method in METHODS if own.quantity in _columns(method))
        raise PeriapicalError(
            f"The class scheme {own.name} is for {own.quantity}, which the chosen methods do not give; add "
            f"--method {giver.name}."
        )
    return (*SCHEMES, own)


def _columns(method: CurvatureMethod) -> Mapping[str, Quantity]:
    return {quantity.column: quantity for quantity in method.quantities}
