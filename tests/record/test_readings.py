"""The table of readings that comes in, and the tables, JSON and picture that leave."""

from __future__ import annotations

import csv
import io
import re

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from radio.errors import PeriapicalError, TableError
from radio.measure.readings_list import compare_list
from radio.record.readings_compared import COMPARED_COLUMNS, write_compared
from radio.record.readings_json import ReadingsDocument, readings_json
from radio.record.readings_picture import draw_readings, readings_page
from radio.record.readings_table import read_readings
from radio.record.working_lengths import read_working_lengths
from tests.fixtures.drawn_page import axes_named, lines_of, words_of

RESULTS = (
    "image,canal,working_length_mm,working_length_sd_mm,warnings\n"
    "a.png,1,21.25,0.2,\n"
    "deep/b.png,ML,20.5,,file bridged\n"
    "c.png,1,,,no scale\n"
    "x/d.png,1,20,0.1,\ny/d.png,1,22,0.1,\n"
)


def written(folder, text, name="READINGS.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_row_becomes_a_reading_with_everything_stated(tmp_path):
    table = written(
        tmp_path,
        "image;Canal;tooth;electronic mm;electronic_mark;repeats_mm;radiographic_mm;radiographic_sd_mm;"
        "file_size;canal_state;resorption;bleeding;patency;time;subject;chosen_mm;chosen_basis;chosen_reason;"
        "chosen_by\n"
        "a.png;ML;36;21,5;Zero;21 20,5|21;21,8;0,2;15;moist;none;no;YES;2026-03-14T09:30;P1;21;electronic;"
        "exit;R1\n",
    )
    read = read_readings(table)
    assert (read.lost, read.warnings) == ((), ())
    (one,) = read.listed
    reading = one.reading
    assert reading.all_mm == (21.5, 21.0, 20.5, 21.0)
    assert (reading.mark, reading.file_size, reading.tooth, reading.canal) == ("zero", 15, "36", "ML")
    assert (reading.canal_state, reading.resorption) == ("moist", "none")
    assert (reading.bleeding, reading.patency, reading.open_apex) == (False, True, None)
    assert (one.line, one.image, one.subject, reading.time) == (2, "a.png", "P1", "2026-03-14T09:30")
    assert (one.radiographic.value, one.radiographic.sd) == (21.8, 0.2)
    assert (one.choice.mm, one.choice.basis, one.choice.reason, one.choice.reader) == (
        *(21.0, "electronic", "exit"),
        "R1",
    )


@pytest.mark.parametrize(
    ("header", "cells", "parts"),
    [
        ("image,electronic_mm,radiographic_mm", "a.png,2,21", ["line 2, column electronic_mm", "5 to 40"]),
        ("image,electronic_mm,radiographic_mm", "a.png,,21", ["electronic_mm: empty"]),
        ("image,electronic_mm,radiographic_mm", ",21,21", ["image and subject: both empty"]),
        ("image,electronic_mm", "a.png,21", ["radiographic_mm: empty", "--results"]),
        ("image,electronic_mm,radiographic_mm,electronic_mark", "a,21,21,apex", ["'apex'", "zero, half"]),
        ("image,electronic_mm,radiographic_mm,repeats_mm", "a,21,21,21/22", ["repeats_mm", "semicolons"]),
        ("image,electronic_mm,radiographic_mm,bleeding", "a,21,21,maybe", ["bleeding", "yes, no"]),
        ("image,electronic_mm,radiographic_mm,canal_state", "a,21,21,wet", ["dry, moist, flooded"]),
        ("image,electronic_mm,radiographic_mm,time", "a,21,21,14.3.", ["time", "2026-03-14"]),
        ("image,electronic_mm,radiographic_mm,file_size", "a,21,21,17", ["ISO 3630-1"]),
        ("image,electronic_mm,radiographic_mm,tooth", "a,21,21,99", ["ISO 3950"]),
        ("image,electronic_mm,radiographic_mm,chosen_reason", "a,21,21,felt", ["length, basis and reason"]),
        ("image,electronic_mm,radiographic_mm,chosen_mm,chosen_basis", "a,21,21,21,other", ["no reason"]),
        ("image,electronic_mm,radiographic_mm", "a,21,5,21", ["decimal comma"]),
    ],
)
def test_a_wrong_cell_costs_its_row_only(tmp_path, header, cells, parts):
    good = ",".join(
        {"image": "z", "subject": "", "electronic_mm": "20", "radiographic_mm": "20"}.get(n, "")
        for n in header.split(",")
    )
    read = read_readings(written(tmp_path, f"{header}\n{cells}\n{good}\n"))
    for part in parts:
        assert part in read.lost[0].reason
    assert read.lost[0].line == 2
    assert len(read.listed) == ("radiographic_mm" in header)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("image,electronic_mark\na,zero\n", "no column electronic_mm"),
        ("electronic_mm,electronic_mark\n21,zero\n", "neither a column image nor a column subject"),
        ("image,electronic_mm\n", "no rows"),
        ("", "is empty"),
    ],
)
def test_a_table_that_is_none_is_refused(tmp_path, text, part):
    with pytest.raises(TableError, match=part):
        read_readings(written(tmp_path, text))


