"""Work that must not hold up the person: one job at a time; all in turn, or of those that wait the newest."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
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


class EachInTurn:
    """Runs every job, one after the other, in a thread of its own that ends when there is none left.

    Parameters
    ----------
    post : callable
        Takes a function, from any thread, and has it called on the thread the outcomes belong to.
    """

    def __init__(self, post: Callable[[Callable[[], None]], None]) -> None:
        self._post = post
        self._lock = threading.Lock()
        self._waiting: deque[tuple[Job, Done]] = deque()
        self._busy = False
        self._stopped = False

    def __call__(self, job: Job, done: Done) -> None:
        """Take a job in; `done` gets what it returns."""
        with self._lock:
            if self._stopped:
                return
            self._admit(job, done)
            if self._busy:
                return
            self._busy = True
        threading.Thread(target=self._work, name="periapical-work", daemon=True).start()

    def _admit(self, job: Job, done: Done) -> None:
        """Let a job wait; the lock is held."""
        self._waiting.append((job, done))

    def stop(self) -> None:
        """Take no more jobs and hand on no more outcomes."""
        with self._lock:
            self._stopped = True
            self._waiting.clear()

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._waiting or self._stopped:
                    self._busy = False
                    return
                job, done = self._waiting.popleft()
            outcome = job()
            with self._lock:
                stopped = self._stopped
            if not stopped:
                self._post(lambda done=done, outcome=outcome: done(outcome))  # type: ignore[misc]


class LatestWins(EachInTurn):
    """Drops a job that waits when a newer one comes: nobody needs its outcome any more."""

    def _admit(self, job: Job, done: Done) -> None:
        self._waiting.clear()
        super()._admit(job, done)
