from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from radio.errors import TableError
from radio.measure.case import LANDMARKS, CaseFacts
from radio.measure.reading import Reading, ReadingFacts
from radio.record import cells
from radio.record.readings_table import READING_COLUMNS, read_readings
from radio.record.tables import CaseInput, read_cases, read_cases_of_image

IMAGES = "image,canal,tooth,scale_from,file_length_mm,file_start_at,file_size\na.png,MB,36,file,21,stop,15\n"
CLICKS = "image,canal,landmark,order,row,col\na.png,MB,file_tip,1,100.5,20\na.png,MB,apex,,110,22.25\n"


def write(folder, images=IMAGES, clicks=CLICKS):
    places = folder / "IMAGES.csv", folder / "CLICKS.csv"
    for place, content in zip(places, (images, clicks), strict=True):
        place.write_bytes(content if isinstance(content, bytes) else content.encode())
    return places


def only_case(table) -> CaseInput:
    assert table.skips == ()
    (case,) = table.cases
    return case


def only_reason(table) -> str:
    assert table.cases == ()
    (skip,) = table.skips
    return skip.reason


def test_two_tables_make_one_case(tmp_path):
    case = only_case(read_cases(*write(tmp_path)))
    assert case.image == "a.png"
    assert case.path == tmp_path / "a.png"
    assert case.facts == CaseFacts(
        canal="MB", tooth="36", scale_from="file", file_length_mm=21.0, file_start_at="stop", file_size=15
    )
    assert {name: points.tolist() for name, points in case.clicks.items()} == {
        "file_tip": [[100.5, 20.0]],
        "apex": [[110.0, 22.25]],
    }


@pytest.mark.parametrize(
    ("images", "clicks"),
    [
        (IMAGES.replace(",", ";"), CLICKS.replace(",", ";")),
        (IMAGES.replace(",", "\t"), CLICKS.replace(",", "\t")),
        (IMAGES.replace("\n", "\r\n"), CLICKS.replace("\n", "\r\n")),
        (IMAGES.replace("\n", "\r"), CLICKS.replace("\n", "\r")),
        (b"\xef\xbb\xbf" + IMAGES.encode(), b"\xef\xbb\xbf" + CLICKS.encode()),
        (IMAGES.encode("utf-16"), CLICKS.encode("utf-16")),
        (IMAGES.replace("image,", "Image ,"), CLICKS.replace("landmark", "LANDMARK")),
        ("\n\n" + IMAGES + "\n,,,,,,\n", CLICKS + "\n \n"),
        (IMAGES.replace("36,", "36.0,").replace("15\n", "15.0\n"), CLICKS.replace("apex", " Apex ")),
        (IMAGES.replace("\n", ",,\n"), CLICKS.replace("\n", ",\n")),
        ('"' + IMAGES.replace(",", '","').replace("\n", '"\n"').removesuffix('"'), CLICKS),
        (IMAGES.replace(",", ";").replace(";21;", ";21,0;"), CLICKS.replace(",", ";").replace(".", ",")),
    ],
    ids=[
        *("semicolons", "tabs", "CRLF", "CR", "UTF-8 mark", "UTF-16", "header case", "blank rows"),
        *("floats for whole numbers", "empty columns", "all quoted", "decimal comma"),
    ],
)
def test_ways_a_spreadsheet_writes_it_mean_the_same(tmp_path, images, clicks):
    plain = only_case(read_cases(*write(tmp_path)))
    # a decimal comma in the name of the image would be another image: undo it there
    if isinstance(clicks, str) and "a,png" in clicks:
        clicks = clicks.replace("a,png", "a.png")
    other = only_case(read_cases(*write(tmp_path, images, clicks)))
    assert other.facts == plain.facts
    assert other.path == plain.path
    assert {name: p.tolist() for name, p in other.clicks.items()} == {
        name: p.tolist() for name, p in plain.clicks.items()
    }


def test_only_the_image_is_required_and_canal_defaults_to_1(tmp_path):
    places = write(tmp_path, "image\na.png\n", "image,landmark,row,col\na.png,apex,1,2\n")
    assert only_case(read_cases(*places)).facts == CaseFacts()