def test_the_same_canal_twice_is_told_unless_time_or_mark_differ(tmp_path):
    text = "image,electronic_mm,electronic_mark,radiographic_mm,time\na,21,zero,21,\na,21.5,zero,21,\n"
    read = read_readings(written(tmp_path, f"{text}a,21,half,21,\na,21,zero,21,2026-03-14\n"))
    assert [one.line for one in read.listed] == [2, 4, 5]
    assert "as in line 2" in read.lost[0].reason
    assert "repeats_mm" in read.lost[0].reason


def test_lengths_come_from_the_results_by_image_and_canal(tmp_path):
    results = written(tmp_path, RESULTS, "results.csv")
    table = written(
        tmp_path,
        "image,canal,electronic_mm,radiographic_mm\na.png,,21,\nb.png,ML,21,\nc.png,,21,\nd.png,,21,\n"
        "x\\d.png,,21,\na.png,2,21,\na.png,1.0,22,20\n",
    )
    read = read_readings(table, results)
    found = {(one.image, one.radiographic.value, one.radiographic.sd) for one in read.listed}
    # the last row is the canal of the first one, with another reading
    assert found == {("a.png", 21.25, 0.2), ("b.png", 20.5, None), ("x\\d.png", 20.0, 0.1)}
    by_line = {one.line: one for one in read.listed}
    assert by_line[3].notes == ("results.csv warns of this canal: file bridged",)
    assert "results.csv line 2" in by_line[2].radiographic.basis
    reasons = {one.line: one.reason for one in read.lost}
    assert "no working length (no scale)" in reasons[4]
    assert "more than once" in reasons[5]
    assert "nothing on image a.png, canal 2" in reasons[7]
    assert "as in line 2" in reasons[8]


def test_the_length_of_the_row_goes_first_and_a_difference_is_told(tmp_path):
    results = written(tmp_path, RESULTS, "results.csv")
    table = written(tmp_path, "image,electronic_mm,radiographic_mm\na.png,21,20\n")
    (one,) = read_readings(table, results).listed
    assert one.radiographic.value == 20
    assert "gives 21.25 mm; that of the row was taken" in one.notes[0]
    same = written(tmp_path, "image,electronic_mm,radiographic_mm\na.png,21,21.25\n")
    assert read_readings(same, results).listed[0].notes == ()


def test_results_with_a_wrong_cell_lose_that_canal_only(tmp_path):
    results = written(tmp_path, "image,working_length_mm\na.png,long\nb.png,21\n", "results.csv")
    lengths = read_working_lengths(results)
    assert "line 2" in lengths.find("a.png", "1").told
    assert lengths.find("b.png", "1").measured.value == 21
    assert lengths.find("", "1").measured is None


# -- what leaves ---------------------------------------------------------------------------------------------

LIST = (
    "image,canal,subject,electronic_mm,electronic_mark,radiographic_mm,radiographic_sd_mm,bleeding,"
    "chosen_mm,chosen_basis,chosen_reason\n"
    'a.png,1,P1,20,zero,21.5,0.1,yes,20,electronic,"exit, at the side"\n'
    "b.png,1,P2,21,zero,21.2,0.1,,,,\n"
    "c.png,1,P3,22,zero,22.4,0.1,no,,,\n"
    "d.png,1,P4,19,half,20.1,,,,,\n"
    "e.png,1,P5,99,half,20,,,,,\n"
)


@pytest.fixture
def found(tmp_path):
    read = read_readings(written(tmp_path, LIST))
    return compare_list(read.listed), read.lost


def test_every_row_leaves_compared_or_with_its_reason(tmp_path, found):
    compared, lost = found
    out = tmp_path / "out.csv"
    write_compared(out, compared.compared, lost)
    rows = list(csv.DictReader(io.StringIO(out.read_text("utf-8"))))
    assert tuple(rows[0]) == COMPARED_COLUMNS
    assert [row["line"] for row in rows] == ["2", "3", "4", "5", "6"]
    first, second, last = rows[0], rows[1], rows[-1]
    assert float(first["electronic_difference_mm"]) == pytest.approx(-1.5)
    sd = np.hypot(0.25, 0.1)
    assert float(first["electronic_difference_sd_mm"]) == pytest.approx(sd, rel=1e-6)
    assert float(first["electronic_difference_high95"]) == pytest.approx(-1.5 + 1.96 * sd, rel=1e-6)
    assert (first["verdict"], first["within_1_mm"], first["causes_stated"]) == (
        *("beyond", "no"),
        "bleeding or exudate",
    )
    assert "foramen short" in first["causes_possible"]
    assert (first["chosen_mm"], first["chosen_reason"]) == ("20", "exit, at the side")
    assert (second["within_0.5_mm"], second["causes_possible"]) == ("yes", "")
    assert last["electronic_difference_mm"] == last["verdict"] == ""
    assert "5 to 40" in last["skipped_because"]


