"""De-identification: images stuffed with an invented person leave nothing of them anywhere."""

from __future__ import annotations

import csv
import io
import json
import os
import zipfile
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow.parquet
import pytest
from dicomanonymizer.dicom_anonymization_databases import dicomfields_2026c as profile
from PIL import Image, ImageDraw
from pydicom import dcmread

from radio.errors import PeriapicalError
from radio.image.radiograph import read_radiograph
from radio.record.deidentify import REPORT_NAME, Deidentification, Rules
from radio.record.pseudonyms import Pseudonyms
from tests.fixtures.painted import painted_tooth
from tests.fixtures.programs import ran
from tests.fixtures.stuffed import (
    DAY,
    NAME,
    NUMBER,
    OTHER,
    TEXT,
    everything_in,
    found_marks,
    stuffed_dicom,
    stuffed_jpeg,
    stuffed_png,
    stuffed_tiff,
)
from tests.record.books import command

SAMPLES = Path(__file__).parents[2] / "sample_images"
TOOTH = painted_tooth()
GREY = np.round(TOOTH.grey / TOOTH.grey.max() * 255).astype(np.uint8)
STUFFED = {
    ".dcm": stuffed_dicom(GREY),
    "-jpeg.dcm": stuffed_dicom(GREY, jpeg=True),
    ".png": stuffed_png(GREY),
    ".jpg": stuffed_jpeg(GREY),
    # brighter by a level each: what has the same pixels becomes the same image
    ".tif": stuffed_tiff(np.clip(GREY, 0, 254) + 1),
    "-float.tif": stuffed_tiff(GREY, floating=True),
}


def run(folder, key=None, **rules):
    return Deidentification(folder / "out", Pseudonyms(key or folder / "key.json"), Rules(**rules))


@pytest.mark.parametrize("kind", STUFFED)
def test_the_fixtures_are_stuffed(kind):
    assert {NAME, OTHER, NUMBER, DAY} <= set(found_marks(STUFFED[kind]))


@pytest.mark.parametrize("kind", STUFFED)
@pytest.mark.parametrize("dates", ["remove", "shift"])
def test_nothing_of_the_person_is_left_and_the_picture_is_the_same(tmp_path, kind, dates):
    path = tmp_path / f"{NAME}_{DAY}{kind}"
    path.write_bytes(STUFFED[kind])
    one = run(tmp_path, dates=dates)
    outcome = one.image(path)
    assert outcome.written, outcome.reason
    one.finish()
    for name, content in everything_in(tmp_path / "out").items():
        assert found_marks(content) == [], name
    before, after = read_radiograph(path), read_radiograph(tmp_path / "out" / outcome.name)
    assert np.array_equal(before.grey, after.grey)
    assert before.spacing.pixel_mm == after.spacing.pixel_mm
    assert before.lossy <= (after.lossy or kind == ".jpg" or kind == "-jpeg.dcm")


def test_every_attribute_of_the_profile_is_gone_or_another(tmp_path):
    """DICOM PS3.15 table E.1-1, edition 2026c, as the package dicom-anonymizer lists it."""
    path = tmp_path / "a.dcm"
    path.write_bytes(STUFFED[".dcm"])
    one = run(tmp_path)
    after = dcmread(tmp_path / "out" / one.image(path).name)
    before = dcmread(path)
    listed = [
        *(profile.D_TAGS + profile.Z_TAGS + profile.X_TAGS + profile.U_TAGS + profile.Z_D_TAGS),
        *(profile.X_Z_TAGS + profile.X_D_TAGS + profile.X_Z_D_TAGS + profile.X_Z_U_STAR_TAGS),
    ]
    plain = [tag for tag in listed if len(tag) == 2 and tag in before]
    assert len(plain) > 400
    # the second half of the line says what the profile says of itself
    stays = {"DeidentificationMethod", "DeidentificationMethodCodeSequence", "PatientIdentityRemoved"}
    for tag in plain:
        if tag in after and after[tag].keyword not in stays:
            assert after[tag].value != before[tag].value, after[tag]
    assert after.PatientIdentityRemoved == "YES"
    assert after.DeidentificationMethodCodeSequence[0].CodeValue == "113100"
    assert not [element for element in after if element.tag.is_private]
    assert after.file_meta.get("SourceApplicationEntityTitle") is None
    assert after.preamble == b"\0" * 128


