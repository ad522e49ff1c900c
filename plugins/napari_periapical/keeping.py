"""Saving what was placed and measured, and opening it again."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path

from napari_periapical.controller import Controller
from napari_periapical.session import Session
from napari_periapical.sheet import Canal
from radio.errors import ImageError, TableError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult
from radio.measure.checks import with_checks_between
from radio.measure.settings import CurvatureSettings
from radio.record.kept_tracings import is_casebook, keep_tracings, standing_tracings
from radio.record.results import result_row, write_results
from radio.record.tracing import Tracing

_NOTHING_SAVED = "Nothing was saved. "
# between the display aids of two times
_BETWEEN = "; "


def keep_table(controller: Controller, path: Path) -> str:
    """Write the results table of the image, one row a canal.

    Returns
    -------
    str
        What was written, for the person.

    Raises
    ------
    PeriapicalError
        Nothing is measured, or the place cannot be written.
    """
    session, measured = _measured(controller)
    write_results(path, _rows(_name(session.radiograph), measured))
    return f"Table saved: {_count(len(measured))} in {path.name}."


def keep_common_table(
    controller: Controller,
    path: Path,
    progress: Callable[[int, int], bool] = lambda *_: True,
) -> str:
    """Write one results table of every image that was worked on since the viewer was opened, one row a canal.

    An image of which something cannot be measured is left out and named. May be called from any thread.

    Parameters
    ----------
    controller : Controller
    path : pathlib.Path
        The table.
    progress : callable
        Told after each image how many of how many are done; where it says False, nothing is written.

    Returns
    -------
    str
        What was written, for the person.

    Raises
    ------
    PeriapicalError
        No image has points, none can be measured, or the place cannot be written.
    """
    sessions = controller.placed_on
    if not sessions:
        raise TableError(f"{_NOTHING_SAVED}No landmark is placed on any image yet.")
    rows, left_out = [], []
    for done, (name, session) in enumerate(_named(sessions), 1):
        try:
            rows += _rows(name, _measured_of(controller, session))
        except TableError as problem:
            left_out.append(f"{name}: {str(problem).removeprefix(_NOTHING_SAVED)}")
        if not progress(done, len(sessions)):
            return "Stopped; no table was written."
    if not rows:
        raise TableError(f"{_NOTHING_SAVED}{' '.join(left_out)}")
    write_results(path, rows)
    images = _count(len(sessions) - len(left_out), "image")
    told = f"Table saved: {_count(len(rows))} of {images} in {path.name}."
    return f"{told} Left out: {' '.join(left_out)}" if left_out else told


def _named(sessions: Sequence[Session]) -> list[tuple[str, Session]]:
    """Name images for a table; those that share a name by their whole path."""
    names = [_name(one.radiograph) for one in sessions]
    return [
        (name if names.count(name) == 1 else str(one.radiograph.path or name), one)
        for name, one in zip(names, sessions, strict=True)
    ]


def _rows(name: str, measured: Sequence[tuple[Canal, CaseResult]]) -> list[dict[str, str]]:
    return [result_row(name, result, display=_BETWEEN.join(canal.seen)) for canal, result in measured]


def keep_tracing(controller: Controller, path: Path, reader: str = "") -> str:
    """Add the present state of every canal as a new revision; nothing saved is changed.

    Parameters
    ----------
    controller : Controller
    path : pathlib.Path
        A casebook, in which each reader has revisions of their own, or a document.
    reader : str
        Who placed the points.

    Returns
    -------
    str
        What was saved, for the person.

    Raises
    ------
    PeriapicalError
        Nothing is measured, what is there is damaged, or the place cannot be written.
    """
    session, measured = _measured(controller)
    there = standing_tracings(path)
    whose = reader if is_casebook(path) else None
    new = {}
    for canal, result in measured:
        before = _predecessor(session, canal, there, whose)
        if before is not None and before in there and _says_the_same(before, canal, result):
            new[canal.uid] = before
            continue
        new[canal.uid] = Tracing.from_case(
            session.radiograph,
            canal.clicks_px(),
            result,
            supersedes=before,
            reader=reader,
            display=_BETWEEN.join(canal.seen),
            settings=canal.settings,
        )
    added = [one for one in new.values() if one not in there]
    if added:
        keep_tracings(path, added, session.radiograph)
    session.saved |= new
    session.kept_in |= dict.fromkeys(new, path)
    controller.autosave.note(session)
    if not added:
        return f"{path.name} holds this state already; nothing was added."
    revisions = ", ".join(f"canal {t.facts.canal} revision {t.revision}" for t in added)
    return f"Tracing saved in {path.name}: {revisions}."


def reopen(controller: Controller, path: Path, reader: str = "") -> str:
    """Bring back the latest revision of every canal of the open image.

    Parameters
    ----------
    controller : Controller
    path : pathlib.Path
        A casebook or a document.
    reader : str
        Of a casebook, only what this one traced; of nobody in particular, where one reader alone did.

    Returns
    -------
    str
        What was opened, and whether this version measures the same as was saved.

    Raises
    ------
    PeriapicalError
        It cannot be read, has nothing of this image, or of several readers and none was named.
    """
    tracings = standing_tracings(path)
    session = controller.session
    if session is None:
        raise ImageError("Open the radiograph first; a tracing is drawn on its image.")
    mine = [t for t in tracings if t.image_sha256 == session.radiograph.sha256]
    if not mine:
        names = ", ".join(sorted({t.image_name for t in tracings})) or "none"
        raise TableError(
            f"{path.name} has no tracing of this image; it is of {names}. An image exported again or "
            "edited is another image: open the one that was measured."
        )
    if is_casebook(path):
        mine = _of_one_reader(mine, reader, path)
    uid = session.sheet.next_uid()
    canals = [_canal_of(t, uid + k, session.canal.settings) for k, t in enumerate(mine)]
    session.saved |= {canal.uid: t for canal, t in zip(canals, mine, strict=True)}
    session.kept_in |= {canal.uid: path for canal in canals}
    controller.replace_canals(f"opening {path.name}", canals)
    changed = [
        note for canal, t in zip(canals, mine, strict=True) for note in _differences(controller, canal, t)
    ]
    told = f"Opened {_count(len(mine))} from {path.name}."
    return f"{told} Measured again, some numbers differ: {'; '.join(changed)}." if changed else told


def _canal_of(tracing: Tracing, uid: int, settings: CurvatureSettings) -> Canal:
    """Make the canal of a tracing, measured the way all canals of the image are."""
    seen = tuple(filter(None, tracing.display.split(_BETWEEN)))
    return Canal(uid, tracing.facts, settings=settings, seen=seen).with_clicks(tracing.clicks_px())


def _of_one_reader(mine: Sequence[Tracing], reader: str, path: Path) -> list[Tracing]:
    """Keep what one reader traced: another one's lines are not to be seen by chance."""
    readers = sorted({one.reader for one in mine})
    if not reader and len(readers) == 1:
        reader = readers[0]
    chosen = [one for one in mine if one.reader == reader]
    if not chosen:
        names, whom = ", ".join(one or "nobody named" for one in readers), reader or "nobody named"
        raise TableError(
            f"{path.name} has no tracing of this image by {whom}; it has some by {names}. "
            "Name the reader in the field above."
        )
    return chosen