@pytest.mark.parametrize(
    ("column", "given", "allowed"),
    [
        ("file_length_mm", "210", "10 to 40 mm"),
        ("file_length_mm", "0", "10 to 40 mm"),
        ("file_length_mm", "-21", "10 to 40 mm"),
        ("file_length_mm", "21 mm", "without unit"),
        ("file_length_mm", "nan", "number from 10"),
        ("file_length_mm", "1_8", "number from 10"),
        ("file_length_mm", "1.234,5", "number from 10"),
        ("file_start_at", "tip", "stop, handle"),
        ("file_size", "12", "ISO 3630-1: 06, 08, 10, 15"),
        ("file_size", "#15", "ISO 3630-1"),
        ("tooth", "49", "ISO 3950"),
        ("tooth", "UR6", "ISO 3950"),
        ("scale_from", "fil", "did you mean 'file'"),
        ("ball_diameter_mm", "500", "0.5 to 20 mm"),
        ("mm_per_px", "30", "0.002 to 0.5 mm"),
        ("electronic_mm", "2", "5 to 40 mm"),
        ("electronic_mark", "apex", "zero, half"),
        ("electronic_tolerance_mm", "0", "0.5 or 1.0 mm"),
        ("electronic_tolerance_mm", "5", "0.5 or 1.0 mm"),
        ("electronic_repeats_mm", "21/22", "semicolons"),
        ("electronic_file_size", "17", "ISO 3630-1"),
        ("electronic_canal_state", "wet", "dry, moist, flooded"),
        ("electronic_resorption", "bone", "none, internal, external"),
        ("electronic_bleeding", "maybe", "yes, no"),
        ("electronic_time", "14.3.", "2026-03-14"),
        ("subject", "x" * 201, "at most 200"),
    ],
)
def test_a_wrong_fact_names_row_column_given_and_allowed(tmp_path, column, given, allowed):
    images = f"image,{column}\na.png,{given!r}\n".replace("'", '"')
    reason = only_reason(read_cases(*write(tmp_path, images, CLICKS.replace("MB", "1"))))
    assert "IMAGES.csv line 2" in reason
    assert f"column {column}" in reason
    assert allowed in reason
    assert given in reason or len(given) > 200


def test_a_reading_is_stated_as_in_the_table_of_readings(tmp_path):
    # every column of it that is on the reading or the canal, behind "electronic_"
    state = {
        "repeats_mm": "21 20,5",
        "file_size": "15",
        "canal_state": "Moist",
        "resorption": "none",
        "bleeding": "no",
        "patency": "YES",
        "time": "2026-03-14T09:30",
    }
    assert set(state) < set(READING_COLUMNS)
    header = ";".join(f"electronic_{name}" for name in state)
    images = f"image;resorption;electronic_mm;{header}\na.png;bone;21;{';'.join(state.values())}\n"
    case = only_case(read_cases(*write(tmp_path, images, "image,landmark,row,col\na.png,apex,1,2\n")))
    stated = ReadingFacts(
        repeats_mm=(21.0, 20.5),
        file_size=15,
        canal_state="moist",
        resorption="none",
        bleeding=False,
        patency=True,
        time="2026-03-14T09:30",
    )
    assert (case.facts.electronic, case.facts.resorption) == (stated, "bone")
    readings = tmp_path / "READINGS.csv"
    plain = f"image;electronic_mm;radiographic_mm;{';'.join(state)}\na.png;21;21;{';'.join(state.values())}\n"
    readings.write_text(plain, encoding="utf-8")
    (listed,) = read_readings(readings).listed
    assert listed.reading == Reading.of(21.0, None, case.facts.electronic)
    # an option takes the place of its own cell only; an empty one takes it back
    given = {"electronic_bleeding": "yes", "electronic_patency": ""}
    (one,) = read_cases_of_image(
        tmp_path / "a.png", tmp_path / "CLICKS.csv", tmp_path / "IMAGES.csv", given
    ).cases
    assert one.facts == replace(case.facts, electronic=replace(stated, bleeding=True, patency=None))