def test_a_sample_keeps_what_a_measurement_needs_and_stays_valid(tmp_path):
    one = run(tmp_path, lettering="keep")
    for path in sorted(SAMPLES.glob("*.dcm")):
        made = tmp_path / "out" / one.image(path).name
        before, after = read_radiograph(path), read_radiograph(made)
        assert np.array_equal(before.grey, after.grey)
        assert (before.spacing, before.pixel_aspect) == (after.spacing, after.pixel_aspect)
        errors = [set(ran("dciodvfy", p, code=None).split("Error")[1:]) for p in (path, made)]
        assert {e.splitlines()[0] for e in errors[1]} <= {e.splitlines()[0] for e in errors[0]}


def test_a_second_run_into_a_folder_keeps_what_the_report_told_of_the_first(tmp_path):
    for name, data in (("a.dcm", STUFFED[".dcm"]), ("b.png", STUFFED[".png"])):
        (tmp_path / name).write_bytes(data)
        one = run(tmp_path)
        one.image(tmp_path / name)
        one.finish()
    told = json.loads((tmp_path / "out" / REPORT_NAME).read_text())
    assert {image["name"] for image in told["images"]} == {
        path.name for path in (tmp_path / "out").iterdir() if path.suffix != ".json"
    }
    (tmp_path / "out" / REPORT_NAME).write_text("[]")
    with pytest.raises(PeriapicalError, match="is no report of a de-identification"):
        run(tmp_path).finish()


# -- pseudonyms --------------------------------------------------------------------------------------------


def test_pseudonyms_follow_from_the_key_and_from_nothing_else(tmp_path):
    first = Pseudonyms(tmp_path / "a.json")
    first.save()
    again, other = Pseudonyms(tmp_path / "a.json"), Pseudonyms(tmp_path / "b.json")
    made = first.subject("Smythe, Ann")
    assert made == again.subject(" smythe, ann ") != other.subject("Smythe, Ann")
    assert first.subject(made) == made
    assert first.subject("") == ""
    assert first.uid("1.2.3") == again.uid("1.2.3") != first.uid("1.2.4")
    assert len(first.uid("1.2.3")) <= 64
    days = [date(2020, 1, 1), date(2020, 3, 5)]
    moved = [first.shifted(day, made) for day in days]
    assert moved[1] - moved[0] == days[1] - days[0]
    assert days[0] > moved[0] > date(2009, 12, 1)
    assert first.shifted(days[0], made) != first.shifted(days[0], "another")
    first.save()
    assert os.stat(tmp_path / "a.json").st_mode & 0o077 == 0
    assert Pseudonyms(tmp_path / "a.json").subjects == {made: "Smythe, Ann"}


def test_the_same_patient_has_one_pseudonym_over_runs_and_forms(tmp_path):
    (tmp_path / "a.dcm").write_bytes(STUFFED[".dcm"])
    (tmp_path / "b.dcm").write_bytes(STUFFED["-jpeg.dcm"])
    one = run(tmp_path)
    first = one.image(tmp_path / "a.dcm").subject
    one.finish()
    second = run(tmp_path, key=tmp_path / "key.json").image(tmp_path / "b.dcm")
    assert first == second.subject
    assert first.startswith("P-")
    made = [dcmread(path) for path in (tmp_path / "out").glob("*.dcm")]
    assert len({(ds.PatientID, ds.StudyInstanceUID, ds.SeriesInstanceUID) for ds in made}) == 1
    assert Pseudonyms(tmp_path / "key.json").subjects[first].startswith(NAME)


def test_a_key_that_is_none_or_lies_with_the_images_is_refused(tmp_path):
    (tmp_path / "no.json").write_text("{}")
    with pytest.raises(PeriapicalError, match="is no key"):
        Pseudonyms(tmp_path / "no.json")
    with pytest.raises(PeriapicalError, match="keep it apart"):
        run(tmp_path, key=tmp_path / "out" / "key.json")


