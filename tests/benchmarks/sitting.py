"""The actions of a sitting in a shown viewer, and how long each event of theirs holds the window's thread."""

from __future__ import annotations

import cProfile
import pstats
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from qtpy.QtCore import QEvent
from qtpy.QtWidgets import QApplication, QFileDialog

_PAINTS = (QEvent.Type.Paint, QEvent.Type.UpdateRequest, QEvent.Type.Expose)
FIRST, LATER = ("file_start", "file_via", "file_tip"), ("orifice", "canal_via", "reference", "apex")


@dataclass
class Held:
    """Longest events of one action: milliseconds of each time it was done."""

    work_ms: list[float] = field(default_factory=list)
    paint_ms: list[float] = field(default_factory=list)


class TimedApplication(QApplication):
    """Notes the processor time of every event, by kind; those inside another count for it."""

    def __init__(self) -> None:
        super().__init__(["benchmark"])
        self.longest = {True: 0.0, False: 0.0}
        self._depth = 0

    def notify(self, receiver: Any, event: Any) -> bool:
        """Deliver an event and time it."""
        if self._depth:
            return super().notify(receiver, event)
        paints, start = event.type() in _PAINTS, time.thread_time()
        self._depth += 1
        try:
            return super().notify(receiver, event)
        finally:
            self._depth -= 1
            self.longest[paints] = max(self.longest[paints], 1000 * (time.thread_time() - start))


class Stopwatch:
    """Does actions and keeps how long each held the window."""

    def __init__(self, app: TimedApplication, panel: Any, profiled: str | None) -> None:
        self._app, self._panel, self._profiled = app, panel, profiled
        self.held: dict[str, Held] = defaultdict(Held)

    def time(self, action: str, act: Callable[[], object], until: Callable[[], bool] = lambda: True) -> None:
        """Do it, wait for what follows, at least `until` something is so, and keep the longest event."""
        self._rest()
        self._app.longest = {True: 0.0, False: 0.0}
        with self._profile(action):
            start = time.thread_time()
            act()
            here = 1000 * (time.thread_time() - start)
            self._rest(until)
        self.held[action].work_ms.append(max(here, self._app.longest[False]))
        self.held[action].paint_ms.append(self._app.longest[True])

    @contextmanager
    def _profile(self, action: str) -> Iterator[None]:
        if action != self._profiled:
            yield
            return
        profile = cProfile.Profile(time.thread_time)
        profile.enable()
        yield
        profile.disable()
        pstats.Stats(profile).sort_stats("cumulative").print_stats(70)

    def _rest(self, until: Callable[[], bool] = lambda: True) -> None:
        end, rested = time.monotonic() + 30, time.monotonic() + 0.15
        while time.monotonic() < rested or not self._panel.controller.up_to_date or not until():
            assert time.monotonic() < end, "the panel did not finish measuring"
            QApplication.processEvents()
            time.sleep(0.003)


def held_by_action(folder: Path, first_seed: int, rounds: int, profiled: str | None) -> dict[str, Held]:
    """Go through the sitting; gives the longest events by action, in the order they were done."""
    app = TimedApplication()
    from radio.image.synthetic.writing import write_dicom
    from tests.benchmarks.timing import large_case
    from tests.plugin.window import open_window, own_drafts

    cases = [large_case(first_seed + k, with_file=True) for k in range(rounds)]
    with own_drafts():
        viewer, panel = open_window(1200, 860)
        watch = Stopwatch(app, panel, profiled)
        _plain(viewer, watch, cases[0])
        for number, case in enumerate(cases):
            path = folder / f"large{number}.dcm"
            write_dicom(case, path, subject=f"P{number}")
            _sitting(viewer, panel, watch, case, path)
        viewer.close()
    return watch.held


def _plain(viewer: Any, watch: Stopwatch, case: Any) -> None:
    """Do with napari alone what an opening needs: an image comes, and a layer of lines."""
    for _ in range(3):
        watch.time("napari alone: an image comes", lambda: viewer.add_image(case.grey.grey, name="plain"))
        watch.time("napari alone: a layer of lines comes", lambda: viewer.add_vectors(np.zeros((1, 2, 2))))
    viewer.layers.clear()


def _sitting(viewer: Any, panel: Any, watch: Stopwatch, case: Any, path: Path) -> None:
    controller = panel.controller
    with patch.object(QFileDialog, "getOpenFileName", lambda *_: (str(path), "")):
        watch.time("open an image", panel.open_image, until=lambda: _is_open(controller, path))
    for name in FIRST:
        controller.choose(name)
        for row, col in case.clicks.get(name, ()):
            watch.time("place a point", lambda at=(float(row), float(col)): controller.place(at))
    length = str(case.facts.file_length_mm)
    watch.time(
        "state the length: first result in mm", lambda: controller.state_fact("file_length_mm", length)
    )
    for name in LATER:
        controller.choose(name)
        for row, col in case.clicks.get(name, ()):
            watch.time("place a point, in mm", lambda at=(float(row), float(col)): controller.place(at))
    _drag(controller, watch)
    watch.time("undo", controller.undo)
    watch.time("redo", controller.redo)
    watch.time("length taken back: mm to pixels", lambda: controller.state_fact("file_length_mm", ""))
    watch.time("undo: pixels to mm", controller.undo)
    _views(controller, watch)


def _is_open(controller: Any, path: Path) -> bool:
    return controller.session is not None and controller.session.radiograph.path == path


def _drag(controller: Any, watch: Stopwatch) -> None:
    row, col = controller.canal.clicks_px()["apex"][0]
    watch.time("press on a point", lambda: controller.begin_move("apex", 0))
    for step in range(1, 6):
        watch.time("result while dragging", lambda at=(row + step, col + step): controller.move_to(at))
    watch.time("end of a drag", controller.end_move)


def _views(controller: Any, watch: Stopwatch) -> None:
    for method in ("weine", "tangent-circle", "schneider"):
        watch.time("switch the method", lambda one=method: controller.choose_method(one))
    watch.time("a step of the construction", lambda: controller.show_step(1))
    watch.time("a display aid on", lambda: controller.show_display("inverting", invert=True))
    watch.time("a display aid off", controller.show_as_exposed)
    watch.time("a display aid on again", lambda: controller.show_display("gamma", gamma=1.4))
    watch.time("all as exposed", controller.show_as_exposed)
    watch.time("a canal more", controller.add_canal)
    watch.time("switch the canal", lambda: controller.choose_canal(0))
    watch.time("hide a canal", lambda: controller.hide_canal(True))
    watch.time("show a canal", lambda: controller.hide_canal(False))


def report(held: dict[str, Held], aim_ms: float) -> str:
    """Table of the longest events: median and greatest over the times an action was done."""
    lines = [f"{'action':42}{'times':>6}{'median':>9}{'most':>8}{'painting':>10}"]
    for action, one in held.items():
        work = np.array(one.work_ms)
        told = "" if work.max() <= aim_ms else "  over"
        lines.append(
            f"{action:42}{len(work):6d}{np.median(work):9.1f}{work.max():8.1f}"
            f"{np.median(one.paint_ms):10.1f}{told}"
        )
    return "\n".join(lines)
