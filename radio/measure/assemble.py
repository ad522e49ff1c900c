"""Millimetres and degrees from traced lines: scale, lengths, angle, electronic comparison."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calib.dicom_spacing import scale_from_dicom
from calib.known_length import scale_given
from calib.scale import CalibrationError, Scale
from radio.image.radiograph import Radiograph
from radio.measure.bend import Bend, end_words, measure_bend, square
from radio.measure.case import CaseFacts, Remark
from radio.measure.case_reading import compared_reading
from radio.measure.estimate import estimated_length
from radio.measure.file_scale import scale_of_ball, scale_of_file
from radio.measure.gap_lengths import (
    GapInImage,
    gap_budget,
    gap_mm,
    known_file_length,
    working_length_budget,
    working_length_mm,
)
from radio.measure.length import canal_length_mm
from radio.measure.length_rules import target_of
from radio.measure.receptor_pitch import receptor_pitches
from radio.measure.result import Measurement
from radio.measure.scale_witness import implied_magnification
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
from radio.measure.stack import TraceStack, angles_deg, cross2
from radio.measure.trace_case import TracedCase
from radio.trace.curve import arc_length, project

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Assembly:
    """What follows from the lines once millimetres are known (or not)."""

    scale: Scale | None
    implied_magnification: float | None
    measurements: Mapping[str, Measurement]
    bend: Bend | None
    remarks: tuple[Remark, ...]
    no_scale: str = ""
    """Why there is no scale, where one was wanted."""


def assemble(
    radiograph: Radiograph,
    traced: TracedCase,
    facts: CaseFacts,
    settings: CurvatureSettings = DEFAULT_SETTINGS,
    *,
    without: Set[str] = frozenset(),
) -> Assembly:
    """All numbers of one canal.

    Parameters
    ----------
    radiograph : Radiograph
        For its spacing facts.
    traced : TracedCase
    facts : CaseFacts
    settings : CurvatureSettings
    without : set of str
        Lengths that are left out, and whatever is made of them.

    Returns
    -------
    Assembly
    """
    remarks: list[Remark] = []
    out: dict[str, Measurement] = {}
    file_px = _file_length(traced)
    if file_px is not None:
        out[file_px.name] = file_px
    scale, no_scale = _scale(radiograph, traced, facts, file_px)
    canal_px = _canal_length_px(traced)
    if canal_px is not None:
        out[canal_px.name] = canal_px
    if scale is not None:
        _lengths(out, traced, facts, scale, canal_px, remarks)
        estimate = estimated_length(traced, scale)
        out |= {} if estimate is None else {estimate.name: estimate}
    out = {name: one for name, one in out.items() if name not in without}
    target = target_of(facts, out)
    out |= {} if target is None else {target.name: target}
    bend = measure_bend(traced, scale, settings)
    if bend is not None:
        out |= bend.measurements
        remarks += _placed_remarks(bend.stack, scale)
    compared, told = compared_reading(facts, out)
    out |= {} if compared is None else {compared.difference.name: compared.difference}
    remarks += told
    if facts.mm_per_px_sd is not None and facts.mm_per_px is None:
        remarks.append(Remark("warn", "mm_per_px_sd is stated without mm_per_px: it is of no use alone."))
    _confidence(traced, scale, remarks)
    magnification = _magnification(radiograph, facts, scale)
    return Assembly(scale, magnification, out, bend, tuple(remarks), no_scale)


# A departure point or an axis placed this far from the canal, in mm or as a share of its length, is astray.
_ASTRAY_MM, _ASTRAY_SHARE, _ASTRAY_DEG = 1.0, 0.08, 30.0


def _placed_remarks(stack: TraceStack, scale: Scale | None) -> list[Remark]:
    """Whether what a person placed lies where the canal does not."""
    astray = _ASTRAY_MM if scale is not None else _ASTRAY_SHARE * float(stack.length[0])
    remarks = []
    if stack.placed.departure is not None:
        away = float(np.hypot(*(stack.points[0] - stack.placed.departure).T).min())
        at_end = stack.departure_s[0] in (0.0, stack.length[0])
        if away > astray or at_end:
            where = f"{away:.1f} {stack.unit} from the traced canal"
            ends = ", and nearest to one of its ends" if at_end else ""
            remarks.append(
                Remark(
                    "warn", f"The departure point placed by hand lies {where}{ends}: the angles do not hold."
                )
            )
    if stack.placed.axis is not None:
        third = stack.points[0, stack.points.shape[1] // 3] - stack.orifice[0]
        turned = float(angles_deg(stack.axis[1][0], third))
        beside = float(abs(cross2(stack.axis[1][0], stack.orifice[0] - stack.axis[0][0])))
        if turned > _ASTRAY_DEG or beside > 2 * astray:
            remarks.append(
                Remark(
                    "warn",
                    f"The coronal axis placed by hand runs {turned:.0f} degrees off the coronal third of the "
                    f"canal and passes the orifice at {beside:.1f} {stack.unit}: the angles do not hold.",
                )
            )
    return remarks


def _file_length(traced: TracedCase) -> Measurement | None:
    if traced.file_line is None or "file_start" not in traced.landmarks:
        return None
    length = arc_length(square(traced.file_line.points_px, traced.aspect))
    start, tip = traced.landmarks["file_start"], traced.landmarks["file_tip"]
    sd = float(np.hypot(start.sd_along_px, tip.sd_along_px))
    return Measurement(
        "file_length_px",
        length,
        "px",
        sd,
        "arc length of the traced file, start to tip",
        f"start: {start.how}; tip: {tip.how}",
    )


def _scale(
    radiograph: Radiograph,
    traced: TracedCase,
    facts: CaseFacts,
    file_px: Measurement | None,
) -> tuple[Scale | None, str]:
    """The scale the user asked for, or the best there is: file, ball, given, then the image header.

    Also why there is none, where one was wanted.
    """
    if facts.scale_from == "none":
        return None, ""
    wanted = [facts.scale_from] if facts.scale_from else ["file", "ball", "given", "dicom"]
    reasons = []
    for source in wanted:
        try:
            return _scale_from(str(source), radiograph, traced, facts, file_px), ""
        except CalibrationError as error:
            reasons.append(str(error))
    return None, reasons[0] if facts.scale_from else "Nothing of known size was given."


def _scale_from(
    source: str, radiograph: Radiograph, traced: TracedCase, facts: CaseFacts, file_px: Measurement | None
) -> Scale:
    aspect = radiograph.pixel_aspect
    if source == "file":
        by_file = scale_of_file(file_px, traced.landmarks, facts, aspect)
        if by_file is None:
            raise CalibrationError("the scale from the file needs file_length_mm, file_start and file_tip.")
        return by_file
    if source == "ball":
        by_ball = scale_of_ball(traced.ball, facts, aspect)
        if by_ball is None:
            raise CalibrationError(
                "the scale from a ball needs ball_diameter_mm and a ball found at ball_centre."
            )
        return by_ball
    if source == "given":
        if facts.mm_per_px is None:
            raise CalibrationError("a given scale needs mm_per_px.")
        return scale_given(facts.mm_per_px, facts.mm_per_px_sd, pixel_aspect=aspect)
    return scale_from_dicom(radiograph.spacing)


def _magnification(radiograph: Radiograph, facts: CaseFacts, scale: Scale | None) -> float | None:
    known = receptor_pitches(facts.detector_pitch_mm, facts.dpi, radiograph.spacing, radiograph.pixel_aspect)
    if scale is None or not known or scale.source == "dicom":
        return None
    return implied_magnification(scale, known[0].mm).value


def _canal_length_px(traced: TracedCase) -> Measurement | None:
    if traced.canal_line is None:
        return None
    length = arc_length(square(traced.canal_line.points_px, traced.aspect))
    end = traced.landmarks.get("canal_end") or traced.landmarks["apex"]
    orifice = traced.landmarks["orifice"]
    return Measurement(
        "canal_length_px",
        length,
        "px",
        float(np.hypot(orifice.sd_along_px, end.sd_along_px)),
        f"arc length of the traced canal, orifice to {end_words(traced)}",
        f"orifice: {orifice.how}; end: {end.how}",
    )


def _lengths(
    out: dict[str, Measurement],
    traced: TracedCase,
    facts: CaseFacts,
    scale: Scale,
    canal_px: Measurement | None,
    remarks: list[Remark],
) -> None:
    if canal_px is not None:
        ends = f"orifice to {end_words(traced)}"
        out["canal_length_mm"] = canal_length_mm(canal_px.value, canal_px.sd or 0.0, scale, ends)
    if traced.gap_px is None:
        return
    image = GapInImage.of(traced.gap_px, traced.landmarks, out.get("file_length_px"))
    known = known_file_length(facts)
    gap = out["gap_mm"] = gap_mm(gap_budget(image, scale, known), scale)
    if known is not None:
        how = f"file length {known.value:g} mm {known.how}"
        out["working_length_mm"] = working_length_mm(working_length_budget(image, scale, known), gap, how)
    if "reference" in traced.landmarks and traced.file_line is not None:
        out["reference_length_mm"] = _length_from_reference(gap, traced, scale)
    if "working_length_mm" not in out:
        remarks.append(Remark("note", "No working length: it needs the length of the file in the image."))


def _length_from_reference(gap: Measurement, traced: TracedCase, scale: Scale) -> Measurement:
    """Length along file and canal from the coronal reference to the apex, wholly by the scale."""
    assert traced.file_line is not None
    points = square(traced.file_line.points_px, traced.aspect)
    reference = traced.landmarks["reference"]
    s, _ = project(points, square(reference.point_px, traced.aspect))
    tip = traced.landmarks["file_tip"]
    length = (arc_length(points) - s) * scale.col_mm_per_px
    ends = float(np.hypot(reference.sd_along_px, tip.sd_along_px)) * scale.col_mm_per_px
    sd = float(np.linalg.norm([ends, length * scale.relative_sd, gap.sd or 0.0]))
    return Measurement(
        "reference_length_mm",
        length + gap.value,
        "mm",
        sd,
        "along file and canal, from the foot of the reference on the file to the radiographic apex",
        f"all of it by the scale from {scale.source}; gap {gap.value:+.2f} mm",
        ("A scale error acts on the whole length here, unlike in the working length.",),
    )


def _confidence(traced: TracedCase, scale: Scale | None, remarks: list[Remark]) -> None:
    for line in (traced.file_line, traced.canal_line):
        if line is None or line.confident.all():
            continue
        doubtful = ~line.confident
        share = float(doubtful.mean())
        if share > 0.08:
            length = share * arc_length(square(line.points_px, traced.aspect))
            extent = f"{length:.0f} px" if scale is None else f"{length * scale.col_mm_per_px:.1f} mm"
            first, last = np.flatnonzero(doubtful)[[0, -1]] / max(len(doubtful) - 1, 1)
            remarks.append(
                Remark(
                    "warn",
                    f"The image supports the {line.kind} poorly over about {extent} (between {first:.0%} "
                    f"and {last:.0%} of its length from the coronal end): bridged there, check it by eye.",
                )
            )
