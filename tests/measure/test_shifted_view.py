"""Buccal and lingual canals from a shifted view, against a projection computed from scratch."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from radio.measure.shifted_view import shifts


def seen_mm(depth_mm, across_mm, tube_deg):
    """Where a point is seen across a receptor behind the tooth, the beam turned about the tooth.

    The receptor lies on the lingual side; `depth_mm` is the distance of the point from it, buccal being far.
    A tube moved mesially by an angle sends its rays on distally: a point that lies `depth` before the
    receptor is thrown by depth * tan(angle) away from where the tube went.
    """
    return across_mm - depth_mm * np.tan(np.radians(tube_deg))


@given(
    buccal_mm=st.floats(4, 10),
    lingual_mm=st.floats(1, 3),
    across=st.tuples(st.floats(-3, 3), st.floats(-3, 3)),
    degrees=st.floats(20, 40),
    tube_to=st.sampled_from(["mesial", "distal"]),
    mesial_at=st.sampled_from(["left", "right"]),
)
def test_the_canal_that_moves_with_the_tube_is_lingual(
    buccal_mm, lingual_mm, across, degrees, tube_to, mesial_at
):
    # to the right of the image in both; the tube goes to the right where mesial is right and it goes mesially
    right = 1 if (tube_to == "mesial") == (mesial_at == "right") else -1
    places = {"one": (buccal_mm, across[0]), "two": (lingual_mm, across[1])}
    first = {name: seen_mm(*place, 0.0) for name, place in places.items()}
    second = {name: seen_mm(*place, right * degrees) + 5.0 for name, place in places.items()}
    (found,) = shifts(first, second, tube_to=tube_to, mesial_at=mesial_at, sd_mm=0.01)
    assert found.lingual == "two"
    # and in whichever order the canals are named
    (turned,) = shifts(
        dict(reversed(first.items())), second, tube_to=tube_to, mesial_at=mesial_at, sd_mm=0.01
    )
    assert turned.lingual == "two"
    assert turned.moved_mm == pytest.approx(-found.moved_mm)


def test_a_shift_within_the_scatter_of_clicks_tells_nothing():
    (found,) = shifts({"a": 0.0, "b": 2.0}, {"a": 0.4, "b": 2.0}, tube_to="mesial", mesial_at="right")
    assert found.lingual == ""
    assert "too little to tell" in found.text
    assert found.sd_mm == pytest.approx(0.5)


def test_words_name_both_canals_and_the_shift():
    (found,) = shifts({"MB": 0.0, "ML": 2.0}, {"MB": 0.0, "ML": 4.0}, tube_to="mesial", mesial_at="right")
    assert found.text == "MB moved 2.0 ± 0.5 mm distally beside ML: ML lies lingually, MB buccally."


def test_only_canals_on_both_images_are_compared():
    assert shifts({"a": 0.0, "b": 1.0}, {"b": 1.0, "c": 2.0}, tube_to="distal", mesial_at="left") == ()
    three = {"a": 0.0, "b": 1.0, "c": 3.0}
    assert len(shifts(three, three, tube_to="distal", mesial_at="left")) == 3
