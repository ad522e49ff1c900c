"""Scale from a detector pitch or the resolution of a scan."""

from __future__ import annotations

import math

import pytest
from uncertainties import ufloat

from calib.dicom_spacing import SpacingFacts, scale_from_dicom
from calib.errors import CalibrationError
from calib.pitch import scale_from_pitch, scale_from_scan


def test_a_pitch_is_divided_by_the_magnification() -> None:
    # 1.065 ± 0.045 rectangular: 0.045 / √3 / 1.065 = 2.44 % (JCGM 100:2008, 4.3.7)
    scale = scale_from_pitch(0.02)
    exact = 0.02 / ufloat(1.065, 0.045 / math.sqrt(3))
    assert scale.mm_per_px == pytest.approx(exact.nominal_value, rel=1e-12)
    assert scale.sd_mm_per_px == pytest.approx(exact.std_dev, rel=1e-9)
    assert (scale.source, "assumed magnification of 1.065 ± 0.045" in scale.basis) == ("pitch", True)
    assert any("tilt" in note for note in scale.notes)


def test_a_stated_pitch_is_worth_what_a_header_with_it_is() -> None:
    header = scale_from_dicom(SpacingFacts(imager_mm=(0.03, 0.02), intra_oral=True))
    stated = scale_from_pitch(0.02, pixel_aspect=1.5)
    assert stated.row_mm_per_px == pytest.approx(header.row_mm_per_px, rel=1e-12)
    assert stated.sd_mm_per_px == pytest.approx(header.sd_mm_per_px, rel=1e-12)
    assert header.budget is not None
    assert [row.share for row in header.budget.rows] == pytest.approx([0.0, 1.0])


def test_a_scan_of_300_dots_per_inch() -> None:
    # an inch is 25.4 mm: 300 dpi are 84.7 µm on the film
    scale = scale_from_scan(300, magnification=(1.05, 0.02))
    assert 1.05 * scale.mm_per_px == pytest.approx(0.0846667, abs=1e-7)
    relative = math.hypot(0.01 / math.sqrt(3), 0.02 / math.sqrt(3) / 1.05)
    assert scale.relative_sd == pytest.approx(relative, rel=1e-9)
    assert scale.source == "scan"
    assert scale.budget is not None
    assert "common practice, no source" in scale.budget.rows[0].how


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: scale_from_pitch(20.0), "20 µm is 0.02 mm"),
        (lambda: scale_from_pitch(math.nan), "pitch is nan"),
        (lambda: scale_from_scan(0.02), "0.02 dpi; allowed is 51 to 5080"),
        (lambda: scale_from_scan(math.inf), "inf dpi"),
        (lambda: scale_from_pitch(0.02, magnification=(1.0, 0.1)), "never below 1"),
        (lambda: scale_from_scan(300, magnification=(1.1, -0.1)), "half-width not below 0"),
    ],
)
def test_impossible_pitches_are_told(make, words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        make()
