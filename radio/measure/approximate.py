"""A rough scale before anything is measured, only for choosing search widths."""

from __future__ import annotations

import numpy as np

from calib.dicom_spacing import SpacingFacts
from radio.measure.case import CaseFacts, Clicks
from radio.measure.receptor_pitch import receptor_pitches

# Canal orifice to apex, millimetres, when nothing else tells the scale; common practice, no source.
_TYPICAL_CANAL_MM = 12.5
_TYPICAL_FILE_MM = 23.0
# What a pixel of a dental radiograph can be; clicks that imply another size were misplaced.
_PIXEL_RANGE_MM = (0.005, 0.5)


def approximate_mm_per_px(clicks: Clicks, facts: CaseFacts, spacing: SpacingFacts, aspect: float) -> float:
    """Rough scale, only for choosing search widths; no measurement rests on it."""
    implied = _implied_mm_per_px(clicks, facts, spacing, aspect)
    return min(max(implied, _PIXEL_RANGE_MM[0]), _PIXEL_RANGE_MM[1])


def _implied_mm_per_px(clicks: Clicks, facts: CaseFacts, spacing: SpacingFacts, aspect: float) -> float:
    # a pixel size beside a scale from elsewhere only checks it: what is traced must not hang on it
    if facts.mm_per_px and facts.scale_from == "given":
        return facts.mm_per_px
    square = np.array([aspect, 1.0])

    def clicked_length(names: tuple[str, ...]) -> float:
        parts = [clicks[n] * square for n in names if n in clicks]
        points = np.vstack(parts) if parts else np.zeros((0, 2))
        return float(np.hypot(*np.diff(points, axis=0).T).sum()) if len(points) > 1 else 0.0

    if "file_start" in clicks and "file_tip" in clicks and facts.file_length_mm:
        return facts.file_length_mm / max(clicked_length(("file_start", "file_via", "file_tip")), 1.0)
    if facts.mm_per_px and facts.scale_from != "file":
        return facts.mm_per_px
    known = receptor_pitches(facts.detector_pitch_mm, facts.dpi, spacing, aspect)
    if known:
        return float(known[0].mm / np.sqrt(aspect) / 1.05)
    end = "canal_end" if "canal_end" in clicks else "apex"
    canal = clicked_length(("orifice", "canal_via", end))
    if canal > 0 and "orifice" in clicks and end in clicks:
        return _TYPICAL_CANAL_MM / canal
    file = clicked_length(("file_start", "file_via", "file_tip"))
    if file > 0 and "file_start" in clicks and "file_tip" in clicks:
        return _TYPICAL_FILE_MM / file
    return 0.03
