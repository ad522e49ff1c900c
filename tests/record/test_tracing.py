from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from radio.errors import TableError
from radio.record.tracing import Tracing, is_tracing_document, latest, load_tracings, save_tracings
from tests.fixtures.made_case import made_case, made_radiograph

RADIOGRAPH = made_radiograph()


def make(**options) -> Tracing:
    _, clicks, result = made_case()
    return Tracing.from_case(RADIOGRAPH, clicks, result, **options)


def test_a_tracing_says_all_about_image_reader_and_software():
    one = make(reader="reader A")
    assert one.image_name == "made.png"
    assert one.image_sha256 == RADIOGRAPH.sha256
    assert one.image_shape == RADIOGRAPH.grey.shape
    assert one.reader == "reader A"
    assert one.software.startswith("napari-periapical ")
    assert one.created.utcoffset() is not None
    assert (one.revision, one.supersedes) == (1, None)
    assert one.measurements["gap_mm"].basis
    assert one.remarks[0].level == "warn"


def test_proposed_points_are_kept_apart_from_hand_placed_ones():
    _, clicks, result = made_case()
    one = Tracing.from_case(RADIOGRAPH, clicks, result)
    fix = one.proposed.landmarks["file_tip"]
    assert one.clicks["file_tip"] == ((fix.click_row, fix.click_col),)
    assert (fix.row, fix.col) != (fix.click_row, fix.click_col)
    assert "canal_line" not in one.clicks


def test_round_trip_is_exact(tmp_path):
    place = tmp_path / "tracings.json"
    first, second = make(), make(reader="B")
    save_tracings(place, [first, second])
    assert load_tracings(place) == (first, second)
    _, clicks, result = made_case()
    (kept, _) = load_tracings(place)
    for name, points in clicks.items():
        np.testing.assert_array_equal(kept.clicks_px()[name], points)
        assert kept.clicks_px()[name].dtype == np.float64
    assert kept.facts == result.facts
    assert kept.scale == result.scale
    assert dict(kept.measurements) == dict(result.measurements)
    assert [list(p) for p in kept.proposed.canal_line.points_px] == result.canal_line.points_px.tolist()


@given(st.lists(st.tuples(*[st.floats(allow_nan=False, allow_infinity=False)] * 2), min_size=1, max_size=5))
def test_every_float_survives(points):
    _, clicks, result = made_case()
    given_points = np.array(points)
    one = Tracing.from_case(RADIOGRAPH, {**clicks, "canal_via": given_points}, result)
    again = Tracing.model_validate_json(one.model_dump_json())
    assert again.clicks_px()["canal_via"].tobytes() == given_points.tobytes()


def test_an_uncertainty_that_is_not_finite_survives_as_none_or_itself(tmp_path):
    _, clicks, result = made_case()
    result.landmarks["apex"] = replace(result.landmarks["apex"], sd_along_px=float("inf"))
    result.measurements["gap_mm"] = replace(result.measurements["gap_mm"], sd=float("nan"))
    result.canal_line.sd_px[3] = np.inf
    save_tracings(tmp_path / "t.json", [Tracing.from_case(RADIOGRAPH, clicks, result)])
    (one,) = load_tracings(tmp_path / "t.json")
    assert one.proposed.landmarks["apex"].sd_along_px == float("inf")
    assert one.measurements["gap_mm"].sd is None
    assert one.proposed.canal_line.sd_px[3] is None


def test_saving_again_adds_and_never_overwrites(tmp_path):
    place = tmp_path / "tracings.json"
    first = make()
    save_tracings(place, [first])
    second = make(supersedes=first)
    save_tracings(place, [second])
    save_tracings(place, [first, second])
    assert load_tracings(place) == (first, second)
    assert (second.revision, second.supersedes) == (2, first.uuid)
    assert latest(load_tracings(place)) == (second,)


def test_a_changed_revision_is_refused_and_the_document_left_alone(tmp_path):
    place = tmp_path / "tracings.json"
    first = make()
    save_tracings(place, [first])
    before = place.read_bytes()
    with pytest.raises(TableError, match="saved revision never changes"):
        save_tracings(place, [first.model_copy(update={"reader": "someone else"})])
    assert place.read_bytes() == before


def test_latest_keeps_each_reader_and_both_branches():
    first, other = make(reader="A"), make(reader="B")
    left, right = make(supersedes=first), make(supersedes=first)
    assert latest([first, other, left, right]) == (other, left, right)


def test_a_tracing_cannot_be_changed():
    one = make()
    with pytest.raises(ValidationError):
        one.reader = "other"


