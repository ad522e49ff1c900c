"""Measure every canal of an images table; a run that was stopped goes on where it stood."""

from __future__ import annotations

import json
import platform
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass
from datetime import datetime
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from radio.errors import PeriapicalError
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
from radio.record.answers_table import with_answers
from radio.record.atomic import directory_lock, make_directory, write_text
from radio.record.results import result_row, write_results, write_skipped
from radio.record.tables import CaseInput, CaseTable, Skip, read_cases
from radio.record.wording import MADE_BY
from radio.study.journal import Entry, Journal, case_key, content_sha256, package_versions, program_sha256
from radio.study.one_image import measure_image

WRITTEN = ("results.csv", "skipped.csv", "run.json", "journal.jsonl")
"""What a run writes to its folder."""

Progress = Callable[[int, int, str], None]
"""Called with canals done, canals in all, and the image just finished."""


@dataclass(frozen=True)
class BatchSummary:
    """What a batch run did.

    Parameters
    ----------
    measured, skipped : int
        Canals in the results table and in the table of skipped ones.
    reused : int
        Measured or skipped canals taken over from an earlier run of the same inputs.
    images : int
        Images named in the table.
    warnings : tuple of str
        What was passed over in the tables.
    """

    measured: int
    skipped: int
    reused: int
    images: int
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Task:
    """One image and those of its canals that are still to be measured, with their keys."""

    path: Path
    cases: tuple[CaseInput, ...]
    keys: tuple[str, ...]
    settings: CurvatureSettings


_Done = list[tuple[str, Entry, bool]]


class _Run:
    """The canals of one run on their way into the journal."""

    def __init__(
        self,
        cases: Sequence[CaseInput],
        settings: CurvatureSettings,
        journal: Journal,
        progress: Progress | None,
    ) -> None:
        self.keys: dict[int, str] = {}
        self.hashes: dict[Path, str] = {}
        self.reused = 0
        self._settings = settings
        self._journal = journal
        self._progress = progress
        self._done = 0
        self._total = len(cases)
        self._by_image: dict[Path, list[CaseInput]] = {}
        for case in cases:
            self._by_image.setdefault(case.path, []).append(case)

    def measure(self, workers: int) -> None:
        """Bring every canal into the journal."""
        self._tell("")
        tasks = self._tasks()
        runner = _in_this_process(tasks) if workers == 1 else _in_processes(tasks, workers)
        for task, entries in runner:
            for key, entry, lasting in entries:
                self._journal.add(key, entry, keep=lasting)
            self._done += len(entries)
            self._tell(task.cases[0].image)

    def entry(self, case: CaseInput) -> Entry:
        """Find the outcome of a canal, once everything is measured."""
        entry = self._journal.get(self.keys[id(case)])
        assert entry is not None
        return entry

    def _tasks(self) -> Iterator[_Task]:
        """Hash images one after the other and hand out what the journal does not hold."""
        for path, cases in self._by_image.items():
            sha = self.hashes[path] = content_sha256(path)
            for case in cases:
                self.keys[id(case)] = case_key(case, cases, sha, self._settings)
            left = [case for case in cases if self._journal.get(self.keys[id(case)]) is None]
            if left:
                left = cases  # checks look at the canals of an image together
            if len(left) < len(cases):
                self.reused += len(cases) - len(left)
                self._done += len(cases) - len(left)
                self._tell(cases[0].image)
            if left:
                keys = tuple(self.keys[id(case)] for case in left)
                yield _Task(path, tuple(left), keys, self._settings)

    def _tell(self, image: str) -> None:
        if self._progress is not None:
            self._progress(self._done, self._total, image)


def run_batch(
    images: Path,
    clicks: Path,
    out: Path,
    *,
    answers: Path | None = None,
    workers: int = 1,
    settings: CurvatureSettings = DEFAULT_SETTINGS,
    progress: Progress | None = None,
) -> BatchSummary:
    """Measure all canals of two tables into ``out/results.csv`` and ``out/skipped.csv``.

    Progress is kept in ``out/journal.jsonl``; a canal whose image, facts, clicks, settings and program are
    unchanged is not measured again. ``out/run.json`` says what was run on what, and whether it was finished.

    Parameters
    ----------
    images, clicks : pathlib.Path
        The tables.
    out : pathlib.Path
        Folder for the results; made if it is not there.
    answers : pathlib.Path or None
        Answers to pre-flight checks.
    workers : int
        Processes; with 1 everything happens in this one.
    settings : CurvatureSettings
        Parameters of the curvature methods, for every canal.
    progress : callable, optional
        Called after each image.

    Raises
    ------
    TableError
        A table cannot be read at all.
    PeriapicalError
        The folder cannot be written, another run is writing there, or `workers` is below 1.
    """
    if workers < 1:
        raise PeriapicalError(f"workers is {workers}; allowed is a whole number from 1.")
    table = with_answers(read_cases(images, clicks), answers)
    make_directory(out)
    with directory_lock(out, wait=False) as ours:
        if not ours:
            raise PeriapicalError(f"Another run is writing to {out}; wait for it or choose another folder.")
        inputs = {"images_table": images, "clicks_table": clicks}
        inputs |= {} if answers is None else {"answers_table": answers}
        record = _run_record(inputs, out, workers, settings, table)
        _write_record(out, record)
        with Journal(out / "journal.jsonl") as journal:
            run = _Run(table.cases, settings, journal, progress)
            try:
                run.measure(workers)
            except KeyboardInterrupt:
                _write_record(out, record | {"status": "interrupted", "finished": _now()})
                raise
            rows, skips = _collect(table, run)
        write_results(out / "results.csv", rows)
        write_skipped(out / "skipped.csv", skips)
        summary = BatchSummary(len(rows), len(skips), run.reused, len(run.hashes), table.warnings)
        _write_record(out, record | _outcome_record(table, run, summary))
    return summary


