"""Constructions as a DICOM Grayscale Softcopy Presentation State, for any viewer to lay on the image."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

import radio
from radio.record.book_tables import measurements_of
from radio.record.colours import (
    AXIS_COLOUR,
    CANAL_COLOUR,
    CHORD_COLOUR,
    FILE_COLOUR,
    GAP_COLOUR,
    LANDMARK_COLOUR,
)
from radio.record.dicom_codes import to_graphic, uid_of
from radio.record.dicom_object import MAKER, MODEL, date_by
from radio.record.kept import KeptCanal
from radio.record.kept_lines import kept_lines
from radio.record.tracing import tracings_text
from radio.record.wording import UNIT_SIGNS, name_of, value_text

if TYPE_CHECKING:
    from pydicom import Dataset

FloatArray = npt.NDArray[np.float64]

_SERIES_NUMBER = 9102
# a layer each, so that a viewer can show them by themselves: name, what is on it, colour
_LAYERS = {
    "CANAL": ("Canal traces", CANAL_COLOUR),
    "FILE": ("File traces", FILE_COLOUR),
    "AXIS": ("Coronal axis of the Schneider angle", AXIS_COLOUR),
    "CHORD": ("Chord from the departure point", CHORD_COLOUR),
    "GAP": ("Gap, file tip to radiographic apex", GAP_COLOUR),
    "POINTS": ("Landmarks and numbers", LANDMARK_COLOUR),
}
_TOLD = ("working_length_mm", "estimated_length_mm", "gap_mm", "schneider_deg")


def presentation_state(kept: Sequence[KeptCanal], image: Dataset) -> Dataset:
    """Lay the lines, points and main numbers of some canals on their image.

    Parameters
    ----------
    kept : sequence of KeptCanal
        At least one; all of the same image and reader.
    image : pydicom.Dataset
        That image, as :func:`radio.record.dicom_source.source_image` gives it.

    Returns
    -------
    pydicom.Dataset
    """
    from highdicom import PresentationLUTTransformation
    from highdicom.color import CIELabColor
    from highdicom.pr import GraphicAnnotation, GraphicLayer, GrayscaleSoftcopyPresentationState

    layers = {
        name: GraphicLayer(name, order, told, CIELabColor.from_string(colour))
        for order, (name, (told, colour)) in enumerate(_LAYERS.items(), start=1)
    }
    lines = [kept_lines(one.tracing) for one in kept]
    annotations = []
    for name, layer in layers.items():
        graphics = [_graphic("POLYLINE", one[name], image) for one in lines if name in one]
        texts = []
        if name == "POINTS":
            fixes = [fix for one in kept for fix in one.tracing.proposed.landmarks.values()]
            graphics += [_graphic("POINT", np.array([fix.point_px]), image) for fix in fixes]
            texts = [_text(one, number, image) for number, one in enumerate(kept)]
        if graphics or texts:
            annotations.append(
                GraphicAnnotation(
                    [image], layer, graphic_objects=graphics or None, text_objects=texts or None
                )
            )
    reader = kept[0].tracing.reader
    state = GrayscaleSoftcopyPresentationState(
        referenced_images=[image],
        series_instance_uid=uid_of("presentations", str(image.StudyInstanceUID), reader),
        series_number=_SERIES_NUMBER,
        sop_instance_uid=uid_of(
            "presentation", str(image.SOPInstanceUID), tracings_text([one.tracing for one in kept])
        ),
        instance_number=1,
        manufacturer=MAKER,
        manufacturer_model_name=MODEL,
        software_versions=radio.__version__,
        device_serial_number=radio.__version__,
        content_label="ROOT_CANALS",
        content_description="Traces and constructions of root canals",
        graphic_annotations=annotations,
        graphic_layers=list(layers.values()),
        presentation_lut_transformation=PresentationLUTTransformation(_polarity(image)),
        content_creator_name="",
    )
    if "Laterality" not in state:
        state.Laterality = None
    state.SpecificCharacterSet = "ISO_IR 192"
    date_by(state, (one.tracing for one in kept), "PresentationCreation")
    return state


def _polarity(image: Dataset) -> str:
    """A presentation state says by itself which way the values run (PS3.3 C.11.6.1.2)."""
    inverse = image.PhotometricInterpretation == "MONOCHROME1"
    return str(image.get("PresentationLUTShape") or ("INVERSE" if inverse else "IDENTITY"))


def _graphic(kind: str, points_px: FloatArray, image: Dataset) -> Any:
    from highdicom.pr import GraphicObject

    return GraphicObject(kind, _inside(points_px, image), "PIXEL")


def _text(kept: KeptCanal, number: int, image: Dataset) -> Any:
    from highdicom.pr import TextObject

    found = measurements_of(kept)
    shown = [found[name] for name in _TOLD if name in found]
    told = [
        f"{name_of(one)} {value_text(one, unit=UNIT_SIGNS.get(one.unit, f' {one.unit}'))}" for one in shown
    ]
    # from the top left corner, one canal below the other: a text by its line would hide what it is of
    left, top = 0.02 * image.Columns, (0.02 + 0.16 * number) * image.Rows
    box = (left, top, 0.6 * image.Columns, min(top + 0.15 * image.Rows, float(image.Rows)))
    lines = [f"Canal {kept.canal}", *told]
    return TextObject("\r\n".join(lines), "PIXEL", bounding_box=box, text_justification="LEFT")


def _inside(points_px: FloatArray, image: Dataset) -> npt.NDArray[np.float32]:
    """Graphic coordinates that end at the edge of the image: a viewer need not show what lies beyond."""
    return np.clip(to_graphic(points_px), 0.0, np.array([image.Columns, image.Rows], dtype=np.float32))
