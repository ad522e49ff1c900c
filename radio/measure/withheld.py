"""Numbers of one canal with its checks made, those left out that a stop puts in doubt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from radio.image.radiograph import Radiograph
from radio.measure.assemble import Assembly, assemble
from radio.measure.case import CaseFacts, Clicks
from radio.measure.check_rules.contract import Check, Withheld
from radio.measure.check_rules.scale import SCALE_RULES
from radio.measure.check_rules.seen import Seen
from radio.measure.checks import ordered, run_checks, withheld_by
from radio.measure.settings import CurvatureSettings
from radio.measure.trace_case import TracedCase

# Checks that look at the scale: made before it is taken away.
_OF_SCALE = {"P7", *(rule.id for rule in SCALE_RULES)}
# to the canal end where that is marked, else to the apex
_OF_CANAL = ("canal_length_px", "canal_length_mm")
_FROM_FILE = ("working_length_mm", "target_length_mm", "electronic_difference_mm")
# Lengths a stop takes away, beside what can then no longer be made; the scale comes before the others.
_LENGTHS: Mapping[Withheld, tuple[str, ...]] = {
    "scale": (),
    "apex": ("estimated_length_mm", *_OF_CANAL),
    "tip": (),
    "canal": ("estimated_length_mm",),
    "working": ("working_length_mm",),
    "reference": ("reference_length_mm",),
    "estimate": ("estimated_length_mm",),
}
# Of the numbers that are gone, those whose reason is to be looked for among these first.
_BY_KIND: Mapping[Withheld, tuple[str, ...]] = {
    "apex": ("gap_mm", "reference_length_mm", "estimated_length_mm", *_OF_CANAL, *_FROM_FILE),
    "tip": ("gap_mm", "reference_length_mm", *_FROM_FILE),
    "working": _FROM_FILE,
    "reference": ("reference_length_mm", "target_length_mm"),
    "estimate": ("estimated_length_mm", "target_length_mm"),
}


@dataclass(frozen=True, eq=False)
class CheckedAssembly:
    """Numbers, what the checks found, and which check withholds what.

    Parameters
    ----------
    assembly : Assembly
    checks : tuple of Check
    withheld : mapping of str to str
        Reason by results-table column.
    """

    assembly: Assembly
    checks: tuple[Check, ...]
    withheld: Mapping[str, str]


def assemble_checked(
    radiograph: Radiograph,
    traced: TracedCase,
    clicked: Clicks,
    facts: CaseFacts,
    settings: CurvatureSettings,
) -> CheckedAssembly:
    """All numbers of one canal that no stop withholds.

    Parameters
    ----------
    radiograph : Radiograph
    traced : TracedCase
    clicked : mapping of str to ndarray, shape (N, 2)
        Checked clicks.
    facts : CaseFacts
        With the answers to checks.
    settings : CurvatureSettings
    """

    def looked_at(assembly: Assembly) -> tuple[Check, ...]:
        bend = assembly.bend
        return run_checks(
            Seen(
                radiograph,
                facts,
                clicked,
                traced,
                assembly.scale,
                assembly.no_scale,
                assembly.implied_magnification,
                assembly.measurements,
                {} if bend is None else bend.findings,
            )
        )

    whole = assemble(radiograph, traced, facts, settings)
    first = looked_at(whole)
    stops = {what: withheld_by(first, what) for what in _LENGTHS}
    if not any(stops.values()):
        return CheckedAssembly(whole, first, {})
    rest = _without(radiograph, traced, facts, settings, stops)
    second = looked_at(rest)
    checks = [one for one in first if one.id in _OF_SCALE or one.withholds]
    checks += [one for one in second if one.id not in _OF_SCALE and not one.withholds]
    return CheckedAssembly(rest, ordered(checks), _reasons(whole, rest, stops))


def _without(
    radiograph: Radiograph,
    traced: TracedCase,
    facts: CaseFacts,
    settings: CurvatureSettings,
    stops: Mapping[Withheld, Check | None],
) -> Assembly:
    """Numbers made anew without what is in doubt, so that none of them rests on it."""
    gone = {name for kind, names in _LENGTHS.items() if stops[kind] for name in names}
    if "canal_end" in traced.landmarks:
        gone -= set(_OF_CANAL)
    if stops["scale"]:
        facts = replace(facts, scale_from="none")
    if stops["tip"] or stops["apex"]:
        traced = replace(traced, gap_px=None)
    if stops["canal"]:
        traced = replace(traced, canal_line=None)
    return assemble(radiograph, traced, facts, settings, without=frozenset(gone))


def _reasons(whole: Assembly, rest: Assembly, stops: Mapping[Withheld, Check | None]) -> dict[str, str]:
    """Which check withholds each number that is gone; the scale before the others."""
    gone = [name for name in whole.measurements if name not in rest.measurements]
    if whole.scale is not None and rest.scale is None:
        gone.append("scale_mm_per_px")
    out = {}
    for name in gone:
        first = [stops["scale"]] if name.rpartition("_")[2] not in ("px", "deg") else []
        first += [stops[kind] for kind, names in _BY_KIND.items() if name in names]
        stop = next(one for one in (*first, stops["canal"], *stops.values()) if one is not None)
        out[name] = f"withheld by check {stop.id[1:]} ({stop.title}) until it is answered or put right"
    return out
