"""Which repeatability a length is judged by: the reader's own, for the way it was read."""

from __future__ import annotations

from collections.abc import Sequence

from radio.errors import PeriapicalError
from radio.measure.repeatability import Repeatability, default_repeatability, repeatability_of
from radio.record.course import CourseEntry, plain
from radio.record.course_changes import RepeatabilityFor
from radio.record.course_table import Repeat


def by_default() -> RepeatabilityFor:
    """Judge every length by the default."""
    return lambda _: default_repeatability()


def by_repeats(repeats: Sequence[Repeat], reader: str | None = None) -> RepeatabilityFor:
    """Judge each length by the repeats that were read in its way.

    A repeat whose method or basis is not stated counts for every way.

    Parameters
    ----------
    repeats : sequence of Repeat
    reader : str or None
        Whose repeats count; None where there is one reader only.

    Raises
    ------
    PeriapicalError
        The reader is not in the repeats, or there are several and none is named.
    """
    own = _of_reader(repeats, reader)
    found: dict[tuple[str, str], Repeatability] = {}

    def judged_by(entry: CourseEntry) -> Repeatability:
        way = (plain(entry.method), plain(entry.basis))
        if way not in found:
            found[way] = _of_way(own, entry.method, entry.basis)
        return found[way]

    return judged_by


def _of_reader(repeats: Sequence[Repeat], reader: str | None) -> list[Repeat]:
    readers = {plain(one.reader): one.reader for one in repeats}
    named = ", ".join(name or "(none stated)" for name in readers.values())
    if reader is None:
        if len(readers) > 1:
            raise PeriapicalError(
                f"The repeats are of several readers: {named}. The least significant change is a reader's "
                "own; name one with --reader."
            )
        return list(repeats)
    if plain(reader) not in readers:
        raise PeriapicalError(f"There are no repeats of the reader {reader!r}; there are those of {named}.")
    return [one for one in repeats if plain(one.reader) == plain(reader)]


def _of_way(repeats: Sequence[Repeat], method: str, basis: str) -> Repeatability:
    sets: dict[str, list[float]] = {}
    for one in repeats:
        if plain(one.method) in ("", plain(method)) and plain(one.basis) in ("", plain(basis)):
            # readings of one length by two methods are no repeats of each other
            way = ", ".join(part for part in (one.method, one.basis) if part)
            sets.setdefault(f"{one.what}{f', {way}' if way else ''}", []).append(one.length_mm)
    if not sets:
        way = ", ".join(part for part in (method, basis) if part)
        why = f"none of the repeats was read by {way or 'the same method'}"
        return default_repeatability(why, unused=True)
    return repeatability_of(sets)
