"""Words for scales and their budgets, the same in the terminal and on the picture."""

from __future__ import annotations

from calib.budget import BudgetRow
from calib.scale import Scale
from radio.measure.scale_checks import CanalScale, ScaleReport
from radio.measure.scale_witness import Magnification
from radio.record.wording import title_of

NO_BUDGET = "Taken as exact, so that nothing is known of its uncertainty: there is no budget."
_MM = ("known", "pitch", "pixel", "nominal")


def scale_text(scale: Scale) -> str:
    """Write a scale in mm/px with its standard uncertainty."""
    if not scale.sd_mm_per_px:
        return f"{scale.mm_per_px:.5f}, no u stated"
    return f"{scale.mm_per_px:.5f} ± {scale.sd_mm_per_px:.5f}"


def relative_text(scale: Scale) -> str:
    """Write a standard uncertainty in percent of the scale."""
    return f"{scale.relative_sd:.1%}" if scale.sd_mm_per_px else "–"


def magnification_text(one: Magnification | None) -> str:
    """Write an implied magnification, or a dash."""
    if one is None:
        return "–"
    return f"{one.value:.3f} ± {one.sd:.3f}" if one.sd else f"{one.value:.3f}"


def unit_of_input(name: str) -> str:
    """Unit of an input of a scale's budget: mm, px, or none for a magnification."""
    if name.startswith("magnification"):
        return ""
    return "mm" if name.startswith(_MM) or name.endswith("intervals") else "px"


def input_text(row: BudgetRow) -> str:
    """Write value ± standard uncertainty of an input, with its unit."""
    if row.value is None or row.sd is None:
        return ""
    spread = f" ± {row.sd:.2g}" if row.sd else ""
    return f"{row.value:.5g}{spread} {unit_of_input(row.name)}".rstrip()


def sensitivity_text(row: BudgetRow) -> str:
    """Write how much the scale changes for one unit of an input."""
    if row.sensitivity is None:
        return ""
    unit = unit_of_input(row.name)
    return f"{row.sensitivity:+.2g} mm/px" + (f" per {unit}" if unit else "")


def counts_text(canal: CanalScale) -> str:
    """Say which scale counts for the lengths of a canal, or why none does."""
    if canal.counts is None:
        return f"{title_of(canal.result.facts)}: no scale counts for the lengths: {canal.why_none}"
    return (
        f"{title_of(canal.result.facts)}: {canal.counts.name} counts for the lengths, "
        f"{scale_text(canal.counts.scale)} mm/px"
    )


def counted_for(report: ScaleReport, name: str) -> str:
    """Name the canals whose lengths a scale counts for."""
    return ", ".join(canal for canal, counted in report.found.counted.items() if counted == name)
