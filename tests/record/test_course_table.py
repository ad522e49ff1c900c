"""Courses and repeated readings as tables and JSON: read, written and read back."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from radio.errors import TableError
from radio.record.cells import FILE_SIZES
from radio.record.course import Course, CourseEntry, FileUsed, Stage
from radio.record.course_checks import judge_course
from radio.record.course_json import CourseDocument, courses_json, read_courses_json
from radio.record.course_repeats import by_default
from radio.record.course_table import courses_csv, read_courses, read_repeats, stage

HEADER = "tooth,canal,stage,length_mm,file_size,reference,method,basis"


def table(tmp_path: Path, *rows: str, header: str = HEADER) -> Path:
    path = tmp_path / "COURSE.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def test_rows_become_a_course_for_each_canal(tmp_path) -> None:
    read = read_courses(
        table(
            tmp_path,
            "36,MB,scouting,21.0,15,MB cusp,radiograph,gap",
            '36,D,scouting,"20,5",08,DB cusp,radiograph,gap',
            "36,MB,Final,20.8,15.0,MB cusp,radiograph,gap",
        )
    )
    assert [(one.tooth, one.canal, len(one.entries)) for one in read.courses] == [
        ("36", "MB", 2),
        ("36", "D", 1),
    ]
    assert read.courses[1].entries[0].length_mm == 20.5
    assert read.courses[1].entries[0].file == FileUsed(8)
    assert read.courses[0].entries[1].stage is Stage.FINAL
    assert (read.skipped, read.warnings) == ((), ())


@pytest.mark.parametrize(
    "text", ["after mid-root shaping", "After Mid-Root  Shaping", "after_mid_root_shaping"]
)
def test_a_stage_however_it_is_spelt(text) -> None:
    assert stage(text) is Stage.AFTER_MID_ROOT


def test_a_wrong_stage_lists_the_stages() -> None:
    with pytest.raises(TableError, match=r"given 'finl'; allowed is one of estimate, .*did you mean 'final'"):
        stage("finl")


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("36,MB,flaring,20.5,15,r,m,b", "line 3, column stage: given 'flaring'"),
        ("36,MB,final,,15,r,m,b", "line 3, column length_mm: given ''"),
        ("36,MB,final,2050,15,r,m,b", "allowed is a number from 5 to 40 mm"),
        ("36,MB,final,20.5 mm,15,r,m,b", "without unit or other text"),
        ("36,MB,final,20.5,17,r,m,b", "column file_size: given '17'; allowed is a size of ISO 3630-1"),
        ("36,MB,final,20,5,15,r,m,b", "decimal comma"),
    ],
)
def test_a_wrong_row_costs_its_own_course_only(tmp_path, row, told) -> None:
    read = read_courses(table(tmp_path, "36,MB,scouting,21.0,15,r,m,b", row, "37,D,scouting,20,15,r,m,b"))
    assert [(one.tooth, one.canal) for one in read.courses] == [("37", "D")]
    (skip,) = read.skipped
    assert skip.title == "Tooth 36, canal MB"
    assert told in skip.reason


def test_a_wrong_time_is_told(tmp_path) -> None:
    path = table(tmp_path, "final,20.5,noon", header="stage,length_mm,time")
    (skip,) = read_courses(path).skipped
    assert "column time: The time is given as 'noon'" in skip.reason


@pytest.mark.parametrize(
    ("header", "rows", "told"),
    [("tooth,stage", ("36,final",), "no column length_mm"), (HEADER, (), "has a header but no rows")],
)
def test_a_table_that_cannot_be_used(tmp_path, header, rows, told) -> None:
    with pytest.raises(TableError, match=told):
        read_courses(table(tmp_path, *rows, header=header))


words = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")) | st.just(" "), max_size=12).map(
    str.strip
)
entries = st.builds(
    CourseEntry,
    stage=st.sampled_from(Stage),
    length_mm=st.integers(500, 4000).map(lambda n: n / 100),
    basis=words,
    file=st.builds(FileUsed, st.none() | st.sampled_from(FILE_SIZES), words),
    reference=words,
    method=words,
    time=st.sampled_from(["", "2031-05-14", "2031-05-14T10:30", "2031-05-14T10:30:00+02:00"]),
    note=words,
    length_sd_mm=st.none() | st.floats(0.001, 5),
)
courses = st.lists(
    st.builds(
        Course,
        tooth=st.sampled_from(["", "11", "36", "85"]),
        canal=st.sampled_from(["1", "MB", "P"]),
        entries=st.lists(entries, min_size=1, max_size=5).map(tuple),
        subject=words,
    ),
    min_size=1,
    max_size=3,
    unique_by=lambda one: (one.tooth, one.canal, one.subject),
)


@settings(max_examples=20, deadline=None)
@given(made=courses)
def test_a_course_comes_back_from_table_and_json(tmp_path_factory, made) -> None:
    folder = tmp_path_factory.mktemp("round")
    (folder / "COURSE.csv").write_text(courses_csv(made), encoding="utf-8")
    assert list(read_courses(folder / "COURSE.csv").courses) == made
    judged = [judge_course(one, by_default()) for one in made]
    (folder / "course.json").write_text(courses_json(judged), encoding="utf-8")
    assert list(read_courses_json(folder / "course.json").courses) == made


def test_json_holds_numbers_verdicts_and_what_is_published() -> None:
    entry = CourseEntry(Stage.SCOUTING, 21.0, "gap", FileUsed(15), "MB cusp", "radiograph")
    later = CourseEntry(Stage.AFTER_FLARING, 20.3, "gap", FileUsed(15), "MB cusp", "radiograph")
    document = json.loads(courses_json([judge_course(Course("36", "MB", (entry, later)), by_default())]))
    assert (document["schema"], document["schema_version"]) == ("napari-periapical courses", 1)
    assert "not a medical device" in document["caution"]
    (course,) = document["courses"]
    (change,) = course["changes"]
    assert (change["earlier"], change["later"], change["verdict"]) == (0, 1, "shorter")
    assert change["length_change_mm"]["value"] == pytest.approx(-0.7)
    assert change["length_change_mm"]["unit"] == "mm"
    assert change["repeatability"]["source"] == "default"
    assert change["repeatability"]["least_significant_change_mm"] == pytest.approx(0.554, abs=1e-3)
    assert course["checks"][0]["id"] == "P23"
    assert {"what", "change", "source", "standing"} == set(document["published"][0])
    assert CourseDocument.model_json_schema()["title"] == "CourseDocument"


@pytest.mark.parametrize("text", ["", "[]", '{"schema": "something else"}', "stage,length_mm"])
def test_another_document_is_refused(tmp_path, text) -> None:
    path = tmp_path / "course.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TableError, match=r"course\.json is not a document of courses"):
        read_courses_json(path)
    with pytest.raises(TableError, match="cannot be read"):
        read_courses_json(tmp_path / "none.json")


def test_a_length_edited_to_nonsense_is_refused(tmp_path) -> None:
    entry = CourseEntry(Stage.SCOUTING, 21.0)
    text = courses_json([judge_course(Course("36", "MB", (entry,)), by_default())])
    path = tmp_path / "course.json"
    path.write_text(text.replace('"length_mm":21.0', '"length_mm":210.0').replace(" 21.0", " 210.0"))
    with pytest.raises(TableError, match="allowed is 5 to 40 mm"):
        read_courses_json(path)


def test_repeats_are_grouped_by_what_was_read(tmp_path) -> None:
    path = tmp_path / "REPEATS.csv"
    path.write_text(
        "reader;tooth;canal;length_mm;method\nA;36;MB;21,0;radiograph\nA;36;MB;21,2;radiograph\nA;36;D;20;\n"
    )
    repeats, warnings = read_repeats(path)
    assert [(one.what, one.length_mm, one.method) for one in repeats] == [
        ("tooth 36, canal MB", 21.0, "radiograph"),
        ("tooth 36, canal MB", 21.2, "radiograph"),
        ("tooth 36, canal D", 20.0, ""),
    ]
    assert warnings == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("length_mm\n21.0\n", "line 2, nothing says what was read; fill one of subject, tooth, canal, image"),
        ("tooth,length_mm\n36,x\n", "line 2, column length_mm: given 'x'"),
        ("tooth,length_mm\n", "has a header but no rows"),
        ("tooth\n36\n", "no column length_mm"),
    ],
)
def test_wrong_repeats_are_told(tmp_path, text, told) -> None:
    path = tmp_path / "REPEATS.csv"
    path.write_text(text)
    with pytest.raises(TableError, match=told):
        read_repeats(path)
