"""What must be said of a length that a person chose between an electronic and a radiographic one."""

from __future__ import annotations

from radio.measure.case import Remark
from radio.measure.electronic import Comparison, within
from radio.measure.reading import Choice


def choice_remarks(one: Comparison, choice: Choice) -> tuple[Remark, ...]:
    """What must be said of a chosen length: that it is the mean of two that disagree, or longer than both."""
    electronic, radiographic = one.electronic.value, one.radiographic.value
    remarks = []
    if one.exceeds and abs(choice.mm - 0.5 * (electronic + radiographic)) < 0.05:
        remarks.append(
            Remark(
                "warn",
                f"The chosen length {choice.mm:g} mm is the mean of two lengths that disagree: find out "
                "which one holds instead.",
            )
        )
    if not within(max(0.0, choice.mm - max(electronic, radiographic)), 0.05):
        remarks.append(
            Remark("warn", f"The chosen length {choice.mm:g} mm is longer than either of the two lengths.")
        )
    return tuple(remarks)