def test_iso_3630_1_sizes():
    # ISO 3630-1: 06, 08, 10, by 5 to 60, by 10 to 140; 06 to 10 and 70 to 140 from memory
    sizes = ["06", "08", *map(str, range(10, 61, 5)), *map(str, range(70, 141, 10))]
    assert len(sizes) == 21
    assert [cells.file_size(text) for text in sizes] == [int(text) for text in sizes]
    assert cells.file_size("8") == cells.file_size("08") == 8
    refused = [size for size in range(160) if str(size) not in {text.lstrip("0") for text in sizes}]
    for size in refused:
        with pytest.raises(TableError):
            cells.file_size(str(size))


def test_iso_3950_teeth():
    # ISO 3950: 32 permanent and 20 deciduous teeth
    assert len(cells.TEETH) == 52
    assert cells.tooth("36") == cells.tooth("36.0") == "36"
    assert cells.tooth("85") == "85"
    for wrong in ("19", "91", "56", "10", "3", "036.5", "٣٦"):
        with pytest.raises(TableError):
            cells.tooth(wrong)


@given(st.floats(0.5, 20), st.integers(1, 9))
def test_decimal_comma_and_point_are_the_same_number(value, decimals):
    point = f"{value:.{decimals}f}"
    read = cells.number(point.replace(".", ","), 0, 21, unit="mm")
    assert read == cells.number(point, 0, 21, unit="mm") == float(point)


def test_an_unknown_landmark_lists_the_allowed_ones(tmp_path):
    reason = only_reason(read_cases(*write(tmp_path, clicks=CLICKS.replace("file_tip", "filetip"))))
    assert "CLICKS.csv line 2" in reason
    assert "'filetip'" in reason
    assert all(landmark in reason for landmark in LANDMARKS)
    assert "did you mean 'file_tip'" in reason


def test_an_unknown_column_is_a_warning_that_lists_the_known_ones(tmp_path):
    table = read_cases(*write(tmp_path, IMAGES.replace("tooth", "zahn")))
    assert only_case(table).facts.tooth == ""
    (warning,) = table.warnings
    assert "zahn" in warning
    assert "tooth" in warning


@pytest.mark.parametrize(("row", "col"), [("", "2"), ("x", "2"), ("nan", "2"), ("1e9", "2"), ("-3", "2")])
def test_a_wrong_position_is_named(tmp_path, row, col):
    clicks = f"image,canal,landmark,row,col\na.png,MB,apex,{row},{col}\n"
    reason = only_reason(read_cases(*write(tmp_path, clicks=clicks)))
    assert "CLICKS.csv line 2, column row" in reason
    assert "column col" not in reason


def test_a_single_landmark_given_twice_is_an_error(tmp_path):
    reason = only_reason(read_cases(*write(tmp_path, clicks=CLICKS + "a.png,MB,apex,2,111,23\n")))
    assert "lines 3, 4" in reason
    assert "apex is given 2 times" in reason


def test_via_points_are_sorted_by_order(tmp_path):
    more = "a.png,MB,canal_via,10,50,5\na.png,MB,canal_via,2,40,4\na.png,MB,canal_via,1,30,3\n"
    case = only_case(read_cases(*write(tmp_path, clicks=CLICKS + more)))
    np.testing.assert_array_equal(case.clicks["canal_via"], [[30, 3], [40, 4], [50, 5]])


def test_via_points_without_any_order_stay_as_they_came(tmp_path):
    more = "a.png,MB,file_via,,50,5\na.png,MB,file_via,,40,4\n"
    case = only_case(read_cases(*write(tmp_path, clicks=CLICKS + more)))
    np.testing.assert_array_equal(case.clicks["file_via"], [[50, 5], [40, 4]])