def test_dates_are_shifted_alike_within_a_subject(tmp_path):
    path = tmp_path / "a.dcm"
    path.write_bytes(STUFFED[".dcm"])
    one = run(tmp_path, dates="shift")
    made = dcmread(tmp_path / "out" / one.image(path).name)
    moved = one.key.shifted(date(1963, 2, 17), made.PatientID)
    assert made.StudyDate == made.ContentDate == f"{moved:%Y%m%d}" != DAY
    assert made.StudyTime is None or made.StudyTime == ""
    assert made.LongitudinalTemporalInformationModified == "MODIFIED"
    assert [item.CodeValue for item in made.DeidentificationMethodCodeSequence] == ["113100", "113107"]


# -- lettering ---------------------------------------------------------------------------------------------


def lettered(path, level=255):
    image = Image.fromarray(GREY)
    ImageDraw.Draw(image).text((20, GREY.shape[0] - 60), f"{NAME} {OTHER} {DAY}", fill=level, font_size=28)
    image.save(path)
    return np.asarray(image)


def test_lettering_is_withheld_shown_and_blanked_or_kept_as_decided(tmp_path):
    path = tmp_path / "a.png"
    pixels = lettered(path)
    key = ("--key", tmp_path / "safe" / "k.json")
    told = command("de-identify", path, "--out", tmp_path / "out", *key, code=1)
    assert "not written: lettering is suspected" in told
    assert list((tmp_path / "out").glob("*.png")) == []
    (shown,) = (tmp_path / "safe" / "k-review").glob("*.png")
    name = shown.name
    told = command("de-identify", path, "--out", tmp_path / "o2", *key, "--keep", "x.png", code=1)
    assert "names no image of this run: x.png" in told
    command("de-identify", path, "--out", tmp_path / "o3", *key, "--keep", name)
    assert np.array_equal(np.asarray(Image.open(tmp_path / "o3" / name)), pixels)
    command("de-identify", path, "--out", tmp_path / "o4", *key, "--blank", name)
    blanked = np.asarray(Image.open(tmp_path / "o4" / name))
    letters = pixels != GREY
    assert np.abs(blanked[letters].astype(int) - 255).min() > 100
    # the key remembers what was decided
    assert "lettering blanked" in command("de-identify", path, "--out", tmp_path / "o5", *key)
    report = json.loads((tmp_path / "o4" / REPORT_NAME).read_text())
    assert report["images"][0]["decision"] == "blanked"
    assert len(report["images"][0]["lettering"]) >= 1
    assert "Look at every image" in report["remember"]


def test_an_image_that_says_so_itself_is_withheld_where_nothing_was_found(tmp_path):
    path = tmp_path / "a.dcm"
    ds = dcmread(io.BytesIO(STUFFED["-jpeg.dcm"]))
    ds.BurnedInAnnotation = "YES"
    ds.save_as(path)
    outcome = run(tmp_path).image(path)
    assert not outcome.written
    assert "the header says" in outcome.reason
    one = run(tmp_path, decided={outcome.name: "keep"}).image(path)
    assert (one.written, one.decision) == (True, "kept")


def test_a_blanked_dicom_image_says_so(tmp_path):
    (tmp_path / "a.dcm").write_bytes(stuffed_dicom(lettered(tmp_path / "a.png")))
    one = run(tmp_path, lettering="blank")
    made = dcmread(tmp_path / "out" / one.image(tmp_path / "a.dcm").name)
    assert made.BurnedInAnnotation == "NO"
    assert made.DeidentificationMethodCodeSequence[-1].CodeValue == "113101"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--dates", "guess"], "allowed is remove, shift"),
        (["--lettering", "guess"], "allowed is withhold, blank, keep"),
        (["--blank", "a", "--keep", "a"], "both given for a"),
    ],
)
def test_options_that_are_none_are_named(tmp_path, options, told):
    base = (
        "de-identify",
        SAMPLES / "s01_straight_file30.png",
        "--out",
        tmp_path / "o",
        "--key",
        tmp_path / "k",
    )
    assert told in command(*base, *options, code=1)


