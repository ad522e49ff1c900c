"""The scale from diameters: against ISO 3630-1, by hand, and beside the scale from the length."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.instruments import HandFile
from calib.scale import Scale
from radio.errors import CalibrationError, PeriapicalError, TraceError
from radio.measure.girth_lean import compare_with
from radio.measure.girth_scale import girth_scale, scale_from_girth
from radio.trace.girth import Girth
from tests.fixtures.painted import as_radiograph
from tests.trace.test_girth import painted


def girth_of(size: int, mm_per_px: float, *, to_mm: float = 15.0, sd_px: float = 0.1, common_px: float = 0.2):
    """Exact diameters of ISO 3630-1, D0 + 0.02 x (Kim 2010): size 25 has 0.57 mm at 16 mm."""
    x_mm = np.arange(1.0, to_mm + 0.5)
    diameter_mm = size / 100 + 0.02 * np.minimum(x_mm, 16.0)
    count = len(x_mm)
    return Girth(
        x_mm / mm_per_px,
        diameter_mm / mm_per_px,
        np.full(count, sd_px),
        common_px,
        "round",
        1.0,
        None,
        2.0,
        0.9,
    )


@pytest.mark.parametrize("size", [15, 25, 60, 80])
def test_exact_diameters_give_the_exact_scale(size):
    found = scale_from_girth(girth_of(size, 0.024), HandFile(size))
    assert found.mm_per_px == pytest.approx(0.024, rel=1e-9)
    assert found.chi_square == pytest.approx(0.0, abs=1e-9)
    assert found.chance == pytest.approx(1.0)


def by_length(mm_per_px: float, sd: float = 0.0002) -> Scale:
    return Scale(mm_per_px, mm_per_px, sd, "file", "stated length")


@pytest.mark.parametrize("size", [15, 25, 60])
@pytest.mark.parametrize("lean_deg", [0.0, 20.0, 35.0])
def test_beside_the_length_a_lean_changes_nothing(size, lean_deg):
    """A lean shortens what is seen of the length by its cosine, and no diameter: plane geometry."""
    seen = np.cos(np.radians(lean_deg))
    girth = girth_of(size, 0.024)
    girth = replace(girth, from_tip_px=girth.from_tip_px * seen)
    found = scale_from_girth(girth, HandFile(size), along=by_length(0.024 / seen))
    assert found.mm_per_px == pytest.approx(0.024, rel=1e-9)
    assert found.chi_square == pytest.approx(0.0, abs=1e-9)
    # without the length a lean passes for a thicker tip
    alone = found.independent()
    assert alone.along is None
    assert alone.mm_per_px <= 0.024 * (1 + 1e-9)
    assert alone.relative_sd > found.relative_sd


def test_uncertainty_beside_the_length_by_hand():
    """GUM: over the diameter at the mean place, not at the tip; all places weigh by their diameter."""
    girth = girth_of(15, 0.025)
    diameter_mm = girth.diameter_px * 0.025
    share = diameter_mm / diameter_mm.sum()
    mean_mm, place_mm = (share * diameter_mm).sum(), (share * girth.from_tip_px).sum() * 0.025
    found = scale_from_girth(girth, HandFile(15), tip_sd_px=4.0, along=by_length(0.025, 0.0005))
    own_px = 0.1 * np.sqrt((share**2).sum())
    parts = np.array(
        [
            0.02 / np.sqrt(3) / mean_mm,
            own_px * 0.025 / mean_mm,
            0.2 * 0.025 / mean_mm,
            0.02 * 4.0 * 0.025 / mean_mm,
            0.02 * place_mm / mean_mm * 0.0005 / 0.025,
        ]
    )
    assert found.relative_sd == pytest.approx(np.linalg.norm(parts), rel=2e-3)
    # over the scale by length, all but the part of its error that both share is left
    beside = compare_with(found, by_length(0.025, 0.0005))
    parts[-1] = 0.15 / mean_mm * 0.0005 / 0.025
    assert beside.sd == pytest.approx(np.linalg.norm(parts), rel=2e-3)


def test_uncertainty_by_hand():
    """GUM, independent inputs: tolerance/sqrt(3)/D0; sd/sqrt(n), common and taper times tip over px."""
    found = scale_from_girth(girth_of(25, 0.025), HandFile(25), tip_sd_px=4.0)
    parts = np.array([0.02 / np.sqrt(3) / 0.25, 0.1 / np.sqrt(15) / 10, 0.2 / 10, 0.02 * 4.0 / 10])
    # the budget adds terms of second order, a few thousandths of this
    assert found.relative_sd == pytest.approx(np.linalg.norm(parts), rel=5e-3)


def test_the_tolerance_above_60_is_the_wider_one():
    """± 0.04 mm above size 60: from memory of ISO 3630-1."""
    row = scale_from_girth(girth_of(80, 0.02), HandFile(80)).budget.rows[0]
    assert row.sd == pytest.approx(0.04 / np.sqrt(3))


def test_places_beyond_the_working_part_are_left_out():
    """D16 = D0 + 0.32 mm, the working part ends there; the shaft beyond is no taper."""
    found = scale_from_girth(girth_of(25, 0.025, to_mm=20.0), HandFile(25))
    assert found.mm_per_px == pytest.approx(0.025, rel=1e-2)
    # 15 whole millimetres and the 16th: fifteen or sixteen places, never twenty
    assert found.dof in (14, 15)


def test_scattered_places_widen_the_uncertainty():
    girth = girth_of(25, 0.025)
    off = np.where(np.arange(15) % 2, 0.8, -0.8)
    wild = scale_from_girth(replace(girth, diameter_px=girth.diameter_px + off), HandFile(25))
    assert wild.chance < 1e-6
    assert wild.sd_mm_per_px > scale_from_girth(girth, HandFile(25)).sd_mm_per_px


def test_a_lean_is_hinted_at_beyond_its_uncertainty_alone():
    girth = girth_of(40, 0.025, common_px=0.1)
    # a file that leans by 25 degrees looks shorter by cos 25: literature table, -9.37 %
    seen = np.cos(np.radians(25))
    assert seen == pytest.approx(1 - 0.0937, abs=1e-4)
    leaning = replace(girth, from_tip_px=girth.from_tip_px * seen)
    beside = compare_with(scale_from_girth(leaning, HandFile(40)), by_length(0.025 / seen))
    assert beside.ratio == pytest.approx(seen)
    assert beside.lean_deg == pytest.approx(25.0)
    low, high = beside.lean_interval_deg
    assert low < 25 < high
    assert f"lean toward or away from the detector by up to {high:.0f} degrees" in beside.text
    assert "misstated" in beside.text
    agreeing = compare_with(scale_from_girth(girth, HandFile(40)), by_length(0.0252))
    assert agreeing.lean_deg is None
    assert "do not clearly differ" in agreeing.text


def test_a_file_too_long_for_its_thickness_is_no_lean():
    found = scale_from_girth(girth_of(40, 0.025, common_px=0.1), HandFile(40))
    beside = compare_with(found, Scale(0.025 * 21 / 25, 0.025 * 21 / 25, 0.0002, "file", "21 for 25"))
    assert beside.lean_deg is None
    assert "no lean explains" in beside.text


def test_diameters_of_another_taper_are_refused():
    girth = girth_of(15, 0.025)
    with pytest.raises(PeriapicalError, match="Check the taper"):
        scale_from_girth(girth, HandFile(15, taper=0.06))
    with pytest.raises(CalibrationError, match="none of ISO 3630-1"):
        HandFile(17)


@pytest.mark.parametrize("wrong", [1.19])
def test_a_painted_file_gives_the_scale_whatever_was_guessed(wrong):
    image, line = painted(square=True)
    found = girth_scale(
        as_radiograph(image, file_format="DICOM"), line, HandFile(25), mm_per_px=0.025 * wrong
    )
    assert found.mm_per_px == pytest.approx(0.025, rel=0.05)
    assert abs(found.mm_per_px - 0.025) < 1.96 * found.sd_mm_per_px
    assert "square section" in found.notes[0]


@pytest.mark.parametrize(
    ("size", "lean_deg", "square"), [(20, 35.0, True), (40, 32.0, False), (20, 0.0, True), (40, 10.0, False)]
)
def test_a_painted_file_that_leans_clearly_gives_a_hint_and_others_none(size, lean_deg, square):
    """32 and 35 degrees foreshorten by 15 and 18 %, 10 by 1.5 %, less than diameters can tell: cosines."""
    image, line = painted(tip_mm=size / 100, lean_deg=lean_deg, square=square)
    seen = np.cos(np.radians(lean_deg))
    known = by_length(0.025 / seen, 0.0003)
    found = girth_scale(
        as_radiograph(image, file_format="DICOM"),
        line,
        HandFile(size),
        mm_per_px=known.col_mm_per_px,
        along=known,
    )
    assert found.mm_per_px == pytest.approx(0.025, rel=0.06)
    beside = compare_with(found, known)
    low, high = beside.interval95
    assert low < seen < high
    assert (beside.lean_deg is not None) == (lean_deg > 30)
    if beside.lean_interval_deg is not None:
        least, most = beside.lean_interval_deg
        assert least < lean_deg < most


def test_an_inverted_picture_gives_the_same():
    image, line = painted()
    plain = girth_scale(as_radiograph(image), line, HandFile(25), mm_per_px=0.025)
    inverted = girth_scale(as_radiograph(1 - image), line, HandFile(25), mm_per_px=0.025)
    assert inverted.mm_per_px == pytest.approx(plain.mm_per_px, rel=0.02)


def test_an_impossible_guess_is_refused():
    image, line = painted()
    with pytest.raises(TraceError, match=r"allowed is 0\.002 to 1"):
        girth_scale(as_radiograph(image), line, HandFile(25), mm_per_px=25.0)
