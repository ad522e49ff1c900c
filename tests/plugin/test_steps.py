"""The steps of the work: what each one says, from an empty panel to saved."""

from __future__ import annotations

from dataclasses import replace

import pytest

from napari_periapical.controller import Controller
from napari_periapical.steps import NAMES, after_all_points, steps_of_work
from radio.measure.check_rules.contract import Check
from radio.measure.result import Measurement
from tests.fixtures.made_case import made_case, made_radiograph


def measured_as(**changes):
    """Give a controller whose every measurement comes out as the made case, with changes."""
    _, _, result = made_case()

    def measure(_radiograph, _clicks, facts, _settings):
        return replace(result, facts=facts, **changes)

    return Controller(measure=measure)


@pytest.fixture
def placed():
    controller = measured_as()
    _, clicks, result = made_case()
    controller.open(made_radiograph(), [result.facts])
    controller.replace_canals("placing all", [controller.canal.with_clicks(clicks)])
    return controller


def test_without_an_image_only_opening_one_is_asked_for():
    steps = steps_of_work(Controller())
    assert list(steps) == list(NAMES)
    assert steps["image"].state == "open"
    assert "Open an image" in steps["image"].line
    assert {steps[name].state for name in list(NAMES)[1:]} == {"later"}


def test_a_fresh_image_asks_for_a_known_length_and_the_first_point():
    controller = Controller()
    controller.open(made_radiograph())
    steps = steps_of_work(controller)
    assert steps["scale"].state == "open"
    assert "length you know" in steps["scale"].line
    assert steps["trace"].line.startswith("File start: click")
    assert steps["curvature"].state == steps["lengths"].state == steps["keep"].state == "later"
    controller.state_fact("file_length_mm", "21")
    assert "mark the file" in steps_of_work(controller)["scale"].line


def test_a_measured_case_tells_its_numbers_and_what_is_left(placed):
    steps = steps_of_work(placed)
    assert steps["scale"].state == "done"
    assert "from the file" in steps["scale"].line
    assert steps["trace"].state == "done"
    assert "30.0 ± 1.2°" in steps["curvature"].line
    assert "22.01 ± 0.10 mm" in steps["lengths"].line
    assert "length rule" in steps["lengths"].line
    assert steps["keep"].line == "1 canal not saved as a revision yet."
    placed.state_fact("length_rule", "1")
    assert "electronic" in steps_of_work(placed)["lengths"].line
    placed.state_fact("electronic_mm", "21.5")
    assert steps_of_work(placed)["lengths"].state == "done"


@pytest.mark.parametrize(
    ("levels", "state", "words"),
    [
        (("stop", "warn"), "heed", "1 check takes numbers away: choose it below."),
        (("stop", "stop"), "heed", "2 checks take numbers away: choose one below."),
        (("warn", "warn", "note"), "heed", "2 warnings: choose one below"),
    ],
)
def test_what_the_checks_found_is_told_at_the_image(levels, state, words):
    checks = tuple(
        Check(f"P{k}", "a check", level, "something", "do something", "a basis")
        for k, level in zip((9, 3, 29), levels, strict=False)
    )
    controller = measured_as(checks=checks)
    _, clicks, result = made_case()
    controller.open(made_radiograph(), [result.facts])
    controller.replace_canals("placing all", [controller.canal.with_clicks(clicks)])
    step = steps_of_work(controller)["image"]
    assert step.state == state
    assert words in step.line


def test_a_measurement_that_fails_is_told_at_the_trace():
    def fail(*_):
        raise ValueError("no line")

    controller = Controller(measure=fail)
    _, clicks, result = made_case()
    controller.open(made_radiograph(), [result.facts])
    controller.replace_canals("placing all", [controller.canal.with_clicks(clicks)])
    step = steps_of_work(controller)["trace"]
    assert step.state == "heed"
    assert "no line" in step.line


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        ({"ball_diameter_mm": "5"}, "mark the ball on"),
        ({"ball_diameter_mm": "5", "file_length_mm": "21", "scale_from": "ball"}, "mark the ball on"),
        ({"ball_diameter_mm": "5", "file_length_mm": "21", "scale_from": "file"}, "mark the file on"),
        ({"ball_diameter_mm": "5", "file_length_mm": "21"}, "mark the file or the ball on"),
        ({"mm_per_px": "0.02"}, "mark the canal on"),
        ({"scale_from": "dicom"}, "mark the canal on"),
        ({"scale_from": "ball"}, "State a length you know"),
    ],
)
def test_what_is_to_be_marked_follows_what_is_stated(stated, told):
    controller = Controller()
    controller.open(made_radiograph())
    for name, text in stated.items():
        assert controller.state_fact(name, text) == ""
    assert told in steps_of_work(controller)["scale"].line


def test_a_file_that_may_not_be_there_is_passed_over_with_a_hint():
    controller = Controller()
    controller.open(made_radiograph())
    hint = "No file in the image: Enter."
    for landmark in ("file_start", "file_tip"):
        assert controller.session.landmark == landmark
        assert steps_of_work(controller)["trace"].line.endswith(hint)
        controller.advance()
    assert hint not in steps_of_work(controller)["trace"].line
    controller.choose("file_start")
    controller.place((30.0, 30.0))
    controller.choose("file_tip")
    assert steps_of_work(controller)["trace"].line.startswith("File tip: ")
    assert hint not in steps_of_work(controller)["trace"].line
    controller.undo()
    controller.state_fact("file_length_mm", "21")
    assert controller.session.landmark == "file_start"
    assert hint not in steps_of_work(controller)["trace"].line


def test_with_all_points_and_no_scale_the_way_leads_to_a_known_length():
    controller = measured_as(scale=None)
    _, clicks, result = made_case()
    controller.open(made_radiograph(), [replace(result.facts, file_length_mm=None)])
    controller.replace_canals("placing all", [controller.canal.with_clicks(clicks)])
    title, line = after_all_points(controller)
    assert title == "Next: a known length, in step 2"
    assert "millimetres need the length of the file" in line
    controller.state_fact("scale_from", "none")
    assert after_all_points(controller)[0] == "All needed points are placed"
    controller.state_fact("scale_from", "")
    controller.state_fact("file_length_mm", "21")
    assert "see step 2" in after_all_points(controller)[1]


def test_with_a_scale_all_points_are_all_there_is_to_place(placed):
    title, line = after_all_points(placed)
    assert title == "All needed points are placed"
    assert line.startswith("Drag a point")


def test_the_length_to_work_to_is_told_first():
    target = Measurement("target_length_mm", 21.01, "mm", 0.1, "a rule", "a length")
    _, clicks, result = made_case()
    controller = measured_as(measurements={**result.measurements, target.name: target})
    controller.open(made_radiograph(), [replace(result.facts, length_rule="1")])
    controller.replace_canals("placing all", [controller.canal.with_clicks(clicks)])
    line = steps_of_work(controller)["lengths"].line
    assert line.startswith("Target by rule 21.01 ± 0.10 mm. Working length 22.01 ± 0.10 mm.")