def test_the_json_is_of_its_own_schema_and_holds_the_numbers(found):
    compared, lost = found
    document = ReadingsDocument.model_validate_json(readings_json(compared, lost, ["w"]))
    assert [(one.mark, one.readings) for one in document.by_mark] == [("zero", 3), ("half", 1)]
    zero, half = document.by_mark
    assert zero.bias_mm == pytest.approx((-1.5 - 0.2 - 0.4) / 3)
    assert [one.multiplier for one in zero.limits] == [1.96, 2.0]
    for pair in zero.limits:
        assert pair.upper.value - pair.lower.value == pytest.approx(2 * pair.multiplier * zero.sd_mm)
        assert pair.lower.interval95[0] < pair.lower.value < pair.lower.interval95[1]
    assert (half.sd_mm, half.bias_interval95, half.limits) == (None, None, ())
    first = document.compared[0]
    assert first.state == {"bleeding": True}
    assert (first.causes[0].name, first.causes[0].stated) == ("bleeding", True)
    assert {one.name for row in document.compared for one in row.causes} == set(document.causes)
    assert document.causes["flooded"].standing == "from memory"
    assert document.skipped[0].line == 6
    assert document.warnings == ("w",)


@pytest.mark.parametrize("multiplier", [1.96, 2.0])
def test_the_picture_shows_points_bias_limits_and_tolerance_where_they_are(found, multiplier):
    compared, _ = found
    page = readings_page(compared, multiplier)
    page.figure.canvas.draw()
    for group in compared.by_mark:
        axes = axes_named(page, group.mark)
        drawn = [point for gid in ("beyond", "not beyond") for line in lines_of(axes, gid) for point in line]
        expected = [
            (
                one.comparison.difference.value,
                (one.comparison.electronic.value + one.comparison.radiographic.value) / 2,
            )
            for one in group.compared
        ]
        assert np.array(sorted(map(tuple, drawn))) == pytest.approx(np.array(sorted(expected)))
        (bias,) = lines_of(axes, "bias")
        assert bias[0][0] == group.differences.bias
        limits = group.differences.limits_at(multiplier)
        heights = sorted(line[0][0] for line in lines_of(axes, "limit"))
        assert heights == ([] if limits is None else [limits.lower.value, limits.upper.value])
        assert len(lines_of(axes, "interval")) == (0 if limits is None else 3)
        assert sorted(line[0][0] for line in lines_of(axes, "tolerance")) == [-0.5, 0.5]
    zero = axes_named(page, "zero")
    (beyond,) = lines_of(zero, "beyond")
    assert len(beyond) == 1
    assert "not a medical device" in words_of(page).replace("\n", " ")
    assert f"bias ± {multiplier:g} SD" in words_of(page)
    # one sign of minus on the page, that of the axes
    assert not re.search(r"-\d", words_of(page).partition("napari")[0])


def test_the_marks_differ_in_shape_and_in_grey(found):
    page = readings_page(found[0])
    seen = {}
    for mark in ("zero", "half"):
        (line,) = [one for one in axes_named(page, mark).lines if one.get_gid() == "not beyond"]
        grey = np.dot(to_rgb(line.get_markeredgecolor()), [0.299, 0.587, 0.114])
        seen[line.get_marker()] = grey
    assert len(seen) == 2
    assert max(seen.values()) < 0.6


def test_labels_keep_apart_and_on_the_page(found):
    page = readings_page(found[0])
    page.figure.canvas.draw()
    renderer, sheet = page.figure.canvas.get_renderer(), page.figure.bbox
    for mark in ("zero", "half"):
        boxes = [text.get_window_extent(renderer) for text in axes_named(page, mark).texts]
        assert all(sheet.x0 <= box.x0 and box.x1 <= sheet.x1 for box in boxes)


def test_the_picture_is_written_as_png_and_svg_the_same_each_time(tmp_path, found):
    places = [tmp_path / "p.png", tmp_path / "p.svg"]
    draw_readings(found[0], 1.96, places)
    first = [place.read_bytes() for place in places]
    assert first[0].startswith(b"\x89PNG")
    assert re.search(rb"<svg", first[1])
    draw_readings(found[0], 1.96, places)
    assert [place.read_bytes() for place in places] == first
    with pytest.raises(PeriapicalError, match="png or svg"):
        draw_readings(found[0], 1.96, [tmp_path / "p.pdf"])
