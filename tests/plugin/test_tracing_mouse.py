"""Tracing with a made mouse on ViewerModel: what is drawn while the pointer moves, and what never happens."""

from __future__ import annotations

import numpy as np
import pytest
from napari.components import ViewerModel
from napari.utils.interactions import mouse_double_click_callbacks

from napari_periapical.binding import bind
from radio.record.colours import FILE_COLOUR
from tests.plugin.drawn import case, click
from tests.plugin.made import plain_radiograph
from tests.plugin.pretend import RIGHT, Hand, add, plain_viewer

SHIFT = {"modifiers": ("Shift",)}


@pytest.fixture
def plain():
    return plain_viewer(plain_radiograph((300, 200)))


def live(binding):
    """Ends of the live line as drawn; None where there is none."""
    data = binding.layer("live").data
    return None if not len(data) else (tuple(data[0, 0]), tuple(data[-1].sum(axis=0)))


def is_straight(binding):
    ways = binding.layer("live").data[:, 1]
    return np.allclose(ways, ways[0], atol=1e-6)


def test_the_live_line_is_drawn_from_the_last_pin_to_the_pointer(plain):
    _, binding, hand = plain
    hand.move((50.0, 50.0))
    assert live(binding) is None
    hand.click((10.0, 20.0))
    assert live(binding) is None
    hand.move((60.0, 50.0))
    assert live(binding) == ((10.0, 20.0), pytest.approx((60.0, 50.0)))
    hand.click((60.0, 50.0))
    assert live(binding) == ((10.0, 20.0), pytest.approx((60.0, 50.0)))
    hand.move((120.0, 90.0))
    assert live(binding) == ((10.0, 20.0), pytest.approx((120.0, 90.0)))
    assert (binding.layer("live").data[:, 0] == (60.0, 50.0)).all(axis=1).any()
    hand.click((130.0, 95.0), button=RIGHT)
    assert live(binding) is None
    assert binding.controller.canal.points("apex") == ((130.0, 95.0),)
    hand.move((90.0, 95.0))
    assert live(binding) is None


def test_a_move_of_the_pointer_touches_the_live_layer_alone(plain):
    viewer, binding, hand = plain
    hand.click((10.0, 20.0))
    changed = []
    for layer in viewer.layers:
        layer.events.set_data.connect(lambda _, layer=layer: changed.append(layer.name))
    hand.move((60.0, 50.0))
    assert set(changed) == {"Live line"}
    assert viewer.layers.selection.active == binding.layer("landmarks")
    assert not binding.layer("live").editable


def test_the_live_line_goes_when_the_pointer_leaves_the_canvas(plain):
    viewer, binding, hand = plain
    viewer.mouse_over_canvas = True
    hand.click((10.0, 20.0))
    hand.move((60.0, 50.0))
    assert live(binding) is not None
    viewer.mouse_over_canvas = False
    assert live(binding) is None


def test_the_live_line_goes_when_another_layer_is_worked_on(plain):
    viewer, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.move((60.0, 50.0))
    viewer.layers.selection.active = viewer.layers[0]
    hand.move((62.0, 50.0))
    assert live(binding) is None
    hand.click((90.0, 50.0))
    assert binding.controller.canal.points("canal_via") == ()


