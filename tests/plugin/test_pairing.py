"""Two images of one tooth side by side, and what their shift tells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from napari.components import ViewerModel

from napari_periapical import layers
from napari_periapical.binding import bind
from napari_periapical.sheet import Canal
from radio.measure.case import CaseFacts
from tests.fixtures.made_case import made_case
from tests.plugin.made import plain_radiograph

FIRST, SECOND = "a" * 64, "b" * 64


def measured(_radiograph, clicks, facts, _settings=None):
    """Measure the made case, with its apex where it was clicked."""
    _, _, result = made_case()
    row, col = clicks["apex"][0]
    apex = replace(result.landmarks["apex"], row=float(row), col=float(col))
    return replace(result, facts=facts, landmarks={**result.landmarks, "apex": apex})


def image(sha256):
    return replace(plain_radiograph(), sha256=sha256)


def canals(*apices):
    """Give canals called MB and ML with their orifice and apex."""
    made = []
    for uid, (name, col) in enumerate(zip(("MB", "ML"), apices, strict=True)):
        clicks = {"orifice": [[10.0, col]], "apex": [[60.0, col]]}
        made.append(Canal(uid, CaseFacts(canal=name)).with_clicks(clicks))
    return made


@pytest.fixture
def both():
    """Open two images in one viewer, two canals placed on each, 40 columns apart in the second."""
    viewer = ViewerModel()
    binding = bind(viewer)
    binding.controller.measuring.measure = measured
    frame = layers.frame_of(1.0, None, millimetres=False)
    for sha256, apices in ((SECOND, (10.0, 50.0)), (FIRST, (30.0, 30.0))):
        data, kwargs, _ = layers.image_layer(image(sha256), frame)
        viewer.add_image(data, **kwargs)
        binding.controller.replace_canals("placing", canals(*apices))
    return viewer, binding


def layer_of_image(viewer, sha256):
    return next(
        one for one in viewer.layers if getattr(one.metadata.get(layers.RADIOGRAPH), "sha256", "") == sha256
    )


def test_the_second_view_stands_beside_the_first_and_goes_back(both):
    viewer, binding = both
    controller = binding.controller
    assert controller.pair is None
    controller.pair_with(SECOND)
    first, second = (layer_of_image(viewer, sha) for sha in (FIRST, SECOND))
    apart = second.translate[-1] / second.scale[-1]
    assert first.translate[-1] == 0
    assert apart == pytest.approx(1.02 * first.data.shape[1])
    controller.undo()
    assert second.translate[-1] == 0
    controller.redo()
    assert second.translate[-1] > 0


def test_points_on_the_second_view_are_placed_and_drawn_there(both):
    viewer, binding = both
    controller = binding.controller
    controller.pair_with(SECOND)
    viewer.layers.selection.active = layer_of_image(viewer, SECOND)
    assert controller.session.radiograph.sha256 == SECOND
    second, landmarks = layer_of_image(viewer, SECOND), binding.layer("landmarks")
    np.testing.assert_allclose(landmarks.translate, second.translate)
    # what is under the pointer on the second image is a point of that image
    world = second.data_to_world((12.0, 34.0))
    assert binding.point_at(world) == pytest.approx((12.0, 34.0))


def test_the_shift_tells_which_canal_lies_lingually(both):
    _, binding = both
    controller = binding.controller
    controller.pair_with(SECOND)
    told, missing = controller.told_by_shift()
    assert told == ()
    assert "Tube" in missing or "tube" in missing
    controller.note_shift(tube_to="mesial", mesial_at="right")
    (told,), missing = controller.told_by_shift()
    assert missing == ""
    # ML went 40 columns of 0.05 mm to the right beside MB, with the tube
    assert told.moved_mm == pytest.approx(-2.0)
    assert told.lingual == "ML"
    assert controller.undoable == "noting the shift"
    controller.undo()
    assert controller.view.tube_to == ""


def test_a_pair_lacks_what_it_lacks_in_words(both):
    _, binding = both
    controller = binding.controller
    controller.pair_with(SECOND)
    controller.note_shift(tube_to="distal", mesial_at="left")
    controller.replace_canals(
        "renaming",
        [replace(one, facts=replace(one.facts, canal=f"x{one.uid}")) for one in canals(30.0, 30.0)],
    )
    told, missing = controller.told_by_shift()
    assert told == ()
    assert "same names" in missing
