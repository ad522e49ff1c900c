"""A made hand traces lines on ViewerModel: seconds for each move of the pointer, and what was seen live."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import shapely
from napari.components import ViewerModel
from scipy.ndimage import gaussian_filter1d

from napari_periapical import layers
from napari_periapical.binding import Binding
from napari_periapical.controller import Controller
from napari_periapical.live import LINES
from napari_periapical.magnifier import Lens, colours_of, magnified
from radio.image.synthetic import SyntheticCase, make_case
from radio.trace.curve import arc_length, point_at
from radio.trace.line import LineKind
from tests.benchmarks.timing import large_case

FloatArray = npt.NDArray[np.float64]

AIM_MS = (8.0, 16.0)
AIM_MAGNIFIER_MS = 3.0
# How a hand moves: a move of the pointer every so often, that far off the line, wandering over some moves.
_MOVE_MM = 0.2
_WANDER_MM = 0.15
_WANDER_MOVES = 6.0
# No piece is longer than this before it is pinned.
_PIN_EVERY_MM = 12.0
# Where pins and pointer are, the live line goes to them and not along the image.
_ENDS_MM = 0.5
# A live line this near to the measured one on the average shows what will be measured.
_NEAR_MM = 0.3
# The live line is held against the measured one at every such move.
_COMPARED_EVERY = 5


@dataclass
class TracedLine:
    """One line as it was traced.

    Parameters
    ----------
    kind : {"file", "canal"}
    in_file : bool
        Whether a file lies in that canal, which the live line then follows.
    seconds, cpu_seconds : list of float
        One for each move of the pointer, by wall clock and of the process.
    magnifier_seconds : list of float
        For enlarging the surroundings of the pointer, at each move.
    mean_apart_mm, most_apart_mm : list of float
        Distance of a live line from the measured one, ends left out: mean and largest.
    """

    kind: LineKind
    in_file: bool
    seconds: list[float] = field(default_factory=list)
    cpu_seconds: list[float] = field(default_factory=list)
    magnifier_seconds: list[float] = field(default_factory=list)
    mean_apart_mm: list[float] = field(default_factory=list)
    most_apart_mm: list[float] = field(default_factory=list)

    @property
    def told(self) -> str:
        """What was traced, in words."""
        return f"{self.kind} about a file" if self.in_file else self.kind


def trace_large(first_seed: int, count: int) -> list[TracedLine]:
    """Trace the lines of `count` images of 3 megapixels, every other one with a file."""
    trace_case(make_case(first_seed), first_seed)  # libraries are loaded before a clock runs
    traced = []
    for number in range(count):
        seed = first_seed + number
        traced += trace_case(large_case(seed, with_file=number % 2 == 0), seed)
        print(f"{number + 1} of {count} images traced", file=sys.stderr, flush=True)
    return traced


def trace_case(case: SyntheticCase, seed: int) -> list[TracedLine]:
    """Trace file, where there is one, and canal of a case as a hand would; then measure and compare."""
    viewer, controller = ViewerModel(), Controller()
    binding = Binding(viewer, controller)
    frame = layers.frame_of(case.grey.pixel_aspect, None, millimetres=False)
    data, kwargs, _ = layers.image_layer(case.grey, frame, [case.facts])
    viewer.add_image(data, **kwargs)
    rng, traced, seen = np.random.default_rng(seed), [], []
    lines = {"file": case.truth.file_axis_px, "canal": case.truth.canal_axis_px}
    for kind, parts in LINES.items():
        line = lines[kind]
        if line is None or parts.start not in case.clicks:
            continue
        one = TracedLine(kind, kind == "canal" and lines["file"] is not None)
        end = next(name for name in parts.ends if name in case.clicks)
        controller.session.go_on(controller.canal, None)
        controller.session.landmark = parts.start
        controller.click(_point(case.clicks[parts.start][0]))
        assert controller.tracing == kind, f"seed {seed}: tracing of the {kind} did not begin"
        live = []
        for point, pin in _moves(line, case.truth.mm_per_px, rng):
            _step(binding, one, point)
            live.append(controller.session.live.line)
            if pin:
                controller.pin(point)
        controller.end_line(_point(case.clicks[end][0]))
        traced.append(one)
        seen.append(live)
    _compare(controller, case, traced, seen)
    return traced


def _point(click: FloatArray) -> tuple[float, float]:
    return float(click[0]), float(click[1])


def _moves(
    line_px: FloatArray, mm_per_px: float, rng: np.random.Generator
) -> Iterator[tuple[tuple[float, float], bool]]:
    """Places of the pointer along a line, and whether it is clicked there."""
    total_mm = arc_length(line_px) * mm_per_px
    count = max(int(total_mm / _MOVE_MM), 4)
    wander = gaussian_filter1d(rng.normal(size=(count, 2)), _WANDER_MOVES, axis=0)
    wander *= _WANDER_MM / wander.std() / mm_per_px
    s_mm = np.linspace(0.0, total_mm, count + 1)[1:]
    places = point_at(line_px, s_mm / mm_per_px) + wander
    pinned_mm = 0.0
    for k, place in enumerate(places):
        following = s_mm[min(k + 1, count - 1)]
        pin = following - pinned_mm > _PIN_EVERY_MM
        pinned_mm = s_mm[k] if pin else pinned_mm
        yield _point(place), bool(pin)


def _step(binding: Binding, one: TracedLine, point: tuple[float, float]) -> None:
    """Move the pointer once, with the clock running."""
    wall, cpu = time.perf_counter(), time.process_time()
    binding.controller.aim(point)
    one.seconds.append(time.perf_counter() - wall)
    one.cpu_seconds.append(time.process_time() - cpu)
    source = binding.seen_image()
    assert source is not None
    wall = time.perf_counter()
    row_px, col_px = (4.0 * size for size in binding.framing.screen_px_per_px())
    magnified(
        source.data,
        Lens(point, row_px, col_px),
        limits=tuple(source.contrast_limits),
        gamma=float(source.gamma),
        colours=colours_of(source.colormap),
    )
    one.magnifier_seconds.append(time.perf_counter() - wall)


def _compare(
    controller: Controller,
    case: SyntheticCase,
    traced: list[TracedLine],
    seen: list[list[FloatArray | None]],
) -> None:
    """Hold what was seen live against the lines measured on the same clicks."""
    shown = controller.shown
    assert shown is not None
    assert shown.result is not None, shown.problem
    measured = {"file": shown.result.file_line, "canal": shown.result.canal_line}
    for one, live in zip(traced, seen, strict=True):
        line = measured[one.kind]
        if line is None:
            continue
        exact, mm = shapely.LineString(line.points_px), case.truth.mm_per_px
        for points in live[::-_COMPARED_EVERY]:
            if points is None:
                continue
            away = np.minimum(*(np.hypot(*(points - end).T) for end in points[[0, -1]])) * mm
            inner = points[away > _ENDS_MM]
            if len(inner):
                apart = shapely.distance(shapely.points(inner), exact) * mm
                one.mean_apart_mm.append(float(apart.mean()))
                one.most_apart_mm.append(float(apart.max()))


def _groups(traced: list[TracedLine]) -> dict[str, list[TracedLine]]:
    groups: dict[str, list[TracedLine]] = {}
    for one in traced:
        groups.setdefault(one.told, []).append(one)
    return {**groups, "all": traced}


def _ms(lines: list[TracedLine], name: str) -> FloatArray:
    return 1e3 * np.concatenate([getattr(one, name) for one in lines])


def steps_report(traced: list[TracedLine]) -> str:
    """Table of the times of one step, and whether the aims are met."""
    lines = [
        f"{'':20}{'steps':>7}{'median':>9}{'95 %':>8}{'most':>8}{'median CPU':>12}{'95 % CPU':>10}"
        f"{'magnifier':>11}{'95 %':>7}"
    ]
    for told, some in _groups(traced).items():
        wall, cpu, lens = (_ms(some, name) for name in ("seconds", "cpu_seconds", "magnifier_seconds"))
        lines.append(
            f"{told:20}{len(wall):7d}{np.median(wall):9.2f}{np.percentile(wall, 95):8.2f}{wall.max():8.2f}"
            f"{np.median(cpu):12.2f}{np.percentile(cpu, 95):10.2f}{np.median(lens):11.2f}"
            f"{np.percentile(lens, 95):7.2f}"
        )
    wall, lens = _ms(traced, "seconds"), _ms(traced, "magnifier_seconds")
    met = [np.median(wall) <= AIM_MS[0], np.percentile(wall, 95) <= AIM_MS[1]]
    lines.append(
        f"aim: median {AIM_MS[0]:.0f} ms, 95th percentile {AIM_MS[1]:.0f} ms: " + " / ".join(map(_met, met))
    )
    lines.append(
        f"aim of the magnifier: {AIM_MAGNIFIER_MS:.0f} ms: {_met(np.median(lens) <= AIM_MAGNIFIER_MS)}"
    )
    return "\n".join(lines)


def _met(one: bool) -> str:
    return "met" if one else "NOT met"


def apart_report(traced: list[TracedLine]) -> str:
    """Table of the distance between live and measured lines."""
    lines = [
        f"{'':20}{'lines':>7}{'mean':>8}{'95 % of means':>15}{'furthest, median':>18}{'95 %':>8}"
        f"{'within ' + str(_NEAR_MM) + ' mm':>15}"
    ]
    for told, some in _groups(traced).items():
        mean = np.concatenate([one.mean_apart_mm for one in some])
        most = np.concatenate([one.most_apart_mm for one in some])
        if len(mean):
            lines.append(
                f"{told:20}{len(mean):7d}{np.median(mean):8.3f}{np.percentile(mean, 95):15.3f}"
                f"{np.median(most):18.3f}{np.percentile(most, 95):8.3f}{np.mean(mean <= _NEAR_MM):15.1%}"
            )
    return "\n".join(lines)
