"""One measured number with everything needed to judge it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measurement:
    """A value with its unit, standard uncertainty, method and basis.

    Parameters
    ----------
    name : str
        What was measured, with its unit as suffix, e.g. ``"gap_mm"``: the column name in tables.
    value : float
        The estimate, in `unit`.
    unit : str
        ``"mm"``, ``"px"``, ``"deg"`` or ``"mm/px"``.
    sd : float or None
        Standard uncertainty (JCGM 100:2008, 2.3.1), in `unit`; None where none can be stated.
    method : str
        How the value was made, in words short enough to stand beside it.
    basis : str
        What it rests on (source of the scale, landmarks used, tolerance).
    notes : tuple of str
        Remarks that belong beside the number.
    interval : tuple of float, optional
        95 % interval where it does not lie evenly about the value, as of a radius; it may have no upper
        end (infinity).
    """

    name: str
    value: float
    unit: str
    sd: float | None
    method: str
    basis: str
    notes: tuple[str, ...] = ()
    interval: tuple[float, float] | None = None

    @property
    def interval95(self) -> tuple[float, float] | None:
        """The stated interval, else value minus and plus 1.96 standard uncertainties, or None without one.

        An angle between directions is not below 0, so its interval ends there.
        """
        if self.interval is not None or self.sd is None:
            return self.interval
        half = 1.96 * self.sd
        low = self.value - half
        return (max(low, 0.0) if self.unit == "deg" else low), self.value + half

    def __str__(self) -> str:
        decimals = {"mm": 2, "px": 1, "deg": 1, "mm/px": 5}.get(self.unit, 3)
        spread = "" if self.sd is None else f" ± {self.sd:.{decimals}f}"
        return f"{self.value:.{decimals}f}{spread} {self.unit}"


@dataclass(frozen=True)
class Finding:
    """A word read from the trace, such as a form, with everything needed to judge it.

    Parameters
    ----------
    name : str
        What was found: the column name in tables.
    word : str
        The finding.
    share : float
        Share of the traces as they might have come out that give the same word, 0..1.
    method, basis : str
        As of a :class:`Measurement`.
    notes : tuple of str
        Remarks that belong beside it.
    """

    name: str
    word: str
    share: float
    method: str
    basis: str
    notes: tuple[str, ...] = ()
