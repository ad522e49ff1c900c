from __future__ import annotations

import threading
import time

from napari_periapical.background import EachInTurn, LatestWins


def test_only_the_newest_waiting_job_is_run_and_off_the_calling_thread():
    first_runs, go_on, finished = threading.Event(), threading.Event(), threading.Event()
    seen, threads = [], []

    def job(name, hold=False):
        def run():
            threads.append(threading.current_thread())
            if hold:
                first_runs.set()
                assert go_on.wait(5)
            return name

        return run

    def done(name):
        seen.append(name)
        if name == "last":
            finished.set()

    runner = LatestWins(lambda function: function())
    runner(job("first", hold=True), done)
    assert first_runs.wait(5)
    for name in ("passed over", "passed over too", "last"):
        runner(job(name), done)
    go_on.set()
    assert finished.wait(5)
    assert seen == ["first", "last"]
    assert threading.current_thread() not in threads


def test_a_stopped_runner_hands_nothing_on():
    started, go_on, seen = threading.Event(), threading.Event(), []

    def job():
        started.set()
        assert go_on.wait(5)
        return 1

    runner = LatestWins(lambda function: function())
    runner(job, seen.append)
    assert started.wait(5)
    runner.stop()
    go_on.set()
    runner(lambda: 2, seen.append)
    time.sleep(0.05)
    assert seen == []


def test_every_job_is_done_in_its_turn_and_none_after_the_end():
    posted, threads = [], set()
    runner = EachInTurn(posted.append)

    def job(k):
        threads.add(threading.get_ident())
        return k

    done = []
    for k in range(20):
        runner(lambda k=k: job(k), done.append)
    end = time.monotonic() + 10
    while len(posted) < 20:
        assert time.monotonic() < end
        time.sleep(0.005)
    for hand_on in posted:
        hand_on()
    assert done == list(range(20))
    assert threads
    assert threading.get_ident() not in threads
    runner.stop()
    runner(lambda: job(99), done.append)
    time.sleep(0.05)
    assert len(posted) == 20
