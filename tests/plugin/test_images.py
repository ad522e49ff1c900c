"""Images in one viewer: moved beside their lines, many of them, in three dimensions, hidden by the eye."""

from __future__ import annotations

import numpy as np
import pytest
from napari.components import ViewerModel

from napari_periapical import layers
from napari_periapical.binding import bind
from napari_periapical.drawings import ROLES
from tests.plugin.made import plain_radiograph
from tests.plugin.pretend import RIGHT, add, plain_viewer


@pytest.fixture
def plain():
    """Make a viewer with a small image, and gather what is told."""
    viewer, binding, hand = plain_viewer()
    told = []
    binding.controller.told.connect(lambda _, text: told.append(text))
    return viewer, binding, hand, told


def stands(layer):
    """Give all that says where a layer lies, flat."""
    parts = (layer.scale, layer.translate, layer.rotate, layer.shear, layer.affine.affine_matrix)
    return np.concatenate([np.ravel(part) for part in parts])


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("translate", (30.0, 3.0)),
        ("scale", (0.5, 0.5)),
        ("rotate", 20.0),
        ("shear", np.array([0.4])),
        ("affine", np.array([[0.9, 0.2, 5.0], [-0.2, 0.9, 1.0], [0.0, 0.0, 1.0]])),
        ("units", ("mm", "mm")),
    ],
)
@pytest.mark.parametrize("role", [None, "landmarks"])
def test_a_layer_of_ours_that_is_moved_is_put_back_and_it_is_said(plain, name, value, role):
    viewer, binding, hand, told = plain
    layer = viewer.layers[0] if role is None else binding.layer(role)
    before = stands(layer)
    setattr(layer, name, value)
    np.testing.assert_allclose(stands(layer), before, atol=1e-12)
    assert told[-1] == "The image was moved beside its lines; it was put back."
    assert {str(unit) for unit in layer.units} == {"pixel"}
    hand.click((10.0, 20.0))
    assert binding.controller.canal.points("orifice")[0] == pytest.approx((10.0, 20.0))


def test_layers_of_others_and_layers_that_left_may_be_moved(plain):
    viewer, binding, _, told = plain
    other = viewer.add_points(np.zeros((1, 2)))
    other.translate = (5.0, 5.0)
    image = viewer.layers[0]
    viewer.layers.remove(image)
    told.clear()
    image.translate = (5.0, 5.0)
    assert (tuple(other.translate), tuple(image.translate), told) == ((5.0, 5.0), (5.0, 5.0), [])
    kept = add(viewer, plain_radiograph(seed=2))
    binding.disconnect()
    kept.translate = (5.0, 5.0)
    assert tuple(kept.translate) == (5.0, 5.0)


def test_in_three_dimensions_nothing_is_drawn_or_placed_and_in_two_all_is_there_again(plain):
    viewer, binding, hand, told = plain
    hand.click((10.0, 20.0))
    binding.layer("gap").visible = False
    viewer.dims.ndisplay = 3
    assert not binding.ready
    assert told[-1] == "Points are placed in 2-D: switch the viewer back."
    assert not any(binding.layer(role).visible for role in ROLES)
    binding.layer("numbers").visible = True  # by its eye: napari cannot paint it
    assert not binding.layer("numbers").visible
    viewer.scene.camera.zoom *= 3
    hand.click((40.0, 20.0), button=RIGHT)
    assert binding.controller.canal.placed() == {"orifice"}
    binding.controller.place((40.0, 20.0))
    assert len(binding.layer("landmarks").data) == 1
    viewer.dims.ndisplay = 2
    assert told[-1] == ""
    assert binding.ready
    assert len(binding.layer("landmarks").data) == 2
    assert [role for role in ROLES if not binding.layer(role).visible] == ["gap"]


def test_an_image_opened_in_three_dimensions_is_drawn_in_two():
    viewer = ViewerModel()
    viewer.dims.ndisplay = 3
    binding = bind(viewer)
    image = add(viewer, plain_radiograph())
    assert binding.controller.session is not None
    assert binding.layer("landmarks") is None
    viewer.dims.ndisplay = 2
    assert binding.ready
    binding.controller.place((10.0, 20.0))
    assert len(binding.layer("landmarks").data) == 1
    viewer.dims.ndisplay = 3
    viewer.layers.remove(image)
    viewer.dims.ndisplay = 2
    assert binding.controller.session is None


def test_the_button_that_makes_clicks_count_again_goes_back_to_two_dimensions(plain):
    viewer, binding, *_ = plain
    viewer.dims.ndisplay = 3
    binding.make_ready()
    assert viewer.dims.ndisplay == 2
    assert binding.ready


def test_only_the_image_that_is_worked_on_is_seen(plain):
    viewer, binding, *_ = plain
    first = viewer.layers[0]
    second = add(viewer, plain_radiograph(seed=9))
    assert (first.visible, second.visible) == (False, True)
    viewer.layers.selection.active = first
    assert (first.visible, second.visible) == (True, False)
    second.visible = True  # by its eye, to compare: it stays
    binding.controller.place((10.0, 20.0))
    assert second.visible


