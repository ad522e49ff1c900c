"""The sample images: complete, readable, consistent with their truth, and made from their seeds."""

import csv
import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest

from radio.image.radiograph import read_radiograph
from radio.measure.case import LANDMARKS, REPEATED_LANDMARKS

SAMPLES = Path(__file__).parents[1] / "sample_images"
IMAGE_COLUMNS = (
    "image,canal,tooth,view,scale_from,file_length_mm,file_start_at,file_size,"
    "ball_diameter_mm,mm_per_px,electronic_mm,electronic_mark,subject"
)
CLICK_COLUMNS = "image,canal,landmark,order,row,col"


def rows_of(name):
    with (SAMPLES / name).open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def truth():
    return json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def make():
    spec = importlib.util.spec_from_file_location("make_samples", SAMPLES / "make.py")
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]


def test_columns_are_the_agreed_ones():
    assert (SAMPLES / "IMAGES.csv").read_text().splitlines()[0] == IMAGE_COLUMNS
    assert (SAMPLES / "CLICKS.csv").read_text().splitlines()[0] == CLICK_COLUMNS


def test_tables_and_truth_name_the_same_canals(truth):
    listed = {(row["image"], row["canal"]) for row in rows_of("IMAGES.csv")}
    clicked = {(row["image"], row["canal"]) for row in rows_of("CLICKS.csv")}
    assert listed == clicked == {(image, canal) for image, canals in truth.items() for canal in canals}
    assert {image for image, _ in listed} == {
        path.name for path in SAMPLES.iterdir() if path.suffix in (".png", ".tif", ".jpg", ".dcm")
    }


def test_samples_are_small_enough():
    assert sum(path.stat().st_size for path in SAMPLES.iterdir() if path.is_file()) < 8_000_000


def test_every_promised_situation_is_there(truth):
    rows = rows_of("IMAGES.csv")
    canals = [canal for image in truth.values() for canal in image.values()]
    assert any(int(row["file_size"] or 0) >= 25 for row in rows)
    assert any(0 < int(row["file_size"] or 0) <= 10 for row in rows)
    assert any(canal["s_shaped"] for canal in canals)
    assert any(len(image) == 2 for image in truth.values())
    assert {row["scale_from"] for row in rows} == {"file", "ball", "dicom"}
    assert {row["file_start_at"] for row in rows} == {"stop", "handle", ""}
    assert any(canal["gap_mm"] is not None and canal["gap_mm"] < -0.5 for canal in canals)
    assert {row["electronic_mark"] for row in rows} == {"zero", "half", ""}