def test_what_is_no_image_is_named_by_its_new_name_only(tmp_path):
    path = tmp_path / f"{NAME}.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + TEXT.encode())
    gone, place = tmp_path / f"{OTHER}.png", ("--out", tmp_path / "o", "--key", tmp_path / "k")
    told = command("de-identify", path, gone, *place, code=1)
    assert "not written" in told
    assert found_marks(told.encode()) == []
    assert "Say which images" in command("de-identify", "--out", tmp_path / "o", code=1)
    assert "--key" in command("de-identify", path, "--out", tmp_path / "o", code=1)


# -- tables, and all the way into a casebook ---------------------------------------------------------------


def written(path, rows):
    columns = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns)
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")
    return path


@pytest.fixture
def tables(tmp_path):
    """Stuffed images with tables that name the person in every column that takes words."""
    folder = tmp_path / "in"
    folder.mkdir()
    images, clicks = [], []
    for kind, data in STUFFED.items():
        name = f"{NAME}_{DAY}{kind}"
        (folder / name).write_bytes(data)
        row = {
            "image": name,
            "canal": "MB",
            "tooth": "36",
            "scale_from": "file",
            "subject": f"{NAME} {OTHER}",
        }
        row |= {"file_length_mm": str(TOOTH.file_length_mm), "file_size": "20", "view": f"of {NAME}"}
        row |= {
            "electronic_mm": "20.5",
            "electronic_mark": "zero",
            "electronic_time": "1963-02-17",
            "note": TEXT,
        }
        images.append(row)
        for landmark, points in TOOTH.clicks.items():
            for order, (r, c) in enumerate(points):
                place = {"row": f"{r:.1f}", "col": f"{c:.1f}", "order": str(order)}
                clicks.append({"image": name, "canal": "MB", "landmark": landmark, **place})
    whose = {"subject": f"{NAME} {OTHER}", "tooth": "36", "canal": "MB"}
    reading = whose | {
        "electronic_mm": "20.5",
        "time": "1963-02-17",
        "chosen_reason": TEXT,
        "chosen_by": NAME,
    }
    length = whose | {"length_mm": "20.5", "time": "1963-02-17", "note": TEXT, "reference": f"cusp {NAME}"}
    return {
        "images": written(folder / "IMAGES.csv", images),
        "clicks": written(folder / "CLICKS.csv", clicks),
        "readings": written(folder / "READINGS.csv", [reading | {"electronic_mark": "zero"}]),
        "courses": written(folder / "COURSE.csv", [length | {"stage": "estimate", "basis": f"by {OTHER}"}]),
    }


def test_nothing_of_the_person_is_left_in_a_casebook_its_exports_its_sheets_or_what_is_said(tmp_path, tables):
    book, out, handed = tmp_path / "a.casebook", tmp_path / "handed" / "plain", tmp_path / "handed"
    handed.mkdir()
    command("make", book)
    options = [part for kind, path in tables.items() for part in (f"--{kind}", path)]
    said = [
        command("add", book, *options, "--de-identify", out, "--key", tmp_path / "key.json", "--by", "R1")
    ]
    said.append(command("list", book))
    assert said[-1].count("36") >= len(STUFFED)
    uuid = json.loads(command("list", book, "--json", "-"))["revisions"][0]["uuid"]
    said += [command("show", book, uuid), command("history", book, uuid), command("check", book)]
    forms = [part for form in ("csv", "xlsx", "parquet", "json", "dicom") for part in ("--as", form)]
    said.append(command("export", book, "--out", handed / "tables", *forms, "--wrap"))
    said.append(command("export", book, "--everything", handed / "all.json", "--tracings", handed / "t.json"))
    said.append(command("sheet", book, "--out", handed / "sheets"))
    command("back-up", book, handed / "copy.casebook")
    contents = everything_in(handed)
    for name in list(contents):
        if name.endswith(".xlsx"):
            parts = zipfile.ZipFile(handed / name)
            contents |= {f"{name}:{part}": parts.read(part) for part in parts.namelist()}
        if name.endswith(".parquet"):
            contents[f"{name}:read"] = str(pyarrow.parquet.read_table(handed / name).to_pydict()).encode()
    contents |= {path.name: path.read_bytes() for path in tmp_path.glob("a.casebook*")}
    contents["what was said"] = "\n".join(said).encode()
    assert len([name for name in contents if name.endswith(".html")]) >= 1
    assert len([name for name in contents if "report" in name]) == len(STUFFED)
    for name, content in contents.items():
        assert found_marks(content) == [], name
    # only the key can say who it is
    assert NAME in (tmp_path / "key.json").read_text()
    (subject,), (of_reading,) = (
        {row["subject"] for row in csv.DictReader(io.StringIO((out / name).read_text()))}
        for name in ("IMAGES.csv", "READINGS.csv")
    )
    assert subject == of_reading
    assert Pseudonyms(tmp_path / "key.json").subjects[subject] == f"{NAME} {OTHER}"