@pytest.mark.parametrize("orders", [("1", "1"), ("1", ""), ("", "2")])
def test_via_points_with_unclear_order_are_an_error(tmp_path, orders):
    more = "".join(f"a.png,MB,file_via,{order},50,5\n" for order in orders)
    assert "column order must differ" in only_reason(read_cases(*write(tmp_path, clicks=CLICKS + more)))


def test_one_bad_row_does_not_lose_the_others(tmp_path):
    images = IMAGES + "b.png,1,36,file,999,stop,15\nc.png,1,36,file,25,stop,15\n"
    clicks = CLICKS + "b.png,1,apex,,1,2\nc.png,1,apex,,1,2\n"
    table = read_cases(*write(tmp_path, images, clicks))
    assert [one.image for one in table.cases] == ["a.png", "c.png"]
    assert [(one.image, one.canal) for one in table.skips] == [("b.png", "1")]
    assert [one.image for one in table.entries] == ["a.png", "b.png", "c.png"]


def test_a_decimal_comma_that_splits_a_cell_is_explained(tmp_path):
    images = "image,file_length_mm\na.png,21,5\n"
    reason = only_reason(read_cases(*write(tmp_path, images, CLICKS.replace("MB", "1"))))
    assert "3 cells" in reason
    assert "decimal comma" in reason


def test_clicks_without_a_row_and_rows_without_clicks_are_both_named(tmp_path):
    table = read_cases(*write(tmp_path, IMAGES.replace("MB", "DB")))
    reasons = {one.canal: one.reason for one in table.skips}
    assert "no point for image a.png, canal DB" in reasons["DB"]
    assert "no row for canal MB" in reasons["MB"]


def test_clicks_that_cannot_be_given_to_an_image_are_listed(tmp_path):
    table = read_cases(*write(tmp_path, clicks=CLICKS + ",MB,orifice,,5,6\n"))
    assert len(table.cases) == 1
    assert "line 4, column image: empty" in table.skips[0].reason


def test_the_same_canal_twice_with_other_facts_is_skipped_once(tmp_path):
    reason = only_reason(read_cases(*write(tmp_path, IMAGES + "a.png,MB,36,file,25,stop,15\n")))
    assert "lines 2 and 3" in reason


def test_the_same_row_twice_is_a_warning(tmp_path):
    table = read_cases(*write(tmp_path, IMAGES + IMAGES.splitlines()[1] + "\n"))
    assert len(table.cases) == 1
    assert "same row twice" in table.warnings[0]


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"", "is empty"),
        (b"image\n", "has a header but no rows"),
        (b"picture,canal\na.png,1\n", "no column image"),
        (b"image,image\na.png,b.png\n", "more than once"),
        (b"PK\x03\x04\xff\xfe\xfa", "spreadsheet workbook"),
        (b"image\n\xff\xe4.png\n", "not UTF-8"),
        (b"image\na\x00.png\n", "not text"),
        (b'image,subject\na.png,"open\nb.png,x\n', "quotation mark"),
    ],
)
def test_a_table_that_cannot_be_read_at_all(tmp_path, content, text):
    with pytest.raises(TableError, match=text):
        read_cases(*write(tmp_path, images=content))


def test_a_missing_table_and_a_folder_in_its_place(tmp_path):
    images, clicks = write(tmp_path)
    with pytest.raises(TableError, match="cannot be read"):
        read_cases(tmp_path / "none.csv", clicks)
    with pytest.raises(TableError, match="cannot be read"):
        read_cases(images, tmp_path)


def test_images_are_found_beside_their_own_table(tmp_path):
    (tmp_path / "sub").mkdir()
    images = tmp_path / "sub" / "IMAGES.csv"
    images.write_text("image\na.png\n../b.png\n")
    clicks = tmp_path / "CLICKS.csv"
    clicks.write_text("image,landmark,row,col\nsub/a.png,apex,1,2\nb.png,apex,3,4\n")
    table = read_cases(images, clicks)
    assert [one.path for one in table.cases] == [tmp_path / "sub" / "a.png", tmp_path / "b.png"]


