"""The steps of the work: what each one says, from an empty panel to saved."""

from __future__ import annotations

from dataclasses import replace

import pytest

from napari_periapical.controller import Controller
from napari_periapical.steps import NAMES, steps_of_work
from radio.measure.check_rules.contract import Check
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
    [(("stop", "warn"), "heed", "takes numbers away"), (("warn", "warn", "note"), "heed", "2 warnings")],
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
