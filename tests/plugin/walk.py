"""The pictures of the walk in README.md: ``python -m tests.plugin.walk [OUT]``, at the top of the repository.

Needs a display (``xvfb-run -a -s "-screen 0 1400x1000x24" python -m tests.plugin.walk``). OUT is
``sample_images/walk`` unless given.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path
from typing import Any

from radio.record.tables import CaseInput, read_cases_of_image
from tests.plugin.window import open_window, own_drafts, photograph, settle

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
IMAGE = SAMPLES / "s02_curved_file10.png"
WINDOW_PX = (1200, 860)
WIDEST_PX = 1300
# a radiograph takes few greys, and lines keep their colours
GREYS, COLOURS = 28, 40
FACTS = ("tooth", "file_length_mm", "file_size", "electronic_mm", "electronic_mark")
# landmarks placed in the first picture of the panel, and those added in the second
FIRST = ("file_start", "file_via", "file_tip")
LATER = ("orifice", "canal_via", "reference", "apex")


def take(out: Path) -> list[Path]:
    """Make all pictures of the walk."""
    out.mkdir(parents=True, exist_ok=True)
    case = read_cases_of_image(IMAGE, SAMPLES / "CLICKS.csv", SAMPLES / "IMAGES.csv").cases[0]
    with own_drafts(), tempfile.TemporaryDirectory() as folder:
        large = Path(folder)
        _take_measured(case, large / "measured.png")
        _take_panel(case, large / "panel_first_clicks.png", large / "panel.png")
        return [_make_small(one, out / one.name) for one in sorted(large.iterdir())]


def _take_measured(case: CaseInput, out: Path) -> None:
    """Write what ``periapical measure --picture`` writes."""
    from radio.image.radiograph import read_radiograph
    from radio.measure.pipeline import measure_case
    from radio.record.picture import draw_picture

    radiograph = read_radiograph(IMAGE)
    draw_picture(radiograph, [measure_case(radiograph, case.clicks, case.facts)], out)


def _take_panel(case: CaseInput, first: Path, last: Path) -> None:
    """Place the clicks of the case in the panel."""
    viewer, panel = open_window(*WINDOW_PX)
    viewer.open(str(IMAGE), plugin="napari-periapical")
    for name in FACTS:
        problem = panel.controller.state_fact(name, str(getattr(case.facts, name)))
        assert not problem, problem
    _place(panel, case, FIRST)
    photograph(viewer, panel, first)
    _place(panel, case, LATER)
    settle(panel)
    bar = panel.scroll_area.verticalScrollBar()
    bar.setValue(panel.lengths.y())
    photograph(viewer, panel, last)
    viewer.close()


def _place(panel: Any, case: CaseInput, names: tuple[str, ...]) -> None:
    for name in names:
        panel.controller.choose(name)
        for row, col in case.clicks[name]:
            panel.controller.place((float(row), float(col)))


def _make_small(large: Path, out: Path) -> Path:
    """Scale a picture down where it is wide, and keep few greys and colours."""
    import numpy as np
    from PIL import Image

    from radio.record.colours import CANAL_COLOUR, FILE_COLOUR, GAP_COLOUR

    with Image.open(large) as picture:
        small = picture.convert("RGB")
    if small.width > WIDEST_PX:
        height = round(small.height * WIDEST_PX / small.width)
        small = small.resize((WIDEST_PX, height), Image.Resampling.LANCZOS)
    pixels = np.asarray(small).reshape(1, -1, 3)
    coloured = pixels[:, np.ptp(pixels[0].astype(int), axis=1) > 40]
    found = Image.fromarray(coloured).quantize(COLOURS, dither=Image.Dither.NONE).getpalette() or []
    greys = np.repeat(np.linspace(0, 255, GREYS).round().astype(int), 3).tolist()
    # thin lines would lose theirs to coloured text
    lines = [int(one[k : k + 2], 16) for one in (FILE_COLOUR, CANAL_COLOUR, GAP_COLOUR) for k in (1, 3, 5)]
    palette = Image.new("P", (1, 1))
    palette.putpalette([*greys, *lines, *found[: 3 * COLOURS]])
    small.quantize(palette=palette, dither=Image.Dither.NONE).save(out, optimize=True)
    return out


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, nargs="?", default=SAMPLES / "walk", help="folder for the pictures")
    for made in take(parser.parse_args().out):
        print(f"{made}  {made.stat().st_size / 1000:.0f} kB")
