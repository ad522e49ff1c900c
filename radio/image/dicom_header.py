"""Facts a DICOM header gives: what pixels measure, and what may be kept without naming anyone."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from calib.dicom_spacing import SpacingFacts

Pair = tuple[float, float]

RADIOGRAPH_CLASSES = {
    "1.2.840.10008.5.1.4.1.1.1.3": "intra-oral, for presentation",
    "1.2.840.10008.5.1.4.1.1.1.3.1": "intra-oral, for processing",
    "1.2.840.10008.5.1.4.1.1.1.1": "digital X-ray, for presentation",
    "1.2.840.10008.5.1.4.1.1.1.1.1": "digital X-ray, for processing",
    "1.2.840.10008.5.1.4.1.1.1": "computed radiography",
    "1.2.840.10008.5.1.4.1.1.7": "secondary capture",
    "1.2.840.10008.5.1.4.1.1.7.2": "secondary capture, grey byte",
    "1.2.840.10008.5.1.4.1.1.7.3": "secondary capture, grey word",
    "1.2.840.10008.5.1.4.1.1.7.4": "secondary capture, true colour",
}
"""SOP classes of radiographs (PS3.4 B.5); others that hold one grey frame are read with a remark."""

OTHER_CLASS = "other than a radiograph"
_INTRA_ORAL = ("1.2.840.10008.5.1.4.1.1.1.3", "1.2.840.10008.5.1.4.1.1.1.3.1")
# facts that cannot name anyone: coded strings and numbers only, and checked to be such
_CODED_FACTS = {
    "Modality": "modality",
    "PhotometricInterpretation": "photometric",
    "PresentationIntentType": "presentation_intent",
    "PresentationLUTShape": "presentation_lut_shape",
    "PixelIntensityRelationship": "pixel_intensity_relationship",
    "PixelIntensityRelationshipSign": "pixel_intensity_relationship_sign",
    "VOILUTFunction": "voi_function",
    "WindowCenter": "window_centre",
    "WindowWidth": "window_width",
    "BurnedInAnnotation": "burned_in_annotation",
    "LossyImageCompression": "lossy_image_compression",
    "ImageLaterality": "laterality",
    "ViewPosition": "view_position",
    "BodyPartExamined": "body_part",
    "PositionerType": "positioner_type",
    "DetectorType": "detector_type",
    "ConversionType": "conversion_type",
    "KVP": "tube_voltage_kv",
    "DistanceSourceToDetector": "source_to_detector_mm",
    "DistanceSourceToPatient": "source_to_patient_mm",
}
_CODED_ITEMS = {
    "AnatomicRegionSequence": "anatomic_region",
    "PrimaryAnatomicStructureSequence": "anatomic_structure",
    "ViewCodeSequence": "view_code",
}
_CODED = re.compile(r"[A-Z0-9_ .+-]{1,16}(\\[A-Z0-9_ .+-]{1,16}){0,7}")


def _pair(ds: Any, keyword: str, notes: list[str]) -> Pair | None:
    """Two positive numbers in header order (rows first); anything else counts as absent and is noted."""
    try:
        value = ds.get(keyword)
        if value is None or value == "":
            return None
        first, second = (float(number) for number in value)
        if np.isfinite(first) and np.isfinite(second) and min(first, second) > 0:
            return first, second
    except (TypeError, ValueError, OverflowError):
        pass
    notes.append(f"{keyword} in the header is not two positive numbers and was ignored")
    return None


def spacing_facts(ds: Any, notes: list[str]) -> tuple[SpacingFacts, float]:
    """Collect the pixel-size statements, each under its own name.

    Parameters
    ----------
    ds : pydicom.Dataset
        The image's header.
    notes : list of str
        Receives a remark on every malformed statement.

    Returns
    -------
    facts : SpacingFacts
        The statements, rows first as in the header (PS3.3 10.7.1.3).
    pixel_aspect : float
        Row spacing over column spacing.
    """
    pixel = _pair(ds, "PixelSpacing", notes)
    imager = _pair(ds, "ImagerPixelSpacing", notes)
    nominal = _pair(ds, "NominalScannedPixelSpacing", notes)
    try:
        factor = float(ds.get("EstimatedRadiographicMagnificationFactor") or "nan")
    except (TypeError, ValueError):
        factor = float("nan")
        notes.append("EstimatedRadiographicMagnificationFactor in the header is no number and was ignored")
    kind = str(ds.get("PixelSpacingCalibrationType") or "")
    facts = SpacingFacts(
        imager_mm=imager,
        pixel_mm=pixel,
        calibration_type=kind if kind in ("GEOMETRY", "FIDUCIAL") else None,
        calibration_description=str(ds.get("PixelSpacingCalibrationDescription") or ""),
        magnification=factor if np.isfinite(factor) else None,
        nominal_scanned_mm=nominal,
        intra_oral=str(ds.get("SOPClassUID", "")) in _INTRA_ORAL or str(ds.get("Modality", "")) == "IO",
    )
    # Pixel Aspect Ratio is vertical over horizontal size and stands in only where no spacing is given
    ratio = pixel or imager or nominal or _pair(ds, "PixelAspectRatio", notes) or (1.0, 1.0)
    return facts, ratio[0] / ratio[1]


def header_facts(ds: Any) -> dict[str, str]:
    """Collect header facts that cannot identify a person: codes and numbers from a fixed list.

    Parameters
    ----------
    ds : pydicom.Dataset
        The image's header.

    Returns
    -------
    dict of str to str
        Facts by our own short names.
    """
    facts = {"transfer_syntax": str(ds.file_meta.TransferSyntaxUID.name)}
    uid = ds.get("SOPClassUID")
    if uid is not None:
        facts["sop_class"] = RADIOGRAPH_CLASSES.get(str(uid), OTHER_CLASS)
    for keyword, name in _CODED_FACTS.items():
        value = ds.get(keyword)
        parts = value if np.iterable(value) and not isinstance(value, str) else [value]
        text = "\\".join(str(part) for part in parts)
        if value is not None and _CODED.fullmatch(text):
            facts[name] = text
    for keyword, name in _CODED_ITEMS.items():
        codes = [
            f"{item.get('CodeValue', '')} {item.get('CodingSchemeDesignator', '')}"
            for item in ds.get(keyword) or ()
        ]
        if codes and all(_CODED.fullmatch(code) for code in codes):
            facts[name] = ", ".join(codes)
    return facts
