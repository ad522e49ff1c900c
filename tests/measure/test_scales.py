"""Every scale an image can give, and the cross-checks between them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import cos, hypot, radians, sqrt

import numpy as np
import pytest

from calib.dicom_spacing import SpacingFacts
from calib.instruments import HandFile
from radio.errors import CalibrationError, PeriapicalError
from radio.measure.case import CaseFacts
from radio.measure.file_scale import girth_of, scale_of_girth
from radio.measure.girth_lean import GirthComparison
from radio.measure.known_distance import KnownDistance, scale_of_known_distance
from radio.measure.pipeline import measure_case
from radio.measure.result import Measurement
from radio.measure.scale_bounds import PoseLimits, bounded_lengths
from radio.measure.scale_checks import _compared, _of_lean, scale_report
from radio.measure.scale_witness import length_judged, witness_of
from radio.measure.scales import StatedScales, scales_of_image
from radio.trace.circle import Ball
from tests.fixtures.made_case import made_case, made_radiograph
from tests.fixtures.painted import as_radiograph, painted_tooth

NOTHING = StatedScales()


@cache
def painted(**facts):
    """A painted tooth with file and ball, measured."""
    tooth = painted_tooth(ball=True)
    radiograph = as_radiograph(tooth.grey)
    given = {"file_length_mm": tooth.file_length_mm, "file_size": 20, "ball_diameter_mm": 3.0}
    return tooth, radiograph, measure_case(radiograph, tooth.clicks, CaseFacts(**(given | facts)))


def report_of(stated=NOTHING, **facts):
    _, radiograph, result = painted(**facts)
    return scale_report(radiograph, [result], stated, diameters=False)


def made(canal="1", **more):
    """A result without an image behind it."""
    _, _, result = made_case(canal)
    facts = {name: more.pop(name) for name in list(more) if name in CaseFacts.__dataclass_fields__}
    return replace(result, facts=replace(result.facts, **facts), **more)


def scales_of(*results, stated=NOTHING, aspect=1.0, **spacing):
    radiograph = replace(made_radiograph(), pixel_aspect=aspect, spacing=SpacingFacts(**spacing))
    return scales_of_image(radiograph, results, stated, diameters=False)


def test_file_and_ball_hold_the_painted_scale_and_the_one_measured_with_counts() -> None:
    tooth, _, result = painted()
    found = report_of().found
    for name in ("file", "ball"):
        scale = found.named(name).scale
        assert abs(scale.mm_per_px - tooth.mm_per_px) < 3 * scale.sd_mm_per_px
    assert found.counted == {"1": "file"}
    assert found.named("file").scale == result.scale
    by_ball = report_of(scale_from="ball")
    assert by_ball.found.counted == {"1": "ball"}
    assert by_ball.found.named("ball").scale == painted(scale_from="ball")[2].scale
    assert {one.name for one in by_ball.found.scales} == {"file", "ball"}


def test_budget_of_a_file_tells_length_stop_and_tip_apart() -> None:
    """First-order propagation by hand, JCGM 100:2008 5.1.2, for known length over length in the image."""
    _, _, result = painted()
    scale, length_px = result.scale, result.measurements["file_length_px"].value
    rows = {row.name: row for row in scale.budget.rows}
    slope = result.facts.file_length_mm / length_px**2
    for name, landmark in (("place of the stop", "file_start"), ("place of the tip", "file_tip")):
        expected = slope * result.landmarks[landmark].sd_along_px
        assert abs(rows[name].contribution) == pytest.approx(expected, rel=1e-6)
    # triangular ± 0.25 mm, JCGM 100:2008 4.3.9
    assert rows["known file length"].sd == pytest.approx(0.25 / sqrt(6))
    assert sum(row.share for row in scale.budget.rows) == pytest.approx(1.0)
    assert hypot(*(row.contribution for row in scale.budget.rows)) == pytest.approx(scale.sd_mm_per_px)


def test_stated_pixels_by_arithmetic() -> None:
    """25.4 mm an inch; a wire and a grid by the theorem of Pythagoras, 3-4-5."""
    stated = StatedScales(0.02, 600, KnownDistance(((10.0, 20.0), (310.0, 420.0)), 20.0))
    found = scales_of(made(), stated=stated)
    assert found.named("detector pitch").scale.mm_per_px == pytest.approx(0.02 / 1.065)
    assert found.named("scan resolution").scale.mm_per_px == pytest.approx(25.4 / 600 / 1.065)
    assert found.named("wire").scale.mm_per_px == pytest.approx(20.0 / 500.0)
    assert [one.assumed for one in found.scales] == [False, True, True, False]
    grid = KnownDistance(((10.0, 20.0), (310.0, 420.0)), 2.0, intervals=10, sd_mm=0.0)
    scale = scale_of_known_distance(grid, made_radiograph())
    assert scale.mm_per_px == pytest.approx(20.0 / 500.0)
    # two clicks of ± 0.25 mm each
    assert scale.relative_sd == pytest.approx(0.25 * sqrt(2) / 20.0, rel=1e-3)


def test_pixels_that_are_not_square_count_by_rows_and_columns() -> None:
    known = KnownDistance(((10.0, 50.0), (210.0, 50.0)), 12.0)
    found = scales_of(made(), stated=StatedScales(known=known), aspect=1.5)
    scale = found.named("wire").scale
    assert scale.row_mm_per_px == pytest.approx(12.0 / 200)
    assert scale.col_mm_per_px == pytest.approx(12.0 / 300)


def test_pitch_is_the_stated_one_and_a_contradiction_is_told() -> None:
    found = scales_of(made(), stated=StatedScales(0.02), imager_mm=(0.04, 0.04))
    assert (found.pitch.mm, found.pitch.where) == (0.02, "as stated")
    assert "one of them is wrong" in found.remarks[0]
    assert not scales_of(made(), stated=StatedScales(0.04), imager_mm=(0.04, 0.04)).remarks
    assert scales_of(made(), imager_mm=(0.04, 0.04)).pitch.where == "of the image header"
    assert scales_of(made()).pitch is None


def test_given_sizes_are_one_scale_unless_they_differ() -> None:
    alike = scales_of(made("MB", mm_per_px=0.05), made("ML", mm_per_px=0.05))
    assert [one.name for one in alike.scales if one.scale.source == "given"] == ["given pixel size"]
    apart = scales_of(made("MB", mm_per_px=0.05), made("ML", mm_per_px=0.06, scale_from="given"))
    names = [one.name for one in apart.scales if one.scale.source == "given"]
    assert names == ["given pixel size of canal MB", "given pixel size of canal ML"]


def test_one_ball_clicked_for_two_canals_is_one_witness() -> None:
    balls = [Ball(100.0, 100.0, size, 0.5, 0.9) for size in (100.0, 100.2, 120.0)]
    results = [made(canal, ball=ball, ball_diameter_mm=5.0) for canal, ball in zip("ABC", balls, strict=True)]
    twins = {one.name: one.twin_of for one in scales_of(*results).scales if one.scale.source == "ball"}
    assert twins == {"ball of canal A": "", "ball of canal B": "ball of canal A", "ball of canal C": ""}


def test_what_was_half_given_says_what_lacks() -> None:
    lacking = dict(scales_of(made(file_length_mm=None, ball_diameter_mm=5.0, scale=None)).absent)
    assert lacking["file"] == "file_length_mm is not given"
    assert lacking["ball"] == "no ball was found at ball_centre"
    assert "no pixel size" in lacking["image header"]
    assert scales_of(made(scale=None)).counted == {"1": None}


def test_implied_magnification_is_that_of_the_exposure() -> None:
    """Source 203 mm from the receptor, tooth 10 mm: magnification 203 / 193, by similar triangles."""
    tooth, _, _ = painted()
    pitch = tooth.mm_per_px * 203 / 193
    report = report_of(StatedScales(pitch))
    implied = report.canals[0].magnification
    assert abs(implied.value - 203 / 193) < 3 * implied.sd
    (check,) = (one for one in report.canals[0].checks if one.kind == "magnification")
    assert check.level == "note"
    far = report_of(StatedScales(1.3 * tooth.mm_per_px)).canals[0]
    assert [one.level for one in far.checks if one.kind == "magnification"] == ["warn"]


def test_a_length_mistyped_is_noticed_by_pitch_and_by_ball() -> None:
    """21 mm entered for 25 mm makes the scale wrong by 21/25, arithmetic."""
    tooth, radiograph, _ = painted()
    wrong = tooth.file_length_mm * 21 / 25
    _, _, result = painted(file_length_mm=wrong)
    report = scale_report(radiograph, [result], StatedScales(1.04 * tooth.mm_per_px), diameters=False)
    judged = {one.evidence: one.judged for one in report.canals[0].meant}
    assert set(judged) == {"detector pitch as stated", "ball"}
    for one in judged.values():
        assert one.suspicious
        assert one.fits_mm[0] < tooth.file_length_mm < one.fits_mm[1]
    assert report.compared.pairs[0].apart
    assert not report.compared.agree
    assert [one.level for one in report.checks] == ["warn"]
    right = report_of(StatedScales(1.04 * tooth.mm_per_px))
    assert not any(one.judged.suspicious for one in right.canals[0].meant)
    assert all(one.level == "note" for one in (*right.checks, *right.canals[0].checks))


def test_of_two_files_the_pitch_tells_which_length_is_the_mistake() -> None:
    """Both files are 420 px long; 21 mm make 0.05 mm/px, at a magnification of 1.05 a pitch of 0.0525 mm."""
    files = [made("MB", file_length_mm=25.0), made("ML", file_length_mm=21.0)]
    report = scale_report(made_radiograph(), files, StatedScales(0.0525), diameters=False)
    (agreement,) = report.checks
    assert agreement.level == "warn"
    assert "not that for the file of canal MB (25 mm): the latter is the likely mistake" in agreement.text
    by_canal = {one.result.facts.canal: one for one in report.canals}
    levels = {
        canal: {check.text.split(":")[0]: check.level for check in one.checks if check.kind == "file length"}
        for canal, one in by_canal.items()
    }
    assert levels["MB"]["File length by file of canal ML"] == "warn"
    assert levels["ML"]["File length by file of canal MB"] == "note"
    # without a pitch neither is cleared
    blind = scale_report(made_radiograph(), files, NOTHING, diameters=False)
    assert "likely mistake" not in blind.checks[0].text
    assert [c.level for one in blind.canals for c in one.checks if c.kind == "file length"] == ["warn"] * 2


def test_scales_that_assume_a_magnification_are_not_set_against_others() -> None:
    assert scale_report(made_radiograph(), [made()], StatedScales(0.02), diameters=False).compared is None
    unsure = KnownDistance(((10.0, 20.0), (310.0, 420.0)), 20.0, sd_mm=1.0)
    report = scale_report(made_radiograph(), [made()], StatedScales(known=unsure), diameters=False)
    assert report.compared is None


def test_the_header_is_evidence_of_length_only_where_no_pitch_is_known() -> None:
    radiograph = replace(made_radiograph(), spacing=SpacingFacts(pixel_mm=(0.0575, 0.0575)))
    (canal,) = scale_report(radiograph, [made()], StatedScales(), diameters=False).canals
    assert [one.evidence for one in canal.meant] == ["image header"]
    (canal,) = scale_report(radiograph, [made()], StatedScales(0.052), diameters=False).canals
    assert [one.evidence for one in canal.meant] == ["detector pitch as stated"]


def bounded(result, **limits):
    return {one.name: one for one in bounded_lengths(result, PoseLimits(**limits))}


def test_lean_against_a_plane_shortens_by_its_cosine() -> None:
    """10° shorten by 1.52 %, 15° by 3.41 % in a parallel beam (cosine; derived), the real one diverges."""
    by_ball = made(scale=replace(made().scale, source="ball"))
    for lean_deg, short in ((10.0, 0.0152), (15.0, 0.0341)):
        one = bounded(by_ball, lean_deg=lean_deg, depth_mm=0.0)["canal_length_mm"]
        assert one.measured_mm / one.by_tilt_mm[1] == pytest.approx(1 - short, abs=5e-4)
        assert cos(radians(lean_deg)) == pytest.approx(1 - short, abs=1e-4)
        assert one.by_depth_mm == pytest.approx((one.measured_mm, one.measured_mm))
    assert "against the receptor" in one.words


def test_depth_magnifies_by_similar_triangles() -> None:
    """Source 203 mm and file 20 mm from the receptor: 3 mm of depth make 3/183 of any length."""
    one = bounded(made(), tilt_deg=0.0, lean_deg=0.0, depth_mm=3.0)["canal_length_mm"]
    low, high = (end / one.measured_mm - 1 for end in one.by_depth_mm)
    assert high == pytest.approx(3 / 183, rel=1e-6)
    assert low == pytest.approx(-3 / 183, rel=1e-6)
    assert one.by_tilt_mm == pytest.approx((one.measured_mm, one.measured_mm))


def test_only_the_gap_of_a_working_length_moves_and_a_gap_beyond_the_apex_is_mirrored() -> None:
    found = bounded(made())
    gap, length = found["gap_mm"], found["working_length_mm"]
    assert np.subtract(length.by_both_mm, gap.by_both_mm) == pytest.approx([21.0, 21.0])
    numbers = dict(made().measurements)
    numbers["gap_mm"] = replace(numbers["gap_mm"], value=-numbers["gap_mm"].value)
    beyond = bounded(made(measurements=numbers))["gap_mm"]
    assert beyond.by_both_mm == pytest.approx((-gap.by_both_mm[1], -gap.by_both_mm[0]))
    for one in (gap, length, beyond):
        for ends in (one.by_tilt_mm, one.by_depth_mm):
            assert one.by_both_mm[0] <= ends[0] <= one.measured_mm <= ends[1] <= one.by_both_mm[1]


def test_no_scale_no_bounds_and_a_gap_of_nothing_has_none() -> None:
    assert bounded_lengths(made(scale=None)) == ()
    nothing = Measurement("gap_mm", 0.0, "mm", 0.1, "m", "b")
    assert "gap_mm" not in bounded(made(measurements={"gap_mm": nothing}))


def test_diameters_are_a_second_scale_that_thickens_with_the_pixel() -> None:
    tooth, radiograph, result = painted()
    report = scale_report(radiograph, [result], NOTHING)
    (canal,), found = report.canals, report.found.girths["1"]
    assert found.file == HandFile(20)
    # how well diameters do is tested where they are measured
    assert found.mm_per_px == pytest.approx(tooth.mm_per_px, rel=0.3)
    assert report.found.named("diameters of the file").scale.mm_per_px == pytest.approx(found.mm_per_px)
    scale = scale_of_girth(found, 1.44)
    assert (scale.source, scale.col_mm_per_px) == ("diameter", found.mm_per_px)
    assert scale.mm_per_px == pytest.approx(1.2 * found.mm_per_px)
    assert hypot(*(row.contribution for row in scale.budget.rows)) == pytest.approx(scale.sd_mm_per_px)
    assert canal.lean.ratio == pytest.approx(found.mm_per_px / result.scale.mm_per_px)
    assert "lean" in {one.kind for one in canal.checks}
    # the stated length tells where a diameter is: so that length is judged without it, and nothing averaged
    assert found.along == report.found.of_file("1").scale
    judged = {one.evidence: one.judged for one in canal.meant}
    assert set(judged) == {"ball", "diameters of the file"}
    alone = witness_of(scale_of_girth(found.independent(), 1.0))
    assert judged["diameters of the file"] == length_judged(result.facts, found.along, alone)
    exact = replace(report.found.named("diameters of the file").scale, sd_mm_per_px=1e-6, budget=None)
    sharp = tuple(
        replace(one, scale=exact) if one.scale.source == "diameter" else one for one in report.found.scales
    )
    pairs = _compared(replace(report.found, scales=sharp)).pairs
    assert {name for pair in pairs for name in (pair.one, pair.other)} == {"file", "ball"}


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"file_size": None}, "file_size is not given"),
        ({"file_length_mm": None, "scale": None}, "rough scale"),
    ],
)
def test_diameters_that_cannot_be_measured_say_why(changed, told) -> None:
    with pytest.raises(PeriapicalError, match=told):
        girth_of(made_radiograph(), made(**changed))
    assert girth_of(made_radiograph(), made(file_line=None)) is None


@pytest.mark.parametrize(
    ("known", "error", "told"),
    [
        (KnownDistance(((10.0, 10.0), (9999.0, 10.0)), 5.0), PeriapicalError, "lies outside the image"),
        (KnownDistance(((10.0, 10.0), (10.0, 10.0)), 5.0), PeriapicalError, "are the same"),
        (KnownDistance(((10.0, 10.0), (90.0, 10.0)), 0.0), CalibrationError, "must be above 0"),
        (
            KnownDistance(((10.0, 10.0), (90.0, 10.0)), 1.0, intervals=0),
            CalibrationError,
            "number of intervals",
        ),
    ],
)
def test_a_wrong_known_distance_is_told(known, error, told) -> None:
    with pytest.raises(error, match=told):
        scale_of_known_distance(known, made_radiograph())


def test_limits_beyond_the_exposure_are_told() -> None:
    with pytest.raises(CalibrationError, match="exceed 60"):
        bounded_lengths(made(), PoseLimits(tilt_deg=40.0, lean_deg=40.0))


@pytest.mark.parametrize(("ratio", "level"), [(0.95, "note"), (0.85, "note"), (0.75, "warn"), (1.3, "warn")])
def test_a_hint_of_a_lean_is_a_warning_only_far_off(ratio, level) -> None:
    check = _of_lean(GirthComparison(ratio, 0.06, None, None, f"ratio {ratio}"))
    assert (check.kind, check.level, check.text) == ("lean", level, f"ratio {ratio}")
    assert "from memory" in check.standing
