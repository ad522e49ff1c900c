"""The six steps of the work: how far each one is, and the one line that says what to do next; no Qt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from napari_periapical.check_rows import result_with_neighbours
from napari_periapical.controller import Controller
from napari_periapical.guide import CORRECT, GUIDE, instruction
from napari_periapical.keeping import unsaved_canals
from napari_periapical.number_rows import scale_source, short_value
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.checks import open_questions

State = Literal["done", "open", "heed", "later"]
# beside the name of a step; words tell the same, so that nothing hangs on the sign
SIGNS: dict[State, str] = {"done": "✓", "open": "○", "heed": "!", "later": "·"}
NAMES = {
    "image": "Image",
    "scale": "Scale",
    "trace": "Trace",
    "curvature": "Curvature",
    "lengths": "Length and readings",
    "keep": "Keep",
}
# what is worked to first
_LENGTHS = {
    "target_length_mm": "Target by rule",
    "working_length_mm": "Working length",
    "estimated_length_mm": "Estimate",
}
_ALL_PLACED = "All needed points are placed"


@dataclass(frozen=True)
class Step:
    """How far one step is.

    Parameters
    ----------
    state : {"done", "open", "heed", "later"}
        Finished; to be done; something there must be looked at; nothing can be done yet.
    line : str
        What to do next, in one line.
    """

    state: State
    line: str

    @property
    def sign(self) -> str:
        """The sign that stands beside the name."""
        return SIGNS[self.state]


def steps_of_work(controller: Controller) -> dict[str, Step]:
    """Say of every step how far it is, by name, in the order of the work."""
    if controller.session is None:
        first = Step("open", "Open an image with the button below, or drop one on the viewer.")
        return {"image": first} | {name: Step("later", "Open an image first.") for name in list(NAMES)[1:]}
    shown = controller.shown
    result = shown.result if shown else None
    return {name: _OF[name](controller, result) for name in NAMES}


def _image(controller: Controller, result: CaseResult | None) -> Step:
    session = controller.session
    assert session is not None
    judged = None if result is None else result_with_neighbours(session, controller.canal.uid)
    if judged is None:
        return Step("open", "Look at it: are apex, file tip and stop on the image, and is it sharp?")
    open_checks = [one for one in judged.checks if not one.settled]
    stops = sum(one.level == "stop" for one in open_checks)
    warnings = sum(one.level == "warn" for one in open_checks)
    if stops:
        return Step("heed", f"{_count(stops, 'check takes', 'checks take')} numbers away: {_choose(stops)}.")
    if warnings:
        return Step("heed", f"{_count(warnings, 'warning')}: {_choose(warnings)} for what to do.")
    asked = len(open_questions(judged))
    if asked:
        return Step("open", f"{_count(asked, 'question')} only you can answer; choose one below.")
    return Step("done", "Every check is settled.")


def _scale(controller: Controller, result: CaseResult | None) -> Step:
    facts = controller.canal.facts
    if result is not None and result.scale is not None:
        return Step("done", f"{short_value(result, 'scale_mm_per_px')}, {scale_source(result)}.")
    if facts.scale_from == "none":
        return Step("done", "Angles only, as you chose: no millimetres.")
    known = _known(facts, measured=result is not None)
    if known:
        return Step("open", f"Known. Now mark {' or '.join(known)} on the image: step 3.")
    return Step("open", "State a length you know: of the file, of a ball, or the size of a pixel.")


def _known(facts: CaseFacts, *, measured: bool) -> tuple[str, ...]:
    """Name what is to be marked before what is stated gives a scale; the size of a pixel needs any line."""
    stated = {
        ("file", "the file"): facts.file_length_mm is not None,
        ("ball", "the ball"): facts.ball_diameter_mm is not None,
        ("given", "the canal"): facts.mm_per_px is not None and not measured,
        ("dicom", "the canal"): facts.scale_from == "dicom" and not measured,
    }
    return tuple(what for (by, what), there in stated.items() if there and facts.scale_from in (None, by))


def after_all_points(controller: Controller) -> tuple[str, str]:
    """Say in a title and a line what is left when the guide asks for no more points."""
    shown, facts = controller.shown, controller.canal.facts
    result = shown.result if shown else None
    if result is None or result.scale is not None or facts.scale_from == "none":
        return _ALL_PLACED, CORRECT
    if _known(facts, measured=True):
        return _ALL_PLACED, "A length is known, but gives no millimetres yet: see step 2."
    what = "the length of the file or of a ball, or the size of a pixel"
    return "Next: a known length, in step 2", f"{_ALL_PLACED}; millimetres need {what}."


def _trace(controller: Controller, _result: CaseResult | None) -> Step:
    session = controller.session
    assert session is not None
    if session.tracing is not None and session.landmark is not None:
        return Step("open", f"Tracing the {session.tracing} to the {GUIDE[session.landmark].label.lower()}.")
    if session.landmark is not None:
        told = instruction(session.landmark, controller.canal)
        return Step("open", f"{GUIDE[session.landmark].label}: {told[:1].lower()}{told[1:]}")
    shown = controller.shown
    if shown is not None and shown.result is None:
        return Step("heed", shown.problem)
    return Step("done", CORRECT)


def _curvature(_controller: Controller, result: CaseResult | None) -> Step:
    if result is None or result.canal_line is None:
        return Step("later", "Needs the canal: orifice, and canal end or radiographic apex.")
    told = short_value(result, "schneider_deg")
    if not told:
        return Step("heed", "The canal is traced, but no Schneider angle follows; see below why.")
    return Step("done", f"Schneider {told}. Choose a method to see how its number is made.")


def _lengths(controller: Controller, result: CaseResult | None) -> Step:
    told = () if result is None else [one for one in _LENGTHS if one in result.measurements]
    if result is None or not told:
        return Step("later", "Needs a traced file and the apex; without a file, canal, reference and scale.")
    facts = controller.canal.facts
    length = ". ".join(f"{_LENGTHS[one]} {short_value(result, one)}" for one in told)
    if not facts.length_rule:
        return Step("open", f"{length}. Name a length rule to get the length to work to.")
    if facts.electronic_mm is None:
        return Step("open", f"{length}. State the electronic reading, if there is one.")
    return Step("done", f"{length}.")


def _keep(controller: Controller, _result: CaseResult | None) -> Step:
    session = controller.session
    assert session is not None
    if not session.sheet.placed:
        return Step("later", "Nothing to keep yet.")
    unsaved = unsaved_canals(session)
    if unsaved:
        return Step("open", f"{_count(len(unsaved), 'canal')} not saved as a revision yet.")
    return Step("done", "Saved as it stands.")


_OF: dict[str, Callable[[Controller, CaseResult | None], Step]] = {
    "image": _image,
    "scale": _scale,
    "trace": _trace,
    "curvature": _curvature,
    "lengths": _lengths,
    "keep": _keep,
}


def _count(number: int, one: str, more: str = "") -> str:
    """Write a number with its word."""
    return f"{number} {one if number == 1 else more or one + 's'}"


def _choose(number: int) -> str:
    return f"choose {'it' if number == 1 else 'one'} below"
