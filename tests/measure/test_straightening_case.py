"""The bounds of whole canals, traced from painted images whose walls and lines are known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calib.instruments import HandFile
from radio.errors import CalibrationError, PeriapicalError
from radio.image.synthetic.build import build_scene
from radio.image.synthetic.case import case_of
from radio.image.synthetic.draw import draw_parameters
from radio.image.synthetic.tubes import Tube, project_tube
from radio.measure.case import CaseFacts
from radio.measure.pipeline import measure_case
from radio.measure.straightening import CENTRED, LEANING, TRACED, straightening
from radio.measure.straightening_case import COLUMNS, straightening_of_case
from radio.trace.curve import cumulative_length, resample
from tests.fixtures.painted import as_radiograph, painted_tooth

PREPARED = HandFile(25, 0.06)


@cache
def measured(turn_deg=30.0, size=None, inverted=False, scale="given"):
    tooth = painted_tooth(turn_deg=turn_deg, size=size)
    radiograph = as_radiograph(1.0 - tooth.grey if inverted else tooth.grey)
    facts = CaseFacts(
        scale_from=scale, mm_per_px=tooth.mm_per_px if scale == "given" else None, file_size=size
    )
    return tooth, radiograph, measure_case(radiograph, tooth.clicks, facts)


def bounds(turn_deg=30.0, size=None, inverted=False, prepared=PREPARED):
    tooth, radiograph, result = measured(turn_deg, size, inverted)
    return tooth, straightening_of_case(radiograph, tooth.clicks, result, prepared)


def exact(tooth, measuring, prepared=PREPARED):
    """The same geometry of the painted canal itself: 0.45 mm wide, less 0.02 mm a millimetre."""
    centre = resample(tooth.canal_px, 0.12 / tooth.mm_per_px) * tooth.mm_per_px
    half = 0.5 * (0.45 - 0.02 * cumulative_length(centre))
    return straightening(centre, half, half, measuring=measuring, prepared=prepared)


@pytest.mark.parametrize("turn_deg", [20.0, 40.0, 60.0])
def test_the_bounds_are_those_of_the_painted_canal(turn_deg) -> None:
    tooth, found = bounds(turn_deg)
    truth = exact(tooth, None)
    for name, way in truth.ways.items():
        one = found.shrinks[name]
        low, high = one.interval95
        assert one.value == pytest.approx(way.shrink_mm, abs=0.05 + 0.15 * way.shrink_mm)
        assert low <= way.shrink_mm <= high
        assert 0 <= low <= one.value <= high
        assert one.name == COLUMNS[name]
        assert "not a prediction" in one.notes[0]
    assert found.walls.seen_share > 0.7


def test_a_straight_canal_has_hardly_anything_to_lose() -> None:
    _, found = bounds(0.0)
    for one in found.shrinks.values():
        assert one.value < 0.05
        assert one.interval95[0] < 0.01


def test_the_stated_file_is_what_the_length_is_read_on() -> None:
    # the image shows the canal without it: beside a file of that size the walls are not seen
    tooth, radiograph, result = measured(40.0)
    stated = replace(result, facts=replace(result.facts, file_size=15))
    found = straightening_of_case(radiograph, tooth.clicks, stated, PREPARED)
    assert found.measuring == HandFile(15)
    assert "read on size 15 of taper 0.02" in found.shrinks[TRACED].basis
    truth = exact(tooth, HandFile(15))
    for name in (TRACED, CENTRED, LEANING):
        low, high = found.shrinks[name].interval95
        assert low <= truth.ways[name].shrink_mm <= high


def test_without_widening_there_is_one_bound() -> None:
    _, found = bounds(prepared=None)
    assert list(found.shrinks) == [TRACED]
    assert "prepared" not in found.shrinks[TRACED].basis


def test_an_inverted_picture_gives_the_same_walls() -> None:
    """A picture whose metal is dark is measured reversed, by walls as by lines."""
    _, upright = bounds(30.0, size=10)
    _, inverted = bounds(30.0, size=10, inverted=True)
    assert inverted.walls.left_mm == pytest.approx(upright.walls.left_mm, abs=0.02)
    assert inverted.walls.seen_share == pytest.approx(upright.walls.seen_share, abs=0.05)


def test_the_same_again_to_the_last_digit() -> None:
    tooth, radiograph, result = measured()
    first, second = (straightening_of_case(radiograph, tooth.clicks, result, PREPARED) for _ in range(2))
    assert first.shrinks == second.shrinks


def test_without_scale_or_line_or_with_no_such_file_the_reason_is_told() -> None:
    tooth, radiograph, unscaled = measured(scale="none")
    with pytest.raises(PeriapicalError, match="no scale"):
        straightening_of_case(radiograph, tooth.clicks, unscaled)
    _, _, result = measured()
    with pytest.raises(PeriapicalError, match="no canal line"):
        straightening_of_case(radiograph, tooth.clicks, replace(result, stack=None, canal_line=None))
    kept = {name: one for name, one in result.measurements.items() if name != "canal_length_mm"}
    with pytest.raises(PeriapicalError, match="withheld by a check"):
        straightening_of_case(radiograph, tooth.clicks, replace(result, measurements=kept))
    odd = replace(result, facts=replace(result.facts, file_size=17))
    with pytest.raises(CalibrationError, match="15 and 20"):
        straightening_of_case(radiograph, tooth.clicks, odd)


def test_walls_hardly_seen_give_no_bound() -> None:
    # beside a file that fills the canal
    with pytest.raises(PeriapicalError, match="hides its walls"):
        bounds(40.0, size=15)
    tooth, _, result = measured()
    flat = np.full_like(tooth.grey, 0.5)
    flat += np.random.default_rng(1).normal(0, 0.02, flat.shape).astype(np.float32)
    with pytest.raises(PeriapicalError, match="at least 50% of each are needed"):
        straightening_of_case(as_radiograph(flat), tooth.clicks, result)


# the first ones of which the image shows half of each wall
@pytest.mark.parametrize("seed", [613, 616, 617])
def test_on_synthetic_teeth_the_bounds_are_near_the_true_ones(seed) -> None:
    """Truth: axis and outline of the canal's tube as projected, from the geometry the image was made of."""
    p = draw_parameters(seed)
    case = case_of(p)
    found = straightening_of_case(
        case.grey, case.clicks, measure_case(case.grey, case.clicks, case.facts), PREPARED
    )
    scene = build_scene(p)
    canal = scene.tooth.canals[0][0]
    shadow = project_tube(Tube(canal.axis_mm, canal.half_width_mm, canal.half_depth_mm), scene.view)
    mm = case.truth.mm_per_px
    centre = resample(case.truth.canal_axis_px, 0.12 / mm) * mm
    share = cumulative_length(centre) / cumulative_length(centre)[-1]
    half = np.interp(share, np.linspace(0, 1, len(shadow.half_width_mm)), shadow.half_width_mm)
    half *= mm / p.pitch_mm
    truth = straightening(centre, half, half, measuring=found.measuring, prepared=PREPARED)
    for name, way in truth.ways.items():
        assert found.shrinks[name].value == pytest.approx(way.shrink_mm, abs=0.2)
        assert way.shrink_mm <= found.shrinks[name].interval95[1] + 0.01
