"""The benchmarks still run, and judge rightly; their results are no business of a test run."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from radio.image.synthetic import SyntheticCase, make_case
from radio.image.synthetic.build import build_scene
from radio.image.synthetic.draw import draw_parameters
from radio.image.synthetic.projection import make_view
from radio.image.synthetic.truth import truth_of_canal
from radio.measure.methods import QUANTITIES
from radio.measure.pipeline import measure_case
from radio.measure.result import Measurement
from tests.benchmarks import (
    accuracy,
    bend_report,
    bends,
    checks,
    coverage,
    exact,
    girth,
    hold,
    judge,
    length_cases,
    lengths,
    lettering,
    pairs,
    preview,
    report,
    sitting,
    space,
    space_report,
    speed,
    timing,
)
from tests.benchmarks.cases import run_cases
from tests.benchmarks.rows import ERRORS
from tests.fixtures.in_space import in_space, straight_and_arc

# Two small images in a row, the first with a file (short of the apex) and the second without.
FIRST_SEED = 78
# Two pairs of small images, of a tooth in the jaw and of an extracted one.
PAIR_SEEDS = (242, 278)


@pytest.fixture(scope="module")
def with_file() -> SyntheticCase:
    return make_case(FIRST_SEED)


def test_accuracy_runs_and_reports_every_measure_of_its_cases():
    judged, balls = run_cases(FIRST_SEED, 2, plain_count=1, five_mm_balls=0)
    assert [one.seed for one in judged] == [FIRST_SEED, FIRST_SEED + 1]
    assert [one.file_size is None for one in judged] == [False, True]
    assert [(one.ours.failed, one.ours.missing) for one in judged] == [("", []), ("", [])]
    assert judged[0].plain is not None
    assert not judged[0].plain.failed
    assert judged[1].plain is None
    told = report.full_report(judged, balls, worst=True)
    for row in ERRORS:
        assert row.label in told
    record = json.loads(json.dumps(report.as_record(judged, balls)))
    assert record["summary"]["seconds"]["n"] == 2
    assert record["summary"]["gap_mm"]["median"] == pytest.approx(abs(judged[0].ours.error["gap_mm"]))


@pytest.fixture(scope="module")
def bent() -> list[bends.BendJudged]:
    return [bends.judge_bend_seed(seed) for seed in (FIRST_SEED, FIRST_SEED + 1)]


def test_coverage_runs_and_reports_every_quantity_of_its_cases(bent):
    assert [(one.with_file, one.failed) for one in bent] == [(True, ""), (False, "")]
    for one in bent:
        judged = {*one.numbers, *one.words, *one.missing, *one.without_truth}
        # the angles of an S are there only where there is one
        assert {*QUANTITIES} - judged <= {"primary_curve_deg", "secondary_curve_deg"}
        for found in one.numbers.values():
            assert found.low <= found.value <= found.high
        assert all(0 < word.share <= 1 for word in one.words.values())
        assert 0 < one.methods_ms < 10_000
    told = bend_report.coverage_report(bent, worst=True)
    for quantity in QUANTITIES.values():
        assert quantity.title in told
    assert "Weine angle, file (1): 1.5 median, 5 at 95 %" in told
    assert "failed" not in told


def test_the_exact_axis_itself_is_without_error(with_file):
    truth = with_file.truth
    result = measure_case(with_file.grey, with_file.clicks, with_file.facts)
    judged = bends.BendJudged(FIRST_SEED, True, truth.s_shaped)
    measured = {
        column: replace(result.measurements[column], value=float(value), interval=(value - 1.0, value - 0.5))
        for column, value in bends.true_values(truth, calibrated=True).items()
        if column in result.measurements
    }
    bends.judge_bend(judged, replace(result, measurements=measured), with_file)
    assert "weine_deg" in judged.numbers
    for column in measured.keys() & judged.numbers.keys():
        assert judged.numbers[column].error == 0.0
        assert not judged.numbers[column].held


def test_shares_medians_and_alarms_are_those_of_the_cases():
    def case(seed, value, held, drawn_s, word):
        one = bends.BendJudged(seed, True, drawn_s, calibrated=True)
        high = value if not held else 100.0
        one.numbers["weine_deg"] = bends.NumberFound(value, 0.0, high, 30.0)
        one.numbers["smallest_radius_mm"] = bends.NumberFound(value, 0.0, 99.0, 20.0 if seed else 50.0)
        one.words["s_shaped"] = bends.WordFound(word, 0.9, "yes" if drawn_s else "no")
        return one

    cases = [
        case(0, 29.0, held=True, drawn_s=True, word="yes"),
        case(1, 26.0, held=False, drawn_s=True, word="no"),
        case(2, 24.0, held=True, drawn_s=False, word="no"),
    ]
    by_label = {row.label: row for row in bend_report.rows()}
    n, median, p95, held = by_label["Weine angle, deg"].summary(cases)
    assert (n, median, held) == (3, 4.0, pytest.approx(2 / 3))
    assert p95 == pytest.approx(5.8)  # 4 + 0.9 * (6 - 4)
    n, median, _, _ = by_label["Smallest radius, %"].summary(cases)
    assert (n, median) == (2, pytest.approx(25.0))  # 30 % and 20 %; 50 mm is all but straight
    found, false = bend_report.s_shape_counts(cases, lambda one: one.drawn_s)
    assert (found, false) == ([True, False], [False])
    assert bend_report.interval_verdict(100, 0.8) == "narrow"
    assert bend_report.interval_verdict(5, 0.8) == "few"


@pytest.mark.parametrize("radius_mm", [3.0, 12.0])
def test_the_smallest_radius_of_a_line_into_a_circle(radius_mm):
    angle = np.linspace(0, 8.0 / radius_mm, 400)
    bend = radius_mm * np.column_stack([np.sin(angle), 1 - np.cos(angle)])
    straight = np.column_stack([np.linspace(-6.0, 0.0, 300, endpoint=False), np.zeros(300)])
    assert exact.smallest_radius_mm(np.vstack([straight, bend])) == pytest.approx(radius_mm, rel=1e-3)


def test_speed_runs_and_reports(with_file):
    timed = timing.compare("one", with_file, 1)
    assert timed.with_file
    assert timed.ratio == pytest.approx(timed.plain_s / timed.ours_s)
    assert "aim: 20 times faster" in timing.compare_report([timed])
    seconds = timing.seconds_each([(with_file.grey, with_file)])
    assert seconds[0][0] is True
    assert 0 < seconds[0][1] < 60
    assert "aim: median 0.05 s" in timing.seconds_report(seconds)


def test_options_out_of_range_are_refused(capsys):
    for module, arguments in (
        (accuracy, ["--cases", "0"]),
        (accuracy, ["--cases", "5", "--plain", "6"]),
        (coverage, ["--workers", "0"]),
        (space, ["--cases", "0"]),
        (lengths, ["--first-seed", "-1"]),
        (speed, ["--repeats", "0"]),
    ):
        with pytest.raises(SystemExit):
            module.parse(arguments)
        assert "must" in capsys.readouterr().err


def test_lengths_run_and_report_every_length_of_a_tooth():
    with_file, without = judged = length_cases.judge_lengths_seed(FIRST_SEED)
    assert [(one.with_file, one.failed, one.missing) for one in judged] == [(True, "", []), (False, "", [])]
    bounds = {f"bound, {name}" for name in ("traced", "centred", "leaning")}
    assert set(with_file.numbers) - bounds == {"scale from the file", "gap", "working length"}
    assert {name.split(",")[0] for name in set(without.numbers) - bounds} == {
        "scale from the ball",
        "estimate",
    }
    told = lengths.lengths_report(judged, worst=True)
    for one, group in zip(judged, ("with file", "without file"), strict=True):
        for name, found in one.numbers.items():
            assert found.low <= found.value <= found.high
            assert f"{group}: {name}" in told
    assert "true bound above the upper end of the one found: " in told
    assert "failed" not in told


def test_a_length_off_by_a_millimetre_is_judged_so_and_none_is_missing():
    one = length_cases.LengthJudged(1, with_file=True)
    one.put("gap", Measurement("gap_mm", 2.0, "mm", 0.25, "m", "b"), 1.0)
    one.put("working length", None, 21.0)
    assert (one.numbers["gap"].error, one.numbers["gap"].held) == (1.0, False)
    assert one.missing == ["working length"]
    told = lengths.lengths_report([one])
    # n, missing, extra, median, 95th percentile, held, verdict, bias, rms
    line = next(line for line in told.splitlines() if "with file: gap" in line)
    assert line.split()[3:] == ["1", "0", "0", "1.000", "1.000", "0%", "few", "+1.000", "1.000"]


def test_the_exact_estimate_is_what_a_straight_file_reads():
    # a straight canal, seen without lean: a file lies in it as the rule goes on from its axis
    straight = {
        "canal_form": "straight",
        "turn_deg": 0.0,
        "vertical_tilt_deg": 0.0,
        "horizontal_tilt_deg": 0.0,
    }
    drawn = draw_parameters(FIRST_SEED, kind="upper_incisor", foramen_offset_mm=0.0, **straight)
    scene = build_scene(drawn)
    truth = truth_of_canal(scene, drawn, *scene.files[0])
    assert exact.estimate_mm(truth) == pytest.approx(length_cases.length_by_a_file_mm(drawn), abs=0.15)
    assert length_cases.length_by_a_file_mm(drawn) == pytest.approx(exact.reference_length_mm(truth))


def test_the_exact_bounds_grow_by_widening_and_are_of_the_exact_axis():
    case = make_case(FIRST_SEED, file_size=None, second_file_size=None)
    true = length_cases.true_straightening(case, None)
    assert true.length_mm == pytest.approx(case.truth.canal_length_mm, rel=0.01)
    traced, centred, leaning = (true.ways[name].shrink_mm for name in ("traced", "centred", "leaning"))
    # widening never takes a way away
    assert 0 <= traced <= min(centred, leaning) + 1e-9


@pytest.fixture(scope="module")
def seen_twice() -> dict[int, pairs.DrawnPair]:
    return {seed: pairs.draw_pair(seed) for seed in PAIR_SEEDS}


def test_space_runs_and_reports_every_number_of_its_pairs(seen_twice):
    judged = [pairs.judge_pair_seed(seed) for seed in PAIR_SEEDS]
    assert [(one.extracted, one.failed, one.same_canal) for one in judged] == [
        (False, "", True),
        (True, "", True),
    ]
    for one in judged:
        assert {"length_3d_mm", "resultant_bend_deg", "own plane: weine_deg"} <= one.numbers.keys()
        assert all(found.low <= found.value <= found.high for found in one.numbers.values())
    told = space_report.space_report(judged, worst=True)
    for row in space_report.rows(judged):
        assert row.label in told
    assert "failed" not in told


def test_a_pair_is_judged_by_the_exact_axis(seen_twice):
    pair = seen_twice[PAIR_SEEDS[0]]
    found = pairs.measure_pair(pair)
    true = pairs.exact_in_space(pair.axis_mm).measurements
    shifted = {
        name: replace(one, value=true[name].value + 0.5, interval=(0.0, true[name].value + 0.25))
        for name, one in found.measurements.items()
        if name in true
    }
    judged = pairs.PairJudged(pair.seed, pair.extracted)
    pairs.judge_pair(judged, replace(found, measurements=shifted, own_plane=None), pair)
    assert judged.numbers.keys() == shifted.keys()
    assert all(one.error == pytest.approx(0.5) and one.held for one in judged.numbers.values())
    assert {"resultant_bend_deg", "own plane: weine_deg"} <= set(judged.missing)


def test_both_views_are_of_one_tooth_at_the_angle_between_them(seen_twice):
    for pair in seen_twice.values():
        first, second = (case.truth for case in pair.cases)
        assert np.array_equal(first.canal_axis_mm, second.canal_axis_mm)
        assert abs(pair.turn_deg - pair.stated_deg) < 10
        for across in pair.across:
            assert across == pytest.approx([*across[:2], 0.0], abs=1e-9)


@pytest.mark.parametrize("upright", [0.0, 180.0])
@pytest.mark.parametrize("spin", [-35.0, 50.0])
@pytest.mark.parametrize("mirror", [False, True])
def test_across_is_what_the_image_shows_to_the_right(upright, spin, mirror):
    view = make_view(
        in_plane_deg=upright,
        vertical_tilt_deg=0.0,
        horizontal_tilt_deg=spin,
        mirror=mirror,
        object_distance_mm=1.0,
        source_distance_mm=1e6,
        beam_u_deg=0.0,
        beam_v_deg=0.0,
    )
    axis = np.array([[0.0, 0.0, 0.0], [1.0, -2.0, 6.0], [3.0, 1.0, 12.0]])
    uv = view.project(axis) - view.project(axis[:1])
    # an upper tooth stands on its head: the image is turned
    shown = uv[:, ::-1] * (1.0 if upright == 0.0 else -1.0)
    assert pairs.exact_view(axis, pairs.across_of(view, axis)) == pytest.approx(shown, abs=1e-3)


def test_the_exact_axis_in_space_has_the_length_of_the_closed_form():
    # 8 mm straight, then a tangent arc of radius 5 mm through 60 degrees, in a turned plane
    planar = straight_and_arc(8, 5, 60)
    axis = np.roll(in_space(planar, 37.0), -1, axis=1)
    found = pairs.exact_in_space(axis)
    assert found.measurements["length_3d_mm"].value == pytest.approx(8 + 5 * np.radians(60), abs=0.01)
    assert found.measurements["off_plane_mm"].value == pytest.approx(0.0, abs=0.01)


def test_the_width_of_intervals_is_told_beside_the_error():
    judged = []
    for seed, (low, high, truth) in enumerate([(8.0, 12.0, 11.0), (6.0, 14.0, 8.0), (4.0, 16.0, 13.0)]):
        one = pairs.PairJudged(seed, extracted=True)
        one.numbers["weine_3d_deg"] = bends.NumberFound(10.0, low, high, truth)
        one.numbers["smallest_radius_3d_mm"] = bends.NumberFound(10.0, low, math.inf, truth)
        judged.append(one)
    told = [line.split() for line in space_report.width_table(judged)[2:]]
    # half widths 2, 4, 6 and errors 1, 2, 3
    assert told == [["weine_3d_deg", "in", "the", "jaw:", "-", "extracted:", "4", "(2.0)"]]


def test_a_direction_errs_the_short_way_round():
    plane = Measurement("bend_plane_deg", 170.0, "deg", 5.0, "", "", (), (160.0, 180.0))
    assert pairs._beside(plane, -175.0).error == pytest.approx(-15.0)


def test_a_shifted_measurement_is_judged_by_its_shift(with_file):
    """Errors of known size, put into a result, come out as such."""
    truth = with_file.truth
    result = measure_case(with_file.grey, with_file.clicks, with_file.facts)
    tip = result.landmarks["file_tip"]
    aside_px = 3.0
    off = replace(tip, row=float(truth.file_tip_px[0]), col=float(truth.file_tip_px[1]) + aside_px)
    gap = replace(result.measurements["gap_mm"], value=truth.gap_mm - 0.5, sd=0.25)
    found = judge.judge(
        replace(
            result,
            landmarks={**result.landmarks, "file_tip": off},
            measurements={**result.measurements, "gap_mm": gap},
            canal_line=replace(result.canal_line, points_px=truth.canal_axis_px),
        ),
        with_file,
    )
    assert found.error["tip_mm"] == pytest.approx(aside_px * truth.mm_per_px)
    parts = math.hypot(found.error["tip_along_mm"], found.error["tip_aside_mm"])
    assert parts == pytest.approx(found.error["tip_mm"], rel=0.02)
    assert found.error["gap_mm"] == pytest.approx(-0.5)
    assert found.in_sd["gap_mm"] == pytest.approx(-2.0)
    assert found.error["line_file_mm"] == pytest.approx(0.0, abs=1e-6)


def test_an_absent_measure_is_missing_and_never_zero(with_file):
    result = measure_case(with_file.grey, with_file.clicks, with_file.facts)
    found = judge.judge(replace(result, measurements={}, canal_line=None), with_file)
    assert set(found.missing) == {
        "gap_mm",
        "working_length_mm",
        "reference_length_mm",
        "canal_length_file_mm",
        "line_file_mm",
        "schneider_file_deg",
    }
    assert not set(found.missing) & set(found.error)


def test_distance_of_a_parallel_line_is_its_offset_and_ends_do_not_count():
    true = np.column_stack([np.linspace(0, 400, 801), np.zeros(801)])
    beside = np.column_stack([np.linspace(-10, 410, 300), np.full(300, 4.0)])
    assert exact.mean_distance_mm(beside, true, 0.05) == pytest.approx(0.2, abs=1e-6)


def test_the_way_along_the_file_joins_file_and_canal(with_file):
    truth = with_file.truth
    line = exact.canal_along_file(truth)
    # the file ends short of the canal here, so the line runs on in the canal to its end
    assert np.hypot(*(line[-1] - truth.canal_end_px)) * truth.mm_per_px < 0.05
    assert np.hypot(*(line - truth.file_tip_px).T).min() * truth.mm_per_px < 0.03
    steps_mm = np.hypot(*np.diff(line, axis=0).T) * truth.mm_per_px
    assert steps_mm.max() < 0.1


def test_a_made_hand_traces_lines_and_every_move_is_timed(with_file):
    pytest.importorskip("napari")
    from tests.benchmarks import hand_steps

    assert preview.parse(["--images", "2"]).images == 2
    with pytest.raises(SystemExit):
        preview.parse(["--images", "0"])
    traced = hand_steps.trace_case(with_file, FIRST_SEED)
    assert [one.told for one in traced] == ["file", "canal about a file"]
    for one in traced:
        assert len(one.seconds) == len(one.cpu_seconds) == len(one.magnifier_seconds) > 20
        assert np.median(one.mean_apart_mm) < 0.2
    told = hand_steps.steps_report(traced)
    assert f"{sum(len(one.seconds) for one in traced)}" in told
    assert "aim: median 8 ms, 95th percentile 16 ms: " in told
    slow = hand_steps.TracedLine("canal", False, [0.01, 0.01], [0.01, 0.01], [0.001, 0.001], [0.1], [0.2])
    assert "16 ms: NOT met / met" in hand_steps.steps_report([slow])
    assert "100.0%" in hand_steps.apart_report([slow])


def test_a_live_line_aside_of_the_measured_one_is_told_by_how_much(with_file):
    pytest.importorskip("napari")
    from types import SimpleNamespace

    from tests.benchmarks import hand_steps

    measured = np.column_stack([np.linspace(0, 400, 81), np.zeros(81)])
    result = SimpleNamespace(file_line=SimpleNamespace(points_px=measured), canal_line=None)
    controller = SimpleNamespace(shown=SimpleNamespace(result=result))
    one = hand_steps.TracedLine("file", False)
    hand_steps._compare(controller, with_file, [one], [[measured + np.array([0.0, 4.0])]])
    assert one.mean_apart_mm == pytest.approx([4.0 * with_file.truth.mm_per_px])
    assert one.most_apart_mm == pytest.approx([4.0 * with_file.truth.mm_per_px])


def test_checks_catch_a_wrong_length_and_report_it():
    right = checks.check_seed(FIRST_SEED)
    assert not right.failed
    assert len(right.caught) == 3
    assert not {"P3 warn", "P4 warn"} & set(right.right)
    far = {pair: hit for pair, hit in right.caught.items() if max(pair) / min(pair) >= 1.15}
    assert all(far.values())
    missed = checks.CheckedCase(1, ("P3 warn",), {(21, 25): False, (31, 21): True})
    told = checks.report(
        [missed, checks.CheckedCase(2, failed="no file"), checks.CheckedCase(3, failed="X: y")]
    )
    assert "21 for 25 (0.84)    0.0% of   1" in told
    assert "31 for 21 (1.48)  100.0% of   1" in told
    assert "missed: 1 (21, 25)" in told
    assert "seed 3: X: y" in told


def test_hints_at_a_lean_are_counted_by_angle_size_and_truth():
    made = girth.Outcome(
        1, 15, 0.02, "round", error=0.02, relative_sd=0.03, made_error=-0.03, alone_error=0.05, lean_deg=30.0
    )
    held = replace(made, size=40, shortened=0.87, hint=True, hint_holds=True)
    false = replace(made, size=20, lean_deg=0.0, hint=True)
    outcomes = [made, held, false, replace(made, error=None, why="no file traced")]
    rows = {int(line.split()[0]): line.split() for line in girth.report_of_leans(outcomes).splitlines()[1:]}
    # files, seen short from .. to, hints, of these thin and thick, intervals that hold, median error
    assert rows[30][2:] == ["2", "0", "to", "13", "1/2", "0/1", "1/1", "1/1", "2.0"]
    assert rows[0][2:] == ["1", "0", "to", "0", "1/1", "1/1", "0/0", "0/1", "2.0"]
    told = girth.report_of_false_hints(outcomes)
    assert "less than 1 %: 1/2;" in told
    assert told.endswith("foreshortening: 1/2")
    table = girth.report(outcomes)
    (thin,) = (line for line in table.splitlines() if line.startswith("size 15") and "without" not in line)
    assert thin.split()[2:] == ["1", "2.0", "2.0", "100%", "100%", f"{0.03 / 0.03 / 0.97:.2f}", "1"]
    assert "no file traced" in table


def test_a_share_has_the_interval_of_wilson():
    from scipy.stats import binomtest

    low, high = binomtest(81, 263).proportion_ci(method="wilson")
    assert f"30.8% of 263 ({low:.1%} to {high:.1%})" in checks.share([True] * 81 + [False] * 182)


def test_hold_reports_the_longest_events_of_every_action():
    held = {"open": sitting.Held([20.0, 60.0, 30.0], [5.0, 9.0, 7.0]), "undo": sitting.Held([10.0], [1.0])}
    head, opened, undone = sitting.report(held, 50.0).splitlines()
    assert head.split() == ["action", "times", "median", "most", "painting"]
    assert opened.split() == ["open", "3", "30.0", "60.0", "7.0", "over"]
    assert undone.split() == ["undo", "1", "10.0", "10.0", "1.0"]
    assert hold.parse(["--rounds", "1"]).rounds == 1
    with pytest.raises(SystemExit):
        hold.parse(["--rounds", "0"])


def test_the_benchmark_of_lettering_counts_what_is_found(capsys):
    lettering.main(["--images", "1", "--words", "2", "--first-seed", "7001"])
    told = capsys.readouterr().out
    assert "of 1 radiographs without any" in told
    assert told.count("found") == 4
