"""Pixel-size statements of a DICOM header against the rules of PS3.3 10.7.1 and plain geometry."""

from __future__ import annotations

import math

import pytest

from calib.dicom_spacing import SpacingFacts, detector_pitch_mm, scale_from_dicom
from calib.errors import CalibrationError


def test_the_first_value_is_the_row_spacing() -> None:
    # PS3.3 10.7.1.3: 0.30\0.25 means 0.30 mm between rows and 0.25 mm between columns
    scale = scale_from_dicom(SpacingFacts(pixel_mm=(0.30, 0.25), calibration_type="FIDUCIAL"))
    assert (scale.row_mm_per_px, scale.col_mm_per_px) == (0.30, 0.25)
    assert scale.to_mm([[1.0, 0.0]]).tolist() == [[0.30, 0.0]]


@pytest.mark.parametrize(("kind", "relative"), [("FIDUCIAL", 0.02), ("GEOMETRY", 0.03)])
def test_a_calibrated_pixel_spacing_is_taken_as_it_stands(kind: str, relative: float) -> None:
    facts = SpacingFacts(
        imager_mm=(0.021, 0.021), pixel_mm=(0.02, 0.02), calibration_type=kind, intra_oral=True
    )
    scale = scale_from_dicom(facts)
    assert scale.mm_per_px == pytest.approx(0.02)
    assert scale.relative_sd == pytest.approx(relative)
    assert kind in scale.basis
    assert scale.source == "dicom"
    assert "1.050" in scale.notes[0]  # 0.021 / 0.020


def test_pixel_spacing_unlike_imager_spacing_is_calibrated() -> None:
    # PS3.3 10.7.1.1: different values mean corrected or calibrated, equal ones not
    scale = scale_from_dicom(SpacingFacts(imager_mm=(0.021, 0.021), pixel_mm=(0.02, 0.02), intra_oral=True))
    assert scale.mm_per_px == pytest.approx(0.02)
    assert "differs from Imager Pixel Spacing" in scale.basis


def test_pixel_spacing_equal_to_imager_spacing_is_the_pitch() -> None:
    equal = SpacingFacts(imager_mm=(0.02, 0.02), pixel_mm=(0.02000001, 0.02), intra_oral=True)
    alone = SpacingFacts(imager_mm=(0.02, 0.02), intra_oral=True)
    assert scale_from_dicom(equal) == scale_from_dicom(alone)
    assert scale_from_dicom(equal).mm_per_px < 0.02


def test_imager_spacing_over_magnification_is_the_object_plane() -> None:
    # magnification = source-detector over source-object distance (0018,1114): 203 / (203 - 10) = 1.0518
    factor = 203 / 193
    scale = scale_from_dicom(SpacingFacts(imager_mm=(0.03, 0.02), magnification=factor))
    assert scale.row_mm_per_px * 203 == pytest.approx(0.03 * 193)
    assert scale.col_mm_per_px * 203 == pytest.approx(0.02 * 193)
    assert "magnification factor 1.0518" in scale.basis


def test_a_magnification_of_one_corrects_nothing() -> None:
    one = SpacingFacts(imager_mm=(0.02, 0.02), magnification=1.0, intra_oral=True)
    assert scale_from_dicom(one) == scale_from_dicom(SpacingFacts(imager_mm=(0.02, 0.02), intra_oral=True))


def test_a_bare_pixel_spacing_on_an_intra_oral_image_is_the_pitch() -> None:
    bare = SpacingFacts(pixel_mm=(0.02, 0.02), intra_oral=True)
    assert detector_pitch_mm(bare) == (0.02, 0.02)
    scale = scale_from_dicom(bare)
    assert "uncalibrated" in scale.basis
    assert "assumed magnification" in scale.basis


@pytest.mark.parametrize(
    ("source_mm", "depth_mm"), [(203, 10), (203, 15), (203, 20), (305, 15), (406, 10), (406, 20)]
)
def test_the_interval_of_an_assumed_magnification_covers_intra_oral_geometry(
    source_mm: float, depth_mm: float
) -> None:
    # exact: an object depth_mm in front of the receptor is magnified source / (source - depth)
    true_mm_per_px = 0.02 * (source_mm - depth_mm) / source_mm
    scale = scale_from_dicom(SpacingFacts(imager_mm=(0.02, 0.02), intra_oral=True))
    assert abs(scale.mm_per_px - true_mm_per_px) <= math.sqrt(3) * scale.sd_mm_per_px
    assert scale.relative_sd == pytest.approx(0.045 / 1.065 / math.sqrt(3))  # JCGM 100:2008 4.3.7


def test_a_bare_pixel_spacing_elsewhere_is_held_to_be_unsure() -> None:
    facts = SpacingFacts(pixel_mm=(0.1, 0.1))
    assert detector_pitch_mm(facts) is None
    scale = scale_from_dicom(facts)
    assert scale.relative_sd > 0.07
    # both a calibrated spacing and a panoramic magnification of 1.3 lie within the distribution
    for truth in (0.1, 0.1 / 1.3):
        assert abs(scale.mm_per_px - truth) <= 2 * scale.sd_mm_per_px


def test_a_scanned_film_counts_as_the_receptor_plane() -> None:
    facts = SpacingFacts(nominal_scanned_mm=(0.04, 0.05), intra_oral=True)
    assert detector_pitch_mm(facts) == (0.04, 0.05)
    assert "Nominal Scanned Pixel Spacing" in scale_from_dicom(facts).basis


def test_a_calibrated_spacing_is_no_pitch() -> None:
    facts = SpacingFacts(pixel_mm=(0.02, 0.02), calibration_type="FIDUCIAL", intra_oral=True)
    assert detector_pitch_mm(facts) is None
    with_imager = SpacingFacts(imager_mm=(0.021, 0.022), pixel_mm=(0.02, 0.02), calibration_type="FIDUCIAL")
    assert detector_pitch_mm(with_imager) == (0.021, 0.022)


@pytest.mark.parametrize(
    ("facts", "reason"),
    [
        (SpacingFacts(intra_oral=True), "states no pixel size"),
        (SpacingFacts(pixel_mm=(1.0, 1.0), intra_oral=True), "placeholder"),
        (SpacingFacts(imager_mm=(0.02, 0.0)), "placeholder"),
        (SpacingFacts(imager_mm=(float("nan"), 0.02)), "placeholder"),
        (SpacingFacts(imager_mm=(0.02, 0.02), magnification=0.95), "magnification factor"),
        (SpacingFacts(imager_mm=(0.02, 0.02), pixel_mm=(0.04, 0.04)), "contradict each other"),
        (
            SpacingFacts(imager_mm=(0.2, 0.2), pixel_mm=(0.02, 0.02), calibration_type="GEOMETRY"),
            "contradict each other",
        ),
    ],
)
def test_what_gives_no_scale_says_why(facts: SpacingFacts, reason: str) -> None:
    with pytest.raises(CalibrationError, match=reason) as caught:
        scale_from_dicom(facts)
    assert "Take the scale from" in str(caught.value)
