"""Display aids on napari's ViewerModel: a layer of our own, the person's image untouched, one history."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from napari.components import ViewerModel

from napari_periapical import layers
from napari_periapical.binding import bind
from napari_periapical.check_rows import check_rows, with_display_told
from napari_periapical.controller import Controller
from napari_periapical.drawings import ROLES
from napari_periapical.keeping import keep_table, keep_tracing, reopen
from napari_periapical.layers import DISPLAY_ROLE
from napari_periapical.sheet import Canal
from radio.image.display import Display, displayed, grey_window
from radio.measure.case import CaseFacts
from tests.fixtures.made_case import made_case
from tests.plugin.made import HeldRunner, plain_radiograph, straight_length

NO_SCALE = CaseFacts(scale_from="none")


def add(viewer, radiograph):
    frame = layers.frame_of(radiograph.pixel_aspect, None, millimetres=False)
    data, kwargs, _ = layers.image_layer(radiograph, frame, (NO_SCALE,))
    return viewer.add_image(data, **kwargs)


@pytest.fixture
def shown():
    """Make a viewer with a small image, its binding, and the layer of the image."""
    viewer = ViewerModel()
    binding = bind(viewer)
    binding.controller.measuring.measure = straight_length
    image = add(viewer, plain_radiograph())
    return viewer, binding, image


@pytest.fixture
def controller():
    one = Controller(measure=straight_length)
    one.open(plain_radiograph(), [NO_SCALE])
    return one


def roles(viewer):
    return [layer.metadata.get(layers.ROLE) for layer in viewer.layers]


# -- the history --------------------------------------------------------------------------------------------


def test_a_slider_that_is_drawn_is_one_step(controller):
    for gamma in (0.9, 0.8, 0.7):
        controller.show_display("changing gamma", gamma=gamma)
    controller.show_display("changing sharpen", sharpen=0.5)
    controller.show_display("changing gamma", gamma=0.6)
    assert controller.view.display == Display(gamma=0.6, sharpen=0.5)
    for before in (Display(gamma=0.7, sharpen=0.5), Display(gamma=0.7), Display()):
        controller.undo()
        assert controller.view.display == before
    assert controller.undoable == ""


def test_a_slider_drawn_again_after_an_undo_does_not_swallow_the_step_undone_to(controller):
    controller.show_display("changing gamma", gamma=0.9)
    controller.show_display("changing sharpen", sharpen=0.5)
    controller.undo()
    controller.show_display("inverting", invert=True)
    controller.undo()
    assert controller.view.display == Display(gamma=0.9)
    controller.place((10.0, 20.0))
    controller.show_display("changing gamma", gamma=0.8)
    controller.undo()
    assert controller.view.display == Display(gamma=0.9)
    assert controller.canal.points("orifice")


def test_as_exposed_switches_everything_off_and_can_be_undone(controller):
    controller.show_display("changing gamma", gamma=0.5)
    controller.show_display("inverting", invert=True)
    controller.show_as_exposed()
    assert controller.view.display == Display()
    controller.undo()
    assert controller.view.display == Display(gamma=0.5, invert=True)


@given(st.lists(st.tuples(st.sampled_from(("low", "high")), st.floats(-1, 2)), max_size=12))
def test_the_ends_of_the_window_never_cross(moves):
    controller = Controller(measure=straight_length)
    controller.open(plain_radiograph(), [NO_SCALE])
    for end, value in moves:
        controller.show_window(**{end: value})
        low, high = controller.view.display.window
        assert 0 <= low < high <= 1


def test_another_image_is_shown_the_same_way_but_for_the_window(controller):
    controller.show_window(low=0.3)
    controller.show_display("changing gamma", gamma=0.5)
    controller.open(plain_radiograph(seed=4), [NO_SCALE])
    assert controller.view.display == Display(gamma=0.5)


# -- the layer ----------------------------------------------------------------------------------------------


def state_of(image):
    digest = hashlib.sha256(np.asarray(image.data).tobytes()).hexdigest()
    return (
        digest,
        tuple(image.contrast_limits),
        image.gamma,
        image.colormap.name,
        image.opacity,
        image.visible,
    )


def test_the_image_of_the_person_stays_as_it_is_whatever_is_on(shown):
    _, binding, image = shown
    image.contrast_limits, image.gamma, image.colormap = (0.2, 0.6), 1.3, "bone"
    before = state_of(image)
    radiograph = binding.controller.session.radiograph
    for change in ({"gamma": 0.5}, {"invert": True}, {"local_contrast": 1.0}, {"sharpen": 1.0}):
        binding.controller.show_display("changing", **change)
    binding.controller.show_window(low=0.4)
    binding.controller.show_display("showing beside", beside_original=True)
    assert state_of(image) == before
    assert image.data is radiograph.grey
    binding.controller.show_as_exposed()
    assert state_of(image) == before


def test_the_layer_is_seen_while_an_aid_is_on_between_the_image_and_the_lines(shown):
    viewer, binding, image = shown
    active = viewer.layers.selection.active
    binding.controller.show_display("inverting", invert=True)
    assert roles(viewer) == [None, DISPLAY_ROLE, *(r for r in roles(viewer) if r in ROLES)]
    layer = binding.layer(DISPLAY_ROLE)
    radiograph = binding.controller.session.radiograph
    np.testing.assert_array_equal(layer.data, displayed(radiograph, Display(invert=True)))
    assert (tuple(layer.contrast_limits), layer.name) == ((0.0, 1.0), "Radiograph as shown")
    assert tuple(layer.scale) == tuple(image.scale)
    assert viewer.layers.selection.active is active
    assert binding.ready
    binding.controller.undo()
    assert not layer.visible
    assert viewer.layers.selection.active is active
    binding.controller.redo()
    assert layer.visible


def test_layers_of_the_person_above_the_image_stay_in_sight(shown):
    viewer, binding, image = shown
    own = viewer.add_points([[5.0, 5.0]], name="mine")
    viewer.layers.move(viewer.layers.index(own), 1)
    binding.controller.show_display("inverting", invert=True)
    order = [layer.name for layer in viewer.layers]
    assert order.index(image.name) + 1 == order.index("Radiograph as shown") < order.index("mine")


def test_beside_the_original_it_stands_one_image_width_to_the_right_in_every_unit(shown):
    _, binding, image = shown
    controller = binding.controller
    controller.show_display("inverting", invert=True)
    controller.show_display("showing beside", beside_original=True)
    layer = binding.layer(DISPLAY_ROLE)
    columns = image.data.shape[1]
    assert tuple(layer.translate) == (0.0, columns * image.scale[1])
    # points and lines stay with the original
    assert tuple(binding.layer("landmarks").translate) == (0.0, 0.0)
    controller.show_display("no longer", beside_original=False)
    assert tuple(layer.translate) == (0.0, 0.0)
    controller.show_display("showing beside", beside_original=True)
    binding.framing.apply(layers.Frame(0.06, 0.05, "mm"))
    assert tuple(layer.scale) == (0.06, 0.05)
    assert tuple(layer.translate) == (0.0, columns * 0.05)


def test_the_original_beside_itself_is_not_drawn(shown):
    _, binding, _ = shown
    binding.controller.show_display("showing beside", beside_original=True)
    assert binding.layer(DISPLAY_ROLE) is None


def test_only_the_newest_wish_is_drawn_and_nothing_of_another_image(shown):
    viewer, binding, _ = shown
    controller, held = binding.controller, HeldRunner()
    binding.shown_image.runner = held
    controller.show_display("changing gamma", gamma=0.5)
    assert binding.layer(DISPLAY_ROLE) is None
    controller.show_display("changing gamma", gamma=0.4)
    assert len(held.jobs) == 2
    held.run(1)
    radiograph = controller.session.radiograph
    np.testing.assert_array_equal(binding.layer(DISPLAY_ROLE).data, displayed(radiograph, Display(gamma=0.4)))
    controller.show_as_exposed()
    held.run(0)  # comes too late
    assert not binding.layer(DISPLAY_ROLE).visible
    controller.show_display("changing gamma", gamma=0.3)
    add(viewer, plain_radiograph(seed=9))
    assert not binding.layer(DISPLAY_ROLE).visible
    held.run(0)  # of the image before
    assert not binding.layer(DISPLAY_ROLE).visible
    held.run(0)
    assert binding.layer(DISPLAY_ROLE).visible
    other = controller.session.radiograph
    np.testing.assert_array_equal(binding.layer(DISPLAY_ROLE).data, displayed(other, Display(gamma=0.3)))


def test_a_slider_drawn_past_where_nothing_is_on_keeps_its_layer(shown):
    _, binding, _ = shown
    controller, held = binding.controller, HeldRunner()
    controller.show_display("changing gamma", gamma=0.5)
    layer = binding.layer(DISPLAY_ROLE)
    binding.shown_image.runner = held
    controller.show_display("changing gamma", gamma=1.0)
    assert not layer.visible
    controller.show_display("changing gamma", gamma=1.1)
    held.run(0)
    assert layer.visible
    assert binding.layer(DISPLAY_ROLE) is layer
    layer.visible = False  # by the eye in the list of layers: it stays hidden
    controller.show_display("changing gamma", gamma=1.2)
    held.run(0)
    assert not layer.visible


def test_an_image_asked_of_a_runner_that_is_gone_is_asked_for_again(shown):
    _, binding, _ = shown
    gone = HeldRunner()
    binding.shown_image.runner = gone
    binding.controller.show_display("inverting", invert=True)
    here = HeldRunner()
    binding.shown_image.runner = here
    binding.draw()
    here.run()
    assert binding.layer(DISPLAY_ROLE) is not None


def test_the_layer_comes_back_when_it_is_deleted_and_hides_with_its_image(shown):
    viewer, binding, image = shown
    binding.controller.show_display("inverting", invert=True)
    viewer.layers.remove(binding.layer(DISPLAY_ROLE))
    binding.controller.place((10.0, 20.0))
    assert binding.layer(DISPLAY_ROLE) is not None
    viewer.layers.remove(image)
    assert not binding.layer(DISPLAY_ROLE).visible


def test_reordered_layers_find_their_place_again(shown):
    viewer, binding, _ = shown
    binding.controller.show_display("inverting", invert=True)
    viewer.layers.move(viewer.layers.index(binding.layer(DISPLAY_ROLE)), 0)
    binding.controller.place((10.0, 20.0))
    assert roles(viewer)[:2] == [None, DISPLAY_ROLE]


# -- what is kept of it -------------------------------------------------------------------------------------


def test_aids_that_were_on_while_points_were_placed_are_kept_and_come_back(controller, tmp_path):
    controller.place((10.0, 20.0))
    assert controller.canal.seen == ()
    controller.show_display("changing gamma", gamma=0.5)
    controller.place((40.0, 50.0))
    controller.show_display("inverting", invert=True)
    controller.begin_move("apex", 0)
    controller.move_to((41.0, 51.0))
    controller.end_move()
    controller.show_as_exposed()
    assert controller.canal.seen == ("gamma 0.50", "gamma 0.50, inverted")
    keep_tracing(controller, tmp_path / "t.json")
    keep_table(controller, tmp_path / "t.csv")
    (kept,) = json.loads((tmp_path / "t.json").read_text())["tracings"]
    assert kept["display"] == "gamma 0.50; gamma 0.50, inverted"
    assert (tmp_path / "t.csv").read_text().splitlines()[1].endswith('"gamma 0.50; gamma 0.50, inverted"')
    controller.open(plain_radiograph(), [NO_SCALE])
    reopen(controller, tmp_path / "t.json")
    assert controller.canal.seen == ("gamma 0.50", "gamma 0.50, inverted")
    controller.undo()
    assert controller.canal.seen == ("gamma 0.50", "gamma 0.50, inverted")  # the canal before, as it was


def test_a_canal_taken_back_to_before_its_points_was_seen_with_nothing(controller):
    controller.show_display("inverting", invert=True)
    controller.place((10.0, 20.0))
    assert controller.canal.seen == ("inverted",)
    controller.undo()
    assert controller.canal.seen == ()
    assert Canal(0).seen_with("") == Canal(0)


def test_the_check_of_the_image_as_exposed_tells_of_the_aids():
    _, _, result = made_case()
    plain = check_rows(result)
    assert with_display_told(plain, "") == plain
    rows = {one.check: one for one in with_display_told(plain, "gamma 0.50, inverted")}
    row = rows["P19"]
    assert "gamma 0.50, inverted" in row.row.details
    assert "Numbers are read from the image as exposed" in row.row.details
    assert row.row.value == "· Note"
    before = {one.check: one for one in plain}
    if "P19" in before:
        assert row.answers == before["P19"].answers
    without = tuple(one for one in plain if one.check != "P19")
    assert [one.check for one in with_display_told(without, "inverted")][-1] == "P19"
    others = {key: one for key, one in rows.items() if key != "P19"}
    assert others == {key: one for key, one in before.items() if key != "P19"}


def test_a_window_is_taken_from_the_film_until_it_is_set(controller):
    low, _ = grey_window(controller.session.radiograph)
    controller.show_window(high=0.5)
    assert controller.view.display == replace(Display(), low=low, high=0.5)
