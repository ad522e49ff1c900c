"""Points that stay exactly where they were put, on the layers: square rings, through every change."""

from __future__ import annotations

import pytest
from napari.components import ViewerModel

from napari_periapical import layers
from napari_periapical.binding import bind
from radio.measure.case import LANDMARKS, CaseFacts
from tests.plugin.made import plain_radiograph, straight_length


@pytest.fixture
def binding():
    viewer = ViewerModel()
    frame = layers.frame_of(1.0, None, millimetres=False)
    data, kwargs, _ = layers.image_layer(plain_radiograph(), frame, (CaseFacts(scale_from="none"),))
    viewer.add_image(data, **kwargs)
    one = bind(viewer)
    one.controller.measuring.measure = straight_length
    return one


def symbols(binding):
    return [str(one) for one in binding.layer("landmarks").symbol]


def test_exact_points_are_square_rings_and_the_others_round(binding):
    controller = binding.controller
    controller.place((10.0, 20.0))
    controller.place((40.0, 50.0), exact=True)
    assert symbols(binding) == ["disc", "square"]
    controller.choose("canal_via")
    controller.place((20.0, 30.0), exact=True)
    controller.place((15.0, 25.0))
    assert binding.controller.canal.facts.exact == (("apex", 0), ("canal_via", 1))
    assert symbols(binding) == ["disc", "disc", "square", "square"]  # orifice, two on the canal, apex
    controller.select("canal_via", 0)
    controller.remove_selected()
    assert symbols(binding) == ["disc", "square", "square"]
    controller.undo()
    assert symbols(binding) == ["disc", "disc", "square", "square"]


def test_a_dragged_exact_point_stays_a_square_ring(binding):
    controller = binding.controller
    controller.place((10.0, 20.0), exact=True)
    controller.begin_move("orifice", 0)
    controller.move_to((12.0, 22.0))
    controller.end_move()
    assert symbols(binding) == ["square"]
    layer = binding.layer("landmarks")
    assert layer.data.tolist() == [[12.0, 22.0]]
    # a layer that was deleted is drawn again as it was
    binding.viewer.layers.remove(layer)
    binding.make_ready()
    assert symbols(binding) == ["square"]


def test_the_list_says_which_points_are_exactly_as_placed(display, make_napari_viewer_proxy):
    pytest.importorskip("qtpy")
    viewer = make_napari_viewer_proxy(show=False)
    _, panel = viewer.window.add_plugin_dock_widget("napari-periapical", "Measure root canals")
    controller = panel.controller
    controller.measuring.measure = straight_length
    controller.open(plain_radiograph(), [CaseFacts(scale_from="none")])
    controller.place((10.0, 20.0))
    controller.place((40.0, 50.0), exact=True)
    controller.choose("canal_via")
    controller.place((20.0, 30.0), exact=True)
    controller.place((30.0, 40.0))

    def line(name):
        return panel.trace.list.item(LANDMARKS.index(name)).text()

    assert line("apex").endswith("Radiographic apex: exactly as placed")
    assert line("canal_via").endswith("On the canal: 2 placed, 1 of them exactly")
    assert "exactly" not in line("orifice")
