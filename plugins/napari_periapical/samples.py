"""Sample data contribution: the synthetic radiographs of the program, with what is known of each."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from napari_periapical.readers import LayerData, read_layer
from radio.measure.case import CaseFacts


def sample_folder() -> Path:
    """Find the sample images: packaged with the program, or beside it in a source tree.

    Raises
    ------
    PeriapicalError
        They are in neither place.
    """
    from radio.study.demo import sample_images_folder

    return sample_images_folder()


def stated_facts(image: str) -> list[CaseFacts]:
    """Give what the images table states about the canals of one sample image."""
    from radio.record.tables import read_cases

    folder = sample_folder()
    cases = read_cases(folder / "IMAGES.csv", folder / "CLICKS.csv").cases
    return [case.facts for case in cases if case.image == image]


def open_sample(image: str) -> list[LayerData]:
    """Give one sample image as layer data, ready for its points to be placed.

    Raises
    ------
    PeriapicalError
        The sample images are missing.
    """
    return [read_layer(sample_folder() / image, stated_facts(image))]


straight = partial(open_sample, "s01_straight_file30.png")
curved = partial(open_sample, "s02_curved_file10.png")
s_shape = partial(open_sample, "s03_s_shape_file15.tif")
two_canals = partial(open_sample, "s04_two_canals.dcm")
ball = partial(open_sample, "s05_diagnostic_ball.jpg")
spacing = partial(open_sample, "s06_diagnostic_spacing.dcm")
beyond_apex = partial(open_sample, "s07_beyond_apex.png")
hard = partial(open_sample, "s08_hard.dcm")
facing = partial(open_sample, "s09_two_views_facing.png")
side = partial(open_sample, "s10_two_views_side.png")
