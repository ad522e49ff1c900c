"""Classes of bend by named scheme; a class is never given without the scheme it belongs to.

Published bands are data here, with the gaps they have: a value that no band holds has no class.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from radio.errors import PeriapicalError

NO_CLASS = "no class"

Interval = tuple[float, float]
_ONE_VIEW = "one view only: a bend toward or away from the detector is not seen"
_UNITS = {"_deg_per_mm": "°/mm", "_per_mm": "/mm", "_deg": "°", "_mm": " mm", "_px": " px"}


@dataclass(frozen=True)
class Band:
    """One stretch of values, in the unit of its scheme, and the word for it.

    Parameters
    ----------
    label : str
        :data:`NO_CLASS` for a stretch that a scheme leaves out.
    low, high : float
        Edges; `high` may be infinite.
    low_closed, high_closed : bool
        Whether the edge itself belongs to the band.
    """

    label: str
    low: float
    high: float
    low_closed: bool = True
    high_closed: bool = True

    def touches(self, low: float, high: float) -> bool:
        """Whether the band shares a value with the interval from `low` to `high`, its ends included."""
        begins = low < self.high or (low == self.high and self.high_closed)
        return begins and (high > self.low or (high == self.low and self.low_closed))

    def edges(self, unit: str) -> str:
        """Edges in words: "from" and "to" hold the edge, "above" and "below" do not."""
        low = f"{'from' if self.low_closed else 'above'} {self.low:g}{unit}"
        if math.isinf(self.high):
            return low
        high = f"{'to' if self.high_closed else 'below'} {self.high:g}{unit}"
        if self.low == 0 and self.low_closed:
            return high
        return f"{low} {high}" if self.high_closed else f"{low} and {high}"


@dataclass(frozen=True)
class Scheme:
    """A named way of putting a measured bend into classes.

    Parameters
    ----------
    name, title : str
        Short name it is asked for by; name for people.
    source : str
        Where the bands stand, and how far that was checked.
    standing : {"verified", "secondary", "from memory", "own"}
        Read in the source; read in a page about it; not read; the user's.
    quantity : str
        Column it applies to, e.g. ``"schneider_deg"``.
    bands : tuple of Band
        Ascending, without overlap; what lies between them has no class.
    s_shaped_label : str or None
        Class of every S-shaped canal, whatever its angle; None where the scheme has no such rule.
    note : str
        What must be known to read the class rightly.
    """

    name: str
    title: str
    source: str
    standing: Literal["verified", "secondary", "from memory", "own"]
    quantity: str
    bands: tuple[Band, ...]
    s_shaped_label: str | None = None
    note: str = ""

    @property
    def unit(self) -> str:
        """Unit of the quantity, with the space that stands before it."""
        return next((unit for suffix, unit in _UNITS.items() if self.quantity.endswith(suffix)), "")

    @property
    def stretches(self) -> tuple[Band, ...]:
        """Bands and the gaps about them, ascending: every value from 0 to infinity is in exactly one."""
        out: list[Band] = []
        ends = (Band("", 0, 0, high_closed=False), Band("", math.inf, math.inf, low_closed=False))
        for below, band in pairwise((ends[0], *self.bands, ends[1])):
            gap = Band(NO_CLASS, below.high, band.low, not below.high_closed, not band.low_closed)
            if gap.low < gap.high or (gap.low_closed and gap.high_closed):
                out.append(gap)
            out.append(band)
        return tuple(out[:-1])

    @property
    def told(self) -> str:
        """All bands in words."""
        bands = "; ".join(f"{band.label} {band.edges(self.unit)}" for band in self.bands)
        return bands if self.s_shaped_label is None else f"{bands}; S-shaped: {self.s_shaped_label}"


SCHEMES: tuple[Scheme, ...] = (
    Scheme(
        "schneider",
        "Schneider's classes",
        "Schneider 1971, Oral Surg Oral Med Oral Pathol 32:271; bands read in a secondary page, that 5° "
        "itself is straight is from memory",
        "secondary",
        "schneider_deg",
        (Band("straight", 0, 5), Band("moderate", 10, 20), Band("severe", 25, 70)),
        note="Between 5° and 10° or 20° and 25° and above 70° there is no class. A study of 2021 (BMC Oral "
        "Health, doi 10.1186/s12903-021-01446-x; abstract read) took 10° to 25° and 26° to 70° instead.",
    ),
    Scheme(
        "difficulty",
        "Difficulty bands 10° and 30°",
        "case difficulty form, American Association of Endodontists, 2005, revised 2022: below 10° read in a "
        "summary, 10° to 30° in an abstract; 'above 30° or S-shaped' is from memory",
        "secondary",
        "schneider_deg",
        (Band("low", 0, 10, high_closed=False), Band("moderate", 10, 30), Band("high", 30, math.inf, False)),
        s_shaped_label="high",
        note="Sources disagree at 30° itself: the form says above 30° (from memory), an abstract of 2025 "
        "(Int Endod J, doi 10.1111/iej.70072) says 30° or more and counts S-shaped canals apart. Which angle "
        "is meant is not known; here it is the Schneider angle. Curvature is one of several items that the "
        "form counts: this is not the difficulty of the case.",
    ),
    Scheme(
        "radius",
        "Radius bands 4 and 8 mm",
        "Estrela 2008, Braz Dent J 19:114; the bands are from memory",
        "from memory",
        "two_segment_radius_mm",
        (Band("severe", 0, 4), Band("moderate", 4, 8, False), Band("mild", 8, math.inf, False)),
        note="Made for the circle through the ends of two straight pieces of 6 mm (from memory); the radius "
        "of a tangent circle and the smallest radius are other quantities, which it does not class.",
    ),
)


@dataclass(frozen=True)
class Classified:
    """The class of a value, with the scheme it belongs to.

    Parameters
    ----------
    scheme : Scheme
    value, interval95 : float; tuple of float or None
        What was classed, in the unit of the scheme's quantity.
    label : str or None
        None where no band of the scheme holds the value.
    touched : tuple of str
        Labels that the 95 % interval reaches, ascending; :data:`NO_CLASS` for a gap.
    text : str
        All this in words, beginning with the scheme's title.
    """

    scheme: Scheme
    value: float
    interval95: Interval | None
    label: str | None
    touched: tuple[str, ...]
    text: str


def classify(
    value: float | None, interval95: Interval | None, scheme: Scheme, *, s_shaped: bool | None, views: int = 1
) -> Classified:
    """Class of a measured value by one scheme.

    Parameters
    ----------
    value, interval95 : float; tuple of float or None
        The scheme's quantity and its 95 % interval, of which a part below 0 is left out. A radius may be
        infinite (a straight canal).
    scheme : Scheme
    s_shaped : bool or None
        Whether the canal is S-shaped; None when this was not judged.
    views : int
        Number of views the value rests on.

    Raises
    ------
    ValueError
        The value is missing or impossible, its interval does not hold it, or there is no view.
    """
    value, interval = _checked(value, interval95, scheme.quantity, views)
    if s_shaped and scheme.s_shaped_label is not None:
        label: str | None = scheme.s_shaped_label
        touched: tuple[str, ...] = (scheme.s_shaped_label,)
        words = [f"{label}, because the canal is S-shaped"]
    else:
        at = next(one for one in scheme.stretches if one.touches(value, value))
        reached = [one for one in scheme.stretches if one.touches(*(interval or (value, value)))]
        label = None if at.label == NO_CLASS else at.label
        touched = tuple(one.label for one in reached)
        words = [label or f"{NO_CLASS}, {_where(at, scheme)}"]
        others = [
            f"{NO_CLASS} ({one.edges(scheme.unit)})" if one.label == NO_CLASS else one.label
            for one in reached
            if one != at
        ]
        if others:
            words.append(f"its 95 % interval also reaches {', '.join(others)}")
        words += _doubts(interval, s_shaped, scheme, label)
    if views == 1:
        words.append(_ONE_VIEW)
    title = scheme.title + (" (from memory)" if scheme.standing == "from memory" else "")
    return Classified(scheme, value, interval, label, touched, f"{title}: {'; '.join(words)}")


def _checked(
    value: float | None, interval: Interval | None, name: str, views: int
) -> tuple[float, Interval | None]:
    if views < 1:
        raise ValueError(f"given {views} views; a value rests on 1 or more")
    if value is None or math.isnan(value):
        raise ValueError(f"{name} was not measured; without a value there is no class")
    if value < 0 or (math.isinf(value) and not name.endswith("radius_mm")):
        raise ValueError(
            f"given {name} = {value:g}; allowed is a number from 0 up (infinite only for a radius)"
        )
    if interval is None:
        return value, None
    if not interval[0] <= value <= interval[1]:
        raise ValueError(f"the 95 % interval {interval} of {name} does not hold its value {value:g}")
    return value, (max(interval[0], 0.0), interval[1])


def _where(gap: Band, scheme: Scheme) -> str:
    place = "between"
    if gap.low >= scheme.bands[-1].high:
        place = "above"
    elif gap.high <= scheme.bands[0].low:
        place = "below"
    return f"{place} the bands of this scheme ({gap.edges(scheme.unit)})"


def _doubts(interval: Interval | None, s_shaped: bool | None, scheme: Scheme, label: str | None) -> list[str]:
    out = [] if interval else ["no uncertainty stated, so it may lie in another class"]
    if s_shaped:
        out.append("the canal is S-shaped, for which this scheme has no rule")
    elif s_shaped is None and scheme.s_shaped_label not in (None, label):
        out.append(f"not judged whether the canal is S-shaped, which would make it {scheme.s_shaped_label}")
    return out


def classes_of(
    values: Mapping[str, tuple[float | None, Interval | None]],
    s_shaped: bool | None,
    views: int = 1,
    schemes: Iterable[Scheme] = SCHEMES,
) -> tuple[Classified, ...]:
    """Classes by every scheme that applies to what was measured, in the order of the schemes.

    Parameters
    ----------
    values : mapping of str to (float or None, tuple of float or None)
        Value and 95 % interval by column name; what was not measured (absent, None, NaN) gets no class.
    s_shaped, views
        As for :func:`classify`.
    schemes : iterable of Scheme
    """
    measured = {
        name: pair for name, pair in values.items() if pair[0] is not None and not math.isnan(pair[0])
    }
    return tuple(
        classify(*measured[one.quantity], one, s_shaped=s_shaped, views=views)
        for one in schemes
        if one.quantity in measured
    )


def scheme_named(name: str, schemes: Sequence[Scheme] = SCHEMES) -> Scheme:
    """Scheme of a name, whatever its case.

    Raises
    ------
    PeriapicalError
        No scheme has the name; the text lists those there are.
    """
    for scheme in schemes:
        if scheme.name.casefold() == name.strip().casefold():
            return scheme
    names = ", ".join(scheme.name for scheme in schemes)
    raise PeriapicalError(f"There is no class scheme {name!r}; allowed are {names}.")
