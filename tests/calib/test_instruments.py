"""Hand files against ISO 3630-1 as articles and teaching pages state it."""

from __future__ import annotations

import numpy as np
import pytest

from calib.errors import CalibrationError
from calib.instruments import FACTS, LEAST_WORKING_PART_MM, SIZES, STANDARD_LENGTHS_MM, TAPER, HandFile


def test_taper_lengths_and_working_part_of_the_standard() -> None:
    # Kim 2010, J Korean Acad Conserv Dent 35(6), on ISO 3630-1: taper 0.02, lengths 21, 25 and 31, working
    # part at least 16 mm; 28 from memory
    assert (TAPER, LEAST_WORKING_PART_MM) == (0.02, 16.0)
    assert {21.0, 25.0, 31.0} == set(STANDARD_LENGTHS_MM) - {28.0}


@pytest.mark.parametrize(
    ("size", "x_mm", "diameter_mm"),
    # D(x) = D0 + 0.02 x worked out by hand
    [(10, 0, 0.10), (10, 1, 0.12), (10, 3, 0.16), (10, 16, 0.42), (15, 16, 0.47), (25, 16, 0.57)],
)
def test_diameters_along_the_file(size: int, x_mm: float, diameter_mm: float) -> None:
    assert HandFile(size).diameter_mm(x_mm) == pytest.approx(diameter_mm, abs=1e-12)


def test_the_diameter_at_16_mm_is_a_third_of_a_millimetre_more() -> None:
    # D16 = D0 + 0.32 mm (a teaching page)
    for size in SIZES:
        assert HandFile(size).d16_mm - HandFile(size).d0_mm == pytest.approx(0.32, abs=1e-12)


def test_the_shaft_beyond_the_working_part_keeps_its_diameter() -> None:
    file = HandFile(25, 0.06)
    assert file.diameter_mm([15.0, 16.0, 18.0]).tolist() == pytest.approx([1.15, 1.21, 1.21])
    assert file.diameter_mm(18.0, working_part_mm=18.0) == pytest.approx(1.33)


def test_sizes_go_up_by_fives_then_tens() -> None:
    # 15 to 60 by 5, then by 10: a teaching page; 06, 08, 10 and 140 as the largest: from memory
    assert SIZES[:3] == (6, 8, 10)
    assert set(np.diff(SIZES[3 : SIZES.index(60) + 1])) == {5}
    assert set(np.diff(SIZES[SIZES.index(60) :])) == {10}
    assert SIZES[-1] == 140


def test_colours_repeat_from_45_and_from_90() -> None:
    # cycle white, yellow, red, blue, green, black from 15: a teaching page; pink, grey, purple: from memory
    cycle = ["white", "yellow", "red", "blue", "green", "black"]
    for first in ((15, 20, 25, 30, 35, 40), (45, 50, 55, 60, 70, 80), (90, 100, 110, 120, 130, 140)):
        assert [HandFile(size).colour for size in first] == cycle
    assert [HandFile(size).colour for size in (6, 8, 10)] == ["pink", "grey", "purple"]


def test_tolerances_are_said_to_be_from_memory() -> None:
    assert HandFile(60).diameter_tolerance_mm == 0.02
    assert HandFile(70).diameter_tolerance_mm == 0.04
    standings = {fact.name: fact.standing for fact in FACTS}
    assert standings["tolerance on diameter"] == standings["tolerance on length"] == "from memory"
    assert standings["standard length 28"] == "from memory"
    assert standings["taper"] == "verified"
    assert all(fact.source for fact in FACTS)


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (12, "nearest are 10 and 15"),
        (65, "nearest are 60 and 70"),
        (5, "nearest is 06"),
        (150, "nearest is 140"),
        (0.25, "a tip of 0.25 mm is size 25"),
        ("red", "06, 08, 10, 15"),
        (float("nan"), "06, 08, 10, 15"),
    ],
)
def test_a_size_that_does_not_exist_names_its_neighbours(size, words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        HandFile(size)


@pytest.mark.parametrize("taper", [0.0, -0.02, 2.0, float("nan")])
def test_a_taper_given_in_percent_is_noticed(taper: float) -> None:
    with pytest.raises(CalibrationError, match=r"6 % is 0\.06"):
        HandFile(25, taper)


def test_places_off_the_file_are_refused() -> None:
    with pytest.raises(CalibrationError, match="-1 mm"):
        HandFile(25).diameter_mm([0.0, -1.0])
    with pytest.raises(CalibrationError, match="at least 16 mm"):
        HandFile(25).diameter_mm(1.0, working_part_mm=12.0)
