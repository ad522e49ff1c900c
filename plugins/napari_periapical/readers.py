"""Reader contribution: one radiograph becomes one image layer that carries it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from napari_periapical.layers import frame_of, image_layer
from radio.errors import PeriapicalError

LayerData = tuple[Any, ...]
Reader = Callable[[Any], list[LayerData]]


def get_reader(path: str | Sequence[str]) -> Reader | None:
    """Give the reader for a path or a list of paths, or None where there is no image to look at."""
    paths = [path] if isinstance(path, str | Path) else list(path)
    return read_layers if paths and not any(Path(one).is_dir() for one in paths) else None


def read_layers(path: str | Sequence[str]) -> list[LayerData]:
    """Read images as napari layers; one that cannot be read is named in a message to the person.

    Parameters
    ----------
    path : str or sequence of str
        Images to read.

    Returns
    -------
    list of layer data
        napari's sign for "nothing to show" when no image could be read.
    """
    from napari.utils.notifications import show_error  # type: ignore[import-untyped]

    found = []
    for one in [path] if isinstance(path, str | Path) else path:
        try:
            found.append(read_layer(Path(one)))
        except PeriapicalError as error:
            show_error(str(error))
    return found or [(None,)]


def read_layer(path: Path, facts: Sequence[Any] = ()) -> LayerData:
    """Read one image as layer data.

    Raises
    ------
    ImageError
        The image cannot be read; the text names the reason.
    """
    from radio.image.radiograph import read_radiograph

    radiograph = read_radiograph(path)
    return image_layer(radiograph, frame_of(radiograph.pixel_aspect, None, millimetres=False), facts)
