from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from radio.errors import PeriapicalError
from radio.image.radiograph import read_radiograph
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.classes import SCHEMES
from radio.measure.methods import QUANTITIES
from radio.measure.pipeline import measure_case
from radio.measure.result import Measurement
from radio.record.results import RESULT_COLUMNS, result_row, write_results, write_skipped
from radio.record.tables import Skip, read_cases_of_image
from tests.fixtures.made_case import canal_points_px, made_case

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
EMPTY = CaseResult(CaseFacts(), None, None, None, None, {}, {}, None)


def read(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_columns_are_the_agreed_ones_in_order():
    agreed = """image, canal, tooth, scale_mm_per_px, scale_sd_mm_per_px, scale_source, implied_magnification,
    file_length_px, file_tip_row, file_tip_col, gap_mm, gap_sd_mm, working_length_mm, working_length_sd_mm,
    electronic_difference_mm, canal_length_px, canal_length_mm, canal_length_sd_mm, schneider_deg,
    schneider_sd_deg, departure_tolerance_mm, weine_deg, weine_sd_deg, long_axis_deg, tangent_circle_deg,
    tangent_circle_radius_mm, access_angle_deg, curve_height_mm, curve_distance_mm, total_turning_deg,
    smallest_radius_mm, s_shaped, warnings, seconds, canal_line, file_line"""
    there = iter(RESULT_COLUMNS)
    assert all(name in there for name in re.split(r",\s+", agreed))
    assert RESULT_COLUMNS[-3:] == ("electronic_tolerance_mm", "electronic_verdict", "display")
    added = {"electronic_difference_sd_mm", "reference_length_mm", "reference_length_sd_mm"}
    added |= {quantity.beside for quantity in QUANTITIES.values()} | set(QUANTITIES)
    added |= {f"class_{scheme.name}" for scheme in SCHEMES}
    assert added < set(RESULT_COLUMNS)
    assert len(set(RESULT_COLUMNS)) == len(RESULT_COLUMNS)


def test_every_number_stands_in_its_column(tmp_path):
    _, _, result = made_case("MB")
    write_results(tmp_path / "results.csv", [result_row("a, b.png", result)])
    (row,) = read(tmp_path / "results.csv")
    assert (row["image"], row["canal"], row["tooth"], row["scale_source"]) == ("a, b.png", "MB", "36", "file")
    numbers = {
        "scale_mm_per_px": 0.05,
        "scale_sd_mm_per_px": 0.0002,
        "implied_magnification": 1.04,
        "file_length_px": 420.0,
        "file_tip_row": result.landmarks["file_tip"].row,
        "file_tip_col": result.landmarks["file_tip"].col,
        "gap_mm": 1.01,
        "gap_sd_mm": 0.08,
        "working_length_mm": 22.01,
        "working_length_sd_mm": 0.1,
        "canal_length_px": 264.72,
        "canal_length_mm": 13.236,
        "canal_length_sd_mm": 0.09,
        "schneider_deg": 30.0,
        "schneider_sd_deg": 1.2,
        "departure_tolerance_mm": 0.10,
    }
    for column, value in numbers.items():
        assert float(row[column]) == pytest.approx(value, rel=1e-6), column
    assert "does not support the canal line" in row["warnings"]
    assert row["weine_deg"] == row["electronic_difference_mm"] == row["s_shaped"] == ""


def test_electronic_difference_and_reference_length_carry_their_uncertainty():
    difference = Measurement("electronic_difference_mm", -0.79, "mm", 0.42, "m", "b")
    reference = Measurement("reference_length_mm", 22.61, "mm", 0.47, "m", "b")
    numbers = {one.name: one for one in (difference, reference)}
    row = result_row("a.png", replace(EMPTY, measurements=numbers))
    assert (row["electronic_difference_mm"], row["electronic_difference_sd_mm"]) == ("-0.79", "0.42")
    assert (row["reference_length_mm"], row["reference_length_sd_mm"]) == ("22.61", "0.47")
    assert (row["electronic_tolerance_mm"], row["electronic_verdict"]) == ("0.5", "beyond, in doubt")
    assert result_row("a.png", EMPTY)["electronic_verdict"] == ""
    lenient = replace(EMPTY, facts=CaseFacts(electronic_tolerance_mm=1.0), measurements=numbers)
    assert result_row("a.png", lenient)["electronic_verdict"] == "within"


def test_every_length_and_angle_measured_stands_beside_its_uncertainty():
    case = read_cases_of_image(
        SAMPLES / "s02_curved_file10.png", SAMPLES / "CLICKS.csv", SAMPLES / "IMAGES.csv"
    ).cases[0]
    result = measure_case(read_radiograph(case.path), case.clicks, case.facts)
    row = result_row("a.png", result)
    assert {"electronic_difference_mm", "reference_length_mm"} < set(result.measurements)
    for name, one in result.measurements.items():
        quantity, _, unit = name.rpartition("_")
        assert float(row[name]) == pytest.approx(one.value, rel=1e-6)
        if name in QUANTITIES or unit in ("mm", "deg"):
            beside = QUANTITIES[name].beside if name in QUANTITIES else f"{quantity}_sd_{unit}"
            assert float(row[beside]) == pytest.approx(one.sd, rel=1e-6)


def test_later_measures_find_their_columns():
    _, _, result = made_case()
    weine = Measurement("weine_deg", 60.0, "deg", 1.5, "axes", "canal line")
    row = result_row("a.png", replace(result, measurements={**result.measurements, "weine_deg": weine}))
    assert (row["weine_deg"], row["weine_sd_deg"]) == ("60", "1.5")


def test_lines_are_json_of_row_col_to_a_tenth_of_a_pixel(tmp_path):
    _, _, result = made_case()
    write_results(tmp_path / "results.csv", [result_row("a.png", result)])
    (row,) = read(tmp_path / "results.csv")
    line = json.loads(row["canal_line"])
    assert line == [[round(r, 1), round(c, 1)] for r, c in canal_points_px().tolist()]
    assert len(json.loads(row["file_line"])) == len(result.file_line.points_px)


def test_what_is_not_measured_is_empty_and_never_zero():
    row = result_row("a.png", EMPTY)
    filled = {name for name, text in row.items() if text}
    assert filled == {"image", "canal", "seconds"}


def test_a_number_that_is_not_finite_is_empty():
    odd = Measurement("gap_mm", float("nan"), "mm", float("inf"), "m", "b")
    row = result_row("a.png", replace(EMPTY, measurements={"gap_mm": odd}))
    assert row["gap_mm"] == row["gap_sd_mm"] == ""


def test_skipped_table(tmp_path):
    write_skipped(tmp_path / "skipped.csv", [Skip("ä.png", "1", 'no "image",\nreally')])
    assert read(tmp_path / "skipped.csv") == [
        {"image": "ä.png", "canal": "1", "reason": 'no "image",\nreally'}
    ]


def test_a_place_that_cannot_be_written(tmp_path):
    with pytest.raises(PeriapicalError, match="cannot be written"):
        write_results(tmp_path / "none" / "results.csv", [])
    assert list(tmp_path.iterdir()) == []


def test_placed_parts_settings_and_uneven_intervals_stand_in_the_table():
    case = read_cases_of_image(
        SAMPLES / "s02_curved_file10.png", SAMPLES / "CLICKS.csv", SAMPLES / "IMAGES.csv"
    ).cases[0]
    radiograph = read_radiograph(case.path)
    plain = result_row("a.png", measure_case(radiograph, case.clicks, case.facts))
    assert plain["placed_by_hand"] == ""
    assert "schneider: departure tolerance 0.10 mm" in plain["curvature_settings"]
    low, value, high = (float(plain[f"smallest_radius_mm{end}"]) for end in ("_low95", "", "_high95"))
    assert low < value < high
    assert "one view only" in plain["class_schneider_told"]
    line = measure_case(radiograph, case.clicks, case.facts).canal_line.points_px
    clicks = {**case.clicks, "coronal_axis": line[[0, len(line) // 3]]}
    assert result_row("a.png", measure_case(radiograph, clicks, case.facts))["placed_by_hand"] == "axis"


def test_exact_points_and_display_aids_are_told_in_the_table():
    _, _, result = made_case()
    plain = result_row("a.png", result)
    assert (plain["display"], plain["placed_by_hand"]) == ("", "")
    exact = replace(
        result, facts=replace(result.facts, exact=(("apex", 0), ("canal_via", 0), ("canal_via", 2)))
    )
    row = result_row("a.png", exact, display="gamma 0.70, inverted")
    assert row["placed_by_hand"] == "apex exactly, canal_via exactly"
    assert row["display"] == "gamma 0.70, inverted"
    assert RESULT_COLUMNS[-1] == "display"
