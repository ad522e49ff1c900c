"""What one cell of a table may hold, kind by kind, and what to say when it holds something else."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence

from radio.errors import PeriapicalError, TableError, echoed
from radio.measure.case import LANDMARKS, CaseFacts
from radio.measure.electronic import TOLERANCES_MM
from radio.measure.length_rules import canonical_name
from radio.measure.reading import LONGEST_MM, SHORTEST_MM, check_time
from radio.measure.settings import LIMITS, CurvatureSettings

# ISO 3630-1: 06, 08, 10, then by 5 to 60, then by 10 to 140
FILE_SIZES = (6, 8, *range(10, 61, 5), *range(70, 141, 10))

# ISO 3950: quadrant digit, then position digit; 1-4 permanent (8 teeth), 5-8 deciduous (5 teeth)
TEETH = tuple(
    f"{quadrant}{position}" for quadrant in range(1, 9) for position in range(1, 9 if quadrant <= 4 else 6)
)

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_WHOLE = re.compile(r"[0-9]+(?:[.,]0+)?")
_LONGEST_LABEL = 200


def accepted_mm(text: str) -> float:
    """Read the difference between electronic reading and radiograph that is accepted.

    Raises
    ------
    TableError
        Neither 0.5 nor 1.0 mm.
    """
    for one in TOLERANCES_MM:
        if _NUMBER.fullmatch(text) and float(text.replace(",", ".")) == one:
            return one
    allowed = " or ".join(f"{one:.1f}" for one in TOLERANCES_MM)
    raise TableError(
        f"given {echoed(text)}; allowed is {allowed} mm: beyond 1 mm the reading is repeated, and no "
        "difference is accepted"
    )


def number(text: str, low: float, high: float, *, unit: str, hint: str = "") -> float:
    """Read a number; a decimal comma is taken as a decimal point.

    Parameters
    ----------
    text : str
        The cell.
    low, high : float
        Smallest and largest value allowed.
    unit : str
        Unit for the message.
    hint : str
        What makes a usual value, for the message.

    Raises
    ------
    TableError
        Not a number, or outside the limits.
    """
    allowed = f"allowed is a number from {low:g} to {high:g} {unit}{f' ({hint})' if hint else ''}"
    if not _NUMBER.fullmatch(text):
        raise TableError(f"given {echoed(text)}; {allowed}, without unit or other text")
    value = float(text.replace(",", "."))
    if not low <= value <= high:
        raise TableError(f"given {echoed(text)}; {allowed}")
    return value


def _whole(text: str) -> int | None:
    # spreadsheets like to write whole numbers as 36.0
    return int(re.split("[.,]", text)[0]) if _WHOLE.fullmatch(text) else None


def choice(text: str, allowed: Sequence[str]) -> str:
    """Read one of a few words, whatever its case.

    Raises
    ------
    TableError
        Another word; the text lists the allowed ones.
    """
    word = text.casefold()
    if word in allowed:
        return word
    close = difflib.get_close_matches(word, allowed, n=1)
    did_you_mean = f"; did you mean {close[0]!r}?" if close else ""
    raise TableError(f"given {echoed(text)}; allowed is one of {', '.join(allowed)}{did_you_mean}")


def landmark(text: str) -> str:
    """Read a landmark name.

    Raises
    ------
    TableError
        An unknown landmark; the text lists the allowed ones.
    """
    return choice(text, LANDMARKS)


def label(text: str) -> str:
    """Read free text of a sane length.

    Raises
    ------
    TableError
        More than 200 characters.
    """
    if len(text) > _LONGEST_LABEL:
        raise TableError(f"given {len(text)} characters; allowed are at most {_LONGEST_LABEL}")
    return text


def canal(text: str) -> str:
    """Read a canal name; empty means ``"1"``, and ``"1.0"`` from a spreadsheet means ``"1"``."""
    if not text:
        return CaseFacts.canal
    whole = _whole(text)
    return label(text) if whole is None else str(whole)


def file_size(text: str) -> int:
    """Read an ISO 3630-1 size; ``"8"`` and ``"08"`` are the same.

    Raises
    ------
    TableError
        Not a size of the standard; the text lists the sizes.
    """
    size = _whole(text)
    if size is None or size not in FILE_SIZES:
        sizes = ", ".join(f"{one:02d}" for one in FILE_SIZES)
        raise TableError(f"given {echoed(text)}; allowed is a size of ISO 3630-1: {sizes}")
    return size


def tooth(text: str) -> str:
    """Read a tooth in ISO 3950 two-digit notation.

    Raises
    ------
    TableError
        Not a tooth of that notation.
    """
    whole = _whole(text)
    if whole is None or str(whole) not in TEETH:
        raise TableError(
            f"given {echoed(text)}; allowed is a tooth in ISO 3950 notation: 11-18, 21-28, 31-38, 41-48, "
            "or of the first dentition 51-55, 61-65, 71-75, 81-85"
        )
    return str(whole)


def length_rule(text: str) -> str:
    """Read a rule for the subtraction from the radiographic apex.

    Raises
    ------
    TableError
        Not a rule; the text lists what is allowed.
    """
    try:
        return label(canonical_name(text))
    except PeriapicalError as problem:
        raise TableError(str(problem)) from problem


def reading_mm(text: str) -> float:
    """Read the length of a file at which a reading may stand.

    Raises
    ------
    TableError
        Not a number, or outside 5 to 40 mm.
    """
    hint = "the file length at which the electronic reading stood"
    return number(text, SHORTEST_MM, LONGEST_MM, unit="mm", hint=hint)


def time(text: str) -> str:
    """Read a date, or a date and time.

    Raises
    ------
    TableError
        Not as ISO 8601 has it.
    """
    try:
        check_time(text)
    except PeriapicalError as problem:
        raise TableError(str(problem).removeprefix("time: ").removesuffix(".")) from problem
    return text


def settings_from_texts(texts: Mapping[str, str]) -> CurvatureSettings:
    """Make the parameters of the curvature methods from options; what is not given has its default.

    Parameters
    ----------
    texts : mapping of str to str
        By name of the setting.

    Raises
    ------
    TableError
        One message for each wrong text: the option, what was given, what is allowed.
    """
    values: dict[str, float] = {}
    problems = []
    for name, text in texts.items():
        value = float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else float("nan")
        if LIMITS[name].hold(value):
            values[name] = value
        else:
            option = f"--{name.replace('_', '-')}"
            problems.append(
                f"{option}: given {echoed(text)}; allowed is {LIMITS[name].words}, without unit or other text"
            )
    if problems:
        raise TableError("; ".join(problems))
    return CurvatureSettings(**values)
