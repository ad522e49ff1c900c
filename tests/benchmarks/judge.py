"""Errors of one measured case against its exact truth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from radio.image.synthetic import SyntheticCase, Truth
from radio.measure.case import CaseResult
from radio.measure.result import Measurement
from tests.benchmarks import exact
from tests.benchmarks.plain import PlainResult

FloatArray = npt.NDArray[np.float64]


@dataclass
class Errors:
    """Signed errors of one case by measure, and the same in standard uncertainties.

    Parameters
    ----------
    error : dict of str to float
        In the unit of the measure (a key of `tests.benchmarks.rows`).
    in_sd : dict of str to float
        Error over its stated standard uncertainty, where one is stated.
    missing : list of str
        Measures this case should have and has not.
    failed : str
        Why there is no result at all; empty otherwise.
    """

    error: dict[str, float] = field(default_factory=dict)
    in_sd: dict[str, float] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    failed: str = ""

    def put(self, name: str, error: float, sd: float | None = None) -> None:
        """Keep one error; `sd` is its stated standard uncertainty, in the same unit."""
        self.error[name] = float(error)
        if sd is not None:
            self.in_sd[name] = float(error) / max(sd, 1e-12)


def expected(case: SyntheticCase) -> list[str]:
    """Measures a perfect tool would give for a case; the ball has its own list."""
    if case.truth.file_axis_px is None:
        return ["canal_length_no_file_mm", "line_no_file_mm", "schneider_no_file_deg"]
    return [
        "scale_file_pct",
        "scale_plane_pct",
        "tip_mm",
        "gap_mm",
        "working_length_mm",
        "reference_length_mm",
        "canal_length_file_mm",
        "line_file_mm",
        "schneider_file_deg",
    ]


def expected_plain(case: SyntheticCase) -> list[str]:
    """Measures of a case that the plain pipeline attempts."""
    beyond = ("gap_mm", "working_length_mm", "reference_length_mm")
    return [name for name in expected(case) if name not in beyond]


def expected_ball(case: SyntheticCase) -> list[str]:
    """Measures a ball on the image gives."""
    return ["ball_pct", "ball_5mm_pct"] if case.facts.ball_diameter_mm == 5.0 else ["ball_pct"]


def judge(result: CaseResult, case: SyntheticCase) -> Errors:
    """Errors of our pipeline.

    Parameters
    ----------
    result : CaseResult
    case : SyntheticCase
        What was measured.
    """
    truth, out = case.truth, Errors()
    suffix = _suffix(truth)
    found = result.measurements
    if result.scale is not None:
        source, relative = result.scale.source, result.scale.relative_sd
        _put_scale(out, truth, source, result.scale.mm_per_px, relative)
    if truth.file_axis_px is not None:
        _put_tip(out, result, truth)
        _put(out, "gap_mm", found.get("gap_mm"), truth.gap_mm)
        _put(out, "working_length_mm", found.get("working_length_mm"), truth.working_length_mm)
        wanted = exact.reference_length_mm(truth)
        _put(out, "reference_length_mm", found.get("reference_length_mm"), wanted)
    name = f"canal_length{suffix}_mm"
    _put(out, name, found.get("canal_length_mm"), truth.canal_length_mm)
    if name in out.error and "canal_end" in case.clicks:
        out.put(f"canal_length{suffix}_end_clicked_mm", out.error[name])
    _put_ends(out, result, truth, suffix)
    canal = None if result.canal_line is None else result.canal_line.points_px
    schneider = found.get("schneider_deg")
    angle = None if schneider is None else schneider.value
    sd = None if schneider is None else schneider.sd
    _put_canal(out, truth, canal, angle, sd, calibrated=result.scale is not None)
    out.put("seconds", result.seconds)
    out.missing = [one for one in expected(case) if one not in out.error]
    return out


def judge_plain(result: PlainResult, case: SyntheticCase) -> Errors:
    """Errors of the plain pipeline; same measures, no uncertainties."""
    truth, out = case.truth, Errors()
    if truth.file_tip_px is not None and result.file_line_px is not None:
        _put_scale(out, truth, "file", result.scale_mm_per_px, None)
        away = np.hypot(*(result.file_line_px[-1] - truth.file_tip_px))
        out.put("tip_mm", away * truth.mm_per_px)
    if result.canal_length_mm is not None:
        out.put(f"canal_length{_suffix(truth)}_mm", result.canal_length_mm - truth.canal_length_mm)
    _put_canal(out, truth, result.canal_line_px, result.schneider_deg, None, calibrated=True)
    out.put("seconds", result.seconds)
    out.missing = [one for one in expected_plain(case) if one not in out.error]
    return out


def judge_ball(result: CaseResult, case: SyntheticCase) -> Errors:
    """Error of a scale made from the ball, against the pixel size at the depth of the ball."""
    out, names = Errors(), expected_ball(case)
    if result.scale is not None and result.scale.source == "ball" and case.truth.ball_mm_per_px is not None:
        error = 100 * (result.scale.mm_per_px / case.truth.ball_mm_per_px - 1)
        for name in names:
            out.put(name, error, 100 * result.scale.relative_sd)
    out.missing = [name for name in names if name not in out.error]
    return out


def _suffix(truth: Truth) -> str:
    return "_no_file" if truth.file_axis_px is None else "_file"


def _put(out: Errors, name: str, found: Measurement | None, true: float | None) -> None:
    if found is not None and true is not None:
        out.put(name, found.value - true, found.sd)


def _put_scale(out: Errors, truth: Truth, source: str, mm_per_px: float, relative_sd: float | None) -> None:
    sd = None if relative_sd is None else 100 * relative_sd
    in_plane = 100 * (mm_per_px / truth.mm_per_px - 1)
    if source == "file" and truth.file_mm_per_px is not None:
        out.put("scale_file_pct", 100 * (mm_per_px / truth.file_mm_per_px - 1), sd)
        out.put("scale_plane_pct", in_plane, sd)
    elif source == "dicom":
        out.put("scale_header_pct", in_plane, sd)


def _put_tip(out: Errors, result: CaseResult, truth: Truth) -> None:
    fix = result.landmarks.get("file_tip")
    if fix is None or truth.file_axis_px is None or truth.file_tip_px is None:
        return
    out.put("tip_mm", float(np.hypot(*(fix.point_px - truth.file_tip_px))) * truth.mm_per_px)
    place = exact.against_end(fix.point_px, truth.file_tip_px, truth.file_axis_px, truth.mm_per_px)
    out.put("tip_along_mm", place.along_mm, fix.sd_along_px * truth.mm_per_px)
    out.put("tip_aside_mm", place.aside_mm, fix.sd_across_px * truth.mm_per_px)


def _put_ends(out: Errors, result: CaseResult, truth: Truth, suffix: str) -> None:
    ends: Mapping[str, FloatArray] = {"orifice": truth.orifice_px, "canal_end": truth.canal_end_px}
    for name, end_px in ends.items():
        fix = result.landmarks.get(name)
        if fix is not None:
            place = exact.against_end(fix.point_px, end_px, truth.canal_axis_px, truth.mm_per_px)
            out.put(f"{name}{suffix}_mm", place.along_mm, fix.sd_along_px * truth.mm_per_px)


def _put_canal(
    out: Errors,
    truth: Truth,
    line_px: FloatArray | None,
    angle: float | None,
    sd: float | None,
    *,
    calibrated: bool,
) -> None:
    """Line and Schneider angle; with a file also what of the angle's error the file's own lean explains."""
    suffix = _suffix(truth)
    if line_px is not None:
        away = exact.mean_distance_mm(line_px, truth.canal_axis_px, truth.mm_per_px)
        out.put(f"line{suffix}_mm", away)
    if angle is None:
        return
    wanted = exact.true_schneider_deg(truth.canal_axis_px, truth, calibrated=calibrated)
    out.put(f"schneider{suffix}_deg", angle - wanted, sd)
    if truth.file_axis_px is not None:
        leaning = exact.true_schneider_deg(exact.canal_along_file(truth), truth, calibrated=calibrated)
        out.put("schneider_lean_deg", leaning - wanted)
        out.put("schneider_rest_deg", angle - leaning)
