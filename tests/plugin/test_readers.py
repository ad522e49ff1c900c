from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from napari_periapical import layers
from napari_periapical.readers import get_reader, read_layer, read_layers
from radio.errors import ImageError
from radio.image.radiograph import Radiograph
from radio.image.synthetic.writing import write_jpeg, write_png, write_tiff
from tests.plugin.drawn import case


@pytest.fixture
def messages():
    """Gather what napari shows to the person."""
    from napari.utils.notifications import notification_manager

    seen = []

    def hear(notification):
        seen.append(notification)

    notification_manager.notification_ready.connect(hear)
    yield seen
    notification_manager.notification_ready.disconnect(hear)


@pytest.mark.parametrize(("ending", "write"), [("png", write_png), ("tif", write_tiff), ("jpg", write_jpeg)])
def test_raster_images_become_a_layer_that_carries_the_radiograph(tmp_path, ending, write):
    path = tmp_path / f"image.{ending}"
    write(case(), path)
    ((data, kwargs, kind),) = get_reader(str(path))(str(path))
    radiograph = kwargs["metadata"][layers.RADIOGRAPH]
    assert isinstance(radiograph, Radiograph)
    assert (kind, data.shape, kwargs["name"]) == ("image", case().image.shape, "image")
    assert kwargs["scale"] == (1.0, 1.0)


def test_dicom_carries_its_pixel_size(case_path):
    _, kwargs, _ = read_layer(case_path)
    assert kwargs["metadata"][layers.RADIOGRAPH].spacing.imager_mm is not None


def test_several_images_become_several_layers(tmp_path, case_path):
    paths = [str(case_path), str(tmp_path / "b.png")]
    write_png(case(), tmp_path / "b.png")
    assert len(get_reader(paths)(paths)) == 2


def test_a_folder_is_not_for_this_reader(tmp_path):
    assert get_reader(str(tmp_path)) is None
    assert get_reader([]) is None


def bad_images(tmp_path):
    (tmp_path / "empty.png").write_bytes(b"")
    (tmp_path / "text.dcm").write_text("not an image at all")
    whole = tmp_path / "whole.png"
    write_png(case(), whole)
    (tmp_path / "cut.png").write_bytes(whole.read_bytes()[:5000])
    colour = np.random.default_rng(0).integers(0, 255, (40, 40, 3), dtype=np.uint8)
    Image.fromarray(colour).save(tmp_path / "colour.png")
    return [tmp_path / name for name in ("empty.png", "text.dcm", "cut.png", "colour.png", "not there.png")]


def test_a_bad_image_is_a_message_with_the_reason_and_no_traceback(tmp_path, messages):
    for path in bad_images(tmp_path):
        with pytest.raises(ImageError) as told:
            read_layer(path)
        before = len(messages)
        assert read_layers(str(path)) == [(None,)]
        assert len(messages) == before + 1
        assert messages[-1].message == str(told.value)
        assert path.name in messages[-1].message


def test_one_bad_image_among_good_ones_costs_only_itself(tmp_path, case_path, messages):
    bad = bad_images(tmp_path)[0]
    assert len(read_layers([str(bad), str(case_path)])) == 1
    assert len(messages) == 1
