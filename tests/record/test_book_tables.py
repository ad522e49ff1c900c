"""The tables a casebook leaves as, read back by other programs' libraries."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import jsonschema
import openpyxl
import pyarrow.parquet as pq
import pytest

from radio.measure.methods import METHODS
from radio.record.book_tables import measurements_of, tables_of
from radio.record.casebook import Casebook
from radio.record.dictionary import data_dictionary, sd_column
from radio.record.results import RESULT_COLUMNS
from radio.record.table_formats import write_tables
from radio.record.tracing import load_tracings, save_tracings, tracings_text
from radio.record.tracing_schema import made_schema, published_schema, schema_text
from tests.record.books import command, course, filled, reading, tracing


@pytest.fixture
def kept(tmp_path):
    with filled(tmp_path / "a.casebook") as book:
        return book.kept()


def by_name(kept):
    return {table.name: table for table in tables_of(kept)}


def as_dicts(table):
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def test_the_long_table_has_every_number_with_all_that_makes_it_trusted(kept):
    rows = as_dicts(by_name(kept)["long"])
    measured = [row for row in rows if row["kind"] == "measurement"]
    assert len(measured) == sum(len(measurements_of(one)) for one in kept)
    for row in measured:
        assert row["method"]
        assert row["basis"]
        assert row["unit"]
        assert row["image_sha256"]
        assert row["software"].startswith("napari-periapical ")
    gap = next(row for row in measured if row["quantity"] == "gap_mm")
    one = kept[0].tracing.measurements["gap_mm"]
    assert (gap["value"], gap["standard_uncertainty"]) == (one.value, one.sd)
    # JCGM 100:2008 G.2.3: 95 % of a normal distribution lie within 1.96 standard uncertainties
    assert gap["high95"] - gap["low95"] == pytest.approx(2 * 1.96 * one.sd)


def test_a_reading_and_a_course_are_told_once_however_often_the_canal_was_traced(tmp_path):
    with filled(tmp_path / "a.casebook") as book:
        book.add_tracings([tracing(reader="reader C")])
        book.add_course(course(21.0, 20.5))
        rows = as_dicts(by_name(book.kept())["long"])
    assert [row["value"] for row in rows if row["kind"] == "reading"] == [21.5]
    assert [row["value"] for row in rows if row["kind"] == "course"] == [21.0, 20.5]


def test_the_wide_table_has_a_row_for_each_canal_and_no_zero_for_a_missing_number(kept):
    bare = replace(kept[1], tracing=kept[1].tracing.model_copy(update={"measurements": {}, "scale": None}))
    wide = by_name([kept[0], bare])["wide"]
    first, second = as_dicts(wide)
    assert first["working_length_mm"] == kept[0].tracing.measurements["working_length_mm"].value
    assert second["working_length_mm"] is None
    assert second["scale_mm_per_px"] is None


def test_the_dictionary_explains_every_column_there_is_and_may_be(kept):
    tables = by_name(kept)
    told = {one.column: one for one in data_dictionary()}
    for name in ("long", "wide"):
        assert set(tables[name].columns) <= set(told)
    for row in as_dicts(tables["long"]):
        assert told[row["quantity"]].unit == row["unit"]
    assert all(one.definition and one.source for one in told.values())
    for method in METHODS:
        for one in method.quantities:
            assert one.unit == "word" or told[one.column].source == method.source
    assert len(told) == len(data_dictionary())


def test_columns_of_uncertainty_are_called_as_in_the_results_table():
    named = [one.column for one in data_dictionary() if one.table == "quantity"]
    beside = {sd_column(name) for name in named if name in RESULT_COLUMNS}
    # of some quantities the agreed results table holds no uncertainty
    assert len(beside & set(RESULT_COLUMNS)) > 20
    for method in METHODS:
        assert all(one.unit == "word" or one.beside == sd_column(one.column) for one in method.quantities)


def test_csv_reads_back_exactly_also_with_a_decimal_comma(kept, tmp_path):
    tables = tables_of(kept)
    for comma in (False, True):
        write_tables(tmp_path, tables, ["csv"], decimal_comma=comma)
        text = (tmp_path / "long.csv").read_text(encoding="utf-8-sig")
        read = list(csv.DictReader(io.StringIO(text), delimiter=";" if comma else ","))
        for there, row in zip(read, as_dicts(tables[0]), strict=True):
            value = there["value"].replace(",", ".") if comma else there["value"]
            assert comma or "," not in there["value"]
            assert float(value) == row["value"]
            assert there["basis"] == (row["basis"] or "")


HOSTILE = ('=HYPERLINK("http://example.org";"x")', "+1", "-1", "@SUM(A1)", "\t=1", "\r=1")


@pytest.mark.parametrize("subject", HOSTILE)
def test_no_text_becomes_a_formula(kept, tmp_path, subject):
    """The beginnings a spreadsheet takes for a formula: OWASP page on CSV injection, from memory."""
    tables = tables_of([replace(kept[0], subject=subject)])
    write_tables(tmp_path, tables, ["csv", "xlsx"])
    text = (tmp_path / "wide.csv").read_bytes().decode("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert row["subject"] == f"'{subject}"
    sheet = openpyxl.load_workbook(tmp_path / "tables.xlsx")["wide"]
    assert all(cell.data_type != "f" for cells in sheet.iter_rows() for cell in cells)
    assert str(sheet["A2"].value).strip() == subject.strip()


def test_xlsx_has_numbers_as_numbers_on_three_sheets(kept, tmp_path):
    tables = tables_of(kept)
    write_tables(tmp_path, tables, ["xlsx"])
    book = openpyxl.load_workbook(tmp_path / "tables.xlsx")
    assert book.sheetnames == ["long", "wide", "dictionary", "about"]
    assert "not a medical device" in book["about"]["A2"].value
    read = list(book["wide"].iter_rows(values_only=True))
    column = read[0].index("gap_mm")
    assert read[1][column] == pytest.approx(kept[0].tracing.measurements["gap_mm"].value, rel=1e-14)
    assert len(read) == 1 + len(kept)


def test_parquet_has_types_and_missing_values(kept, tmp_path):
    tables = tables_of(kept)
    write_tables(tmp_path, tables, ["parquet"])
    read = pq.read_table(tmp_path / "long.parquet")
    assert str(read.schema.field("value").type) == "double"
    assert str(read.schema.field("notes").type) == "string"
    rows = as_dicts(tables[0])
    assert read.column("value").to_pylist() == [row["value"] for row in rows]
    assert read.column("image").to_pylist() == [row["image"] for row in rows]


def test_the_published_schema_is_the_one_of_this_version_and_fits_every_document(kept):
    assert published_schema() == schema_text(made_schema())
    schema = json.loads(published_schema())
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    endless = dict(kept[0].tracing.measurements)
    endless["smallest_radius_mm"] = replace(
        next(iter(endless.values())), name="smallest_radius_mm", interval=(4.5, math.inf)
    )
    one = kept[0].tracing.model_copy(update={"measurements": endless})
    text = tracings_text([one, kept[1].tracing])
    assert '"Infinity"' in text
    validator.validate(json.loads(text))
    broken = json.loads(text)
    broken["tracings"][0]["scale"] = "0.03"
    assert not validator.is_valid(broken)


def test_the_json_reads_back_exactly(kept, tmp_path):
    path = tmp_path / "t.json"
    path.write_text(tracings_text([one.tracing for one in kept]))
    assert load_tracings(path) == tuple(one.tracing for one in kept)
    again = tmp_path / "again.json"
    save_tracings(again, load_tracings(path))
    assert again.read_bytes() == path.read_bytes()


def test_the_command_writes_every_form(tmp_path):
    path, out = tmp_path / "a.casebook", tmp_path / "out"
    filled(path).close()
    forms = [part for form in ("csv", "xlsx", "parquet", "JSON") for part in ("--as", form)]
    command("export", path, "--out", out, *forms)
    stems = {f"{name}.{form}" for name in ("long", "wide", "dictionary") for form in ("csv", "parquet")}
    more = {"tables.xlsx", "tracings.json", "tracings-1.schema.json"}
    assert {one.name for one in out.iterdir()} == stems | more
    jsonschema.validate(
        json.loads((out / "tracings.json").read_text()),
        json.loads((out / "tracings-1.schema.json").read_text()),
    )


def test_the_command_says_what_is_wrong_and_what_no_table_holds(tmp_path):
    path, out = tmp_path / "a.casebook", tmp_path / "out"
    with filled(path) as book:
        book.add_reading(reading(canal="9"))
    assert "'docx'; allowed is csv, xlsx, parquet, json" in command(
        "export", path, "--out", out, "--as", "docx", code=1
    )
    assert not out.exists()
    assert "--out DIR" in command("export", path, "--as", "csv", code=1)
    assert "readings or courses of canals without a tracing" in command("export", path, "--out", out)
    assert "no tracing stands that fits" in command(
        "export", path, "--out", out, "--subject", "nobody", code=1
    )


def test_a_book_of_nothing_gives_tables_without_rows(tmp_path):
    Casebook.make(tmp_path / "a.casebook").close()
    with Casebook.open(tmp_path / "a.casebook") as book:
        tables = by_name(book.kept())
    assert tables["long"].rows == ()
    assert tables["wide"].rows == ()
