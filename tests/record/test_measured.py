from __future__ import annotations

import json
from dataclasses import replace

from radio.measure.case import CaseFacts, CaseResult
from radio.measure.result import Measurement
from radio.record.measured import MeasuredImage, measured_json
from radio.record.sheet import SheetEntry, write_sheet
from radio.record.tables import Skip
from radio.record.wording import EXPECTED, missing_measures, value_text
from tests.fixtures.made_case import SCALE, made_case, made_radiograph

EMPTY = CaseResult(CaseFacts(), None, None, None, None, {}, {}, None)


def test_json_holds_numbers_with_all_that_belongs_to_them():
    _, clicks, result = made_case("MB")
    text = measured_json(made_radiograph(), [(result, clicks)], [Skip("made.png", "DB", "no apex")])
    document = json.loads(text)
    assert document["schema"] == "napari-periapical measurements"
    assert document["skipped"] == [{"canal": "DB", "reason": "no apex"}]
    (canal,) = document["canals"]
    gap = canal["measurements"]["gap_mm"]
    assert (gap["value"], gap["sd"], gap["unit"]) == (1.01, 0.08, "mm")
    # JCGM 100:2008, 6.2.1 and table G.1: 1.96 standard uncertainties for 95 % of a normal distribution
    assert gap["interval95"] == [1.01 - 1.96 * 0.08, 1.01 + 1.96 * 0.08]
    assert canal["measurements"]["scale_mm_per_px"]["value"] == SCALE.mm_per_px
    assert canal["not_measured"] == {"electronic_difference_mm": "electronic_mm is not given"}
    assert canal["clicks"]["apex"] == clicks["apex"].tolist()
    assert canal["traced"]["landmarks"]["apex"]["row"] == result.landmarks["apex"].row
    assert MeasuredImage.model_validate_json(text).canals[0].facts == result.facts


def test_schema_names_every_field():
    schema = MeasuredImage.model_json_schema()
    assert set(schema["required"]) >= {"schema", "schema_version", "canals", "skipped", "image_sha256"}


def test_every_missing_number_has_a_reason():
    reasons = missing_measures(EMPTY, set())
    assert set(reasons) == set(EXPECTED)
    assert reasons["gap_mm"] == "no click for file_tip and apex"
    assert reasons["schneider_deg"] == "no click for orifice and canal_end or apex"
    assert reasons["working_length_mm"] == "file_length_mm is not given"
    assert "no file of known length" in reasons["scale_mm_per_px"]
    _, clicks, result = made_case(scale=None)
    assert missing_measures(result, set(clicks))["canal_length_mm"] == "there is no scale"


def test_sheet_escapes_what_it_is_given_and_carries_the_caution(tmp_path):
    _, _, result = made_case("<MB>")
    entry = SheetEntry('a "b" & <c>.png', "pictures/a&b.png", (result,))
    write_sheet(tmp_path / "index.html", "Images & numbers", [entry], [Skip("x<y.png", "1", "bad & ugly")])
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert "<c>" not in page
    assert "<MB>" not in page
    assert 'src="pictures/a&amp;b.png"' in page
    assert "not a medical device" in page
    assert "x&lt;y.png, canal 1: bad &amp; ugly" in page
    assert "+1.01 ± 0.08 mm" in page


def test_a_radius_that_its_uncertainty_exceeds_is_not_written_as_a_number() -> None:
    wild = Measurement("smallest_radius_mm", 74.28, "mm", 752.17, "m", "b")
    assert value_text(wild, unit=" mm") == "not determined"
    assert value_text(replace(wild, sd=74.0), unit=" mm") == "74.28 ± 74.00 mm"
    # a gap of nothing is a gap
    assert value_text(Measurement("gap_mm", 0.1, "mm", 0.2, "m", "b")) == "+0.10 ± 0.20"