def test_superseding_another_image_is_refused():
    _, clicks, result = made_case()
    other = made_radiograph(shape=(530, 460))
    with pytest.raises(TableError, match="another image"):
        Tracing.from_case(other, clicks, result, supersedes=make())


@pytest.mark.parametrize(
    ("clicks", "text"),
    [
        ({"foramen": np.zeros((1, 2))}, "unknown landmark 'foramen'"),
        ({"apex": np.zeros((2, 2))}, "apex has 2 points"),
        ({"apex": np.array([[np.nan, 1.0]])}, "finite"),
    ],
)
def test_clicks_that_cannot_be_kept(clicks, text):
    _, _, result = made_case()
    with pytest.raises(TableError, match=text):
        Tracing.from_case(RADIOGRAPH, clicks, result)


def _break_point(tracing):
    tracing["proposed"]["canal_line"]["points_px"].pop()


def _break_hash(tracing):
    tracing["image_sha256"] = "abc"


def _break_zone(tracing):
    tracing["created"] = "2026-01-01T10:00:00"


def _break_field(tracing):
    tracing["mood"] = "good"


def _break_scale(tracing):
    tracing["scale"]["row_mm_per_px"] = -1


@pytest.mark.parametrize("harm", [_break_point, _break_hash, _break_zone, _break_field, _break_scale])
def test_a_damaged_tracing_is_named_and_never_written_over(tmp_path, harm):
    place = tmp_path / "tracings.json"
    save_tracings(place, [make()])
    document = json.loads(place.read_text())
    harm(document["tracings"][0])
    place.write_text(json.dumps(document))
    before = place.read_bytes()
    with pytest.raises(TableError, match=r"tracings\.json is damaged: .* at tracings\.0"):
        load_tracings(place)
    with pytest.raises(TableError, match="is damaged"):
        save_tracings(place, [make()])
    assert place.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"", "not whole JSON"),
        (b'{"schema": "napari-periapical tracings", "schema_ver', "not whole JSON"),
        (b"[]", "schema is None"),
        (b'{"schema": "other"}', "schema is 'other'"),
        (b'{"schema": "napari-periapical tracings", "schema_version": 2}', "schema version 2"),
        (b'{"schema": "napari-periapical tracings", "schema_version": 1}', "is damaged: Field required"),
        (b"\xff\xfe\x00\x01", "not whole JSON"),
        (b"[" * 100_000, "not whole JSON"),
    ],
)
def test_a_document_that_is_none(tmp_path, content, text):
    place = tmp_path / "tracings.json"
    place.write_bytes(content)
    with pytest.raises(TableError, match=text):
        load_tracings(place)


def test_missing_document_and_folder(tmp_path):
    with pytest.raises(TableError, match="cannot be read"):
        load_tracings(tmp_path / "none.json")
    with pytest.raises(TableError, match="folder"):
        save_tracings(tmp_path / "none" / "t.json", [make()])


def test_a_tracing_document_is_known_by_sight(tmp_path):
    place = tmp_path / "t.json"
    save_tracings(place, [])
    assert is_tracing_document(place)
    other = tmp_path / "other.json"
    other.write_text("{}")
    assert not is_tracing_document(other)
    assert not is_tracing_document(tmp_path / "none.json")


def test_created_is_now():
    assert abs(make().created - datetime.now(UTC)) < timedelta(minutes=1)


def test_exact_points_are_kept_with_the_facts(tmp_path):
    _, clicks, result = made_case()
    facts = replace(result.facts, exact=(("apex", 0), ("canal_via", 1)))
    save_tracings(tmp_path / "t.json", [Tracing.from_case(RADIOGRAPH, clicks, replace(result, facts=facts))])
    (kept,) = load_tracings(tmp_path / "t.json")
    assert kept.facts.exact == (("apex", 0), ("canal_via", 1))


def test_a_document_from_before_exact_points_loads_without_any(tmp_path):
    place = tmp_path / "t.json"
    save_tracings(place, [make()])
    content = json.loads(place.read_text())
    del content["tracings"][0]["facts"]["exact"]
    place.write_text(json.dumps(content))
    (kept,) = load_tracings(place)
    assert kept.facts.exact == ()


def test_display_aids_are_kept_and_older_documents_had_none(tmp_path):
    place = tmp_path / "t.json"
    save_tracings(place, [make(display="gamma 0.70, inverted")])
    (kept,) = load_tracings(place)
    assert kept.display == "gamma 0.70, inverted"
    content = json.loads(place.read_text())
    del content["tracings"][0]["display"]
    place.write_text(json.dumps(content))
    (older,) = load_tracings(place)
    assert older.display == ""
