"""Work that must not hold up the person: one job at a time; all in turn, or of those that wait the newest."""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import Any, Protocol

Job = Callable[[], Any]
Done = Callable[[Any], None]


class Runner(Protocol):
    """Anything that runs a job and hands its outcome on."""

    def __call__(self, job: Job, done: Done) -> None:
        """Run `job` and call `done` with what it returned."""


def run_now(job: Job, done: Done) -> None:
    """Run a job on the spot: for scripts and where nobody waits."""
    done(job())


class LatestWins:
    """Runs jobs in a thread of its own; a job that waits is dropped when a newer one comes.

    Parameters
    ----------
    post : callable
        Takes a function, from any thread, and has it called on the thread the outcomes belong to.
    """

    def __init__(self, post: Callable[[Callable[[], None]], None]) -> None:
        self._post = post
        self._lock = threading.Lock()
        self._waiting: tuple[Job, Done] | None = None
        self._busy = False
        self._stopped = False

    def __call__(self, job: Job, done: Done) -> None:
        """Take a job in; `done` gets what it returns, unless a newer job comes before it starts."""
        with self._lock:
            if self._stopped:
                return
            self._waiting = (job, done)
            if self._busy:
                return
            self._busy = True
        threading.Thread(target=self._work, name="periapical-measure", daemon=True).start()

    def stop(self) -> None:
        """Take no more jobs and hand on no more outcomes."""
        with self._lock:
            self._stopped = True
            self._waiting = None

    def _work(self) -> None:
        while True:
            with self._lock:
                if self._waiting is None or self._stopped:
                    self._busy = False
                    return
                job, done = self._waiting
                self._waiting = None
            outcome = job()
            with self._lock:
                stopped = self._stopped
            if not stopped:
                self._post(lambda done=done, outcome=outcome: done(outcome))  # type: ignore[misc]


class EachInTurn:
    """Runs every job in a thread of its own, one after the other.

    Parameters
    ----------
    post : callable
        Takes a function, from any thread, and has it called on the thread the outcomes belong to.
    """

    def __init__(self, post: Callable[[Callable[[], None]], None]) -> None:
        self._post = post
        self._jobs: SimpleQueue[tuple[Job, Done] | None] = SimpleQueue()
        self._thread: threading.Thread | None = None
        self._stopped = False

    def __call__(self, job: Job, done: Done) -> None:
        """Take a job in; `done` gets what it returns."""
        self._jobs.put((job, done))
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="periapical-in-turn", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Begin no more jobs and hand on no more outcomes."""
        self._stopped = True
        self._jobs.put(None)

    def _work(self) -> None:
        while (given := self._jobs.get()) is not None and not self._stopped:
            job, done = given
            outcome = job()
            if not self._stopped:
                self._post(lambda done=done, outcome=outcome: done(outcome))  # type: ignore[misc]