def suggested_name(radiograph: Radiograph, ending: str) -> Path:
    """Suggest where to save: beside the image, named after it."""
    place = radiograph.path or Path("radiograph")
    return place.with_name(f"{place.stem}{ending}")


def _measured(controller: Controller) -> tuple[Session, list[tuple[Canal, CaseResult]]]:
    session = controller.session
    if session is None:
        raise ImageError("There is no radiograph open; open one and place its landmarks.")
    controller.end_move()
    return session, _measured_of(controller, session)


def _measured_of(controller: Controller, session: Session) -> list[tuple[Canal, CaseResult]]:
    """Measure the canals of an image that have points.

    Raises
    ------
    TableError
        One cannot be measured, or none has points.
    """
    found, problems = [], []
    for canal in session.sheet.canals:
        if not canal.clicks:
            continue
        shown = session.known(canal) or controller.measuring.outcome(session.radiograph, canal)
        if shown.result is not None:
            found.append((canal, shown.result))
        else:
            problems.append(f"canal {canal.facts.canal}: {shown.problem}")
    if not found or problems:
        reason = " ".join(problems) or "No landmark is placed yet."
        raise TableError(f"{_NOTHING_SAVED}{reason}")
    judged = with_checks_between([result for _, result in found])
    return [(canal, result) for (canal, _), result in zip(found, judged, strict=True)]


def _predecessor(
    session: Session, canal: Canal, there: Sequence[Tracing], whose: str | None
) -> Tracing | None:
    """Find the revision to supersede: the newest of this canal that stands there, else of this session.

    Where readers are told apart, only their own; two canals of a name on two teeth are told apart there, too.
    """
    mine = [
        t
        for t in there
        if t.image_sha256 == session.radiograph.sha256
        and t.facts.canal == canal.facts.canal
        and (whose is None or (t.reader == whose and t.facts.tooth == canal.facts.tooth))
    ]
    if mine:
        return mine[-1]
    before = session.saved.get(canal.uid)
    return before if before is None or whose is None or before.reader == whose else None


def _says_the_same(tracing: Tracing, canal: Canal, result: CaseResult) -> bool:
    return (
        tracing.facts == canal.facts
        and dict(tracing.clicks) == dict(canal.clicks)
        and all(
            name in result.measurements and result.measurements[name].value == one.value
            for name, one in tracing.measurements.items()
        )
    )


def _differences(controller: Controller, canal: Canal, tracing: Tracing) -> list[str]:
    result = controller.result_now(canal).result
    notes = []
    for name, was in tracing.measurements.items():
        now = result.measurements.get(name) if result else None
        if now is None:
            notes.append(f"canal {canal.facts.canal}: {name} was {was}, now not measurable")
        elif not math.isclose(now.value, was.value, rel_tol=1e-9, abs_tol=1e-9):
            notes.append(f"canal {canal.facts.canal}: {name} was {was}, now {now} ({tracing.software})")
    return notes


def _name(radiograph: Radiograph) -> str:
    return radiograph.path.name if radiograph.path else "unsaved image"


def _count(number: int, word: str = "canal") -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def is_saved(session: Session, canal: Canal) -> bool:
    """Say whether the present state of a canal is a saved revision."""
    saved = session.saved.get(canal.uid)
    return saved is not None and saved.facts == canal.facts and dict(saved.clicks) == dict(canal.clicks)


def unsaved_canals(session: Session) -> list[Canal]:
    """List the canals with points whose present state is not saved as a revision."""
    return [one for one in session.sheet.canals if one.clicks and not is_saved(session, one)]


def saved_state(session: Session) -> str:
    """Say for each canal whether its present state is saved."""
    told = []
    for canal in session.sheet.canals:
        saved = session.saved.get(canal.uid)
        if not canal.clicks:
            continue
        if saved is None:
            state = "not saved"
        elif is_saved(session, canal):
            state = f"saved as revision {saved.revision}, {saved.created:%d %b %H:%M}"
        else:
            state = f"changed since revision {saved.revision}"
        told.append(f"Canal {canal.facts.canal}: {state}.")
    return "\n".join(told)
