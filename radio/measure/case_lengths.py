"""Everything on the length of one measured canal: by file, without one, by proportion, by every rule."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from calib.budget import Budget, Input
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.gap_advice import GapAdvice, advice_on_gap
from radio.measure.gap_lengths import GapInImage, known_file_length, working_length_budget
from radio.measure.length import proportion_budget, proportion_length_mm
from radio.measure.length_rules import (
    FIXED_RULES,
    RESORPTION_RULES,
    LengthRule,
    from_handle,
    rule_named,
    ruled_length,
    target_length,
    why_no_target,
)
from radio.measure.result import Measurement


@dataclass(frozen=True)
class RuledLength:
    """What one rule makes of the length; whether it is the one stated."""

    rule: LengthRule
    target: Measurement
    chosen: bool


@dataclass(frozen=True, eq=False)
class CaseLengths:
    """The lengths of one canal.

    Parameters
    ----------
    result : CaseResult
        What they come from.
    length : Measurement or None
        To the radiographic apex: working length by the file, else the estimate without one.
    from_reference : Measurement or None
        To the radiographic apex from the coronal reference, where file and reference are in the image.
    ruled : tuple of RuledLength
        The length by every rule, so that one can be chosen; the stated one is marked. A length counted from
        the handle of the file is none to take a rule off: that from the reference is, or there are none.
    no_target : str
        Why the rule that is stated gives no target; empty where it gives one.
    proportion : Measurement or None
        ``proportion_length_mm``, where a file of known length is in the image.
    budget : Budget or None
        What contributes how much to it.
    length_budget : Budget or None
        What contributes how much to the working length.
    advice : GapAdvice or None
        What is taught for the gap.
    """

    result: CaseResult
    length: Measurement | None
    from_reference: Measurement | None
    ruled: tuple[RuledLength, ...]
    no_target: str
    proportion: Measurement | None
    budget: Budget | None
    length_budget: Budget | None
    advice: GapAdvice | None

    @property
    def counted_from(self) -> str:
        """Where the lengths by rule begin, where that is not where the working length does; else empty."""
        if from_handle(self.result.facts, self.result.measurements) and self.ruled:
            return "from the coronal reference"
        return ""


def case_lengths(result: CaseResult) -> CaseLengths:
    """Gather the lengths of one canal.

    Parameters
    ----------
    result : CaseResult

    Returns
    -------
    CaseLengths
    """
    there = result.measurements
    length = there.get("working_length_mm") or there.get("estimated_length_mm")
    gap = there.get("gap_mm")
    cut = ruled_length(result.facts, there)
    made = _proportion(result)
    starts = f"{result.facts.file_start_at} to tip, and to the radiographic apex"
    own_scale = result.scale is not None and result.scale.source == "file"
    return CaseLengths(
        result,
        length,
        there.get("reference_length_mm"),
        () if cut is None else _ruled(cut, result.facts),
        result.absent.get("target_length_mm") or why_no_target(result.facts, there),
        None if made is None else proportion_length_mm(made, to=starts, own_scale=own_scale),
        made,
        _working_length(result),
        None if gap is None else advice_on_gap(gap),
    )


def _ruled(length: Measurement, facts: CaseFacts) -> tuple[RuledLength, ...]:
    stated = rule_named(facts.length_rule, facts.resorption) if facts.length_rule else None
    rules = [*FIXED_RULES.values()]
    if facts.resorption is not None:
        rules.append(RESORPTION_RULES[facts.resorption])
    if stated is not None and stated not in rules:
        rules.append(stated)
    return tuple(
        RuledLength(rule, target_length(length, rule), rule == stated)
        for rule in rules
        if length.value > rule.subtract_mm
    )


def _working_length(result: CaseResult) -> Budget | None:
    """Budget of the working length, made again from what was measured."""
    gap, known = result.measurements.get("gap_mm"), known_file_length(result.facts)
    if gap is None or known is None or result.scale is None or "working_length_mm" not in result.measurements:
        return None
    gap_px = gap.value / result.scale.col_mm_per_px
    image = GapInImage.of(gap_px, result.landmarks, result.measurements.get("file_length_px"))
    return working_length_budget(image, result.scale, known)


def _proportion(result: CaseResult) -> Budget | None:
    """Budget of the length by proportion, from one file in the image."""
    file_px, gap = result.measurements.get("file_length_px"), result.measurements.get("gap_mm")
    known = known_file_length(result.facts)
    if file_px is None or gap is None or known is None or result.scale is None:
        return None
    if "working_length_mm" not in result.measurements:  # withheld: the proportion begins at the same place
        return None
    start, tip, apex = (result.landmarks[name].sd_along_px for name in ("file_start", "file_tip", "apex"))
    tooth_px = file_px.value + gap.value / result.scale.col_mm_per_px
    start_at = result.facts.file_start_at
    return proportion_budget(
        known,
        Input("tooth in the image", tooth_px, hypot(start, apex), how=f"{start_at} to radiographic apex, px"),
        Input("file in the image", file_px.value, hypot(start, tip), how=f"{start_at} to tip, px"),
        shared_sd_px=start,
    )
