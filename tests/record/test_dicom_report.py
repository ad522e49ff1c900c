"""Reports, presentation states and secondary captures, read by readers of other makers."""

from __future__ import annotations

import re
from dataclasses import replace

import highdicom
import numpy as np
import pytest
from PIL import Image
from pydicom import dcmread
from pydicom.sr._concepts_dict import concepts
from pydicom.sr.codedict import codes

from radio.errors import PeriapicalError
from radio.image.radiograph import read_radiograph
from radio.record.book_tables import measurements_of
from radio.record.casebook import Casebook
from radio.record.dicom_codes import (
    SCHEME,
    from_graphic,
    person_name,
    to_graphic,
    tooth_concept,
    uid_from,
    unit_concept,
)
from radio.record.dicom_export import write_dicom
from radio.record.kept import KeptCanal
from radio.record.report_sr import read_report
from radio.record.tracing import Tracing
from tests.fixtures.programs import ran
from tests.record.books import CLICKS, RADIOGRAPH, RESULT, command

HOSTILE = "Ä\\B^C=D\n"


def canal_on(path, canal="MB", tooth="36", subject="P-01", reader=HOSTILE) -> KeptCanal:
    facts = replace(RESULT.facts, canal=canal, tooth=tooth, subject=subject)
    one = Tracing.from_case(read_radiograph(path), CLICKS, replace(RESULT, facts=facts), reader=reader)
    return KeptCanal(subject, tooth, canal, one, path)


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    """Two canals on a PNG, exported with the image wrapped: canals, and what was written by kind."""
    folder = tmp_path_factory.mktemp("exported")
    path = folder / "made.png"
    Image.fromarray(RADIOGRAPH.stored).save(path)
    kept = [canal_on(path), canal_on(path, "ML")]
    written, refused = write_dicom(kept, folder / "out", wrap=True)
    assert refused == ()
    return kept, {one.stem.rsplit("-", 1)[1]: one for one in written}


# -- places and codes --------------------------------------------------------------------------------------


def test_graphics_begin_at_the_corner_of_the_first_pixel():
    """DICOM PS3.3 C.18.6.1.1: corner of the first pixel 0.0, 0.0; of the image Columns, Rows."""
    assert to_graphic([[0, 0], [10, 20.25]]).tolist() == [[0.5, 0.5], [20.75, 10.5]]
    rows, columns = 480, 640
    assert to_graphic([[rows - 0.5, columns - 0.5]]).tolist() == [[columns, rows]]
    points = np.random.default_rng(3).uniform(0, 4000, (50, 2))
    assert np.abs(from_graphic(to_graphic(points)) - points).max() < 3e-4


@pytest.mark.parametrize("tooth", [f"{q}{t}" for q in range(1, 9) for t in range(1, 9 if q < 5 else 6)])
def test_every_tooth_has_its_code_of_the_context_group(tooth):
    """DICOM PS3.16 CID 4018 and CID 4019 as pydicom has them; quadrants and places by ISO 3950."""
    one = tooth_concept(tooth)
    theirs = {named[one.value][0].lower() for named in concepts["SCT"].values() if one.value in named}
    # the group leaves a word out of some
    left_out = {"permanent", "incisor"}
    assert set(one.meaning.lower().split()) - left_out in [set(told.split()) - left_out for told in theirs]


def test_teeth_that_are_none_have_no_code_and_no_code_stands_twice():
    assert tooth_concept("") is None
    assert tooth_concept("19") is None
    every = [tooth_concept(f"{q}{t}") for q in range(1, 9) for t in range(1, 9)]
    values = [one.value for one in every if one]
    assert len(values) == len(set(values)) == 52


def test_units_are_those_of_ucum():
    for unit, code in (
        ("mm", codes.UCUM.Millimeter),
        ("deg", codes.UCUM.Degree),
        ("ratio", codes.UCUM.NoUnits),
    ):
        assert unit_concept(unit).value == code.value


