"""What is stated of an electronic reading as one line of words, where there is room for one field only."""

from __future__ import annotations

from dataclasses import fields

from radio.errors import TableError, echoed
from radio.measure.reading import CANAL_STATES, YES_NO_FLAGS, ReadingFacts

# name in the line by name of the fact
_WORDS = {one.name: one.name.removesuffix("_mm").replace("_", " ") for one in fields(ReadingFacts)}
EXAMPLE = "dry; patency no"
ALLOWED = (
    "repeats 21 21.5; file size 15; canal state "
    f"{', '.join(CANAL_STATES[:-1])} or {CANAL_STATES[-1]}; resorption none, internal or external; "
    f"{', '.join(_WORDS[name] for name in YES_NO_FLAGS)}, each yes or no; time 2026-03-14T09:30"
)


def reading_words(stated: ReadingFacts) -> str:
    """Write what is stated as one line; what is not stated is left out.

    Returns
    -------
    str
        Such as ``"canal state flooded; bleeding yes"``; :func:`cells_of_words` reads it again.
    """
    parts = []
    for name, word in _WORDS.items():
        value = getattr(stated, name)
        if value not in (None, "", ()):
            parts.append(f"{word} {_text(value)}")
    return "; ".join(parts)


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return " ".join(f"{length:.10g}" for length in value) if isinstance(value, tuple) else str(value)


def cells_of_words(text: str) -> dict[str, str]:
    """Take such a line apart into the cells of the images table; what it leaves out is an empty cell.

    A flag alone means yes, and the state of the canal may stand alone.

    Parameters
    ----------
    text : str
        Parts set apart by semicolons, each a name and its value, a colon between them or not.

    Raises
    ------
    TableError
        A part begins with none of the names, or a name comes twice.
    """
    found: dict[str, str] = {}
    for part in (part.strip() for part in text.split(";")):
        if not part:
            continue
        name, value = _apart(part)
        if name in found:
            raise TableError(f"given {_WORDS[name]!r} twice; give it once")
        found[name] = value
    return {f"electronic_{name}": found.get(name, "") for name in _WORDS}


def _apart(part: str) -> tuple[str, str]:
    """Name of the fact and the text of its value."""
    spoken = part.replace("_", " ").casefold()
    if spoken in CANAL_STATES:
        return "canal_state", spoken
    for name, word in _WORDS.items():
        rest = part[len(word) :]
        if not spoken.startswith(word) or rest[:1].isalnum():
            continue
        value = rest.removeprefix("_mm").strip(" :=")
        if not value and name not in YES_NO_FLAGS:
            raise TableError(f"given {echoed(part)} without a value; allowed is {ALLOWED}")
        return name, value or "yes"
    raise TableError(f"given {echoed(part)}; allowed is, set apart by semicolons, {ALLOWED}")
