"""The binding on napari's ViewerModel: no display, no Qt; the mouse is played with made events."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from napari.components import ViewerModel

from calib.scale import Scale
from napari_periapical import layers
from napari_periapical.binding import bind
from napari_periapical.drawings import ROLES
from napari_periapical.shortcuts import SHORTCUTS
from radio.measure.case import CaseFacts
from tests.plugin.drawn import ESSENTIAL, case, click
from tests.plugin.made import plain_radiograph, straight_length
from tests.plugin.pretend import RIGHT, add, plain_viewer


@pytest.fixture
def plain():
    """Make a viewer with a small image, and a stand-in for the tracer."""
    return plain_viewer()


@pytest.fixture
def traced(case_radiograph):
    """Make a viewer with the synthetic case, its essential points placed."""
    viewer = ViewerModel()
    binding = bind(viewer)
    add(viewer, case_radiograph, [case().facts])
    for name in ESSENTIAL:
        binding.controller.place(click(name))
    return viewer, binding


def roles(viewer):
    return [layer.metadata.get(layers.ROLE) for layer in viewer.layers]


def test_opening_an_image_draws_our_layers_above_it_and_makes_the_landmarks_active(plain):
    viewer, binding, _ = plain
    assert roles(viewer) == [None, *ROLES]
    assert viewer.layers.selection.active == binding.layer("landmarks")
    assert set(viewer.layers.selection) == {binding.layer("landmarks")}
    assert binding.ready


def test_a_viewer_has_one_binding_however_often_it_is_asked_for(plain):
    viewer, binding, hand = plain
    before = len(viewer.mouse_drag_callbacks)
    assert bind(viewer) is binding
    assert len(viewer.mouse_drag_callbacks) == before
    hand.click((10.0, 20.0))
    assert binding.controller.canal.points("orifice") == ((10.0, 20.0),)
    assert len(binding.layer("landmarks").data) == 1


def test_two_viewers_do_not_hear_each_other(plain):
    _, first, hand = plain
    _, second, _ = plain_viewer()
    hand.click((10.0, 20.0))
    assert second is not first
    assert second.controller.canal.clicks == ()


def test_an_image_that_is_there_before_the_binding_is_taken_up():
    viewer = ViewerModel()
    radiograph = plain_radiograph()
    add(viewer, radiograph)
    viewer.add_image(np.zeros((4, 4)))
    binding = bind(viewer)
    assert binding.controller.session.radiograph is radiograph
    assert binding.ready


def test_click_places_drag_moves_and_the_view_does_not(plain):
    _, binding, hand = plain
    controller = binding.controller
    hand.click((10.0, 20.0))
    hand.click((40.0, 20.0), button=RIGHT)
    moves = hand.drag((40.25, 20.25), (45.0, 20.25), (50.75, 20.5))
    assert all(event.handled for event in moves)
    # the point keeps its distance from the pointer: a quarter of a pixel each way
    assert controller.canal.points("apex") == ((50.5, 20.25),)
    assert controller.shown.result.measurements["canal_length_px"].value == np.hypot(40.5, 0.25)
    controller.undo()
    assert controller.canal.points("apex") == ((40.0, 20.0),)


def test_fractions_of_a_pixel_survive_a_drag_even_from_whole_numbers(plain):
    _, binding, hand = plain
    binding.controller.place((10, 20))
    assert binding.layer("landmarks").data.dtype == np.float64
    hand.drag((10.0, 20.0), (15.0, 22.0), (17.4, 22.6))
    np.testing.assert_allclose(binding.layer("landmarks").data, [[17.4, 22.6]], atol=1e-9)
    assert binding.controller.canal.points("orifice")[0] == pytest.approx((17.4, 22.6), abs=1e-9)


def test_a_drag_over_empty_image_pans_and_places_nothing(plain):
    _, binding, hand = plain
    moves = hand.drag((10.0, 20.0), (20.0, 30.0), (10.0, 20.0))
    assert not any(event.handled for event in moves)
    assert binding.controller.canal.clicks == ()


def test_a_press_on_a_point_without_moving_chooses_it(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.click((40.0, 20.0))
    hand.click((10.2, 20.2))
    assert binding.controller.session.selected == ("orifice", 0)
    assert binding.controller.canal.points("orifice") == ((10.0, 20.0),)


def test_shift_places_a_point_on_top_of_another(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.click((10.6, 20.0), modifiers=("Shift",))
    assert binding.controller.canal.points("canal_via") == ((10.6, 20.0),)
    assert binding.controller.canal.facts.exact == (("canal_via", 0),)


@pytest.mark.parametrize("more", [{"modifiers": ("Alt",)}, {"modifiers": ("Control",)}, {"button": 2}])
def test_gestures_of_napari_are_left_alone(plain, more):
    _, binding, hand = plain
    hand.click((10.0, 20.0), **more)
    assert binding.controller.canal.clicks == ()


def test_clicks_count_only_while_the_landmarks_are_the_active_layer(plain):
    viewer, binding, hand = plain
    viewer.layers.selection.active = viewer.layers[0]
    assert not binding.ready
    hand.click((10.0, 20.0))
    assert binding.controller.canal.clicks == ()
    binding.make_ready()
    hand.click((10.0, 20.0))
    assert binding.controller.canal.placed() == {"orifice"}


def test_points_can_be_grabbed_at_every_scale_and_zoom(plain):
    viewer, binding, _ = plain
    binding.controller.place((30.0, 20.0))
    for mm_per_px in (0.03, 0.06, 0.2):
        binding.framing.apply(layers.Frame(mm_per_px, mm_per_px, "mm"))
        for zoom_px in (0.3, 1.0, 8.0):
            viewer.scene.camera.zoom = zoom_px / mm_per_px
            assert binding.landmark_near((30.0 + 8 / zoom_px, 20.0), 9.0) == ("orifice", 0)
            assert binding.landmark_near((30.0 + 10 / zoom_px, 20.0), 9.0) is None


def test_all_layers_share_scale_and_units_once_calibrated(traced):
    viewer, binding = traced
    scale = binding.controller.shown.result.scale
    for layer in viewer.layers:
        np.testing.assert_allclose(layer.scale, (scale.row_mm_per_px, scale.col_mm_per_px))
        assert {str(unit) for unit in layer.units} == {"millimeter"}
        assert layer.axis_labels == ("y", "x")
    assert viewer.layers.units is not None
    assert viewer.canvas.overlays.scale_bar.visible


def test_calibrating_does_not_move_the_view(plain):
    viewer, binding, _ = plain
    image = viewer.layers[0]
    viewer.scene.camera.center, viewer.scene.camera.zoom = (30.0, 20.0), 6.0
    binding.framing.apply(layers.Frame(0.05, 0.05, "mm"))
    np.testing.assert_allclose(image.world_to_data(viewer.scene.camera.center[-2:]), (30.0, 20.0))
    assert viewer.scene.camera.zoom * image.scale[1] == pytest.approx(6.0)


MM_PER_PX = 0.05


def scaled_length(radiograph, clicks, facts, _settings):
    """Measure as the stand-in does, with the pixel size that is stated."""
    there = Scale(MM_PER_PX * radiograph.pixel_aspect, MM_PER_PX, 0.001, "given", "as given")
    return replace(straight_length(radiograph, clicks, facts), scale=there if facts.mm_per_px else None)


@pytest.fixture
def zoomed():
    """Make a viewer with two points placed and no scale, looking closely at one of them."""
    viewer, binding, _ = plain_viewer(plain_radiograph((800, 600)))
    binding.controller.measuring.measure = scaled_length
    for point in ((100.0, 300.0), (700.0, 200.0)):
        binding.controller.place(point)
    binding.controller.state_fact("scale_from", "")
    viewer.scene.camera.center, viewer.scene.camera.zoom = (690.0, 210.0), 6.0
    return viewer, binding


def looked_at(viewer, image):
    """Image point in the middle of the view, and how many screen pixels an image pixel takes."""
    row, col = image.world_to_data(tuple(viewer.scene.camera.center)[-2:])
    return row, col, viewer.scene.camera.zoom * image.scale[-1]


def test_the_view_stays_when_a_scale_is_stated_changed_and_taken_back(zoomed):
    viewer, binding = zoomed
    for text, unit in (("0.05", "mm"), ("", "pixel"), ("0.05", "mm")):
        binding.controller.state_fact("mm_per_px", text)
        assert binding.framing.frame.unit == unit
        assert looked_at(viewer, viewer.layers[0]) == pytest.approx((690.0, 210.0, 6.0))
    binding.controller.undo()
    assert looked_at(viewer, viewer.layers[0]) == pytest.approx((690.0, 210.0, 6.0))


@pytest.mark.parametrize("aspect", [1.0, 1.5])
def test_the_view_stays_when_another_image_is_chosen_and_one_is_in_millimetres(zoomed, aspect):
    viewer, binding = zoomed
    first = viewer.layers[0]
    binding.controller.state_fact("mm_per_px", "0.05")
    second = add(viewer, plain_radiograph((800, 600), seed=3, aspect=aspect))
    assert binding.framing.frame.unit == "pixel"
    assert looked_at(viewer, second)[:2] == pytest.approx((399.5, 299.5))  # whole
    viewer.scene.camera.center, viewer.scene.camera.zoom = (690.0, 210.0), 6.0
    for image, unit in ((first, "mm"), (second, "pixel"), (first, "mm")):
        viewer.layers.selection.active = image
        assert binding.framing.frame.unit == unit
        assert looked_at(viewer, first) == pytest.approx((690.0, 210.0, 6.0))


def test_the_view_stays_when_one_of_two_images_goes(zoomed):
    viewer, binding = zoomed
    second = add(viewer, plain_radiograph((800, 600), seed=3))
    viewer.layers.selection.active = viewer.layers[0]
    viewer.scene.camera.center, viewer.scene.camera.zoom = (690.0, 210.0), 6.0
    binding.controller.state_fact("mm_per_px", "0.05")
    assert second.scale[0] == MM_PER_PX
    viewer.layers.remove(viewer.layers[0])
    assert looked_at(viewer, second) == pytest.approx((690.0, 210.0, 6.0))


def test_a_new_image_is_shown_whole_and_a_chosen_one_when_the_view_lies_beside_it(zoomed):
    viewer, _ = zoomed
    large = viewer.layers[0]
    small = add(viewer, plain_radiograph((80, 60), seed=3))
    assert_whole(viewer, small)
    viewer.layers.selection.active = large
    viewer.scene.camera.center = (690.0, 210.0)
    viewer.layers.selection.active = small
    assert_whole(viewer, small)


def assert_whole(viewer, image):
    rows, cols = image.data.shape
    row, col, zoom = looked_at(viewer, image)
    assert (row, col) == pytest.approx(((rows - 1) / 2, (cols - 1) / 2))
    tall, wide = viewer.canvas.size
    assert 0.8 < max(rows * zoom / tall, cols * zoom / wide) <= 1


@pytest.mark.parametrize("everything", [False, True])
@pytest.mark.parametrize("seed", [0, 3])  # the same image again, which is known in millimetres; another
def test_an_image_opened_in_place_of_one_in_millimetres_is_shown_whole(zoomed, everything, seed):
    viewer, binding = zoomed
    binding.controller.state_fact("mm_per_px", "0.05")
    for layer in list(viewer.layers)[: None if everything else 1]:
        viewer.layers.remove(layer)
    image = add(viewer, plain_radiograph((800, 600), seed=seed))
    assert binding.framing.frame.unit == ("pixel" if seed else "mm")
    row, col, zoom = looked_at(viewer, image)
    assert (row, col) == pytest.approx((399.5, 299.5))
    tall, wide = viewer.canvas.size
    assert 0.8 < max(800 * zoom / tall, 600 * zoom / wide) <= 1


def test_units_are_never_mixed_with_layers_of_others(traced):
    viewer, binding = traced
    other = viewer.add_labels(np.zeros((20, 20), dtype=int))
    assert {str(u) for layer in viewer.layers for u in layer.units} == {"pixel"}
    assert not viewer.canvas.overlays.scale_bar.visible
    viewer.layers.remove(other)
    binding.draw()
    assert {str(u) for layer in viewer.layers for u in layer.units} == {"millimeter"}


@pytest.mark.parametrize("of_ours", [True, False])
def test_no_one_sees_two_units_at_once_when_a_layer_comes_to_millimetres(zoomed, of_ours):
    """The canvas draws, and warns, while a layer is being added, before any answer to it."""
    viewer, binding = zoomed
    binding.controller.state_fact("mm_per_px", "0.05")
    seen = []
    viewer.layers.events.inserted.connect(lambda _: seen.append(viewer.layers.extent.units), position="first")
    if of_ours:
        assert_whole(viewer, add(viewer, plain_radiograph((800, 600), seed=3)))
    else:
        viewer.add_labels(np.zeros((20, 20), dtype=int))
        assert looked_at(viewer, viewer.layers[0]) == pytest.approx((690.0, 210.0, 6.0))
    assert seen
    assert None not in seen


def test_a_layer_in_millimetres_leaves_ours_in_millimetres(zoomed):
    viewer, binding = zoomed
    binding.controller.state_fact("mm_per_px", "0.05")
    viewer.add_points(np.zeros((1, 2)), units=("mm", "mm"))
    assert binding.framing.frame.unit == "mm"
    assert looked_at(viewer, viewer.layers[0]) == pytest.approx((690.0, 210.0, 6.0))


def test_the_millimetres_come_back_at_the_next_change_when_the_other_layer_goes(traced):
    viewer, binding = traced
    viewer.layers.remove(viewer.add_labels(np.zeros((20, 20), dtype=int)))
    binding.controller.choose("apex")
    assert viewer.layers.units is not None
    assert binding.framing.frame.unit == "mm"


def test_pixels_that_are_not_square_are_shown_true():
    viewer, binding, hand = plain_viewer(plain_radiograph(aspect=1.5))
    assert all(layer.scale[0] / layer.scale[1] == pytest.approx(1.5) for layer in viewer.layers)
    hand.click((10.0, 20.0))
    assert binding.controller.canal.points("orifice") == ((10.0, 20.0),)


def test_the_frame_rests_while_a_point_is_held(traced):
    viewer, binding = traced
    controller, before = binding.controller, binding.framing.frame
    row, col = click("file_tip")
    controller.begin_move("file_tip", 0)
    controller.move_to((row - 15.0, col))
    assert controller.shown.result.scale.mm_per_px != before.row
    assert binding.framing.frame == before
    controller.end_move()
    assert binding.framing.frame.row == controller.shown.result.scale.row_mm_per_px
    assert len({tuple(layer.scale) for layer in viewer.layers}) == 1


def test_undo_restores_layers_with_their_colours_and_labels(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.click((40.0, 20.0), button=RIGHT)
    layer = binding.layer("landmarks")

    def look():
        return layer.data.copy(), layer.border_color.copy(), list(layer.features["label"])

    before = look()
    binding.controller.select("orifice", 0)
    binding.controller.remove_selected()
    assert list(layer.features["label"]) == ["  apex"]
    np.testing.assert_array_equal(layer.border_color, before[1][1:])
    binding.controller.undo()
    for now, was in zip(look(), before, strict=True):
        np.testing.assert_array_equal(now, was)


def test_layers_cannot_be_edited_past_the_history(traced):
    viewer, binding = traced
    for layer in viewer.layers[1:]:
        assert not layer.editable
    points = binding.layer("landmarks")
    points.mode = "add"
    assert points.mode == "pan_zoom"


def test_renamed_layers_are_still_ours(plain):
    viewer, binding, hand = plain
    for layer in viewer.layers:
        layer.name = f"renamed {layer.name}"
    hand.click((10.0, 20.0))
    assert len(viewer.layers) == 1 + len(ROLES)
    assert len(binding.layer("landmarks").data) == 1


def test_a_deleted_layer_is_drawn_again_and_nothing_is_lost(plain):
    viewer, binding, hand = plain
    told = []
    binding.controller.told.connect(lambda _, text: told.append(text))
    for count, role in enumerate(ROLES):
        viewer.layers.remove(binding.layer(role))
        assert "drawn again" in told[-1]
        binding.controller.choose("canal_via")
        binding.controller.place((10.0 + 5 * count, 20.0))
        assert roles(viewer) == [None, *ROLES]
        assert len(binding.layer("landmarks").data) == count + 1
        assert viewer.layers.selection.active is not None
    binding.make_ready()
    assert binding.ready
    assert len(binding.layer("landmarks").keymap) == sum(len(one.keys) for one in SHORTCUTS)
    hand.layer = binding.layer("landmarks")
    hand.click((70.0, 40.0))
    assert len(binding.controller.canal.points("canal_via")) == len(ROLES) + 1


def test_deleting_everything_and_opening_again_brings_all_back(plain):
    viewer, binding, hand = plain
    hand.click((10.0, 20.0))
    viewer.layers.select_all()
    viewer.layers.remove_selected()
    assert binding.controller.session is None
    add(viewer, plain_radiograph())
    assert binding.controller.canal.points("orifice") == ((10.0, 20.0),)
    assert roles(viewer) == [None, *ROLES]
    assert binding.ready


def test_deleting_the_image_empties_the_drawing(plain):
    viewer, binding, hand = plain
    hand.click((10.0, 20.0))
    viewer.layers.remove(viewer.layers[0])
    assert binding.controller.session is None
    assert all(len(layer.data) == 0 for layer in viewer.layers)


def test_choosing_another_image_brings_its_own_points(plain):
    viewer, binding, hand = plain
    first = viewer.layers[0]
    hand.click((10.0, 20.0))
    second = add(viewer, plain_radiograph(seed=9))
    assert binding.controller.canal.clicks == ()
    assert roles(viewer) == [None, None, *ROLES]
    assert len(binding.layer("landmarks").data) == 0
    viewer.layers.selection.active = first
    assert binding.controller.canal.points("orifice") == ((10.0, 20.0),)
    viewer.layers.selection.active = second
    assert binding.controller.canal.clicks == ()


def test_the_image_that_is_worked_on_lies_on_the_others(plain):
    """Or its lines would be seen on the radiograph of somebody else."""
    viewer, binding, _ = plain
    first = viewer.layers[0]
    second = add(viewer, plain_radiograph(seed=9))
    for chosen in (first, second, first):
        viewer.layers.selection.active = chosen
        assert binding.framing.is_current(chosen.metadata[layers.RADIOGRAPH])
        assert binding.image_layers()[-1] is chosen
        assert roles(viewer) == [None, None, *ROLES]
        assert binding.ready  # and clicks place points on it at once


def test_two_images_one_calibrated_one_not_never_mix_units(traced):
    viewer, binding = traced
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        add(viewer, plain_radiograph(aspect=1.5), [CaseFacts(scale_from="none")])
    assert {str(u) for layer in viewer.layers for u in layer.units} == {"pixel"}
    assert [round(layer.scale[0] / layer.scale[1], 6) for layer in binding.image_layers()] == [1.0, 1.5]


def test_other_layers_and_callbacks_of_the_viewer_are_untouched():
    viewer = ViewerModel()
    other = viewer.add_points(np.array([[1, 2]]), name="not ours")
    callbacks = list(viewer.mouse_drag_callbacks), list(viewer.mouse_double_click_callbacks)
    binding = bind(viewer)
    add(viewer, plain_radiograph())
    binding.controller.place((10.0, 10.0))
    assert (other.name, other.editable, tuple(other.scale)) == ("not ours", True, (1.0, 1.0))
    assert viewer.mouse_drag_callbacks[:-1] == callbacks[0]
    assert viewer.mouse_double_click_callbacks == callbacks[1]
    assert viewer.keymap == {}


def test_disconnecting_leaves_no_callback_behind(plain):
    viewer, binding, hand = plain
    binding.disconnect()
    hand.click((10.0, 20.0))
    add(viewer, plain_radiograph(seed=4))
    assert binding.controller.canal.clicks == ()
    assert bind(viewer) is not binding


def test_lines_and_points_keep_their_size_on_the_screen(traced):
    viewer, binding = traced
    line = binding.layer("canal")
    for zoom in (10.0, 40.0, 200.0):
        viewer.scene.camera.zoom = zoom
        width_screen = line.edge_width * binding.framing.frame.col * zoom
        assert width_screen == pytest.approx(2.0, rel=0.25)
        sizes = binding.layer("landmarks").size * binding.framing.frame.col * zoom
        assert len(sizes) == len(ESSENTIAL)
        np.testing.assert_allclose(sizes, 18.0, rtol=0.25)
    binding.controller.choose("reference")
    binding.controller.place((100.0, 100.0))
    assert len(set(binding.layer("landmarks").size)) == 1


def test_keys_are_bound_on_our_layer_and_do_what_their_button_says(plain):
    _, binding, hand = plain
    controller, keymap = binding.controller, binding.layer("landmarks").keymap
    bound = {str(key): action for key, action in keymap.items()}
    assert len(bound) == sum(len(one.keys) for one in SHORTCUTS)
    assert not any("Alt" in key for key in bound)
    hand.click((10.0, 20.0))
    controller.select("orifice", 0)
    bound["Backspace"](None)
    assert controller.canal.clicks == ()
    bound["Ctrl+Z"](None)
    assert controller.canal.placed() == {"orifice"}
    bound["Ctrl+Shift+Z"](None)
    assert controller.canal.clicks == ()
    controller.choose("orifice")
    bound["Enter"](None)
    assert controller.session.landmark == "apex"


def test_a_failing_measurement_leaves_the_points_drawn(plain):
    _, binding, hand = plain

    def broken(*_):
        raise RuntimeError("no")

    binding.controller.measuring.measure = broken
    hand.click((10.0, 20.0))
    hand.click((40.0, 20.0), button=RIGHT)
    assert binding.controller.shown.result is None
    assert len(binding.layer("landmarks").data) == 2
