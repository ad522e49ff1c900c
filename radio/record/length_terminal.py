"""What a terminal shows of the lengths of a canal, and of the order to work in."""

from __future__ import annotations

from rich import box
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from calib.budget import Budget
from radio.measure.case_lengths import CaseLengths
from radio.measure.length_rules import CONVENTION
from radio.measure.plan import STAGE_OF_LENGTH, Plan, Reason
from radio.measure.result import Measurement
from radio.record.terminal import by_level, remark_lines
from radio.record.wording import how_text, interval_text, name_of, title_of, value_text

_NO_RULE = "No rule is chosen: give one with --length-rule, or in the images table."
_SHOWN = ("gap_mm", "working_length_mm", "reference_length_mm", "electronic_difference_mm")
_ORDERS = {
    "length first": "length first",
    "flare first": "coronal flaring first, length late",
    "either": "either: the rules point both ways",
}


def lengths_block(image: str, lengths: CaseLengths) -> RenderableType:
    """Lay out the lengths of one canal: measured, by every rule, by proportion, and the advice on the gap.

    Parameters
    ----------
    image : str
        Name of the image.
    lengths : CaseLengths
    """
    result = lengths.result
    parts: list[RenderableType] = [Text(f"{image}: {title_of(result.facts)}", style="bold")]
    shown = [result.measurements.get(name) for name in _SHOWN]
    if lengths.length not in shown:
        shown.append(lengths.length)
    parts += [_line(one) for one in (*shown, lengths.proportion) if one is not None]
    if lengths.length is None:
        parts.append(Text("No length to the radiographic apex could be measured; see below."))
    if lengths.ruled:
        parts += [_rules(lengths), Text(CONVENTION, style="dim")]
    if lengths.no_target:
        parts.append(Text.assemble(("Target length by rule: none. ", "bold"), f"{lengths.no_target}."))
    elif lengths.ruled and not any(one.chosen for one in lengths.ruled):
        parts.append(Text(_NO_RULE))
    own_scale = result.scale is not None and result.scale.source == "file"
    if lengths.length_budget is not None:
        parts.append(_budget("Uncertainty of the working length", lengths.length_budget))
    if lengths.budget is not None and not own_scale:
        parts.append(_budget("Uncertainty by proportion", lengths.budget))
    if lengths.advice is not None:
        seen, *more = lengths.advice.lines
        parts.append(Text.assemble(("Gap: ", "bold"), seen))
        parts += [Text(f"  {line}") for line in more]
    parts += remark_lines(by_level(result.told))
    parts += [
        Text.assemble(("Not measured: ", "dim"), f"{name}: {result.absent[name]}")
        for name in (*_SHOWN, "estimated_length_mm")
        if name in result.absent
    ]
    return Group(*parts, Text(""))


def _line(one: Measurement) -> Text:
    value = f"{value_text(one)} {one.unit} (95 %: {interval_text(one)}). "
    return Text.assemble((f"{name_of(one)}: ", "bold"), value, (how_text(one), "dim"))


def _rules(lengths: CaseLengths) -> Table:
    title = f"By rule, {lengths.counted_from}" if lengths.counted_from else "By rule"
    table = Table(
        box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, title=title, title_justify="left"
    )
    table.add_column("Rule")
    table.add_column("Length ± u, mm", justify="right", no_wrap=True)
    table.add_column("Source (standing)")
    for one in lengths.ruled:
        chosen, style = ("► ", "bold") if one.chosen else ("  ", "")
        source = escape(f"{one.rule.source} ({one.rule.standing})")
        table.add_row(escape(f"{chosen}{one.rule.title}"), value_text(one.target), source, style=style)
    return table


def _budget(title: str, made: Budget) -> Table:
    table = Table(
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
        title=title,
        title_justify="left",
    )
    table.add_column("Input")
    for title in ("Value ± u", "Contribution, mm", "Share"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("How")
    for row in made.rows:
        value = "" if row.value is None or row.sd is None else f"{row.value:.2f} ± {row.sd:.2f}"
        cells = (row.name, value, f"{row.contribution:+.3f}", f"{row.share:.0%}", row.how)
        table.add_row(*map(escape, cells))
    return table


def plan_block(title: str, made: Plan) -> RenderableType:
    """Lay out an order with its reasons, what is taught against it, and both orders step by step.

    Parameters
    ----------
    title : str
        What it is for.
    made : Plan
    """
    parts: list[RenderableType] = [
        Text(title, style="bold"),
        Text.assemble(("Order, as commonly taught: ", "bold"), (_ORDERS[made.order], "bold")),
    ]
    if made.condition:
        parts.append(Text.assemble(("On a condition: ", "bold yellow"), f"{made.condition}."))
    for heading, reasons in (
        ("Because", made.reasons),
        ("Also taught" if made.order == "either" else "Taught against it", made.counter),
        ("Whatever the order", made.notes),
    ):
        if reasons:
            parts.append(Text(f"{heading}:", style="bold"))
            parts += [_reason(one) for one in reasons]
    parts.append(Text("Either order may be recorded (periapical course):", style="bold"))
    for order, steps in made.steps.items():
        told = f"{'; '.join(steps)}. First length at stage '{STAGE_OF_LENGTH[order]}'."
        parts.append(Text.assemble(f"  {_ORDERS[order]}: ", (told, "")))
    parts.append(Text("The treating clinician decides; nothing here is a rule of treatment."))
    return Group(*parts, Text(""))


def _reason(one: Reason) -> Text:
    favours = "" if one.favours == "neither" else f" → {_ORDERS[one.favours]}"
    return Text.assemble(f"  {one.text}", (f" [{one.standing}]", "dim"), favours)