def test_a_name_has_one_part_and_nothing_that_parts_it():
    assert person_name(HOSTILE) == "Ä B C D^"
    assert person_name("") == ""


# -- what was written, as others read it -------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["report", "presentation", "image"])
def test_an_independent_validator_finds_no_error(exported, kind):
    told = ran("dciodvfy", exported[1][kind], code=None)
    assert "Error" not in told, told
    assert {"report": "ComprehensiveSR", "presentation": "GrayscaleSoftcopy", "image": "SCImage"}[
        kind
    ] in told


def test_an_independent_reader_shows_values_units_methods_and_tooth(exported):
    kept, made = exported
    told = ran("dsrdump", "+U8", "+Pc", "+Pl", made["report"])
    working = measurements_of(kept[0])["working_length_mm"]
    shown = re.search(r'NUM:\(410668003,SCT,"Length"\)="([\d.]+)" \(mm,UCUM', told)
    assert float(shown[1]) == pytest.approx(working.value, rel=1e-12)
    for expected in (
        "Comprehensive SR Document",
        '(working_length_mm,99PERIAPICAL,"Working length")',
        '(866006002,SCT,"Permanent mandibular left first molar tooth")',
        '(121211,DCM,"Path length")',
        '(1483009,SCT,"Angle")',
        "(deg,UCUM",
        "range of upper measurement uncertainty",
        working.basis,
    ):
        assert expected in told, expected


def test_an_independent_library_finds_groups_values_and_lines(exported):
    kept, made = exported
    report = highdicom.sr.srread(made["report"])
    assert report.ContentTemplateSequence[0].TemplateIdentifier == "1500"
    groups = report.content.get_image_measurement_groups()
    assert [group.tracking_uid for group in groups] == [uid_from(one.tracing.uuid) for one in kept]
    image = dcmread(made["image"])
    for group, one in zip(groups, kept, strict=True):
        assert [site.value for site in group.finding_sites] == [tooth_concept("36")]
        numbers = measurements_of(one)
        found = {number.method.value: number for number in group.get_measurements()}
        assert set(found) == set(numbers)
        for column, number in found.items():
            told = numbers[column]
            assert number.value == pytest.approx(told.value, rel=1e-12)
            assert number.unit == unit_concept(told.unit)
            assert (number.name.scheme_designator == SCHEME) == (column in ("scale_mm_per_px",))
            for line in number.referenced_coordinates or ():
                assert line.graphic_type.value == "POLYLINE"
                assert line.value.min() >= 0
        canal = found["canal_length_mm"].referenced_coordinates[0]
        assert np.allclose(canal.value, to_graphic(one.tracing.as_result().canal_line.points_px))
        assert len(found["schneider_deg"].referenced_coordinates) == 2
    evidence = report.CurrentRequestedProcedureEvidenceSequence[0].ReferencedSeriesSequence[0]
    assert evidence.ReferencedSOPSequence[0].ReferencedSOPInstanceUID == image.SOPInstanceUID
    assert (report.StudyInstanceUID, report.PatientID) == (image.StudyInstanceUID, image.PatientID)


def test_uncertainty_is_in_the_unit_of_its_value(exported):
    ds = dcmread(exported[1]["report"])
    seen = 0
    for item in walk(ds):
        if item.get("ValueType") == "NUM":
            unit = item.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue
            for beside in item.get("ContentSequence", ()):
                if beside.ValueType == "NUM":
                    seen += 1
                    assert beside.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue == unit
                    assert float(beside.MeasuredValueSequence[0].NumericValue) > 0
    assert seen >= 16


def walk(ds):
    for item in ds.get("ContentSequence", ()):
        yield item
        yield from walk(item)


