"""What is stated of pixels beside the scale that counts: detector pitch, scan resolution, a given size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.dicom_spacing import SpacingFacts
from calib.errors import CalibrationError
from calib.known_length import NO_SD, scale_given
from radio.measure.case import CaseFacts
from radio.measure.pipeline import measure_case
from radio.record.fact_cells import facts_from_cells
from radio.record.results import result_row
from radio.record.wording import all_measurements
from tests.fixtures.painted import as_radiograph, painted_tooth

TOOTH = painted_tooth()
PAINTED = as_radiograph(TOOTH.grey)
FACTS = CaseFacts(file_length_mm=round(TOOTH.file_length_mm, 2), file_size=20)
PITCH_MM = 1.05 * TOOTH.mm_per_px


def measured(radiograph=PAINTED, **facts):
    return measure_case(radiograph, TOOTH.clicks, replace(FACTS, **facts))


def warned(result):
    return {one.id for one in result.checks if one.level == "warn"}


# dots per inch of the pitch: 25.4 mm to the inch
STATED = [{"detector_pitch_mm": PITCH_MM}, {"dpi": 25.4 / PITCH_MM}]


@pytest.mark.parametrize("stated", STATED)
def test_a_stated_pitch_checks_length_and_magnification(stated):
    right = measured(**stated)
    assert right.implied_magnification == pytest.approx(1.05, abs=0.02)
    assert not {"P3", "P4"} & warned(right)
    # 21 entered for 25 mm makes the scale 16 % too small, 25 for 21 mm 19 % too large
    short = measured(**stated, file_length_mm=FACTS.file_length_mm * 21 / 25)
    assert {"P3", "P4"} <= warned(short)
    assert "P3" in warned(measured(**stated, file_length_mm=FACTS.file_length_mm * 25 / 21))
    assert right.measurements["gap_mm"] == measured().measurements["gap_mm"]


def test_a_header_that_says_otherwise_is_told():
    header = replace(PAINTED, spacing=SpacingFacts(imager_mm=(PITCH_MM, PITCH_MM), intra_oral=True))
    assert "P6" not in warned(measured(header, detector_pitch_mm=PITCH_MM))
    told = measured(header, detector_pitch_mm=1.1 * PITCH_MM)
    (check,) = (one for one in told.checks if one.id == "P6")
    assert check.level == "warn"
    assert "of the image header" in check.seen


@pytest.mark.parametrize("scale_from", ["file", None])
def test_a_pixel_size_beside_the_file_is_compared_and_moves_nothing(scale_from):
    plain = measured(scale_from=scale_from)
    right = measured(scale_from=scale_from, mm_per_px=TOOTH.mm_per_px)
    off = measured(scale_from=scale_from, mm_per_px=1.18 * TOOTH.mm_per_px)
    assert "P14" not in warned(right)
    assert "P14" in warned(off)
    for one in (right, off):
        assert dict(one.measurements) == dict(plain.measurements)
        np.testing.assert_array_equal(one.file_line.points_px, plain.file_line.points_px)


def test_a_pixel_size_beside_a_ball_is_compared():
    tooth = painted_tooth(ball=True)
    facts = CaseFacts(scale_from="ball", ball_diameter_mm=3.0)
    for factor, told in ((1.0, False), (1.1, True)):
        stated = replace(facts, mm_per_px=factor * tooth.mm_per_px)
        result = measure_case(as_radiograph(tooth.grey), tooth.clicks, stated)
        assert ("P14" in warned(result)) == told


def test_an_uncertainty_that_is_not_stated_is_none():
    result = measured(scale_from="given", mm_per_px=TOOTH.mm_per_px)
    scale = all_measurements(result)["scale_mm_per_px"]
    assert scale.sd is None
    assert scale.interval95 is None
    assert NO_SD in scale.basis
    assert "±" not in str(scale)
    assert result_row("a.png", result)["scale_sd_mm_per_px"] == ""


def test_a_stated_uncertainty_acts_on_the_lengths():
    plain = measured(scale_from="given", mm_per_px=TOOTH.mm_per_px)
    result = measured(scale_from="given", mm_per_px=TOOTH.mm_per_px, mm_per_px_sd=0.03 * TOOTH.mm_per_px)
    assert result.scale.relative_sd == pytest.approx(0.03)
    gap, alone = (one.measurements["gap_mm"] for one in (result, plain))
    # JCGM 100:2008, 5.1.2: independent contributions add in squares
    assert gap.sd == pytest.approx(np.hypot(alone.sd, 0.03 * gap.value), rel=1e-3)


def test_an_uncertainty_of_nothing_is_told():
    assert any("without mm_per_px" in one.text for one in measured(mm_per_px_sd=0.001).remarks)


def test_an_uncertainty_that_cannot_be_is_refused():
    with pytest.raises(CalibrationError, match="below half"):
        scale_given(0.02, 0.011)


@pytest.mark.parametrize(
    ("column", "text", "told"),
    [
        ("detector_pitch_mm", "20", "20 µm are 0.02 mm"),
        ("detector_pitch_mm", "0.009", "0.01 to 0.15"),
        ("detector_pitch_mm", "0.151", "0.01 to 0.15"),
        ("dpi", "72", "75 to 4800"),
        ("dpi", "4801", "75 to 4800"),
        ("mm_per_px_sd", "0", "standard uncertainty"),
    ],
)
def test_what_no_pixel_has_is_refused(column, text, told):
    _, (problem,) = facts_from_cells({column: text})
    assert told in problem
    assert column in problem


def test_cells_state_pixels():
    facts, problems = facts_from_cells({"detector_pitch_mm": "0.02", "dpi": "600", "mm_per_px_sd": "0.0004"})
    assert problems == ()
    assert (facts.detector_pitch_mm, facts.dpi, facts.mm_per_px_sd) == (0.02, 600, 0.0004)
