"""What holds for every curvature method on every canal: invariances, uncertainties, reasons."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from radio.measure.curvature import Number, Word, measure_methods, stack_of_traces
from radio.measure.methods import METHODS, QUANTITIES, method_named
from radio.measure.perturb import perturbed_traces
from radio.measure.stack import Placed, TraceStack
from tests.fixtures.bent import answers, answers_of, chain, kinked, straight_and_arc, turned

# A straight beginning, one to three bends, and a straight end or none; radii of 2 mm and more.
CANALS = st.tuples(
    st.floats(3, 9),
    st.lists(st.tuples(st.floats(2, 5), st.floats(-57, 57)), min_size=1, max_size=3),
    st.sampled_from([0.0, 1.3, 2.9]),
).map(lambda c: chain((c[0], 0), *c[1], *([(c[2], 0)] if c[2] else []), count=900))

# Methods whose numbers hang on lengths in millimetres that stay when a canal is enlarged.
FIXED_LENGTHS = {
    "weine": "apical portion",
    "two-segments": "segments, apical portion",
    "four-point": "points",
    "point-turning": "step",
    "profile": "smoothing, radius below which a canal counts as curved",
    "secondary": "smoothing",
    "form": "smoothing",
}
FREE = {
    "schneider",
    "long-axis",
    "tangent-circle",
    "quotient",
    "chord-radius",
    "access-angle",
    "straight-pieces",
}
# Where the same canal from its other end is the same to a method.
EITHER_WAY = ["long-axis", "point-turning", "straight-pieces", "profile"]
# Beside each other these may swap: two places that bend alike to the last digit.
# Whose interval comes from what the errors allow, its uncertainty from the interval.
BOUNDED = {"curved_length_mm"}
PLACES = {"greatest_curvature_from_end_mm", "curve_distance_deepest_mm"}

SHAPES = {
    "straight": kinked(7, 0, 6),
    "wavering": np.stack([np.linspace(0, 13, 300), 0.03 * np.sin(np.linspace(0, 26, 300))], axis=1),
    "tiny": straight_and_arc(0.3, 0.2, 60),
    "short": straight_and_arc(1.5, 1, 60),
    "apical": straight_and_arc(8, 5, 60),
    "arc": chain((12, 70)),
    "kink": kinked(9, 50, 4),
    "s": chain((6, 0), (3, 40), (4, -40), (1, 0)),
    "s back to its axis": chain((6, 0), (2, 20), (4, -40), (2, 20), (1, 0)),
    "s across its axis": chain((8, 0), (1.5, 25), (3, -50), (2.5, -10)),
    "100 degrees": chain((6, 0), (5, 100), (2, 0)),
    "180 degrees": chain((6, 0), (5, 180), (2, 0)),
    "200 degrees": chain((6, 0), (5, 200), (2, 0)),
    "330 degrees": chain((6, 0), (12, 330), (1, 0)),
    "spiral": chain((6, 0), (15, 720)),
    "there and back": np.array([[0.0, 0.0], [9.0, 0.0], [0.0, 0.0]]),
    "up the image": turned(straight_and_arc(8, 5, 60), 180),
}
PLACINGS = {
    "nothing placed": Placed(),
    "axis": Placed(axis=np.array([[0.0, 0.0], [5.0, 0.2]])),
    "departure off the canal": Placed(departure=np.array([6.0, 1.0])),
    "departure above the orifice": Placed(np.array([[0.0, 4.0], [5.0, 4.2]]), np.array([-3.0, 1.0])),
    "departure at the end": Placed(departure=np.array([50.0, 20.0])),
}


# Line, arc, and line are searched for: how closely, in shares of the value.
SEARCHED = {q.column: 0.01 for name in ("tangent-circle", "quotient") for q in method_named(name).quantities}


def same(found: dict, other: dict, rel: float = 1e-6, leave: set[str] = frozenset()) -> None:
    """Equal in every column, words included."""
    assert found.keys() == other.keys()
    leave = leave | SEARCHED.keys()
    for column in SEARCHED.keys() & found.keys() - {"tangent_circle_asymmetry"}:
        assert other[column] == pytest.approx(found[column], rel=SEARCHED[column], abs=0.05), column
    for column in found.keys() - leave:
        if isinstance(found[column], str):
            assert found[column] == other[column], column
        else:
            assert other[column] == pytest.approx(found[column], rel=rel, abs=rel), column


def settled(found: dict) -> bool:
    """Whether no decision of a method stands on the last digit."""
    edges = {"schneider_deg": (1, 5), "weine_deg": (3, 177), "tangent_circle_deg": (3, 177)}
    return all(abs(found[column] - edge) > 0.05 for column, them in edges.items() for edge in them)


def draws_of(points: np.ndarray, sd: float, count: int = 24, **more) -> np.ndarray:
    n = len(points)
    given_ = {"correlation": 1.0, "end_sd": (sd, sd), "bridges": np.zeros((0, n)), **more}
    return perturbed_traces(points, np.full(n, sd), count=count, **given_)


# -- invariances -------------------------------------------------------------------------------------------


@settings(max_examples=30)
@given(CANALS, st.floats(0, 360), st.floats(-300, 300), st.floats(-300, 300))
def test_turning_and_moving_changes_nothing(trace, degrees, row, col) -> None:
    found = answers_of(trace)
    assume(settled(found))
    moved = answers_of(turned(trace, degrees) + np.array([row, col]))
    # the side is one of the image, which is not turned along
    same(found, moved, 1e-4, PLACES | {"bend_side"})


@settings(max_examples=30)
@given(CANALS, st.booleans())
def test_a_mirror_changes_the_side_alone(trace, rows: bool) -> None:
    found, mirrored = answers_of(trace), answers_of(trace * ([-1, 1] if rows else [1, -1]))
    assume(settled(found))
    swapped = {"up": "down", "down": "up"} if rows else {"left": "right", "right": "left"}
    side = found.pop("bend_side")
    assert mirrored.pop("bend_side") == swapped.get(side, side)
    same(found, mirrored, 1e-5, PLACES)


@settings(max_examples=30)
@given(CANALS, st.floats(0.2, 20))
def test_enlarging_in_pixels_changes_nothing(trace, factor: float) -> None:
    # without a scale every length a method uses is a share of the canal
    found = answers_of(30 * trace, unit="px", tolerance=5.0)
    assume(settled(found))
    same(found, answers_of(30 * factor * trace, unit="px", tolerance=5.0 * factor), 1e-5)


@settings(max_examples=30)
@given(CANALS, st.floats(0.7, 5))
def test_enlarging_in_millimetres_enlarges_lengths(trace, factor: float) -> None:
    methods = [method_named(name) for name in sorted(FREE)]
    found = answers_of_methods(trace, methods)
    assume(abs(found["schneider_deg"] - 1) > 0.01 and abs(found["tangent_circle_deg"] - 3) > 0.1)
    larger = answers_of_methods(factor * trace, methods, tolerance=0.1 * factor)
    for column, value in found.items():
        grown = value * {"mm": factor, "deg/mm": 1 / factor}.get(QUANTITIES[column].unit, 1)
        if column not in PLACES | {"tangent_circle_asymmetry"}:
            assert larger[column] == pytest.approx(grown, rel=SEARCHED.get(column, 1e-5), abs=1e-5), column


def answers_of_methods(points, methods, **more):
    return answers(stack_of_traces(points, **more), methods=methods)


def test_which_methods_hang_on_millimetres_is_known_for_each() -> None:
    assert FREE | FIXED_LENGTHS.keys() == {method.name for method in METHODS}
    assert not FREE & FIXED_LENGTHS.keys()
    # an apical portion of 2 mm is more than the 1.5 mm of arc here, and less of it twice as large
    for name in FIXED_LENGTHS.keys() - {"form"}:
        trace = chain((6, 0), (3, 40), (1.5, -45 if name == "secondary" else 30))
        small, large = answers_of(trace), answers_of(2 * trace, tolerance=0.2)
        numbers = [q for q in method_named(name).quantities if q.unit != "word" and q.column in small]
        changed = [
            abs(
                large[q.column] / (small[q.column] * {"mm": 2, "1/mm": 0.5, "deg/mm": 0.5}.get(q.unit, 1)) - 1
            )
            for q in numbers
            if q.column in large
        ]
        assert max(changed) > 1e-3, name


@settings(max_examples=30)
@given(CANALS)
def test_from_the_other_end(trace) -> None:
    methods = [method_named(name) for name in EITHER_WAY]
    found, back = answers_of_methods(trace, methods), answers_of_methods(trace[::-1], methods)
    length = float(stack_of_traces(trace).length[0])
    where, other = (one.pop("greatest_curvature_from_end_mm") for one in (found, back))
    same(found, back, 1e-5)
    if max(abs(where - length / 2), abs(other - length / 2)) > 0.2 and where != other:
        assert where == pytest.approx(length - other, abs=0.2) or found["greatest_curvature_per_mm"] < 1e-3


def test_an_s_is_one_from_either_end() -> None:
    for name in ("s", "s back to its axis", "s across its axis"):
        assert [answers_of(one)["s_shaped"] for one in (SHAPES[name], SHAPES[name][::-1])] == ["yes", "yes"]


@settings(max_examples=30)
@given(
    st.tuples(st.floats(5, 10), st.floats(4, 10), st.floats(25, 70)),
    st.integers(50, 300),
    st.integers(300, 5000),
)
def test_how_densely_a_trace_is_sampled_hardly_matters(shape, few: int, many: int) -> None:
    # a chord of a sparse trace cuts its arc by step^2 / 8r, 0.004 mm at 0.35 mm; where the tolerance is left
    # late by that much the angle changes by half a degree, a radius by a few per cent
    found, other = (answers_of(straight_and_arc(*shape, count=n)) for n in (few, many))
    assert found.keys() == other.keys()
    for column in found.keys() - {"greatest_curvature_from_end_mm"}:
        if isinstance(found[column], str):
            continue
        # line, arc, and line of so sparse a trace, and where it leaves them, are known less well
        rel, within = (0.15, 2.0) if column in SEARCHED else (0.05, 1.0)
        assert other[column] == pytest.approx(found[column], rel=rel, abs=0.3), column
        if QUANTITIES[column].unit == "deg":
            assert other[column] == pytest.approx(found[column], abs=within), column


@settings(max_examples=15)
@given(CANALS)
def test_a_trace_has_the_same_values_alone_and_among_others(trace) -> None:
    # values of a stack are those of its traces, whatever stands beside them
    draws = draws_of(trace, 0.02, count=3)
    together = stack_of_traces(trace, draws)
    for method in METHODS:
        values = method.values(together)
        assert values.keys() == {q.column for q in method.quantities}
        for k in range(4):
            alone = method.values(TraceStack(together.points[k : k + 1]))
            for column, array in values.items():
                assert len(array) == 4
                if array.dtype.kind in "fi" and method.name not in ("point-turning", "profile"):
                    # the apical portion and the smoothing are those of the first trace
                    assert array[k] == pytest.approx(alone[column][0], rel=0.2, abs=0.6, nan_ok=True) or k > 0
                if k == 0:
                    exact = array.dtype.kind not in "fi"
                    # sums of several traces round otherwise, and where hardly anything bends the places of
                    # an arc are known so little that a search ends elsewhere
                    near = 0.01 if column in SEARCHED else 1e-9
                    one = alone[column][0]
                    assert array[0] == (one if exact else pytest.approx(one, rel=1e-5, abs=near, nan_ok=True))


# -- numbers and their uncertainty -------------------------------------------------------------------------


@pytest.mark.parametrize("placing", PLACINGS)
@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("unit", ["mm", "px"])
@pytest.mark.parametrize("drawn", [False, True])
def test_every_canal_has_numbers_or_reasons(name: str, placing: str, unit, drawn: bool) -> None:
    size = 1.0 if unit == "mm" else 30.0
    trace, placed = SHAPES[name] * size, PLACINGS[placing]
    placed = Placed(*(None if one is None else one * size for one in (placed.axis, placed.departure)))
    draws = [] if not drawn else list(draws_of(trace, 0.02 * size, count=4, correlation=size))
    stack = stack_of_traces(trace, draws, unit=unit, tolerance=0.1 if unit == "mm" else 5.0, placed=placed)
    found, absent = measure_methods(stack, relative_sd=0.02)
    assert found.keys() | absent.keys() == QUANTITIES.keys()
    assert not found.keys() & absent.keys()
    assert all(len(reason) > 10 for reason in absent.values())
    for column, one in found.items():
        if isinstance(one, Word):
            assert 0 < one.share <= 1
            assert one.share == 1 or drawn
            continue
        low, high = one.interval95
        assert low <= one.value <= high, column
        assert np.isfinite([one.value, one.sd, low]).all()
        assert one.sd >= one.quantity.smallest_sd * (1 - 1e-9) > 0
        assert abs(one.value) < 2e4, column
        if one.quantity.unit == "deg" and not column.endswith(("turning_deg", "sum_deg")):
            assert 0 <= one.value <= 180
        if unit == "px":
            assert not one.quantity.needs_mm
    if unit == "px":
        needing = {q.column for m in METHODS for q in m.quantities if m.needs_mm or q.needs_mm}
        assert {column for column in absent if absent[column] == "there is no scale"} == needing


@pytest.mark.parametrize("shape", ["apical", "s", "arc"])
def test_uncertainty_grows_with_that_of_the_trace(shape: str) -> None:
    sds: list[dict[str, float]] = []
    for sd in (0.0, 0.01, 0.04, 0.12):
        draws = draws_of(SHAPES[shape], sd, count=40)
        found, _ = measure_methods(stack_of_traces(SHAPES[shape], draws))
        sds.append({c: one.sd for c, one in found.items() if isinstance(one, Number)})
    shared = set.intersection(*(set(one) for one in sds))
    assert len(shared) > 20
    for column in shared:
        grown = [one[column] for one in sds]
        assert grown[-1] > 1.5 * grown[0], column
        if column not in PLACES:  # a place jumps from one bend to the other
            assert all(a <= 1.05 * b for a, b in pairwise(grown)), column
        # traces that are all the same leave the least that is stated
        value, least = answers_of(SHAPES[shape])[column], QUANTITIES[column].smallest_sd
        if column not in PLACES:
            assert grown[0] == pytest.approx(least, rel=0.02, abs=2e-3 * abs(value)), column


def test_uncertainty_is_the_root_mean_square_over_the_draws() -> None:
    trace = SHAPES["apical"]
    draws = draws_of(trace, 0.05, count=200)
    found, _ = measure_methods(stack_of_traces(trace, draws))
    alone = [answers_of(draw) for draw in draws]
    for column in ("schneider_deg", "weine_deg", "access_angle_deg", "curve_height_mm", "total_turning_deg"):
        spread = np.array([one[column] for one in alone]) - found[column].value
        # the draws alone have an apical portion and stations of their own
        low, high = found[column].interval95
        if QUANTITIES[column].noise_adds:
            # the draws waver more than the trace, as that wavers more than the canal: longer downward
            assert found[column].value - low > high - found[column].value
            assert found[column].sd < np.sqrt(np.mean(spread**2)), column
            continue
        assert found[column].sd == pytest.approx(np.sqrt(np.mean(spread**2)), rel=0.1), column
        # the draws are not normal, nor evenly about the value: what a further draw lies in
        assert (low, high) == pytest.approx(
            np.quantile(spread + found[column].value, (0.025, 0.975)), rel=0.1, abs=0.1
        )
    # coverage: draws scatter about the measured one as it does about the truth (2 sd of a binomial of 200)
    inside = [
        low <= one["schneider_deg"] <= high
        for low, high in [found["schneider_deg"].interval95]
        for one in alone
    ]
    assert np.mean(inside) > 0.90


@pytest.mark.parametrize("shape", ["apical", "s"])
def test_the_scale_adds_to_millimetres_alone(shape: str) -> None:
    draws = draws_of(SHAPES[shape], 0.03)
    stack = stack_of_traces(SHAPES[shape], draws)
    plain, scaled = (measure_methods(stack, relative_sd=rel)[0] for rel in (0.0, 0.05))
    assert plain.keys() == scaled.keys()
    for column, one in plain.items():
        other = scaled[column]
        if isinstance(one, Word):
            assert one == other
            continue
        assert other.value == one.value
        if one.quantity.unit in ("deg", "ratio"):
            assert other == one
        elif (
            one.sd > one.quantity.smallest_sd * 1.001
            and not one.quantity.noise_adds
            and column not in BOUNDED
        ):
            # in quadrature; for a radius the relative part is the same for its reciprocal
            assert other.sd == pytest.approx(np.hypot(one.sd, 0.05 * one.value), rel=1e-9), column
        else:
            assert other.sd >= one.sd


def test_a_radius_spreads_as_its_reciprocal() -> None:
    trace = straight_and_arc(8, 12, 20)
    stack = stack_of_traces(trace, draws_of(trace, 0.06, count=60))
    found, _ = measure_methods(stack)
    radii = {c: one for c, one in found.items() if isinstance(one, Number) and one.quantity.reciprocal}
    assert len(radii) == 5
    drawn = {c: v for method in METHODS for c, v in method.values(stack).items() if c in radii}
    for column, one in radii.items():
        low, high = one.interval95
        bends = np.nan_to_num(1 / drawn[column][1:])  # one without a radius is straight
        assert one.sd / one.value**2 >= 0.99 * bends.std()
        if one.quantity.noise_adds:  # every waver makes it smaller, so that less is to be feared below
            assert 1 / low - 1 / one.value < bends.max() - 1 / one.value
        else:
            least, most = np.quantile(bends, (0.025, 0.975), method="weibull")
            assert 1 / low == pytest.approx(most)
            assert high == np.inf if least <= 0 else 1 / high == pytest.approx(least)
        assert high - one.value > one.value - low  # further toward straight
    # a canal that may as well be straight has no upper end
    nearly = chain((8, 0), (4, 9))
    found, absent = measure_methods(stack_of_traces(nearly, draws_of(nearly, 0.12)))
    assert found["smallest_radius_mm"].interval95[1] == np.inf
    assert ("two_segment_radius_mm" in found) != ("two_segment_radius_mm" in absent)


def test_a_value_most_draws_do_not_have_is_not_stated() -> None:
    trace = straight_and_arc(8, 5, 60)
    straight = [kinked(7, 0, 6)] * 3
    found, absent = measure_methods(stack_of_traces(trace, [trace, *straight]))
    assert absent["chord_radius_mm"]
    assert found["canal_form"].word == "apically curved"
    assert found["canal_form"].share == pytest.approx(2 / 5)
    found, absent = measure_methods(stack_of_traces(trace, [trace, trace, trace, *straight]))
    assert found["chord_radius_mm"].value > 0
    assert "chord_radius_mm" not in absent


def test_the_same_seed_gives_the_same_and_another_one_something_near() -> None:
    trace = SHAPES["apical"]
    runs = [
        measure_methods(stack_of_traces(trace, draws_of(trace, 0.02, seed=seed)))[0] for seed in (7, 7, 8)
    ]
    assert runs[0] == runs[1]
    assert runs[0] != runs[2]
    for column, one in runs[0].items():
        if isinstance(one, Number):
            assert runs[2][column].value == one.value
            # 24 draws each: two spreads of the same normal errors are within a factor of 2
            assert 0.4 < runs[2][column].sd / one.sd < 2.5, column
    assert np.array_equal(draws_of(trace, 0.05), draws_of(trace, 0.05))


def test_an_s_that_few_draws_have_is_none() -> None:
    trace, one_bend = SHAPES["s"], SHAPES["apical"]
    found, absent = measure_methods(stack_of_traces(trace, [trace, *[one_bend] * 3]))
    assert found["s_shaped"].word == "no"
    assert found["s_shaped"].share == pytest.approx(3 / 5)
    assert absent["primary_curve_deg"].startswith("fewer than half of the traces")
    assert absent["secondary_curve_deg"] == absent["primary_curve_deg"]
    # the other way round the trace itself has no angles to give
    found, absent = measure_methods(stack_of_traces(one_bend, [one_bend, *[trace] * 3]))
    assert found["s_shaped"].word == "no"
    assert "the measured trace has none" in absent["primary_curve_deg"]