def test_a_presentation_state_lays_the_lines_on_the_image(exported):
    kept, made = exported
    state, image = dcmread(made["presentation"]), dcmread(made["image"])
    refers = state.ReferencedSeriesSequence[0].ReferencedImageSequence[0]
    assert refers.ReferencedSOPInstanceUID == image.SOPInstanceUID
    layers = {one.GraphicLayer for one in state.GraphicLayerSequence}
    lines = {}
    for annotation in state.GraphicAnnotationSequence:
        assert annotation.GraphicLayer in layers
        for graphic in annotation.get("GraphicObjectSequence", ()):
            assert graphic.GraphicAnnotationUnits == "PIXEL"
            points = np.reshape(graphic.GraphicData, (-1, 2))
            assert (points >= 0).all()
            assert (points <= [image.Columns, image.Rows]).all()
            lines.setdefault(annotation.GraphicLayer, []).append(points)
    canal = to_graphic(kept[1].tracing.as_result().canal_line.points_px)
    assert np.allclose(lines["CANAL"][1], np.clip(canal, 0, [image.Columns, image.Rows]))
    told = " ".join(
        t.UnformattedTextValue
        for a in state.GraphicAnnotationSequence
        for t in a.get("TextObjectSequence", ())
    )
    assert "Canal MB" in told
    assert "Schneider angle 30.0 ± 1.2°" in told


@pytest.mark.parametrize("inverted", [False, True])
def test_another_renderer_shows_the_image_by_the_presentation_state_the_right_way_round(
    exported, tmp_path, inverted
):
    path = tmp_path / "own.dcm"
    ds = dcmread(exported[1]["image"])
    if inverted:
        ds.PhotometricInterpretation = "MONOCHROME1"
        ds.PixelData = (4095 - RADIOGRAPH.stored).astype("<u2").tobytes()
    ds.save_as(path)
    written, _ = write_dicom([canal_on(path)], tmp_path / "out", wrap=False)
    state = next(one for one in written if one.stem.endswith("presentation"))
    ran("dcmp2pgm", "-p", state, path, tmp_path / "shown.pgm")
    shown = np.asarray(Image.open(tmp_path / "shown.pgm"), dtype=float)
    grey = read_radiograph(path).grey
    assert shown.shape == grey.shape
    assert np.corrcoef(shown.ravel(), grey.ravel())[0, 1] > 0.95


def test_a_wrapped_image_has_the_same_pixels_and_the_same_name_each_time(exported, tmp_path):
    kept, made = exported
    again = read_radiograph(made["image"])
    assert np.array_equal(again.stored, RADIOGRAPH.stored)
    written, _ = write_dicom(kept, tmp_path, wrap=True)
    for path in written:
        kind = path.stem.rsplit("-", 1)[1]
        assert path.read_bytes() == made[kind].read_bytes(), kind


