"""What tracing returns: lines and landmarks in pixels, each with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from radio.trace.curve import cumulative_length, section

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
LineKind = Literal["file", "canal"]


@dataclass(frozen=True, eq=False)
class Line:
    """One traced line, coronal to apical.

    Parameters
    ----------
    kind : {"file", "canal"}
        Bright instrument or dark canal.
    points_px : ndarray, shape (N, 2)
        Sub-pixel (row, col), integer = pixel centre.
    sd_px : ndarray, shape (N,)
        Standard uncertainty of each point across the line, pixels.
    confident : ndarray of bool, shape (N,)
        False where the image does not support the line and it was bridged between supported stretches.
    slow_sd_px : ndarray, shape (N,), optional
        The share of `sd_px` whose errors change slowly along the line, as a lean of a file in its canal does;
        none where it is left out.
    """

    kind: LineKind
    points_px: FloatArray
    sd_px: FloatArray
    confident: BoolArray
    slow_sd_px: FloatArray | None = None

    def part(
        self, s0: float, s1: float, *, kind: LineKind | None = None, along_px: FloatArray | None = None
    ) -> Line:
        """Stretch between two arc lengths, continued straight where they lie beyond its ends.

        Parameters
        ----------
        s0, s1 : float
            Arc lengths from the first point, pixels.
        kind : {"file", "canal"}, optional
            Kind of the part, where it is another.
        along_px : ndarray, shape (M, 2), optional
            Geometry to follow instead of this line's own; arc lengths then refer to it.
        """
        points = self.points_px if along_px is None else along_px
        known = cumulative_length(self.points_px)
        out = section(points, s0, s1, float(known[-1]) / max(len(known) - 1, 1))
        s = np.linspace(s0, s1, len(out))
        return Line(
            kind or self.kind,
            out,
            np.interp(s, known, self.sd_px),
            np.interp(s, known, self.confident.astype(float)) > 0.5,
            None if self.slow_sd_px is None else np.interp(s, known, self.slow_sd_px),
        )


@dataclass(frozen=True)
class LandmarkFix:
    """A landmark as refined from a rough click.

    Parameters
    ----------
    name : str
        Landmark name as in the clicks table, e.g. ``"file_tip"``.
    row, col : float
        Refined position, pixels.
    click_row, click_col : float
        The click it came from, pixels.
    sd_along_px, sd_across_px : float
        Standard uncertainty along and across the line the landmark lies on, pixels.
    how : str
        In a few words: what in the image fixed it, or that the click was kept.
    refined : bool
        False when the image did not support a refinement and the click was kept.
    """

    name: str
    row: float
    col: float
    click_row: float
    click_col: float
    sd_along_px: float
    sd_across_px: float
    how: str
    refined: bool

    @property
    def point_px(self) -> FloatArray:
        """Refined position, shape (2,) as (row, col)."""
        return np.array([self.row, self.col])

    @property
    def moved_px(self) -> float:
        """Distance between click and refined position, pixels."""
        return float(np.hypot(self.row - self.click_row, self.col - self.click_col))
