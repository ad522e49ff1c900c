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
    """

    name: str
    value: float
    unit: str
    sd: float | None
    method: str
    basis: str
    notes: tuple[str, ...] = ()

    @property
    def interval95(self) -> tuple[float, float] | None:
        """Value minus and plus 1.96 standard uncertainties, or None without one.

        An angle between directions is not below 0, so its interval ends there.
        """
        if self.sd is None:
            return None
        half = 1.96 * self.sd
        low = self.value - half
        return (max(low, 0.0) if self.unit == "deg" else low), self.value + half

    def __str__(self) -> str:
        decimals = {"mm": 2, "px": 1, "deg": 1, "mm/px": 5}.get(self.unit, 3)
        spread = "" if self.sd is None else f" ± {self.sd:.{decimals}f}"
        return f"{self.value:.{decimals}f}{spread} {self.unit}"
