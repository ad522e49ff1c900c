"""What is said about an image before anything is measured on it; no Qt, no napari."""

from __future__ import annotations

from calib.dicom_spacing import SpacingFacts, detector_pitch_mm
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseFacts


def image_facts(radiograph: Radiograph) -> str:
    """Tell in a few lines what the image is."""
    rows, cols = radiograph.grey.shape
    name = radiograph.path.name if radiograph.path else "Radiograph without a name"
    lines = [name, f"{radiograph.file_format}, {rows} rows x {cols} columns, {radiograph.bits_stored} bits"]
    lines += spacing_facts(radiograph.spacing)
    return "\n".join(lines)


def spacing_facts(spacing: SpacingFacts) -> list[str]:
    """Tell what the header states about pixel size, each statement by its kind."""
    told = []
    if spacing.imager_mm:
        told.append(f"Pixel size at the receptor: {_pair(spacing.imager_mm)}")
    if spacing.nominal_scanned_mm:
        told.append(f"Pixel size of the scanned film: {_pair(spacing.nominal_scanned_mm)}")
    if spacing.pixel_mm:
        kind = spacing.calibration_type or "not calibrated"
        told.append(f"Pixel spacing, {kind.lower()}: {_pair(spacing.pixel_mm)}")
    if spacing.magnification:
        told.append(f"Magnification stated: {spacing.magnification:g}")
    return told or ["The image states no pixel size."]


def image_cautions(radiograph: Radiograph, facts: CaseFacts) -> str:
    """Tell what to be careful about with this image and what is stated about the canal, one line each."""
    spacing = radiograph.spacing
    told = []
    if detector_pitch_mm(spacing) is None and spacing.pixel_mm is None:
        if _lacks_length(facts):
            told.append("For millimetres a known length on the image is needed: the file or a ball.")
    elif spacing.calibration_type is None:
        told.append("The pixel size holds at the receptor; the tooth is shown magnified.")
    if radiograph.pixel_aspect != 1.0:
        told.append(f"Pixels are not square (height : width = {radiograph.pixel_aspect:.3f}); shown true.")
    padding = 1.0 - float(radiograph.film.mean())
    if padding > 0.005:
        told.append(f"{padding:.0%} of the image is padding around the film and is left out.")
    if radiograph.file_format == "JPEG":
        told.append("JPEG blurs fine edges; use the original export when there is one.")
    if radiograph.bits_stored <= 8:
        told.append("8 bits: fine shades may be lost.")
    return "\n".join(f"! {line}" for line in told)


def _lacks_length(facts: CaseFacts) -> bool:
    """Say whether millimetres are wanted and nothing is stated that they could come from."""
    stated = {"file": facts.file_length_mm, "ball": facts.ball_diameter_mm, "given": facts.mm_per_px}
    if facts.scale_from is None:
        return all(length is None for length in stated.values())
    return facts.scale_from != "none" and stated.get(facts.scale_from) is None


def _pair(size_mm: tuple[float, float]) -> str:
    row, col = size_mm
    return f"{row:.4g} mm" if row == col else f"{row:.4g} mm down, {col:.4g} mm across"