def test_a_windows_path_is_understood(tmp_path):
    places = write(tmp_path, "image\nsub\\a.png\n", "image,landmark,row,col\nsub/a.png,apex,1,2\n")
    assert only_case(read_cases(*places)).path == tmp_path / "sub" / "a.png"


class TestOneImage:
    def test_rows_of_its_name_count(self, tmp_path):
        images, clicks = write(tmp_path, IMAGES + "b.png,1,,,,,\n", CLICKS + "b.png,1,apex,,1,2\n")
        elsewhere = tmp_path / "elsewhere" / "a.png"
        case = only_case(read_cases_of_image(elsewhere, clicks, images))
        assert case.path == elsewhere
        assert case.facts.file_length_mm == 21.0

    def test_without_images_table_facts_are_default_or_given(self, tmp_path):
        _, clicks = write(tmp_path)
        case = only_case(read_cases_of_image(tmp_path / "a.png", clicks, None, {"file_length_mm": "21,5"}))
        assert case.facts == CaseFacts(canal="MB", file_length_mm=21.5)

    def test_given_facts_go_before_the_table(self, tmp_path):
        images, clicks = write(tmp_path)
        case = only_case(read_cases_of_image(tmp_path / "a.png", clicks, images, {"file_length_mm": "25"}))
        assert (case.facts.file_length_mm, case.facts.file_size) == (25.0, 15)

    def test_a_wrong_given_fact_is_named_as_the_option(self, tmp_path):
        _, clicks = write(tmp_path)
        with pytest.raises(TableError, match="--file-length-mm: given '4'"):
            read_cases_of_image(tmp_path / "a.png", clicks, None, {"file_length_mm": "4"})

    def test_an_image_without_rows_lists_what_there_is(self, tmp_path):
        _, clicks = write(tmp_path)
        with pytest.raises(TableError, match=r"no row for the image z\.png; it has a\.png"):
            read_cases_of_image(tmp_path / "z.png", clicks)

    def test_two_images_of_one_name_need_the_place(self, tmp_path):
        clicks = tmp_path / "CLICKS.csv"
        clicks.write_text("image,landmark,row,col\none/a.png,apex,1,2\ntwo/a.png,apex,3,4\n")
        case = only_case(read_cases_of_image(tmp_path / "two" / "a.png", clicks))
        assert case.clicks["apex"].tolist() == [[3, 4]]
        with pytest.raises(TableError, match="several images"):
            read_cases_of_image(tmp_path / "a.png", clicks)


def exact_clicks(*cells):
    rows = [f"a.png,MB,canal_via,{order},{order}0,20,{cell}" for order, cell in cells]
    return "\n".join([CLICKS.splitlines()[0] + ",exact", "a.png,MB,apex,,110,22.25,", *rows]) + "\n"


def test_points_called_exact_are_facts_of_the_canal_by_their_order(tmp_path):
    table = exact_clicks((3, "Yes"), (1, "no"), (2, " YES "), (4, ""))
    case = only_case(read_cases(*write(tmp_path, clicks=table)))
    assert case.facts.exact == (("canal_via", 1), ("canal_via", 2))
    assert case.clicks["canal_via"][:, 0].tolist() == [10, 20, 30, 40]
    without = only_case(read_cases(*write(tmp_path)))
    assert without.facts.exact == ()


def test_exact_points_survive_facts_given_besides_the_table(tmp_path):
    images, clicks = write(tmp_path, clicks=exact_clicks((1, "yes")))
    (tmp_path / "a.png").touch()
    one = only_case(read_cases_of_image(tmp_path / "a.png", clicks, images, {"file_size": "20"}))
    assert (one.facts.exact, one.facts.file_size) == ((("canal_via", 0),), 20)


@pytest.mark.parametrize("cell", ["1", "true", "maybe"])
def test_another_word_for_exact_is_named_with_what_is_allowed(tmp_path, cell):
    reason = only_reason(read_cases(*write(tmp_path, clicks=exact_clicks((1, cell)))))
    assert "CLICKS.csv line 3, column exact" in reason
    assert f"given {cell!r}; allowed is one of yes, no" in reason
