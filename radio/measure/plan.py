"""Whether a length is taken first or after coronal flaring: common practice, with its reasons."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from calib.instruments import TAPER, HandFile
from radio.errors import PeriapicalError
from radio.measure.result import Measurement

Order = Literal["length first", "flare first", "either"]
Favours = Literal["length first", "flare first", "neither"]

# Size that is called a large canal when it passes freely: textbooks, from memory.
LARGE_SIZE = 15
# Bands of the case difficulty form of the American Association of Endodontists, degrees. Put to use here as
# what counts as straight and as curved: own choice, no source ties them to the order.
STRAIGHT_BELOW_DEG, CURVED_ABOVE_DEG = 10.0, 30.0

_COMMON = "common practice, no source"
_MEMORY = "textbook rule, from memory"

STAGE_OF_LENGTH = {"length first": "scouting", "flare first": "after coronal flaring"}
"""At which stage of a course the length is first taken."""

_STEPS = {
    "length first": (
        "scout to the estimate",
        "take the length",
        "flare and shape",
        "take the length again after flaring and before the end",
    ),
    "flare first": (
        "scout with small files, short of the estimate",
        "flare the coronal part",
        "take the length",
        "check it after the glide path and after shaping",
    ),
}


@dataclass(frozen=True)
class Reason:
    """One line of the reasoning.

    Parameters
    ----------
    text : str
    standing : str
        Where it stands and how far that was verified.
    favours : {"length first", "flare first", "neither"}
    """

    text: str
    standing: str
    favours: Favours


@dataclass(frozen=True)
class Plan:
    """An order to work in, as commonly taught, with reasons for and against.

    Parameters
    ----------
    order : {"length first", "flare first", "either"}
        What the rules favour; "either" where they point both ways.
    reasons : tuple of Reason
        What the order rests on.
    counter : tuple of Reason
        What is taught against it.
    notes : tuple of Reason
        What holds whatever the order.
    condition : str
        What was not stated and could turn the order, with what it would have to be; empty where nothing is.
    """

    order: Order
    reasons: tuple[Reason, ...]
    counter: tuple[Reason, ...]
    notes: tuple[Reason, ...]
    condition: str = ""

    @property
    def steps(self) -> dict[str, tuple[str, ...]]:
        """Steps of each order, the favoured one first; either may be recorded."""
        names = sorted(_STEPS, key=lambda name: name != self.order)
        return {name: _STEPS[name] for name in names}


def plan(
    first_file_size: int,
    taper: float,
    reaches_freely: bool,
    curvature: Measurement | None = None,
    tooth: str = "",
    *,
    s_shaped: bool = False,
) -> Plan:
    """Weigh the order of a treatment: length first, or coronal flaring first and the length late.

    A large canal is one that a size 15 hand file of taper 0.02 passes freely to the estimated length; its
    length is taken first. In a small or curved canal the coronal part is flared first. Common practice; a
    school teaches to measure always before preparation, and that stands beside it.

    Parameters
    ----------
    first_file_size : int
        ISO 3630-1 size of the first hand file tried to the estimated length.
    taper : float
        Its taper, mm per mm.
    reaches_freely : bool
        Whether it reaches the estimate at once without force.
    curvature : Measurement or None
        An angle in degrees, e.g. ``schneider_deg``.
    tooth : str
        ISO 3950 two-digit notation, or empty.
    s_shaped : bool
        Whether the canal bends to both sides; one angle does not describe it then, and it counts as curved.

    Raises
    ------
    CalibrationError
        The size is none of ISO 3630-1, or the taper not above 0 and at most 0.2.
    PeriapicalError
        A curvature that is no angle from 0 to 180 degrees, or a tooth in another notation.
    """
    file = HandFile(first_file_size, taper)
    if tooth and not re.fullmatch("[1-8][1-8]", tooth):
        raise PeriapicalError(f"tooth: given {tooth!r}; allowed is ISO 3950 two-digit notation, as 36.")
    if curvature is not None and not (curvature.unit == "deg" and 0 <= curvature.value <= 180):
        raise PeriapicalError(f"curvature: given {curvature}; allowed is an angle of 0 to 180 degrees.")
    reasons = [_on_size(first_file_size, reaches_freely), *_on_curvature(curvature)]
    if s_shaped:
        reasons.append(_S_SHAPED)
    large = reasons[0].favours == "length first"
    order: Order = "length first" if large else "flare first"
    angle_deg = 0.0 if curvature is None else curvature.value
    if large and (s_shaped or angle_deg >= STRAIGHT_BELOW_DEG):
        order = "flare first" if s_shaped or angle_deg > CURVED_ABOVE_DEG else "either"
    notes = [*_on_taper(file), *_on_tooth(tooth), *_always(curvature)]
    condition = _IF_STRAIGHT if curvature is None and order == "length first" else ""
    return Plan(order, tuple(reasons), _counter(order), tuple(notes), condition)


_IF_STRAIGHT = (
    f"only if the canal bends by less than {STRAIGHT_BELOW_DEG:g}° and to one side; the curvature is not "
    f"stated. From {STRAIGHT_BELOW_DEG:g}° to {CURVED_ABOVE_DEG:g}° the rules point both ways, above it or "
    "with an S-shape to flaring first. State the curvature, or take it from an image"
)
_S_SHAPED = Reason(
    "The canal bends to both sides (S-shape): it counts as curved, whatever its angle.",
    "case difficulty form of the American Association of Endodontists, from memory; put to this use here",
    "flare first",
)


def _on_size(size: int, reaches: bool) -> Reason:
    named = f"size {size:02d}"
    if reaches and size >= LARGE_SIZE:
        return Reason(
            f"A {named} file passes freely to the estimate: a large canal, whose length can be taken now, "
            "with a file near the canal's size for the electronic reading.",
            f"{_MEMORY} (size 15 or more); the file near the canal's size: a practitioner's page of low "
            "weight",
            "length first",
        )
    if reaches:
        return Reason(
            f"Only a {named} file passes to the estimate: a small canal. Its coronal part is flared first; "
            f"a tip of less than size {LARGE_SIZE} may also be hard to see on an image.",
            f"{_MEMORY}; sources differ on whether sizes 06 to 10 are seen (Kal 2007, Brito-Junior 2009)",
            "flare first",
        )
    return Reason(
        f"A {named} file does not pass freely to the estimate: more coronal room first, or a smaller file "
        "bent to the curve; it is not forced.",
        _COMMON,
        "flare first",
    )


def _on_curvature(curvature: Measurement | None) -> Iterator[Reason]:
    if curvature is None:
        yield Reason("The curvature is not stated: a curved canal is flared first.", _COMMON, "neither")
        return
    value, form = curvature.value, "bands of a case difficulty form, put to this use here: own choice"
    told = f"Curvature {curvature} ({curvature.method})"
    if value < STRAIGHT_BELOW_DEG:
        yield Reason(f"{told}: none or slight, below {STRAIGHT_BELOW_DEG:g}°.", form, "length first")
    elif value <= CURVED_ABOVE_DEG:
        yield Reason(
            f"{told}: moderate, {STRAIGHT_BELOW_DEG:g}° to {CURVED_ABOVE_DEG:g}°.", form, "flare first"
        )
    else:
        yield Reason(f"{told}: above {CURVED_ABOVE_DEG:g}°.", form, "flare first")
        yield Reason(
            "In canals of 30° to 40° the file came within 1 mm of the apex in 75.5 % after flaring, more "
            "than without.",
            "Al-Omiri 2013, J Contemp Dent Pract 14:163, verified on the abstract",
            "flare first",
        )
    low, high = curvature.interval95 or (value, value)
    edges = [edge for edge in (STRAIGHT_BELOW_DEG, CURVED_ABOVE_DEG) if low <= edge <= high and low < high]
    if edges:
        over = " and ".join(f"{edge:g}°" for edge in edges)
        yield Reason(
            f"Its 95 % interval, {low:.0f}° to {high:.0f}°, reaches over {over}: the band is not sure.",
            "interval as measured",
            "neither",
        )


def _on_taper(file: HandFile) -> Iterator[Reason]:
    if abs(file.taper - TAPER) > 1e-9:
        wide, usual = (float(one.diameter_mm(10.0)) for one in (file, HandFile(file.size)))
        yield Reason(
            f"The rule is told for hand files of taper 0.02. With {file.taper:g} the file is {wide:.2f} mm "
            f"wide 10 mm from the tip instead of {usual:.2f} mm: it can bind in the coronal part, so that "
            "stopping says less about the apical one, and passing says more.",
            f"widths by arithmetic; what follows: {_COMMON}",
            "neither",
        )


def _on_tooth(tooth: str) -> Iterator[Reason]:
    if not tooth:
        return
    if tooth[0] in "5678":
        yield Reason(
            f"Tooth {tooth} is of the first dentition: these rules are for permanent teeth.",
            _COMMON,
            "neither",
        )
        return
    if tooth[1] in "45678":
        yield Reason(
            f"Tooth {tooth}: the lengths of molars and premolars changed alike when flared.",
            "Schroeder 2002, J Endod 28:474, verified on a page that sums it up",
            "neither",
        )
    if tooth[0] in "34" and tooth[1] in "678":
        yield Reason(
            "All of 100 mesial roots of lower molars were curved in both planes: one view shows one of them.",
            "Cunningham and Senia 1992, J Endod 18:294, verified on the abstract",
            "neither",
        )


def _always(curvature: Measurement | None) -> Iterator[Reason]:
    yield Reason(
        "The length is checked again: at scouting, after the glide path and after coronal enlargement.",
        "Appl Sci 2020;10:5824, verified in the text",
        "neither",
    )
    if curvature is not None:
        yield Reason(
            "How much length is lost is not told from curvature: sources contradict each other (more in "
            "curved canals, Schroeder 2002; more in straight ones, conference abstract 2018).",
            "a page that sums it up, and an abstract of low weight",
            "neither",
        )


def _counter(order: Order) -> tuple[Reason, ...]:
    before = Reason(
        "The length is always taken before preparation, from two of: image before treatment, electronic "
        "reading, image with a file.",
        "teaching page of a dental school, verified",
        "length first",
    )
    after = Reason(
        "A length taken after flaring changes less: by -0.36 mm (steel) and -0.07 mm (nickel-titanium) "
        "instead of -0.48 and -0.22 mm.",
        "Davis 2002, J Endod 28:438, verified on a page that sums it up",
        "flare first",
    )
    return {"length first": (after,), "flare first": (before,), "either": (before, after)}[order]
