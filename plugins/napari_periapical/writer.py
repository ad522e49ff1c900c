"""Writer contribution: the results table of the image that is worked on, from File > Save Selected Layers."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from napari_periapical import keeping
from napari_periapical.commands import current_binding
from napari_periapical.controller import Controller
from napari_periapical.layers import RADIOGRAPH, ROLE
from radio.errors import PeriapicalError, TableError
from radio.image.radiograph import Radiograph

ENDING = ".results.csv"
"""More than .csv, so that napari's own table of any points layer stays what it is."""


def write_results(path: str, layer_data: Sequence[tuple[Any, dict[str, Any], str]]) -> list[str]:
    """Write the results table of the image these layers belong to.

    Parameters
    ----------
    path : str
        Where; given :data:`ENDING` when it has no ending.
    layer_data : sequence of layer data
        What is to be saved: a radiograph or layers drawn on it. Others beside them are passed over.

    Returns
    -------
    list of str
        The path that was written.

    Raises
    ------
    OSError
        No layer belongs to the image that is worked on, nothing is measured, or the place cannot be written;
        of a ValueError, which our own errors are, napari says only that no plugin was found.
    """
    try:
        controller = _controller_of(layer_data)
        # another ending is a wish; it is the person's to name things
        place = Path(path) if Path(path).suffix else Path(f"{path}{ENDING}")
        controller.tell("good", keeping.keep_table(controller, place))
    except PeriapicalError as error:
        raise OSError(str(error)) from error
    return [str(place)]


def _controller_of(layer_data: Sequence[tuple[Any, dict[str, Any], str]]) -> Controller:
    """Find the controller that works on the image of these layers.

    Raises
    ------
    TableError
        There is none.
    """
    metadata = [given.get("metadata", {}) for _, given, _ in layer_data]
    images = [one[RADIOGRAPH] for one in metadata if isinstance(one.get(RADIOGRAPH), Radiograph)]
    if not images and not any(ROLE in one for one in metadata):
        names = ", ".join(str(given.get("name", kind)) for _, given, kind in layer_data)
        raise TableError(
            f"{names}: no layer of a measured radiograph. The results table is written from the layer of a "
            "radiograph, or from Landmarks and the others drawn on it."
        )
    binding = current_binding()
    if isinstance(binding, str):
        raise TableError(binding)
    session = binding.controller.session
    if images and (session is None or all(one.sha256 != session.radiograph.sha256 for one in images)):
        name = images[0].path.name if images[0].path else "This image"
        raise TableError(f"{name} is not the image that is worked on. Click its layer, then save again.")
    return binding.controller
