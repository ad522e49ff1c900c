"""The scale of an image: millimetres per pixel, with standard uncertainty and source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from calib.budget import Budget
from calib.errors import CalibrationError

__all__ = ["CalibrationError", "Scale", "ScaleSource"]

FloatArray = npt.NDArray[np.float64]
ScaleSource = Literal["file", "diameter", "ball", "wire", "grid", "dicom", "pitch", "scan", "given"]
# A budget rounds otherwise than a formula.
_SAME = 1e-6


@dataclass(frozen=True)
class Scale:
    """Millimetres per pixel in the plane the calibrating object lies in.

    Parameters
    ----------
    row_mm_per_px, col_mm_per_px : float
        Size of a pixel down the rows and along the columns (equal for square pixels), mm.
    sd_mm_per_px : float
        Standard uncertainty of :attr:`mm_per_px`, mm/px.
    source : {"file", "diameter", "ball", "wire", "grid", "dicom", "pitch", "scan", "given"}
        What the scale was made from: the length of a file, its diameters, ...
    basis : str
        One sentence: how it was made and what it holds for.
    notes : tuple of str
        Remarks that belong beside the number.
    budget : Budget or None
        What contributes how much to :attr:`mm_per_px`, where that is known.

    Raises
    ------
    CalibrationError
        A pixel size is not a positive finite number, the uncertainty is negative or not finite, or the
        budget is of another scale.
    """

    row_mm_per_px: float
    col_mm_per_px: float
    sd_mm_per_px: float
    source: ScaleSource
    basis: str
    notes: tuple[str, ...] = ()
    budget: Budget | None = None

    def __post_init__(self) -> None:
        for name in ("row_mm_per_px", "col_mm_per_px"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                raise CalibrationError(
                    f"{name} is {value!r}; a pixel size must be a finite number above 0 mm. "
                    "Check the calibrating length."
                )
        if not (np.isfinite(self.sd_mm_per_px) and self.sd_mm_per_px >= 0):
            raise CalibrationError(
                f"sd_mm_per_px is {self.sd_mm_per_px!r}; it must be finite and not below 0 mm/px."
            )
        if self.budget is not None:
            self._check_budget(self.budget)

    def _check_budget(self, budget: Budget) -> None:
        off = abs(budget.value - self.mm_per_px) + abs(budget.sd - self.sd_mm_per_px)
        if not off <= _SAME * self.mm_per_px:
            raise CalibrationError(
                f"The budget is of {budget.value:g} ± {budget.sd:g} mm/px, the scale is {self.mm_per_px:g} "
                f"± {self.sd_mm_per_px:g} mm/px; a scale needs its own budget."
            )

    @property
    def mm_per_px(self) -> float:
        """Geometric mean pixel size, mm; the pixel size itself when pixels are square."""
        return float(np.sqrt(self.row_mm_per_px * self.col_mm_per_px))

    @property
    def relative_sd(self) -> float:
        """Standard uncertainty as a fraction of the scale."""
        return self.sd_mm_per_px / self.mm_per_px

    def to_mm(self, points_px: npt.ArrayLike) -> FloatArray:
        """Convert points, shape (N, 2) as (row, col) in pixels, to millimetres, same shape."""
        points = np.asarray(points_px, dtype=np.float64)
        return np.asarray(points * np.array([self.row_mm_per_px, self.col_mm_per_px]))
