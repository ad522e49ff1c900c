"""Words and numbers of a compared list, the same on the terminal and on the picture."""

from __future__ import annotations

from radio.measure.differences import Estimate
from radio.measure.readings_list import NOT_STATED, MarkAgreement

TITLES = {"zero": "zero mark", "half": "half mark", NOT_STATED: "mark not stated"}


def count_text(group: MarkAgreement) -> str:
    """How many readings and canals there are."""
    n = len(group.compared)
    canals = "" if group.canals == n else f" of {group.canals} canal{'s' if group.canals > 1 else ''}"
    return f"{n} reading{'s' if n > 1 else ''}{canals}"


def agreement_texts(group: MarkAgreement, multiplier: float) -> list[tuple[str, str]]:
    """Bias, spread, limits and shares at one mark, each as a name and a text.

    Parameters
    ----------
    group : MarkAgreement
    multiplier : float
        The limits shown first; the others follow by their values alone.
    """
    found = group.differences
    bias = f"{found.bias:+.2f} mm"
    if found.bias_interval95 is not None:
        low, high = found.bias_interval95
        bias += f" (95 % interval {low:+.2f} to {high:+.2f}), electronic minus radiographic"
    lines = [("Bias", bias)]
    if found.sd is not None:
        lines.append(("Standard deviation of the differences", f"{found.sd:.2f} mm"))
    shown = found.limits_at(multiplier)
    if shown is not None:
        ends = " and ".join(_with_interval(one) for one in (shown.lower, shown.upper))
        lines.append((f"Limits of agreement, bias ± {multiplier:g} SD", f"{ends} mm; {shown.source}"))
    for other in found.limits:
        if other.multiplier != multiplier:
            ends = f"{other.lower.value:+.2f} and {other.upper.value:+.2f} mm"
            lines.append((f"The same with ± {other.multiplier:g} SD", f"{ends}; {other.source}"))
    for tolerance, one in group.shares.items():
        interval = f"{100 * one.low95:.0f} to {100 * one.high95:.0f} %"
        told = f"{one.count} of {one.n}, {100 * one.share:.0f} % (95 % interval {interval})"
        lines.append((f"Within {tolerance:g} mm", told))
    return lines


def _with_interval(one: Estimate) -> str:
    return f"{one.value:+.2f} ({one.low95:+.2f} to {one.high95:+.2f})"


def verdict_text(group: MarkAgreement, tolerance_mm: float) -> str:
    """How often each verdict fell at a tolerance."""
    counted = {verdict: f"{count} {verdict}" for verdict, count in group.verdicts.items() if count}
    if "within" in counted:
        counted["within"] += f" ({group.surely_within} with the whole 95 % interval)"
    return f"Against {tolerance_mm:g} mm: {'; '.join(counted.values())}"