def test_numbers_are_those_of_the_images_as_they_were(tmp_path, tables):
    given = ("--images", tables["images"], "--clicks", tables["clicks"])
    numbers = []
    for name, options in (("a", ()), ("b", ("--de-identify", tmp_path / "o", "--key", tmp_path / "k.json"))):
        book = tmp_path / f"{name}.casebook"
        command("make", book)
        command("add", book, *given, *options)
        command("export", book, "--out", tmp_path / name)
        with (tmp_path / name / "wide.csv").open(encoding="utf-8-sig") as stream:
            rows = list(csv.DictReader(stream))
        numbers.append(sorted(round(float(row["working_length_mm"]), 6) for row in rows))
    assert numbers[0] == pytest.approx(numbers[1], abs=1e-6)
    assert len(numbers[0]) == len(STUFFED)


def test_an_image_that_is_withheld_has_no_rows(tmp_path):
    (tmp_path / "in").mkdir()
    lettered(tmp_path / "in" / "a.png")
    Image.fromarray(GREY).save(tmp_path / "in" / "b.png")
    rows = [{"image": name, "canal": "1", "subject": "S"} for name in ("a.png", "b.png")]
    table = written(tmp_path / "in" / "I.csv", rows)
    command("de-identify", "--images", table, "--out", tmp_path / "o", "--key", tmp_path / "k.json")
    with (tmp_path / "o" / "IMAGES.csv").open() as stream:
        assert len(list(csv.DictReader(stream))) == 1
    report = json.loads((tmp_path / "o" / REPORT_NAME).read_text())
    assert report["tables"]["images"]["rows left out"] == 1


def test_tracings_cannot_be_deidentified_on_the_way(tmp_path):
    command("make", tmp_path / "a.casebook")
    told = command(
        "add",
        tmp_path / "a.casebook",
        "--tracings",
        tmp_path / "t.json",
        "--de-identify",
        tmp_path / "o",
        code=1,
    )
    assert "is of images and tables" in told


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        # a comma that parts a name shifts what follows it; a name in a column of terms
        ("images", f"image,subject,tooth\na.png,{NAME}, {OTHER},36\na.png,P,{OTHER}\na.png,P,36\n"),
        ("clicks", f"image,landmark,row,col\na.png,apex,{OTHER},2\na.png,{OTHER},1,2\na.png,apex,1,2\n"),
        ("readings", f"subject,electronic_mm,canal_state\nP,20,{OTHER}\nP,{OTHER},dry\nP,20,dry\n"),
        ("courses", f"subject,stage,length_mm\nP,{OTHER},20\nP,final,{OTHER}\nP,final,20\n"),
    ],
)
def test_a_row_that_cannot_be_read_is_left_out_for_a_name_may_stand_anywhere_in_it(tmp_path, kind, text):
    Image.fromarray(GREY).save(tmp_path / "a.png")
    (tmp_path / "t.csv").write_text(text)
    place = ("--out", tmp_path / "o", "--key", tmp_path / "k.json")
    told = command("de-identify", tmp_path / "a.png", f"--{kind}", tmp_path / "t.csv", *place)
    assert "2 rows that cannot be read and were left out" in told
    written = (tmp_path / "o" / f"{kind.upper()}.csv").read_text()
    assert len(written.splitlines()) == 2
    assert found_marks(written.encode()) == []
