"""What the two kinds of line look like: the knowledge tracing starts from, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

from radio.trace.line import LineKind

# Spacing of the rows of a straightened band.
ALONG_MM = 0.10


@dataclass(frozen=True)
class LineLook:
    """What a kind of line looks like.

    Parameters
    ----------
    kind : {"file", "canal"}
    widths_mm : tuple of float
        Widths to look for.
    widest_mm : tuple of float
        Greatest width at the apical end, and how much more per millimetre away from it.
    reach_mm : float
        How far from a curve through the clicks the line may lie.
    click_sd_mm : float
        Scatter of a click across the line.
    between_sd_mm : float
        How far from the guide the line is expected per millimetre between clicks.
    smooth_along_mm : float
        Standard deviation of the averaging along the line before its contrast is judged.
    slope_cost : float
        Cost of one millimetre at 45 degrees to the guide, in millimetres of full-contrast line.
    curvature_drift : float
        How much curvature changes along the line: standard deviation, per mm, over one millimetre.
    """

    kind: LineKind
    widths_mm: tuple[float, ...]
    widest_mm: tuple[float, float]
    reach_mm: float
    click_sd_mm: float
    between_sd_mm: float
    smooth_along_mm: float
    slope_cost: float
    curvature_drift: float

    @property
    def bright(self) -> bool:
        """Radiopaque (file) or radiolucent (canal)."""
        return self.kind == "file"


FILE = LineLook(
    "file",
    widths_mm=(0.12, 0.25, 0.5, 0.9),
    widest_mm=(0.55, 0.03),
    reach_mm=1.2,
    click_sd_mm=0.3,
    between_sd_mm=3.0,
    smooth_along_mm=0.2,
    slope_cost=12.0,
    curvature_drift=0.15,
)
CANAL = LineLook(
    "canal",
    widths_mm=(0.15, 0.3, 0.55, 1.0),
    widest_mm=(0.4, 0.06),
    reach_mm=1.2,
    click_sd_mm=0.3,
    between_sd_mm=0.45,
    smooth_along_mm=0.4,
    slope_cost=40.0,
    curvature_drift=0.15,
)
# Beyond a file tip: a short stretch whose beginning and direction are known.
TAIL = LineLook(
    "canal",
    widths_mm=(0.12, 0.2, 0.35),
    widest_mm=(0.4, 0.0),
    reach_mm=0.5,
    click_sd_mm=0.25,
    between_sd_mm=0.2,
    smooth_along_mm=0.4,
    slope_cost=40.0,
    curvature_drift=0.8,
)
LOOKS: dict[LineKind, LineLook] = {"file": FILE, "canal": CANAL}