def test_it_is_thin_and_in_the_colour_of_its_kind(case_radiograph):
    viewer = ViewerModel()
    binding = bind(viewer)
    add(viewer, case_radiograph, [case().facts])
    viewer.scene.camera.zoom = 1.0
    hand = Hand(viewer, binding.layer("landmarks"))
    hand.click(click("file_start"))
    hand.move(click("file_tip"))
    layer = binding.layer("live")
    assert len(layer.data) > 50
    rgb = [round(255 * one) for one in layer.edge_color[0][:3]]
    assert "#" + "".join(f"{one:02X}" for one in rgb) == FILE_COLOUR.upper()
    assert layer.edge_width < binding.layer("file").edge_width
    # it lies on the file and not on the straight way
    truth = case().truth
    middle = layer.data[len(layer.data) // 2, 0]
    assert np.hypot(*(truth.file_axis_px - middle).T).min() * truth.mm_per_px < 0.1


def test_shift_goes_straight_and_places_exactly(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.move((200.0, 120.0), **SHIFT)
    assert is_straight(binding)
    hand.click((200.0, 120.0), **SHIFT)
    assert binding.controller.canal.facts.exact == (("canal_via", 0),)
    hand.click((250.0, 130.0), button=RIGHT, **SHIFT)
    assert binding.controller.canal.facts.exact == (("apex", 0), ("canal_via", 0))


def test_a_right_click_on_the_last_pin_makes_it_the_end(plain):
    viewer, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.click((60.0, 50.0))
    hand.click((90.0, 70.0))
    within = 8.0 / viewer.scene.camera.zoom
    hand.click((90.0, 70.0 + within), button=RIGHT)
    canal = binding.controller.canal
    assert (canal.points("canal_via"), canal.points("apex")) == (((60.0, 50.0),), ((90.0, 70.0),))


def test_a_right_click_on_the_start_ends_nothing(plain):
    _, binding, hand = plain
    told = []
    binding.controller.told.connect(lambda _, text: told.append(text))
    hand.click((10.0, 20.0))
    hand.click((10.2, 20.2), button=RIGHT)
    assert binding.controller.tracing == "canal"
    assert binding.controller.canal.placed() == {"orifice"}
    assert "right click at its end" in told[-1]


def test_a_right_drag_zooms_as_ever_and_ends_nothing(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.drag((60.0, 50.0), (80.0, 50.0), button=RIGHT)
    assert binding.controller.tracing == "canal"


def test_a_drag_over_the_image_pans_and_pins_nothing(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    moves = hand.drag((60.0, 50.0), (80.0, 50.0))
    assert not any(event.handled for event in moves)
    assert binding.controller.canal.points("canal_via") == ()


def test_a_pin_is_dragged_while_the_line_is_traced(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.click((60.0, 50.0))
    hand.move((90.0, 60.0))
    hand.drag((60.0, 50.0), (64.0, 54.0), (66.5, 55.25))
    controller = binding.controller
    assert controller.canal.points("canal_via") == ((66.5, 55.25),)
    assert controller.tracing == "canal"
    hand.move((100.0, 80.0))
    assert (binding.layer("live").data[:, 0] == (66.5, 55.25)).all(axis=1).any()
    hand.click((100.0, 80.0))
    assert controller.canal.points("canal_via") == ((66.5, 55.25), (100.0, 80.0))
    controller.undo()
    controller.undo()
    assert controller.canal.points("canal_via") == ((60.0, 50.0),)


def test_a_double_click_is_one_pin_and_ends_nothing(plain):
    viewer, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.click((60.0, 50.0))
    # Qt sends press, release, double click, release
    event = hand._event("mouse_double_click", (60.0, 50.0))
    mouse_double_click_callbacks(viewer, event)
    mouse_double_click_callbacks(binding.layer("landmarks"), event)
    assert binding.controller.canal.points("canal_via") == ((60.0, 50.0),)
    # and where a system sends two presses instead, the second one takes hold of the pin
    hand.click((60.05, 50.0))
    assert binding.controller.canal.points("canal_via") == ((60.0, 50.0),)
    assert binding.controller.tracing == "canal"


@pytest.mark.parametrize("more", [{"modifiers": ("Alt",)}, {"modifiers": ("Control",)}])
def test_gestures_of_napari_are_left_alone_while_tracing(plain, more):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    for button in (1, RIGHT):
        hand.click((60.0, 50.0), button=button, **more)
    assert binding.controller.canal.placed() == {"orifice"}


def test_disconnecting_leaves_no_callback_behind(plain):
    viewer, binding, hand = plain
    hand.click((10.0, 20.0))
    binding.disconnect()
    hand.move((60.0, 50.0))
    assert live(binding) is None
    assert not viewer.mouse_move_callbacks
    viewer.mouse_over_canvas = True
    viewer.mouse_over_canvas = False


# -- keys -------------------------------------------------------------------------------------------------


def bound(binding):
    return {str(key): action for key, action in binding.layer("landmarks").keymap.items()}


def test_keys_trace_as_their_hint_says(plain):
    _, binding, hand = plain
    keys, controller = bound(binding), binding.controller
    hand.click((10.0, 20.0))
    hand.click((60.0, 50.0))
    hand.click((90.0, 70.0))
    keys["Backspace"](None)
    assert controller.canal.points("canal_via") == ((60.0, 50.0),)
    keys["Enter"](None)
    assert controller.canal.points("apex") == ((60.0, 50.0),)
    keys["Ctrl+Z"](None)
    keys["Escape"](None)
    assert controller.canal.clicks == ()
    keys["Ctrl+Z"](None)
    assert controller.canal.points("canal_via") == ((60.0, 50.0),)


def test_arrow_keys_nudge_the_chosen_point_and_nudges_are_one_step(plain):
    _, binding, hand = plain
    keys, controller = bound(binding), binding.controller
    hand.click((10.0, 20.0))
    hand.click((60.0, 50.0))
    for key in ("Up", "Up", "Left", "Shift+Down", "Shift+Right"):
        keys[key](None)
    (pin,) = controller.canal.points("canal_via")
    assert pin == pytest.approx((60.8, 50.9), abs=1e-9)
    np.testing.assert_allclose(binding.layer("landmarks").data[1], pin)
    assert controller.undoable == "nudging On the canal"
    controller.undo()
    assert controller.canal.points("canal_via") == ((60.0, 50.0),)
    controller.redo()
    assert controller.canal.points("canal_via") == (pin,)


def test_nudges_of_another_point_or_after_another_step_are_steps_of_their_own(plain):
    _, binding, hand = plain
    controller = binding.controller
    hand.click((10.0, 20.0))
    hand.click((60.0, 50.0))
    controller.nudge(0.1, 0.0)
    controller.select("orifice", 0)
    controller.nudge(0.1, 0.0)
    controller.state_fact("tooth", "24")
    controller.nudge(0.1, 0.0)
    controller.undo()
    assert controller.canal.points("orifice")[0][0] == pytest.approx(10.1)
    assert controller.canal.facts.tooth == "24"
    controller.undo()
    controller.undo()
    assert controller.canal.points("orifice") == ((10.0, 20.0),)
    assert controller.canal.points("canal_via")[0][0] == pytest.approx(60.1)


def test_a_nudge_after_undo_does_not_rewrite_what_was_undone_to(plain):
    _, binding, hand = plain
    controller = binding.controller
    hand.click((10.0, 20.0))
    controller.nudge(0.1, 0.0)
    controller.undo()
    controller.select("orifice", 0)
    controller.nudge(0.0, 1.0)
    assert controller.canal.points("orifice") == ((10.0, 21.0),)
    controller.undo()
    assert controller.canal.points("orifice") == ((10.0, 20.0),)


def test_a_nudged_point_stays_on_the_image_and_without_one_it_says_what_to_do(plain):
    _, binding, hand = plain
    told = []
    binding.controller.told.connect(lambda _, text: told.append(text))
    binding.controller.nudge(0.1, 0.0)
    assert "Click a point first" in told[-1]
    hand.click((0.0, 20.0))
    binding.controller.nudge(-1.0, 0.0)
    assert binding.controller.canal.points("orifice") == ((-0.5, 20.0),)


def traced_file(binding, hand):
    """Trace a file through a pin, so that the orifice comes next."""
    binding.controller.state_fact("scale_from", "")
    assert binding.controller.session.landmark == "file_start"
    hand.click((10.0, 60.0))
    hand.click((100.0, 62.0))
    hand.click((200.0, 64.0), button=RIGHT)
    assert binding.controller.session.landmark == "orifice"


def test_a_click_on_the_file_places_the_point_of_the_canal_that_is_due(plain):
    """File and canal lie on top of each other: no click on one may be lost to the other."""
    _, binding, hand = plain
    controller = binding.controller
    traced_file(binding, hand)
    before = controller.canal.points("file_via")
    hand.click((103.0, 63.0))  # on the pin of the file
    assert controller.canal.points("orifice") == ((103.0, 63.0),)
    assert controller.tracing == "canal"
    hand.click((198.0, 65.0))  # on the file's tip
    assert controller.canal.points("canal_via") == ((198.0, 65.0),)
    assert controller.canal.points("file_via") == before
    # a drag on the same spot still moves the point that is there
    hand.drag((200.0, 64.0), (205.0, 80.0), (210.0, 90.0))
    assert controller.canal.points("file_tip")[0][1] == pytest.approx(90.0, abs=1.0)
    assert controller.canal.points("canal_via") == ((198.0, 65.0),)


def test_a_second_click_on_the_point_just_placed_places_no_other(plain):
    _, binding, hand = plain
    controller = binding.controller
    traced_file(binding, hand)
    controller.choose("reference")
    hand.click((20.0, 100.0))
    placed = controller.canal
    hand.click((20.0, 100.0))
    assert controller.canal.clicks == placed.clicks


def test_nothing_is_placed_on_a_hidden_canal(plain):
    _, binding, hand = plain
    controller, told = binding.controller, []
    controller.told.connect(lambda _, text: told.append(text))
    hand.click((10.0, 20.0))
    controller.switch_hidden()
    hand.click((60.0, 50.0))
    assert controller.canal.points("canal_via") == ()
    assert "hidden" in told[-1]


def test_undo_during_a_drag_takes_the_drag_back_and_nothing_before_it(plain):
    _, binding, hand = plain
    controller = binding.controller
    hand.click((10.0, 20.0))
    controller.begin_move("orifice", 0)
    controller.move_to((40.0, 40.0))
    controller.confirm()  # Enter passes over nothing meanwhile
    controller.undo()
    assert controller.canal.points("orifice") == ((10.0, 20.0),)
    assert controller.session.drag is None


def test_the_viewers_keys_for_deleting_take_back_the_last_pin(plain):
    _, binding, hand = plain
    hand.click((10.0, 20.0))
    hand.click((60.0, 50.0))
    layer = binding.layer("landmarks")
    layer.selected_data = {0, 1}
    keys = {str(key): action for key, action in layer.keymap.items()}
    keys["Delete"](layer)
    assert binding.controller.canal.points("canal_via") == ()
    assert len(layer.data) == 1