def test_what_the_eye_of_the_image_worked_on_says_stays(plain):
    viewer, *_ = plain
    first = viewer.layers[0]
    first.visible = False
    second = add(viewer, plain_radiograph(seed=9))
    viewer.layers.selection.active = first
    assert (first.visible, second.visible) == (False, False)


def test_a_second_view_is_seen_beside_the_first_as_long_as_it_is_one(plain):
    viewer, binding, *_ = plain
    first, radiograph = viewer.layers[0], plain_radiograph(seed=9)
    second = add(viewer, radiograph)
    viewer.layers.selection.active = first
    binding.controller.pair_with(radiograph.sha256)
    assert (first.visible, second.visible) == (True, True)
    assert second.translate[1] >= first.data.shape[1]
    viewer.layers.selection.active = second
    assert (first.visible, second.visible) == (True, True)
    viewer.layers.selection.active = first
    binding.controller.pair_with("")
    assert (first.visible, second.visible) == (True, False)


def test_hidden_images_are_placed_without_a_word_and_told_of_when_they_are_shown(plain):
    viewer, binding, *_ = plain
    first = viewer.layers[0]
    add(viewer, plain_radiograph(seed=9))
    heard = []
    first.events.connect(lambda event: heard.append(event.type))
    binding.framing.apply(layers.Frame(0.05, 0.05, "mm"))
    assert heard == []
    assert {str(unit) for layer in viewer.layers for unit in layer.units} == {"millimeter"}
    first.visible = True
    # the canvas takes size and unit of a layer from these
    assert {"scale", "units"} <= set(heard)
    assert tuple(first.scale) == (0.05, 0.05)


def test_what_napari_is_told_does_not_grow_with_the_images(plain):
    viewer, binding, *_ = plain

    def changes():
        count = []
        for layer in viewer.layers:
            for name in ("scale", "units", "translate", "axis_labels"):
                layer.events[name].connect(count.append)
        binding.framing.apply(layers.Frame(0.05, 0.05, "mm"))
        binding.framing.apply(layers.Frame(1.0, 1.0, "pixel"))
        return len(count)

    with_one = changes()
    for seed in range(2, 6):
        add(viewer, plain_radiograph(seed=seed))
    assert changes() == with_one


def test_choosing_an_image_makes_clicks_count_on_it_and_a_layer_of_others_does_not(plain):
    viewer, binding, hand, _ = plain
    first = viewer.layers[0]
    add(viewer, plain_radiograph(seed=9))
    viewer.layers.selection.active = first
    assert binding.ready
    hand.click((10.0, 20.0))
    assert binding.controller.canal.placed() == {"orifice"}
    other = viewer.add_points(np.zeros((1, 2)))
    viewer.layers.selection.active = other
    assert viewer.layers.selection.active is other
    viewer.layers.selection.active = first  # worked on already: chosen for its contrast
    assert viewer.layers.selection.active is first


def test_an_image_pressed_in_the_list_of_layers_leaves_the_list_in_step(plain):
    """The list tells of a press last; what we choose in answer must come after that."""
    viewer, binding, *_ = plain
    first, selection = viewer.layers[0], viewer.layers.selection
    add(viewer, plain_radiograph(seed=9))
    shown = set(selection)

    def follow(event):
        shown.update(event.added)
        shown.difference_update(event.removed)

    selection.events.changed.connect(follow, position="first")  # as the list, made with the window, does
    selection._add_and_remove(add={first}, remove={binding.layer("landmarks")})
    assert binding.framing.is_current(first.metadata[layers.RADIOGRAPH])
    assert binding.ready
    assert shown == set(selection) == {binding.layer("landmarks")}


def test_deleting_the_image_worked_on_goes_on_with_another(plain):
    viewer, binding, hand, _ = plain
    first = viewer.layers[0]
    hand.click((10.0, 20.0))
    second = add(viewer, plain_radiograph(seed=9))
    viewer.layers.remove(second)
    assert binding.framing.is_current(first.metadata[layers.RADIOGRAPH])
    assert first.visible
    assert len(binding.layer("landmarks").data) == 1
    assert binding.ready


def test_deleting_everything_leaves_nothing_behind(plain):
    viewer, binding, *_ = plain
    for seed in (8, 9):
        add(viewer, plain_radiograph(seed=seed))
    viewer.layers.clear()
    assert len(viewer.layers) == 0
    assert binding.controller.session is None


def test_the_panel_hears_of_the_landmarks_hidden_by_their_eye(plain):
    _, binding, *_ = plain
    heard = []
    binding.controller.changed.connect(lambda: heard.append(binding.ready))
    binding.layer("landmarks").visible = False
    assert heard == [False]
    binding.layer("landmarks").visible = True
    assert heard == [False, True]
