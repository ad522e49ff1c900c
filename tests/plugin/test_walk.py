from __future__ import annotations

import re
from pathlib import Path

import pytest

pytest.importorskip("qtpy")
Image = pytest.importorskip("PIL.Image")

ROOT = Path(__file__).resolve().parents[2]


def test_the_walk_makes_every_picture_that_readme_shows_small_and_in_colour(
    display, make_napari_viewer, monkeypatch, tmp_path
):
    from radio.record.colours import CANAL_COLOUR, FILE_COLOUR
    from tests.plugin import walk

    # the viewer of the fixture closes without asking
    monkeypatch.setattr("napari.Viewer", lambda **_: make_napari_viewer(show=True))
    made = walk.take(tmp_path)
    shown = re.findall(r"\(sample_images/walk/(\w+\.png)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert {one.name for one in made} == set(shown) == {one.name for one in tmp_path.iterdir()}
    for path in made:
        assert path.stat().st_size < 250_000
        with Image.open(path) as picture:
            assert picture.width <= walk.WIDEST_PX
            colours = {rgb for _, rgb in picture.convert("RGB").getcolors(1 << 16)}
        wanted = (FILE_COLOUR,) if "first" in path.name else (FILE_COLOUR, CANAL_COLOUR)
        for colour in wanted:
            rgb = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
            assert min(max(abs(a - b) for a, b in zip(rgb, one, strict=True)) for one in colours) < 24, colour