@pytest.mark.parametrize("kind", ["u1", "jpeg", "dicom without names", "oblong"])
def test_images_of_every_kind_are_wrapped_without_error(tmp_path, exported, kind):
    path = tmp_path / "one"
    grey = (RADIOGRAPH.stored // 16).astype(np.uint8)
    if kind == "jpeg":
        Image.fromarray(grey).save(path, "JPEG", quality=90)
    elif kind == "u1":
        Image.fromarray(grey).save(path, "PNG")
    else:
        ds = dcmread(exported[1]["image"])
        if kind == "oblong":
            ds.PixelAspectRatio = [5, 4]
        del ds.StudyInstanceUID
        ds.PhotometricInterpretation = "MONOCHROME1"
        ds.save_as(path)
    _, refused = write_dicom([canal_on(path)], tmp_path / "out", wrap=False)
    assert len(refused) == 1
    assert "With --wrap it is kept" in refused[0]
    assert ("StudyInstanceUID is missing" in refused[0]) == (kind in ("dicom without names", "oblong"))
    written, refused = write_dicom([canal_on(path)], tmp_path / "out", wrap=True)
    assert not refused
    for one in written:
        assert "Error" not in ran("dciodvfy", one, code=None)
    made = read_radiograph(next(one for one in written if one.stem.endswith("-image")))
    before = read_radiograph(path)
    assert np.abs(made.grey - before.grey).max() < 2e-3
    assert made.pixel_aspect == pytest.approx(before.pixel_aspect)


def test_a_dicom_image_is_referred_to_and_left_alone(tmp_path, exported):
    path = tmp_path / "own.dcm"
    ds = dcmread(exported[1]["image"])
    ds.SOPClassUID = ds.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.1.3"
    ds.PatientName, ds.PatientID, ds.StudyID = "Invented^Ida", "I-7", "9"
    ds.save_as(path)
    written, refused = write_dicom([canal_on(path)], tmp_path / "out", wrap=False)
    assert not refused
    assert [one.stem.rsplit("-", 1)[1] for one in written] == ["report", "presentation"]
    for one in written:
        made = dcmread(one)
        assert (made.PatientID, made.StudyInstanceUID, made.StudyID) == ("I-7", ds.StudyInstanceUID, "9")
        assert "Error" not in ran("dciodvfy", one, code=None)


def test_an_image_that_is_gone_or_another_one_is_refused(tmp_path, exported):
    kept = exported[0][0]
    other = tmp_path / "other.png"
    Image.fromarray(RADIOGRAPH.stored[:-5]).save(other)
    for path, told in (
        (None, "'periapical casebook find' looks for it"),
        (other, "not the image that was traced"),
    ):
        written, refused = write_dicom([replace(kept, image_path=path)], tmp_path / "o", wrap=True)
        assert written == ()
        assert told in refused[0]


# -- and back ----------------------------------------------------------------------------------------------


def test_a_report_gives_back_exactly_the_tracings_it_was_made_of(exported, tmp_path):
    kept, made = exported
    assert read_report(made["report"]) == tuple(one.tracing for one in kept)
    book = tmp_path / "new.casebook"
    Casebook.make(book).close()
    for added in ("2 revisions", "0 revisions"):
        assert added in command("add", book, "--report", made["report"])


def _number(ds):
    item = next(i for i in walk(ds) if i.get("ValueType") == "NUM")
    item.MeasuredValueSequence[0].NumericValue = "1.5"
    del item.MeasuredValueSequence[0].FloatingPointValue


def _line(ds):
    item = next(i for i in walk(ds) if i.get("ValueType") == "SCOORD")
    item.GraphicData = [v + 1.0 for v in item.GraphicData]


def _group(ds):
    container = next(i for i in walk(ds) if i.ConceptNameCodeSequence[0].CodeValue == "126010")
    del container.ContentSequence[0]


def _private(ds):
    ds.remove_private_tags()


def _class(ds):
    ds.SOPClassUID = ds.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.88.22"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_number, "was changed after it was written"),
        (_line, "was changed after it was written"),
        (_group, "not every tracing is reported"),
        (_private, "private elements were taken"),
        (_class, "is no Comprehensive SR"),
    ],
)
def test_a_report_that_says_something_else_is_not_taken(exported, tmp_path, change, told):
    ds = dcmread(exported[1]["report"])
    change(ds)
    path = tmp_path / "changed.dcm"
    ds.save_as(path)
    with pytest.raises(PeriapicalError, match=told):
        read_report(path)


def test_what_is_no_dicom_is_named(tmp_path):
    path = tmp_path / "x.dcm"
    with pytest.raises(PeriapicalError, match="cannot be read"):
        read_report(path)
    path.write_text("no")
    with pytest.raises(PeriapicalError, match="no whole DICOM object"):
        read_report(path)


def test_the_command_names_what_it_refused(tmp_path, exported):
    kept = exported[0]
    book = tmp_path / "a.casebook"
    with Casebook.make(book) as opened:
        opened.add_tracings([one.tracing for one in kept])
        opened.find_images(kept[0].image_path.parent)
    out = ("export", book, "--out", tmp_path / "o")
    assert "made.png cannot be referred to" in command(*out, "--as", "dicom", code=1)
    command(*out, "--as", "dicom", "--as", "csv")
    assert command(*out, "--as", "dicom", "--wrap").count("wrote") == 3
    assert "give --as dicom" in command(*out, "--wrap", code=1)
