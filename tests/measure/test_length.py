"""Gap, working length and canal length, with their uncertainties."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from calib.budget import Input
from calib.known_length import file_length_sd_mm, scale_from_file
from calib.scale import Scale
from radio.measure.gap_lengths import (
    GapInImage,
    gap_budget,
    gap_mm,
    working_length_budget,
    working_length_mm,
)
from radio.measure.length import canal_length_mm
from radio.measure.result import Measurement
from radio.trace.curve import arc_length

GAP_PX = st.floats(-80, 200)
SD_PX = st.floats(0.1, 20)
PIXEL = st.floats(0.015, 0.06)
RELATIVE = st.floats(1e-4, 0.05)


def scale_of(mm_per_px: float, relative: float) -> Scale:
    """A scale that owes nothing to the file in the canal."""
    return Scale(mm_per_px, mm_per_px, relative * mm_per_px, "ball", "b")


def gap_of(px: float, tip_sd: float, apex_sd: float, scale: Scale) -> Measurement:
    return gap_mm(gap_budget(GapInImage(px, tip_sd, apex_sd), scale), scale)


def length_of(px: float, tip_sd: float, apex_sd: float, scale: Scale, known: Input) -> Measurement:
    made = working_length_budget(GapInImage(px, tip_sd, apex_sd), scale, known)
    return working_length_mm(made, gap_of(px, tip_sd, apex_sd, scale), "set length")


@given(GAP_PX, SD_PX, SD_PX, PIXEL, RELATIVE)
def test_gap_and_its_uncertainty(px, tip_sd, apex_sd, mm_per_px, relative) -> None:
    exact = (ufloat(px, apex_sd) - ufloat(0.0, tip_sd)) * ufloat(mm_per_px, relative * mm_per_px)
    gap = gap_of(px, tip_sd, apex_sd, scale_of(mm_per_px, relative))
    assert gap.value == pytest.approx(exact.nominal_value, rel=1e-12, abs=1e-15)
    assert gap.sd == pytest.approx(exact.std_dev, rel=1e-9)


def test_a_positive_gap_is_a_tip_that_is_short() -> None:
    short, beyond = (gap_of(px, 1.0, 1.0, scale_of(0.03, 0.01)) for px in (30.0, -30.0))
    assert (short.value, beyond.value) == pytest.approx((0.9, -0.9))
    assert "positive = tip short" in short.method
    assert "not the foramen" in short.notes[0]


@given(GAP_PX, SD_PX, SD_PX, PIXEL, RELATIVE, st.floats(10, 32), st.floats(0.01, 0.5))
def test_working_length_by_another_scale(px, tip_sd, apex_sd, mm_per_px, relative, set_mm, set_sd) -> None:
    gap_px = ufloat(px, apex_sd) - ufloat(0.0, tip_sd)
    exact = ufloat(set_mm, set_sd) + gap_px * ufloat(mm_per_px, relative * mm_per_px)
    length = length_of(px, tip_sd, apex_sd, scale_of(mm_per_px, relative), Input("L", set_mm, set_sd))
    assert length.value == pytest.approx(exact.nominal_value, rel=1e-12)
    assert length.sd == pytest.approx(exact.std_dev, rel=1e-9)


@given(GAP_PX, SD_PX, SD_PX, SD_PX, st.floats(400, 1400), st.floats(10, 32), st.floats(0.01, 0.5))
def test_a_file_that_is_scale_and_set_length_at_once(
    px, start_sd, tip_sd, apex_sd, file_px, set_mm, set_sd
) -> None:
    # reference: the package uncertainties, which keeps what length, scale and gap have in common
    start, tip, apex = ufloat(0.0, start_sd), ufloat(file_px, tip_sd), ufloat(file_px + px, apex_sd)
    stated = ufloat(set_mm, set_sd)
    exact_gap = stated * (apex - tip) / (tip - start)
    scale = scale_from_file(file_px, {"start": start_sd, "tip": tip_sd}, set_mm, set_sd)
    image, known = GapInImage(px, tip_sd, apex_sd, file_px, start_sd), Input("L", set_mm, set_sd)
    gap, whole = gap_budget(image, scale, known), working_length_budget(image, scale, known)
    assert (gap.value, gap.sd) == pytest.approx((exact_gap.n, exact_gap.s), rel=1e-6, abs=1e-12)
    exact = stated + exact_gap
    assert (whole.value, whole.sd) == pytest.approx((exact.n, exact.s), rel=1e-6)
    # the budget adds up: no part is left over, none is told twice
    assert sum(row.share for row in whole.rows) == pytest.approx(1.0)
    assert sum(row.contribution**2 for row in whole.rows) == pytest.approx(whole.sd**2)
    assert whole.rows[0].sensitivity == pytest.approx(1 + px / file_px, rel=1e-6)


def test_what_the_file_shares_makes_the_length_less_sure_where_the_tip_is_short() -> None:
    # by hand, JCGM 100:2008 5.2: 21 ± 0.102 mm over 840 px, gap 84 px: the length acts by 1.1, not by the
    # root of 1.01; the tip (4 px of 0.025 mm) by 0.1 * 1.1, the start by 0.1 * 0.1, the apex by 0.1
    known = Input("L", 21.0, file_length_sd_mm("stop"))
    scale = scale_from_file(840.0, {"start": 4.0, "tip": 4.0}, 21.0, known.sd)
    made = working_length_budget(GapInImage(84.0, 4.0, 4.0, 840.0, 4.0), scale, known)
    parts = (1.1 * 0.25 / np.sqrt(6), 0.11, 0.01, 0.1)
    assert (made.value, made.sd) == pytest.approx((23.1, np.linalg.norm(parts)), rel=1e-9)
    apart = length_of(84.0, 4.0, 4.0, scale_of(0.025, scale.relative_sd), known)
    assert made.sd == pytest.approx(1.06 * apart.sd, rel=0.02)


@given(GAP_PX, PIXEL, st.floats(10, 32))
def test_a_scale_error_of_3_percent_moves_working_length_by_3_percent_of_the_gap(px, mm_per_px, set_mm):
    known = Input("L", set_mm, 0.1)
    before = length_of(px, 1.0, 1.0, scale_of(mm_per_px, 0.01), known)
    wrong = scale_of(1.03 * mm_per_px, 0.01)
    after = length_of(px, 1.0, 1.0, wrong, known)
    assert after.value - before.value == pytest.approx(0.03 * px * mm_per_px, abs=1e-9)
    plain = scale_of(mm_per_px, 0.01)
    whole = canal_length_mm(450.0, 1.0, wrong, "e").value / canal_length_mm(450.0, 1.0, plain, "e").value
    assert whole == pytest.approx(1.03)


def test_the_proportion_on_the_whole_tooth_costs_more_than_the_gap_alone() -> None:
    # file 25 ± 0.29 mm (± 0.5 rectangular) over 1250 px, tooth 1150 px: by the proportion 23 ± 0.27 mm (JCGM
    # 100:2008, derived). A file set to a stop in the scale of another one, its tip 100 px beyond: the scale
    # acts on 2 mm only.
    file_sd = 0.5 / np.sqrt(3)
    scale = scale_from_file(1250.0, 2.0, 25.0, file_sd)
    by_proportion = canal_length_mm(1150.0, 2.0, scale, "reference to apex")
    assert by_proportion.value == pytest.approx(23.0)
    assert by_proportion.sd == pytest.approx(0.2711, abs=5e-5)
    length = length_of(-100.0, 1.2, 1.6, scale, Input("L", 25.0, file_length_sd_mm("stop")))
    assert length.value == pytest.approx(23.0)
    assert gap_of(-100.0, 1.2, 1.6, scale).sd == pytest.approx(np.hypot(2.0 * 0.02, 2.0 * scale.relative_sd))
    assert length.sd < 0.5 * by_proportion.sd


@pytest.mark.parametrize(("radius", "turn_deg"), [(2, 30), (2, 60), (5, 45), (5, 60)])
def test_canal_length_of_an_arc(radius: float, turn_deg: float) -> None:
    # simulated canals of Pruett 1997 (J Endod 23:77) with 8 mm straight before them: 8 + r theta
    angle = np.linspace(0, np.radians(turn_deg), 400)
    arc = np.stack([8 + radius * np.sin(angle), radius * (1 - np.cos(angle))], axis=1)
    pixels = np.vstack([[0, 0], arc]) / 0.025
    exact = 8 + radius * np.radians(turn_deg)
    length = canal_length_mm(arc_length(pixels), 4.0, scale_of(0.025, 0.01), "orifice to canal end")
    assert length.value == pytest.approx(exact, rel=1e-5)
    assert length.value == pytest.approx(0.025 * shapely.LineString(pixels).length, rel=1e-12)
    assert length.sd == pytest.approx(np.hypot(0.1, 0.01 * exact), rel=1e-4)
    assert "orifice to canal end" in length.method
    assert "projection" in length.basis


def test_a_measurement_shows_its_interval_and_unit() -> None:
    one = Measurement("gap_mm", 1.234, "mm", 0.1, "m", "b")
    # 95 % of a normal distribution lie within 1.96 standard deviations (table of the normal distribution)
    assert one.interval95 == pytest.approx((1.038, 1.430))
    assert str(one) == "1.23 ± 0.10 mm"
    assert str(Measurement("gap_mm", 1.0, "mm", None, "m", "b")) == "1.00 mm"
    assert Measurement("gap_mm", 1.0, "mm", None, "m", "b").interval95 is None
    assert str(Measurement("s", 0.0213456, "mm/px", 0.0001, "m", "b")) == "0.02135 ± 0.00010 mm/px"
    assert str(Measurement("a", 31.26, "deg", 1.0, "m", "b")) == "31.3 ± 1.0 deg"
