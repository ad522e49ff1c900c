"""Two measured views of one canal, made here from exact projections."""

from __future__ import annotations

import numpy as np
import pytest

from calib.scale import Scale
from radio.measure.bend import measure_bend
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.methods import METHODS, method_named
from radio.measure.trace_case import TracedCase
from radio.measure.view_pair import pair_views
from radio.trace.line import LandmarkFix, Line
from tests.fixtures.in_space import in_space, seen, straight_and_arc

MM = 0.04
CANAL = in_space(straight_and_arc(8, 6, 50), 40)


def landmark(name: str, place: np.ndarray) -> LandmarkFix:
    return LandmarkFix(name, *place, *place, 3.0, 1.0, "made", True)


def view(turn_deg: float, *, lean_deg: float = 0.0, axis: bool = False, scale: bool = True, **facts):
    """A canal as one view shows it, on an image that was turned by `lean_deg`."""
    a = np.radians(lean_deg)
    turned = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    line = (seen(CANAL, turn_deg) @ turned.T) / MM + [300.0, 300.0]
    upright = np.array([[0.0, 0.0], [12.0, 0.0]]) @ turned.T / MM + [280.0, 320.0]
    even = np.full(len(line), 0.5)
    traced = TracedCase(
        None,
        Line("canal", line, even, even > 0),
        {"orifice": landmark("orifice", line[0]), "canal_end": landmark("canal_end", line[-1])},
        None,
        None,
        1.0,
        MM,
        (),
        tooth_axis_px=upright if axis else None,
    )
    found = Scale(MM, MM, 0.01 * MM, "given", "made") if scale else None
    bend = measure_bend(traced, found)
    return CaseResult(
        CaseFacts(**facts),
        found,
        None,
        None,
        traced.canal_line,
        traced.landmarks,
        bend.measurements,
        bend.construction,
        stack=bend.stack,
    )


def test_every_method_is_told_in_space_and_the_truth_lies_in_each_interval():
    pair = pair_views(view(0), view(90))
    columns = {quantity.column for method in METHODS for quantity in method.quantities}
    given = {*pair.own_plane.measurements, *pair.own_plane.findings, *pair.own_plane.absent}
    assert given == columns
    # straight for 8 mm, then an arc of 6 mm through 50 degrees
    for name, truth in {"length_3d_mm": 8 + 6 * np.radians(50), "long_axis_3d_deg": None}.items():
        one = pair.measurements[name]
        low, high = one.interval95
        assert truth is None or low < truth < high
        assert one.sd > 0
    radius = pair.own_plane.measurements["tangent_circle_radius_mm"]
    assert radius.value == pytest.approx(6, rel=0.08)
    assert pair.own_plane.measurements["tangent_circle_deg"].value == pytest.approx(50, abs=2.5)
    assert pair.measurements["bend_plane_deg"].value == pytest.approx(40, abs=2)


def test_only_the_methods_asked_for():
    pair = pair_views(view(0), view(90), methods=[method_named("weine")])
    assert set(pair.measurements) == {"length_3d_mm", "weine_3d_deg", "off_plane_mm"}
    assert set(pair.own_plane.measurements) == {"weine_deg"}
    assert pair.absent == {}


def test_an_image_turned_in_its_plane_needs_the_axis_of_the_tooth():
    upright = pair_views(view(0), view(90))
    stated = pair_views(view(0, lean_deg=25, axis=True), view(90))
    silent = pair_views(view(0, lean_deg=25), view(90))
    for name in ("length_3d_mm", "schneider_3d_deg", "weine_3d_deg"):
        assert stated.measurements[name].value == pytest.approx(upright.measurements[name].value, abs=0.6)
    assert not any("leans" in text for text in stated.remarks)
    assert any("leans 25 degrees" in text and "tooth_axis" in text for text in silent.remarks)
    assert any("as given (first view)" in text for text in stated.assumptions)


def test_an_uncertain_turn_makes_the_bend_uncertain():
    # both views show the bend, so the turn between them counts
    sure, unsure = (pair_views(view(0), view(60), 60.0, sd) for sd in (0.0, 8.0))
    for name in ("weine_3d_deg", "resultant_bend_deg"):
        assert unsure.measurements[name].sd > 1.1 * sure.measurements[name].sd, name
    assert any("standard uncertainty of 8°" in text for text in unsure.assumptions)


@pytest.mark.parametrize("facts", [{"tooth": "37"}, {"subject": "other"}])
def test_nothing_is_measured_on_two_canals(facts):
    pair = pair_views(
        view(0, tooth="36", subject="one"), view(90, **({"tooth": "36", "subject": "one"} | facts))
    )
    assert not pair.same_canal
    assert pair.measurements == {}
    assert pair.own_plane is None
    assert set(pair.absent) == {"resultant_bend_deg", "space"}
    assert pair.in_space is not None


def test_without_a_scale_millimetres_are_not_assumed():
    pair = pair_views(view(0, scale=False), view(90, scale=False))
    assert set(pair.measurements) == {"resultant_bend_deg", "bend_plane_deg"}
    assert "no scale in the first view" in pair.absent["space"]
    assert not any("millimetre" in text for text in pair.assumptions)
