"""Pictures of the panel in its steps, in both themes: ``python -m tests.plugin.screenshots OUTDIR``.

Needs a display (``xvfb-run -a -s "-screen 0 1400x1000x24" python -m tests.plugin.screenshots OUTDIR``).
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.plugin.drawn import ESSENTIAL, click, write_case
from tests.plugin.fields import type_in
from tests.plugin.window import open_window, own_drafts, photograph, settle


def _steps(viewer: Any, panel: Any, image: Path, save: Callable[[str], None]) -> None:
    controller, bar = panel.controller, panel.scroll_area.verticalScrollBar()
    save("1_empty")
    viewer.open(str(image), plugin="napari-periapical")
    save("2_opened")
    type_in(panel, "file_length_mm", "twenty")
    save("3_nonsense")
    controller.state_fact("tooth", "24")
    type_in(panel, "file_length_mm", "20,5")
    for name in ESSENTIAL[:2]:
        controller.place(click(name))
    save("4_file_placed")
    for name in ESSENTIAL[2:]:
        controller.place(click(name))
    save("5_all_placed")
    controller.state_fact("electronic_mm", "21,5")
    controller.state_fact("electronic_mark", "zero")
    settle(panel)
    panel.lengths.table.selectRow(1)
    bar.setValue(bar.maximum())
    save("6_numbers")
    row, col = click("apex")
    viewer.scene.camera.center = (row * viewer.layers[-1].scale[0], col * viewer.layers[-1].scale[1])
    viewer.scene.camera.zoom = viewer.scene.camera.zoom * 4
    save("7_close")
    viewer.reset_view()
    controller.add_canal()
    bar.setValue(0)
    save("8_second_canal")


def take(out: Path, themes: tuple[str, ...] = ("dark", "light")) -> list[Path]:
    """Walk through the steps in each theme and save a picture of each."""
    out.mkdir(parents=True, exist_ok=True)
    pictures = []
    with tempfile.TemporaryDirectory() as folder:
        image = write_case(Path(folder))
        for theme in themes:
            with own_drafts():
                pictures += _take_in(theme, image, out)
    return pictures


def _take_in(theme: str, image: Path, out: Path) -> list[Path]:
    viewer, panel = open_window(1300, 900, theme)
    pictures = []

    def save(step: str) -> None:
        pictures.append(out / f"{theme}_{step}.png")
        photograph(viewer, panel, pictures[-1])

    _steps(viewer, panel, image, save)
    viewer.close()
    return pictures


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, help="folder for the pictures")
    for picture in take(parser.parse_args().out):
        print(picture)
