"""DICOM reading: every encoding, value transformations against PS3.3 and pydicom, header facts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pydicom
import pytest
from pydicom import uid
from pydicom.data import get_testdata_file
from pydicom.dataset import Dataset
from pydicom.pixels import apply_modality_lut, apply_voi, apply_windowing

from radio.errors import ImageError
from radio.image.radiograph import Radiograph, read_radiograph
from tests.image.dicom_writer import (
    INTRA_ORAL,
    INTRA_ORAL_FOR_PROCESSING,
    SECONDARY_CAPTURE,
    dataset,
    to_bytes,
)

SHAPE = (72, 90)
LOSSLESS = [
    uid.ImplicitVRLittleEndian,
    uid.ExplicitVRLittleEndian,
    uid.ExplicitVRBigEndian,
    uid.DeflatedExplicitVRLittleEndian,
    uid.JPEGLossless,
    uid.JPEGLosslessSV1,
    uid.JPEGLSLossless,
    uid.JPEG2000Lossless,
    uid.RLELossless,
]


def stored_values(bits: int, *, signed: bool = False, seed: int = 0) -> np.ndarray:
    """Make a noisy slope over most of the range, rows unlike columns."""
    rng = np.random.default_rng(seed)
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    full = 2**bits
    value = full * (0.05 + 0.6 * row / SHAPE[0] + 0.25 * col / SHAPE[1]) + rng.normal(0, full / 200, SHAPE)
    value = np.clip(np.rint(value), 0, full - 1).astype(np.int64) - (full // 2 if signed else 0)
    return value.astype(f"{'int' if signed else 'uint'}{8 if bits == 8 else 16}")


@pytest.fixture
def read(tmp_path: Path):  # type: ignore[no-untyped-def]
    def reader(source: Dataset | bytes, **options: object) -> Radiograph:
        path = tmp_path / "image"
        path.write_bytes(source if isinstance(source, bytes) else to_bytes(source, **options))
        return read_radiograph(path)

    return reader


def scaled(value: np.ndarray) -> np.ndarray:
    value = value.astype(float)
    return (value - value.min()) / np.ptp(value)


# ---------------------------------------------------------------- encodings


@pytest.mark.parametrize("syntax", LOSSLESS, ids=lambda s: s.keyword)
@pytest.mark.parametrize(
    ("bits", "signed"),
    [(8, False), (10, False), (12, False), (12, True), (14, False), (16, False), (16, True)],
)
def test_lossless_encodings_give_the_stored_values(read, syntax: uid.UID, bits: int, signed: bool) -> None:
    value = stored_values(bits, signed=signed)
    image = read(dataset(value, bits, syntax))
    np.testing.assert_array_equal(image.stored, value)
    assert image.bits_stored == bits
    assert image.file_format == "DICOM"
    assert image.header["transfer_syntax"] == syntax.name
    np.testing.assert_allclose(image.grey, scaled(value), atol=1e-6)


@pytest.mark.parametrize(
    ("syntax", "bits"), [(uid.JPEGBaseline8Bit, 8), (uid.JPEG2000, 8), (uid.JPEG2000, 12)]
)
def test_lossy_encodings_come_close(read, syntax: uid.UID, bits: int) -> None:
    value = stored_values(bits)
    difference = read(dataset(value, bits, syntax)).stored.astype(int) - value
    assert np.abs(difference).mean() < 2**bits / 200
    assert np.abs(difference).max() < 2**bits / 20


@pytest.mark.parametrize(
    ("implicit", "little"), [(True, True), (False, True), (False, False)], ids=["implicit", "explicit", "big"]
)
def test_without_preamble_and_meta_header(read, implicit: bool, little: bool) -> None:
    value = stored_values(12)
    ds = dataset(value, 12)
    del ds.file_meta
    if not little:
        ds.PixelData = value.astype(">u2").tobytes()
    data = to_bytes(ds, implicit_vr=implicit, little_endian=little, enforce_file_format=False)
    assert data[128:132] != b"DICM"
    np.testing.assert_array_equal(read(data).stored, value)


def test_meta_header_without_preamble(read) -> None:
    value = stored_values(12)
    np.testing.assert_array_equal(read(to_bytes(dataset(value, 12))[132:]).stored, value)


def test_a_tiff_header_in_the_preamble_does_not_mislead(read) -> None:
    value = stored_values(12)
    data = b"II*\0" + to_bytes(dataset(value, 12))[4:]
    assert read(data).file_format == "DICOM"


def test_bits_around_the_stored_ones_are_ignored(read) -> None:
    # PS3.5 8.1.1: the high bit says where the value lies; other bits may hold anything (old overlays)
    value = stored_values(12)
    upper = dataset((value << 4) | 0xB, 12, HighBit=15)
    np.testing.assert_array_equal(read(upper).stored, value)
    lower = dataset(value | 0xA000, 12)
    np.testing.assert_array_equal(read(lower).stored, value)
    signed = stored_values(12, signed=True)
    dirty = dataset((signed & 0x0FFF) | 0x5000, 12)
    np.testing.assert_array_equal(read(dirty).stored, signed)


@pytest.mark.parametrize(
    "name",
    [
        "MR_small.dcm",
        "MR_small_RLE.dcm",
        "MR_small_bigendian.dcm",
        "MR_small_implicit.dcm",
        "MR_small_jp2klossless.dcm",
        "MR_small_jpeg_ls_lossless.dcm",
        "MR_small_padded.dcm",
    ],
)
def test_objects_shipped_with_pydicom_hold_one_and_the_same_image(name: str) -> None:
    # the README of pydicom's test data says that these are the same image in different encodings
    path = get_testdata_file(name, download=False)
    reference = pydicom.dcmread(get_testdata_file("MR_small.dcm", download=False)).pixel_array
    image = read_radiograph(path)
    np.testing.assert_array_equal(image.stored, reference)
    assert "not one of a radiograph" in image.history[0]


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("test-SR.dcm", "holds no image"),
        ("rtplan.dcm", "holds no image"),
        ("waveform_ecg.dcm", "holds no image"),
        ("rtdose.dcm", "15 frames"),
        ("SC_rgb_rle_2frame.dcm", "2 frames"),
        ("SC_rgb_dcmtk_+eb+cr.dcm", "true colour"),
        ("examples_palette.dcm", "true colour"),
        ("SC_rgb_small_odd.dcm", "at least 32"),
        ("liver_1frame.dcm", "stores 1 of 1 bits"),
        ("SC_rgb_rle_32bit.dcm", "stores 32 of 32 bits"),
        ("JPGExtended.dcm", "lossy JPEG with 12 bits"),
        ("MR_truncated.dcm", "damaged, cut off"),
    ],
)
def test_objects_shipped_with_pydicom_that_are_no_grey_frame(name: str, reason: str) -> None:
    path = get_testdata_file(name, download=False)
    with pytest.raises(ImageError, match=reason):
        read_radiograph(path)


def test_a_presentation_state_is_no_image(read) -> None:
    ds = dataset(stored_values(8), 8, SOPClassUID="1.2.840.10008.5.1.4.1.1.11.1", PixelData=None)
    with pytest.raises(ImageError, match="Presentation State"):
        read(ds)


def test_grey_secondary_capture_in_colour_channels(read) -> None:
    value = stored_values(8)
    ds = dataset(np.dstack([value] * 3), 8, SOPClassUID=SECONDARY_CAPTURE)
    np.testing.assert_array_equal(read(ds).stored, value)


def test_a_deflated_object_that_swells_without_bound_is_refused(read, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr("radio.image.dicom.LARGEST_BYTES", 10_000)
    data = to_bytes(dataset(stored_values(12), 12, uid.DeflatedExplicitVRLittleEndian))
    with pytest.raises(ImageError, match="unpacks to more than"):
        read(data)


def test_a_stream_of_another_size_than_the_header_is_refused(read) -> None:
    for syntax in (uid.JPEGLosslessSV1, uid.JPEGLSLossless, uid.JPEG2000Lossless):
        ds = dataset(stored_values(12), 12, syntax)
        ds.Rows, ds.Columns = 100, 100
        with pytest.raises(ImageError, match=r"announces 100 × 100 pixels.* 72 × 90 size"):
            read(ds)


def test_absurd_sizes_are_refused_before_decoding(read) -> None:
    with pytest.raises(ImageError, match="at most 20000"):
        read(dataset(stored_values(8), 8, Rows=30_000, Columns=60_000))


# ---------------------------------------------------------------- values


@pytest.mark.parametrize(
    ("photometric", "shape", "inverted"),
    [
        ("MONOCHROME2", None, False),
        ("MONOCHROME2", "IDENTITY", False),
        ("MONOCHROME1", None, True),
        ("MONOCHROME1", "INVERSE", True),  # two ways of saying one thing, PS3.3 C.8.11.3.1.2
        ("MONOCHROME2", "INVERSE", True),
    ],
)
def test_polarity(read, photometric: str, shape: str | None, inverted: bool) -> None:
    value = stored_values(12)
    extra = {} if shape is None else {"PresentationLUTShape": shape}
    image = read(dataset(value, 12, PhotometricInterpretation=photometric, **extra))
    expected = scaled(value)
    np.testing.assert_allclose(image.grey, 1 - expected if inverted else expected, atol=1e-6)
    np.testing.assert_array_equal(image.stored, value)


@pytest.mark.parametrize("photometric", ["MONOCHROME1", "MONOCHROME2"])
@pytest.mark.parametrize("sign", [1, -1])
def test_polarity_of_images_for_processing_comes_from_the_sign(read, photometric: str, sign: int) -> None:
    # (0028,1041): 1 = lower values mean less X-ray intensity, so low is radiopaque
    value = stored_values(12)
    image = read(
        dataset(
            value,
            12,
            SOPClassUID=INTRA_ORAL_FOR_PROCESSING,
            PresentationIntentType="FOR PROCESSING",
            PhotometricInterpretation=photometric,
            PixelIntensityRelationship="LOG",
            PixelIntensityRelationshipSign=sign,
        )
    )
    expected = scaled(value)
    np.testing.assert_allclose(image.grey, 1 - expected if sign == 1 else expected, atol=1e-6)


def test_linear_exposure_becomes_attenuation(read) -> None:
    # Beer-Lambert: I = I0 exp(-mu x); grey must be linear in the thickness x
    thickness = np.linspace(0, 4, SHAPE[0] * SHAPE[1]).reshape(SHAPE)
    exposure = np.rint(60_000 * np.exp(-thickness)).astype(np.uint16)
    image = read(
        dataset(
            exposure,
            16,
            PresentationIntentType="FOR PROCESSING",
            PixelIntensityRelationship="LIN",
            PixelIntensityRelationshipSign=1,
        )
    )
    np.testing.assert_allclose(image.grey, thickness / 4, atol=5e-4)
    assert any("logarithm" in line for line in image.history)


def test_rescale_agrees_with_pydicom(read) -> None:
    value = stored_values(12, signed=True)
    ds = dataset(value, 12, RescaleSlope="-2.5", RescaleIntercept="100", RescaleType="US")
    image = read(ds)
    np.testing.assert_allclose(image.grey, scaled(apply_modality_lut(value, ds)), atol=1e-6)
    assert "rescaled by slope -2.5, intercept 100" in image.history


def lut_item(first: int, bits: int, table: np.ndarray) -> Dataset:
    item = Dataset()
    item.LUTDescriptor = [len(table) % 65536, first, bits]
    item["LUTDescriptor"].VR = "US"
    item.add_new(0x00283006, "US", [int(entry) for entry in table])
    return item


def test_modality_table_agrees_with_pydicom(read) -> None:
    value = stored_values(12)
    table = np.rint(60_000 * np.sqrt(np.linspace(0, 1, 3000)))
    ds = dataset(value, 12, ModalityLUTSequence=[lut_item(500, 16, table)])
    np.testing.assert_allclose(read(ds).grey, scaled(apply_modality_lut(value, ds)), atol=1e-6)


def test_a_voi_table_that_keeps_contrast_is_applied(read) -> None:
    value = stored_values(12)
    table = np.rint(65_535 * (np.arange(4096) / 4095) ** 0.6)
    ds = dataset(value, 12, VOILUTSequence=[lut_item(0, 16, table)])
    image = read(ds)
    np.testing.assert_allclose(image.grey, scaled(apply_voi(value, ds)), atol=1e-5)
    assert any("VOI look-up table applied" in line for line in image.history)


def test_a_voi_table_in_words_of_bytes(read) -> None:
    value = stored_values(12)
    table = np.rint(65_535 * (np.arange(4096) / 4095) ** 0.6).astype("<u2")
    item = lut_item(0, 16, table)
    plain = read(dataset(value, 12, VOILUTSequence=[item]))
    words = lut_item(0, 16, table)
    words.add_new(0x00283006, "OW", table.tobytes())
    np.testing.assert_array_equal(read(dataset(value, 12, VOILUTSequence=[words])).grey, plain.grey)


def test_a_voi_table_that_clips_is_left_out(read) -> None:
    value = stored_values(12)
    table = np.clip(np.arange(4096) * 2 - 2000, 0, 4095)  # loses a quarter at each end
    image = read(dataset(value, 12, VOILUTSequence=[lut_item(0, 12, table)]))
    np.testing.assert_allclose(image.grey, scaled(value), atol=1e-6)
    assert any("left out: it would flatten" in line for line in image.history)


def test_a_falling_voi_table_sets_the_polarity_even_where_left_out(read) -> None:
    value = stored_values(12)
    falling = 4095 - np.arange(4096)
    kept = read(dataset(value, 12, VOILUTSequence=[lut_item(0, 12, falling)]))
    clipping = read(dataset(value, 12, VOILUTSequence=[lut_item(0, 12, np.clip(falling * 2, 0, 4095))]))
    np.testing.assert_allclose(kept.grey, 1 - scaled(value), atol=1e-6)
    np.testing.assert_allclose(clipping.grey, 1 - scaled(value), atol=1e-6)


@pytest.mark.parametrize("function", ["LINEAR", "LINEAR_EXACT"])
@pytest.mark.parametrize(("centre", "width"), [(2048, 4096), (1500, 300)])
def test_a_linear_window_never_touches_the_data(read, function: str, centre: float, width: float) -> None:
    value = stored_values(12)
    image = read(dataset(value, 12, WindowCenter=centre, WindowWidth=width, VOILUTFunction=function))
    np.testing.assert_allclose(image.grey, scaled(value), atol=1e-6)
    assert any(f"{function} window" in line and "left out" in line for line in image.history)
    assert float(image.header["window_centre"]) == centre


def test_a_wide_sigmoid_is_applied_a_narrow_one_is_not(read) -> None:
    value = stored_values(12)
    wide = dataset(value, 12, WindowCenter=2048, WindowWidth=3000, VOILUTFunction="SIGMOID")
    expected = apply_windowing(value, wide).astype(float)  # PS3.3 C.11.2.1.3.1 as pydicom has it
    np.testing.assert_allclose(read(wide).grey, scaled(expected), atol=1e-3)
    narrow = dataset(value, 12, WindowCenter=2048, WindowWidth=200, VOILUTFunction="SIGMOID")
    np.testing.assert_allclose(read(narrow).grey, scaled(value), atol=1e-6)


def test_declared_padding_is_no_film_and_no_contrast(read) -> None:
    value = stored_values(12)
    film = value.copy()
    value[10:20, 30:40] = 65_000
    value[10:12, 30:40] = 64_000
    ds = dataset(value, 16, PixelPaddingValue=65_000, PixelPaddingRangeLimit=64_000)
    ds["PixelPaddingValue"].VR = ds["PixelPaddingRangeLimit"].VR = "US"
    image = read(ds)
    expected = np.ones(SHAPE, bool)
    expected[10:20, 30:40] = False
    np.testing.assert_array_equal(image.film, expected)
    np.testing.assert_allclose(
        image.grey[expected], scaled(np.where(expected, film, film[0, 0]))[expected], atol=1e-6
    )


def test_a_rescale_slope_of_zero_is_refused(read) -> None:
    with pytest.raises(ImageError, match="Rescale Slope 0"):
        read(dataset(stored_values(12), 12, RescaleSlope="0", RescaleIntercept="0"))


def test_a_table_cut_off_is_refused(read) -> None:
    item = lut_item(0, 16, np.arange(100))
    item.LUTDescriptor = [4096, 0, 16]
    with pytest.raises(ImageError, match="announces 4096 entries and holds 100"):
        read(dataset(stored_values(12), 12, VOILUTSequence=[item]))


def test_a_constant_image_is_refused(read) -> None:
    with pytest.raises(ImageError, match="same value"):
        read(dataset(np.full(SHAPE, 7, np.uint16), 12))


# ---------------------------------------------------------------- header facts


def test_spacing_facts_are_kept_apart_and_in_order(read) -> None:
    image = read(
        dataset(
            stored_values(8),
            8,
            PixelSpacing=[0.03, 0.02],
            ImagerPixelSpacing=[0.033, 0.022],
            NominalScannedPixelSpacing=[0.04, 0.05],
            PixelSpacingCalibrationType="FIDUCIAL",
            PixelSpacingCalibrationDescription="5 mm ball",
            EstimatedRadiographicMagnificationFactor="1.08",
        )
    )
    facts = image.spacing
    assert facts.pixel_mm == (0.03, 0.02)
    assert facts.imager_mm == (0.033, 0.022)
    assert facts.nominal_scanned_mm == (0.04, 0.05)
    assert facts.calibration_type == "FIDUCIAL"
    assert facts.calibration_description == "5 mm ball"
    assert facts.magnification == 1.08
    assert facts.intra_oral
    assert image.pixel_aspect == pytest.approx(1.5)  # rows are 0.03 mm apart, columns 0.02 mm


@pytest.mark.parametrize(
    ("sop_class", "modality", "intra_oral"),
    [
        (INTRA_ORAL, "IO", True),
        (INTRA_ORAL_FOR_PROCESSING, "IO", True),
        (SECONDARY_CAPTURE, "IO", True),
        (SECONDARY_CAPTURE, "OT", False),
        ("1.2.840.10008.5.1.4.1.1.1.1", "PX", False),
        ("1.2.840.10008.5.1.4.1.1.1", "CR", False),
    ],
)
def test_what_counts_as_intra_oral(read, sop_class: str, modality: str, intra_oral: bool) -> None:
    image = read(dataset(stored_values(8), 8, SOPClassUID=sop_class, Modality=modality))
    assert image.spacing.intra_oral is intra_oral
    assert not any("not one of a radiograph" in line for line in image.history)


def test_aspect_ratio_stands_in_where_no_spacing_is_given(read) -> None:
    # PS3.3 C.7.6.3.1.7: vertical pixel size over horizontal
    assert read(dataset(stored_values(8), 8, PixelAspectRatio=["6", "5"])).pixel_aspect == pytest.approx(1.2)
    both = dataset(stored_values(8), 8, PixelAspectRatio=["6", "5"], PixelSpacing=[0.02, 0.02])
    assert read(both).pixel_aspect == 1.0


def test_a_malformed_spacing_is_ignored_and_said(read) -> None:
    image = read(dataset(stored_values(8), 8, PixelSpacing=[0.02], ImagerPixelSpacing=[0.02, -1]))
    assert image.spacing.pixel_mm is None
    assert image.spacing.imager_mm is None
    assert sum("was ignored" in line for line in image.history) == 2


def test_nothing_in_the_header_can_name_a_person(read) -> None:
    region = Dataset()
    region.CodeValue, region.CodingSchemeDesignator, region.CodeMeaning = "91609006", "SCT", "Invented^Person"
    data = to_bytes(
        dataset(
            stored_values(8),
            8,
            AnatomicRegionSequence=[region],
            InstitutionName="Invented clinic",
            StudyDate="20200202",
            PatientBirthDate="19700101",
            KVP="65",
            ViewPosition="VIEW4711",
        )
    )
    image = read(data.replace(b"VIEW4711", b"nvented^"))  # free text where a code belongs
    everything = " ".join([*image.header.values(), *image.history])
    for secret in ("nvented", "4711", "20200202", "19700101"):
        assert secret not in everything
    assert image.header["anatomic_region"] == "91609006 SCT"
    assert image.header["tube_voltage_kv"] == "65"
    assert image.header["sop_class"] == "intra-oral, for presentation"