def _measure_task(task: _Task) -> _Done:
    done: _Done = []
    measured = measure_image(task.path, task.cases, task.settings)
    for key, outcome in zip(task.keys, measured.outcomes, strict=True):
        row = None if outcome.result is None else result_row(outcome.case.image, outcome.result)
        done.append((key, Entry(row, outcome.reason), outcome.lasting))
    return done


def _in_this_process(tasks: Iterable[_Task]) -> Iterator[tuple[_Task, _Done]]:
    for task in tasks:
        yield task, _measure_task(task)


def _one_thread_each() -> None:
    import cv2

    cv2.setNumThreads(1)


def _pool(workers: int) -> ProcessPoolExecutor:
    # spawn: a forked OpenCV can hang in its thread pool
    return ProcessPoolExecutor(workers, get_context("spawn"), initializer=_one_thread_each)


def _in_processes(tasks: Iterator[_Task], workers: int) -> Iterator[tuple[_Task, _Done]]:
    """Measure tasks in several processes; one that dies costs only the image it died of."""
    broken = True
    while broken:
        broken = False
        taken: dict[Path, _Task] = {}
        running: dict[Future[_Done], _Task] = {}
        try:
            with _pool(workers) as pool:
                while True:
                    for task in islice(tasks, 2 * workers - len(running)):
                        taken[task.path] = task
                        running[pool.submit(_measure_task, task)] = task
                    if not running:
                        break
                    for future in wait(running, return_when=FIRST_COMPLETED).done:
                        task, entries = running.pop(future), future.result()
                        del taken[task.path]
                        yield task, entries
        except BrokenProcessPool:
            broken = True
            for task in taken.values():
                yield task, _alone(task)


def _alone(task: _Task) -> _Done:
    try:
        with _pool(1) as pool:
            return pool.submit(_measure_task, task).result()
    except BrokenProcessPool:
        reason = "the process that measured this image was ended from outside; is there enough memory?"
        return [(key, Entry(None, reason), False) for key in task.keys]


def _collect(table: CaseTable, run: _Run) -> tuple[list[Mapping[str, str]], list[Skip]]:
    rows: list[Mapping[str, str]] = []
    skips: list[Skip] = []
    for one in table.entries:
        if isinstance(one, Skip):
            skips.append(one)
            continue
        entry = run.entry(one)
        if entry.row is None:
            skips.append(Skip(one.image, one.facts.canal, entry.reason))
        else:
            rows.append(entry.row)
    return rows, skips


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _run_record(
    inputs: Mapping[str, Path], out: Path, workers: int, settings: CurvatureSettings, table: CaseTable
) -> dict[str, Any]:
    return {
        "software": MADE_BY,
        "program_sha256": program_sha256(),
        "python": platform.python_version(),
        "system": platform.system(),
        "packages": dict(package_versions()),
        "arguments": {
            **{name.removesuffix("_table"): str(path) for name, path in inputs.items()},
            "out": str(out),
            "workers": workers,
        },
        "curvature_settings": asdict(settings),
        "input_sha256": {name: content_sha256(path) for name, path in inputs.items()},
        "started": _now(),
        "finished": None,
        "status": "running",
        "counts": None,
        "warnings": list(table.warnings),
    }


def _outcome_record(table: CaseTable, run: _Run, summary: BatchSummary) -> dict[str, Any]:
    names = {case.path: case.image for case in table.cases}
    return {
        "finished": _now(),
        "status": "complete",
        "counts": {
            "canals": len(table.entries),
            "measured": summary.measured,
            "skipped": summary.skipped,
            "reused": summary.reused,
            "images": summary.images,
        },
        "image_sha256": {names[path]: sha for path, sha in run.hashes.items()},
    }


def _write_record(out: Path, record: Mapping[str, Any]) -> None:
    write_text(out / "run.json", json.dumps(record, indent=1) + "\n")
