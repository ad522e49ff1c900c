"""Projection against tables worked out by hand and against projecting end points in space."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import CalibrationError
from calib.projection import (
    INTRA_ORAL_MAGNIFICATION,
    SHORT_CONE,
    Exposure,
    length_bounds,
    oblique_factor,
    projected_mm,
    tilt_factor,
)


def on_receptor(length: float, tilt_deg: float, source: float, depth: float) -> float:
    """Two end points sent along their rays to the receptor at z = 0, source at z = `source`."""
    half = length / 2 * np.array([math.cos(math.radians(tilt_deg)), math.sin(math.radians(tilt_deg))])
    ends = [np.array([0.0, depth]) + sign * half for sign in (-1, 1)]
    hits = [x * source / (source - z) for x, z in ends]
    return hits[1] - hits[0]


@pytest.mark.parametrize(
    ("source_mm", "object_mm", "magnification"),
    # source-receptor over source-object distance, as DICOM (0018,1114) defines it, worked out by hand
    [
        (203, 10, 1.0518), (203, 15, 1.0798), (203, 20, 1.1093),
        (305, 10, 1.0339), (305, 15, 1.0517), (305, 20, 1.0702),
        (406, 10, 1.0253), (406, 15, 1.0384), (406, 20, 1.0518),
        (40, 8, 1.25),
    ],
)  # fmt: skip
def test_magnification_by_distances(source_mm: float, object_mm: float, magnification: float) -> None:
    assert Exposure(source_mm, object_mm).magnification == pytest.approx(magnification, abs=6e-5)


def test_the_intra_oral_range_is_that_of_the_usual_distances() -> None:
    middle, half = INTRA_ORAL_MAGNIFICATION
    assert middle - half == pytest.approx(Exposure(406, 10).magnification, abs=0.006)
    assert middle + half == pytest.approx(SHORT_CONE.magnification, abs=0.001)
    # Lazzerini 1996, Radiol Med 91:364 (abstract): 3.40 % on film and 9.47 % on a sensor
    assert middle - half < 1.0340 < 1.0947 < middle + half


@pytest.mark.parametrize(
    ("tilt_deg", "percent"), [(5, -0.38), (10, -1.52), (15, -3.41), (20, -6.03), (25, -9.37), (30, -13.40)]
)
def test_tilt_shortens_by_its_cosine(tilt_deg: float, percent: float) -> None:
    assert 100 * (tilt_factor(tilt_deg) - 1) == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize(
    ("tilt_deg", "image_mm"), [(0, 20.7673), (10, 20.4522), (20, 19.5163), (30, 17.9879)]
)
def test_a_tilted_piece_in_a_diverging_beam(tilt_deg: float, image_mm: float) -> None:
    # source at 406 mm, middle at 15 mm, 20 mm long; worked out by hand
    assert projected_mm(20.0, tilt_deg, Exposure(406, 15)) == pytest.approx(image_mm, abs=5e-5)


@given(st.floats(0.5, 30), st.floats(-60, 60), st.floats(150, 600), st.floats(16, 40))
def test_projection_is_that_of_the_end_points(
    length: float, tilt: float, source: float, depth: float
) -> None:
    found = projected_mm(length, tilt, Exposure(source, depth))
    assert found == pytest.approx(on_receptor(length, tilt, source, depth), rel=1e-9)


def test_a_far_source_is_a_parallel_beam() -> None:
    far = Exposure(1e9, 20)
    assert projected_mm(20.0, 25.0, far) == pytest.approx(20 * tilt_factor(25.0), rel=1e-6)


def test_oblique_beams() -> None:
    # the rule of bisecting (Cieszynski's rule, from memory): equal angles keep the length
    assert oblique_factor(70, 70) == pytest.approx(1)
    assert oblique_factor(70, 110) == pytest.approx(1)
    # a tooth parallel to the receptor keeps its length at any beam (Antolis 2014, J Dent Indonesia: no
    # significant change for beams tilted by 10, 15 and 20 degrees either way): both angles are the same then
    for tilt in (-20, -15, -10, 10, 15, 20):
        assert oblique_factor(90 + tilt, 90 + tilt) == pytest.approx(1)
    # too little vertical angle elongates, too much foreshortens (an exam page)
    assert oblique_factor(90 - 0, 90 - 20) > 1 > oblique_factor(90 - 25, 90 - 5)
    # a beam at right angles to the receptor is the case of tilt alone
    assert oblique_factor(90 - 30, 90) == pytest.approx(tilt_factor(30))


def test_a_canal_that_leans_with_the_file_is_measured_rightly() -> None:
    # in a beam as good as parallel, a lean that file and canal share leaves the length alone
    bounds = length_bounds(12.0, 21.0, tilt_deg=0, depth_mm=0, lean_deg=20, exposure=Exposure(1e7, 100))
    assert (bounds.low_mm, bounds.high_mm) == pytest.approx((12.0, 12.0), rel=1e-5)


def test_bounds_of_tilt_alone_are_cosines() -> None:
    far = Exposure(1e7, 100)
    bounds = length_bounds(12.0, 21.0, tilt_deg=15, depth_mm=0, lean_deg=0, exposure=far)
    assert bounds.low_mm == pytest.approx(12.0, rel=1e-5)
    assert bounds.high_mm == pytest.approx(12.0 / math.cos(math.radians(15)), rel=1e-5)
    bounds = length_bounds(12.0, 21.0, tilt_deg=15, depth_mm=0, lean_deg=10, exposure=far)
    # least: the file leans 10 degrees and the canal not at all; most: file 10, canal 25 degrees
    assert bounds.low_mm == pytest.approx(12.0 * math.cos(math.radians(10)), rel=1e-5)
    assert bounds.high_mm == pytest.approx(
        12.0 * math.cos(math.radians(10)) / math.cos(math.radians(25)), rel=1e-5
    )
    assert "canal 25°" in bounds.highest_when
    assert "canal 0°" in bounds.lowest_when


def test_bounds_of_depth_alone_are_ratios_of_magnification() -> None:
    # 5 mm of depth: 5 / 183 of a length with the source at 203 mm and the file at 20 mm
    bounds = length_bounds(10.0, 25.0, tilt_deg=0, depth_mm=5, lean_deg=0)
    assert bounds.low_mm == pytest.approx(10 * (1 - 5 / 183), rel=1e-9)
    assert bounds.high_mm == pytest.approx(10 * (1 + 5 / 183), rel=1e-9)
    assert "farther from" in bounds.lowest_when
    assert "5 mm nearer to" in bounds.highest_when
    assert "203 mm" in bounds.geometry


@given(
    st.floats(1, 22), st.floats(18, 28), st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1),
    st.floats(0, 15), st.floats(0, 4), st.floats(0, 12), st.sampled_from([203.0, 305.0, 406.0]),
)  # fmt: skip
def test_no_pose_within_the_limits_lies_outside_the_bounds(
    true: float,
    file: float,
    a: float,
    b: float,
    c: float,
    tilt: float,
    depth: float,
    lean: float,
    source: float,
) -> None:
    # ends projected one by one; the bounds are found on steps, so a thousandth of play
    lean_is, tilt_is, depth_is = a * lean, b * tilt, c * depth
    scale = file / on_receptor(file, lean_is, source, 20)
    measured = scale * on_receptor(true, lean_is + tilt_is, source, 20 + depth_is)
    bounds = length_bounds(
        measured, file, tilt_deg=tilt, depth_mm=depth, lean_deg=lean, exposure=Exposure(source, 20)
    )
    assert bounds.low_mm * 0.999 <= true <= bounds.high_mm * 1.001


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Exposure(203, 210), "must lie between"),
        (lambda: Exposure(203, -1), "must lie between"),
        (lambda: tilt_factor(120), "120 degrees; allowed is -90 to 90"),
        (lambda: oblique_factor(0, 90), "beam and object is 0"),
        (lambda: oblique_factor(90, 180), "beam and receptor is 180"),
        (lambda: projected_mm(0, 10, SHORT_CONE), "length is 0 mm"),
        (lambda: projected_mm(30, 80, Exposure(203, 10)), "reach through the receptor"),
        (lambda: _bounds(measured_mm=-1), "measured length is -1"),
        (lambda: _bounds(file_length_mm=math.inf), "file length is inf"),
        (lambda: _bounds(tilt_deg=-1), "tilt is -1"),
        (lambda: _bounds(depth_mm=math.nan), "depth difference is nan"),
        (lambda: _bounds(lean_deg=50), "together exceed 60"),
        (lambda: _bounds(depth_mm=19), "nearer the receptor"),
    ],
)
def test_impossible_geometry_is_told(make, words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        make()


def _bounds(**changes: float):
    given = {"measured_mm": 20.0, "file_length_mm": 21.0, "tilt_deg": 15.0, "depth_mm": 3.0, "lean_deg": 10.0}
    given |= changes
    return length_bounds(given.pop("measured_mm"), given.pop("file_length_mm"), **given)
