"""One synthetic case for all tests of the panel, made once, and where its points go."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from radio.image.radiograph import Radiograph, read_radiograph
from radio.image.synthetic import SyntheticCase, make_case
from radio.image.synthetic.writing import write_dicom

# A curved premolar canal with a file set to a stop: enough for every number
SEED = 21


@cache
def case() -> SyntheticCase:
    return make_case(
        SEED,
        kind="premolar",
        canal_form="continuous",
        turn_deg=26.0,
        file_size=20,
        file_start_at="stop",
        gap_mm=1.5,
        ball_diameter_mm=None,
        second_file_size=None,
        canals_in_root=1,
        clamp=False,
        restoration=False,
        rotation_deg=0.0,
        portrait=True,
    )


def write_case(folder: Path, name: str = "case.dcm") -> Path:
    """Write the case as an image a person could have."""
    path = folder / name
    write_dicom(case(), path, subject="P01")
    return path


def radiograph(folder: Path) -> Radiograph:
    return read_radiograph(write_case(folder))


def click(landmark: str) -> tuple[float, float]:
    """Rough click of a landmark, (row, col)."""
    row, col = case().clicks[landmark][0]
    return float(row), float(col)


ESSENTIAL = ("file_start", "file_tip", "orifice", "apex")


def register_plugin() -> None:
    """Make the manifest known where the distribution is not installed (a bare source tree)."""
    from npe2 import PluginManager, PluginManifest

    import napari_periapical

    manager = PluginManager.instance()
    if "napari-periapical" not in manager:
        manifest = Path(napari_periapical.__file__).with_name("napari.yaml")
        manager.register(PluginManifest.from_file(manifest))