@pytest.mark.parametrize(
    ("name", "file_format", "bits"),
    [
        ("s01_straight_file30.png", "PNG", 8),
        ("s02_curved_file10.png", "PNG", 16),
        ("s03_s_shape_file15.tif", "TIFF", 16),
        ("s04_two_canals.dcm", "DICOM", 12),
        ("s05_diagnostic_ball.jpg", "JPEG", 8),
        ("s06_diagnostic_spacing.dcm", "DICOM", 12),
        ("s07_beyond_apex.png", "PNG", 8),
        ("s08_hard.dcm", "DICOM", 12),
        ("s09_two_views_facing.png", "PNG", 8),
        ("s10_two_views_side.png", "PNG", 8),
    ],
)
def test_image_is_read_with_metal_bright(name, file_format, bits, truth):
    radiograph = read_radiograph(SAMPLES / name)
    assert (radiograph.file_format, radiograph.bits_stored) == (file_format, bits)
    for canal in truth[name].values():
        line = canal["file_axis_px"]
        if line is not None:
            # coronal half of the file, clear of the tip; brighter than 0.8 mm beside it
            line = np.array(line)
            middle = line[len(line) // 8 : len(line) // 2]
            slope = np.gradient(middle, axis=0)
            normal = np.stack([-slope[:, 1], slope[:, 0]], axis=1) / np.linalg.norm(slope, axis=1)[:, None]
            beside = np.rint(middle + 0.8 / canal["mm_per_px"] * normal).astype(int)
            on = np.rint(middle).astype(int)
            grey = radiograph.grey
            assert np.median(grey[on[:, 0], on[:, 1]] - grey[beside[:, 0], beside[:, 1]]) > 0.02
        if canal["ball_centre_px"] is not None:
            row, col = np.rint(canal["ball_centre_px"]).astype(int)
            assert radiograph.grey[row, col] > 0.9


def test_clicks_lie_about_the_truth(truth):
    error = []
    for row in rows_of("CLICKS.csv"):
        canal = truth[row["image"]][row["canal"]]
        assert row["landmark"] in LANDMARKS
        point = np.array([float(row["row"]), float(row["col"])])
        if row["landmark"] in REPEATED_LANDMARKS:
            line = np.array(canal["file_axis_px" if row["landmark"] == "file_via" else "canal_axis_px"])
            error.append(np.linalg.norm(line - point, axis=1).min() * canal["mm_per_px"])
        else:
            exact = np.array(canal[row["landmark"] + "_px"])
            error.append(np.linalg.norm(point - exact) * canal["mm_per_px"])
    assert max(error) < 0.9
    assert 0.1 < np.median(error) < 0.3


def test_stated_length_is_the_true_one(truth):
    for row in rows_of("IMAGES.csv"):
        exact = truth[row["image"]][row["canal"]]
        if row["file_length_mm"]:
            assert float(row["file_length_mm"]) == pytest.approx(exact["file_length_mm"], abs=1e-3)
            # proportion formula (Grossman): image length times known length over image length of the file
            line = np.array(exact["file_axis_px"])
            length_px = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
            assert float(row["file_length_mm"]) / length_px == pytest.approx(
                exact["file_mm_per_px"], rel=2e-4
            )
        assert exact["mm_per_px"] * exact["magnification"] == pytest.approx(exact["pitch_mm"], rel=1e-4)
        # reported magnification of intraoral images: 3.4 % to 9.5 % (Lazzerini 1996, Radiol Med 91:364)
        assert 1.02 < exact["magnification"] < 1.13


def test_dicom_headers_state_spacing_and_no_person(truth):
    import pydicom

    syntaxes = set()
    for path in sorted(SAMPLES.glob("*.dcm")):
        ds = pydicom.dcmread(path)
        syntaxes.add(str(ds.file_meta.TransferSyntaxUID))
        # PS3.3 A.26: Digital Intra-Oral X-Ray Image For Presentation
        assert ds.SOPClassUID == "1.2.840.10008.5.1.4.1.1.1.3"
        assert ds.Modality == "IO"
        assert str(ds.PatientName) == ""
        assert ds.PatientID.startswith("S0")
        assert "PixelSpacing" not in ds
        pitch = next(iter(truth[path.name].values()))["pitch_mm"]
        assert [float(value) for value in ds.ImagerPixelSpacing] == pytest.approx([pitch, pitch])
        # PS3.3 C.8.11.3.1.2: sign -1 means that higher values are less X-ray intensity
        assert ds.PixelIntensityRelationshipSign == (
            1 if ds.PhotometricInterpretation == "MONOCHROME1" else -1
        )
    assert syntaxes == {"1.2.840.10008.1.2.1", "1.2.840.10008.1.2.4.80", "1.2.840.10008.1.2.4.90"}


PAIR = ("s09_two_views_facing.png", "s10_two_views_side.png")


def test_both_views_of_the_pair_are_of_one_canal(truth):
    views = [truth[name]["1"] for name in PAIR]
    axis = np.array(views[0]["canal_axis_mm"])
    assert views[0]["canal_axis_mm"] == views[1]["canal_axis_mm"]
    assert np.linalg.norm(np.diff(axis, axis=0), axis=1).sum() == pytest.approx(
        views[0]["canal_length_3d_mm"], abs=2e-3
    )
    # plain geometry of a turn by 90 degrees: the facing view shows x, the side view y turned about. What is
    # left is a lean of some 2 degrees (0.4 mm over the canal)
    for view, across in zip(views, (axis[:, 0], -axis[:, 1]), strict=True):
        line = np.array(view["canal_axis_px"]) * view["mm_per_px"]
        assert line[-1, 1] - line[0, 1] == pytest.approx(across[-1] - across[0], abs=0.4)
        assert view["canal_length_mm"] < view["canal_length_3d_mm"]


def test_the_pair_gives_the_canal_in_space(truth):
    from radio.measure.pipeline import measure_case
    from radio.measure.space import schneider_deg
    from radio.measure.view_pair import pair_views
    from radio.record.tables import read_cases

    cases = {case.image: case for case in read_cases(SAMPLES / "IMAGES.csv", SAMPLES / "CLICKS.csv").cases}
    results = [
        measure_case(read_radiograph(SAMPLES / name), cases[name].clicks, cases[name].facts) for name in PAIR
    ]
    pair = pair_views(*results, 90.0)
    assert pair.same_canal
    exact = truth[PAIR[0]]["1"]
    length = pair.measurements["length_3d_mm"]
    assert length.value == pytest.approx(exact["canal_length_3d_mm"], abs=0.4)
    assert abs(length.value - exact["canal_length_3d_mm"]) < 1.96 * length.sd
    bend = schneider_deg(np.array(exact["canal_axis_mm"]), 0.10)
    for name in ("schneider_3d_deg", "resultant_bend_deg"):
        assert pair.measurements[name].value == pytest.approx(bend, abs=4.0), name
    # neither view shows the whole bend
    assert max(one.measurements["schneider_deg"].value for one in results) < bend - 3


@pytest.mark.parametrize("name", ["s05_diagnostic_ball.jpg", "s08_hard.dcm", "s10_two_views_side.png"])
def test_samples_come_from_their_seeds(name, make, tmp_path, truth):
    make.make_samples(tmp_path, (name,))
    first, again = read_radiograph(SAMPLES / name), read_radiograph(tmp_path / name)
    assert first.grey.shape == again.grey.shape
    # another processor may round a last bit otherwise
    apart = np.abs(first.grey - again.grey)
    assert apart.max() < 0.02
    assert (apart > 1e-6).mean() < 0.01
    made = json.loads((tmp_path / "truth.json").read_text())[name]
    for canal, exact in truth[name].items():
        assert made[canal]["apex_px"] == pytest.approx(exact["apex_px"], abs=2e-3)
        assert made[canal]["canal_length_mm"] == pytest.approx(exact["canal_length_mm"], abs=2e-3)
    clicks = [line for line in (SAMPLES / "CLICKS.csv").read_text().splitlines()[1:] if line.startswith(name)]
    assert (tmp_path / "CLICKS.csv").read_text().splitlines()[1:] == clicks
