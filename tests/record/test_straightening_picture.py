"""The picture of straightening, judged by where its lines lie."""

from __future__ import annotations

import numpy as np
import pytest

from radio.errors import PeriapicalError
from radio.measure.drawn import image_px
from radio.record.straightening_picture import draw_straightening, straightening_page
from tests.fixtures.drawn_page import axes_named, lines_of, words_of
from tests.fixtures.painted import as_radiograph
from tests.measure.test_straightening_case import bounds


def test_walls_centre_line_and_taut_paths_lie_where_they_were_found(tmp_path) -> None:
    tooth, found = bounds(40.0)
    radiograph = as_radiograph(tooth.grey)
    page = straightening_page(radiograph, [found])
    as_traced = axes_named(page, "as traced")
    ways, scale = found.geometry.ways, found.result.scale
    (taut,) = lines_of(as_traced, "traced")
    assert taut == pytest.approx(image_px(ways["traced"].path.points, scale, 1.0))
    # its length on the image is the stated one
    drawn_mm = float(np.hypot(*np.diff(taut, axis=0).T).sum()) * tooth.mm_per_px
    assert found.geometry.length_mm - drawn_mm == pytest.approx(found.shrinks["traced"].value, abs=1e-6)
    walls = [*lines_of(as_traced, "wall"), *lines_of(as_traced, "bridged")]
    shown = sum(len(one) for one in walls)
    assert shown >= 2 * len(found.geometry.centre_mm)
    widened = axes_named(page, "widened with size 25 of taper 0.06")
    for name in ("centred", "leaning"):
        (path,) = lines_of(widened, name)
        assert path == pytest.approx(image_px(ways[name].path.points, scale, 1.0))
        assert len(lines_of(widened, f"{name} wall")) == 2
    for suffix in ("png", "svg"):
        out = tmp_path / f"drawn.{suffix}"
        draw_straightening(radiograph, [found], out)
        assert out.stat().st_size > 10_000


def test_bounds_standing_and_caution_are_written() -> None:
    tooth, found = bounds(40.0)
    words = " ".join(words_of(straightening_page(as_radiograph(tooth.grey), [found])).split())
    for one in found.shrinks.values():
        assert f"{one.value:.2f} ± {one.sd:.2f} mm" in words
    for part in (
        "Geometry, not a prediction",
        "from memory",
        "contradict each other",
        "not a medical device",
    ):
        assert part in words


def test_without_widening_one_pane_and_two_canals_two_rows() -> None:
    tooth, found = bounds(prepared=None)
    radiograph = as_radiograph(tooth.grey)
    one = straightening_page(radiograph, [found])
    two = straightening_page(radiograph, [found, found])
    labels = [axes.get_label() for axes in two.figure.axes]
    assert labels.count("as traced") == 2
    assert not any(str(label).startswith("widened") for label in labels)
    assert two.figure.get_figheight() > 1.5 * one.figure.get_figheight()


def test_another_format_is_refused(tmp_path) -> None:
    tooth, found = bounds(40.0)
    with pytest.raises(PeriapicalError, match="png or svg"):
        draw_straightening(as_radiograph(tooth.grey), [found], tmp_path / "drawn.pdf")
    with pytest.raises(ValueError, match="one canal"):
        straightening_page(as_radiograph(tooth.grey), [])


def test_walls_lie_thin_above_the_broad_paths_that_touch_them() -> None:
    tooth, found = bounds(40.0)
    page = straightening_page(as_radiograph(tooth.grey), [found])
    for pane, walls, paths in (
        ("as traced", ("wall", "bridged"), ("traced",)),
        ("widened with size 25 of taper 0.06", ("centred wall", "leaning wall"), ("centred", "leaning")),
    ):
        lines = axes_named(page, pane).lines
        of = {role: [one for one in lines if one.get_gid() in role] for role in (walls, paths)}
        assert of[walls]
        assert of[paths]
        assert min(one.get_zorder() for one in of[walls]) > max(one.get_zorder() for one in of[paths])
        # a wall with its rim leaves the path to be seen on both sides
        assert min(one.get_linewidth() for one in of[paths]) > 1.7 * 1.2
        assert max(one.get_linewidth() for one in of[walls]) < 1.0
