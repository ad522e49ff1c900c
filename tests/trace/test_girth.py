"""Diameters along files painted in closed form: blurred chords of cylinders, cones and twisted squares."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from radio.errors import TraceError
from radio.trace.girth import measure_girth
from radio.trace.girth_shadow import SECTIONS, unit_chords
from radio.trace.girth_twist import is_a_twist, steady_twist
from radio.trace.line import Line

LENGTH_MM = 18.0


def painted(
    mm_per_px: float = 0.025,
    *,
    tip_mm: float = 0.25,
    taper: float = 0.02,
    square: bool = False,
    blur_mm: float = 0.05,
    per_mm: float = 4.0,
    corners_per_mm: float = 1.4,
    noise: float = 0.01,
    seed: int = 5,
    bend_mm: float = 0.6,
    lean_deg: float = 0.0,
) -> tuple[np.ndarray, Line]:
    """A file down the rows, swinging to one side, and its exact line; the beam has four energies.

    Where it leans out of the image, parallel rays see its length times the cosine, and pass
    1/cosine as much of it.
    """
    seen = np.cos(np.radians(lean_deg))
    fine = 3
    pitch = mm_per_px / fine
    rows = int(22.0 / pitch) // fine * fine
    cols = int(3.0 / pitch) // fine * fine
    s = (np.arange(rows) + 0.5) * pitch
    u = (np.arange(cols) + 0.5) * pitch
    middle = 1.3 + bend_mm * ((s - 2.0) / LENGTH_MM) ** 2
    from_tip = (2.0 + LENGTH_MM * seen - s) / seen
    diameter = np.where(from_tip > 0, tip_mm + taper * np.maximum(from_tip, 0.0), 0.0)
    across = u[None, :] - middle[:, None]
    if square:
        turn = np.radians(90.0) * corners_per_mm * from_tip[:, None]
        # a square is where both pairs of its sides are passed: the ray's way between each pair
        half = diameter[:, None] / 2 * np.sqrt(0.5)
        low, high = np.full(across.shape, -np.inf), np.full(across.shape, np.inf)
        for angle in (turn, turn + np.pi / 2):
            c, sn = np.cos(angle), np.sin(angle)
            sn = np.where(np.abs(sn) < 1e-6, 1e-6, sn)
            ends = np.stack([(-half - c * across) / sn, (half - c * across) / sn])
            low, high = np.maximum(low, ends.min(axis=0)), np.minimum(high, ends.max(axis=0))
        chord = np.maximum(high - low, 0.0) * (diameter[:, None] > 0)
    else:
        chord = 2 * np.sqrt(np.maximum(diameter[:, None] ** 2 / 4 - across**2, 0.0))
    chord /= seen
    ground = 0.4 + 0.05 * across + 0.1 * np.sin(s / 3.0)[:, None]
    beam = sum(
        share * np.exp(-per_mm * (35.0 / kev) ** 3 * chord - ground)
        for share, kev in ((0.15, 20.0), (0.35, 30.0), (0.3, 40.0), (0.2, 50.0))
    )
    beam = gaussian_filter(beam, blur_mm / pitch)
    beam = beam.reshape(rows // fine, fine, cols // fine, fine).mean(axis=(1, 3))
    rng = np.random.default_rng(seed)
    beam *= 1 + noise * rng.standard_normal(beam.shape)
    grey = np.ascontiguousarray(np.clip(-np.log(np.maximum(beam, 1e-3)) / 5.0, 0, 1), dtype=np.float32)
    along = np.linspace(2.0, 2.0 + LENGTH_MM * seen, 200)
    points = np.column_stack([along, 1.3 + bend_mm * ((along - 2.0) / LENGTH_MM) ** 2]) / mm_per_px - 0.5
    return grey, Line("file", points, np.full(200, 0.2), np.ones(200, dtype=bool))


def measured(image, line, mm_per_px=0.025, tip_mm=0.25, **options):
    return measure_girth(image, line, mm_per_px=mm_per_px, tip_diameter_mm=tip_mm, taper=0.02, **options)


@pytest.mark.parametrize(("tip_mm", "blur_mm"), [(0.15, 0.07), (0.40, 0.03)])
def test_a_round_file_has_its_exact_diameters(tip_mm, blur_mm):
    girth = measured(*painted(tip_mm=tip_mm, blur_mm=blur_mm), tip_mm=tip_mm)
    true_px = (tip_mm + 0.02 * girth.from_tip_px * 0.025) / 0.025
    off = girth.diameter_px - true_px
    assert girth.section == "round"
    assert np.abs(off).max() * 0.025 < 0.005 + 0.25 * blur_mm
    assert abs(off.mean()) < 2 * np.hypot(girth.common_sd_px, girth.sd_px.mean())
    assert girth.blur_px * 0.025 == pytest.approx(blur_mm, abs=0.012)


@pytest.mark.parametrize("corners_per_mm", [1.0, 1.9])
def test_a_twisted_square_gives_the_circle_its_corners_lie_on(corners_per_mm):
    girth = measured(*painted(square=True, corners_per_mm=corners_per_mm))
    true_px = (0.25 + 0.02 * girth.from_tip_px * 0.025) / 0.025
    assert girth.section == "square"
    assert girth.twist_per_mm == pytest.approx(corners_per_mm, abs=0.15)
    assert (girth.diameter_px / true_px).mean() == pytest.approx(1.0, abs=0.035)


def test_flutes_that_blur_hides_are_taken_to_be_there():
    """A round body of a square's silhouette is 10 % thinner (Cauchy), by its thickness as well some 20 %."""
    girth = measured(
        *painted(tip_mm=0.15, square=True, corners_per_mm=2.8, blur_mm=0.10, noise=0.03), tip_mm=0.15
    )
    true_px = (0.15 + 0.02 * girth.from_tip_px * 0.025) / 0.025
    assert girth.section == "square"
    assert girth.twist_per_mm is None
    assert (girth.diameter_px / true_px).mean() == pytest.approx(1.0, abs=0.10)
    # that it may be round after all is in the uncertainty
    assert girth.common_sd_px > 0.05 * true_px.mean()


def test_a_line_beside_the_file_does_not_matter():
    image, line = painted()
    aside = Line("file", line.points_px + np.array([0.0, 1.5]), line.sd_px, line.confident)
    on, beside = measured(image, line), measured(image, aside)
    at_tip = [(one.diameter_px - 0.02 * one.from_tip_px).mean() for one in (on, beside)]
    assert at_tip[1] == pytest.approx(at_tip[0], abs=0.2)


def test_metal_across_the_file_is_left_out():
    image, line = painted()
    plain = measured(image, line)
    crossed = image.copy()
    crossed[300:340] = 1.0
    girth = measured(crossed, line)
    assert girth.used < plain.used
    at = np.interp(girth.from_tip_px, plain.from_tip_px, plain.diameter_px)
    assert np.abs(girth.diameter_px - at).max() < 0.6


def test_only_the_working_part_is_looked_at():
    girth = measured(*painted())
    assert girth.from_tip_px.max() * 0.025 <= 16.0
    assert girth.from_tip_px.min() * 0.025 >= 0.8


def test_a_stretch_the_trace_bridged_is_left_out():
    image, line = painted()
    confident = line.confident.copy()
    confident[60:120] = False
    girth = measured(image, Line("file", line.points_px, line.sd_px, confident))
    assert girth.used < 0.75


def test_where_another_file_lies_over_it_nothing_is_measured():
    image, line = painted()
    beside = line.points_px + np.array([0.0, 8.0])
    girth = measured(image, line, others=[beside[:100]])
    assert girth.from_tip_px.max() * 0.025 < 9.5
    far = line.points_px + np.array([0.0, 60.0])
    assert measured(image, line, others=[far]).from_tip_px.max() * 0.025 > 14.0
    with pytest.raises(TraceError, match="behind another file"):
        measured(image, line, others=[beside])


def test_a_short_file_is_refused():
    image, line = painted()
    with pytest.raises(TraceError, match=r"at least 2\.8 mm"):
        measured(image, Line("file", line.points_px[-30:], line.sd_px[-30:], line.confident[-30:]))


def test_an_image_without_the_metal_s_upper_tones_is_refused():
    image, line = painted()
    clipped = np.minimum(image, np.float32(0.2))
    with pytest.raises(TraceError, match="as bright as the image can show"):
        measured(clipped, line)


def test_sections_have_the_area_and_width_of_their_polygons():
    """Area of polygons in the unit circle, and Cauchy's mean width (perimeter over pi): plane geometry."""
    across = np.linspace(-1, 1, unit_chords("round").shape[1])
    expected = {
        "round": (np.pi, 2.0),
        "square": (2.0, 4 * np.sqrt(2) / np.pi),
        "triangle": (3 * np.sqrt(3) / 4, 3 * np.sqrt(3) / np.pi),
    }
    for section in SECTIONS:
        chords = unit_chords(section)
        area, width = expected[section]
        assert np.trapezoid(chords, across, axis=1) == pytest.approx(area, rel=4e-3)
        assert (chords > 0).sum(axis=1).mean() * (across[1] - across[0]) == pytest.approx(width, abs=0.02)


def test_a_steady_twist_is_found_and_chance_is_not_one():
    rng = np.random.default_rng(1)
    rows, count, step_mm = 200, 12, 0.07
    phase = 1.3 * step_mm * count * np.arange(rows) % count
    off = (np.arange(count)[:, None] - phase + count / 2) % count - count / 2
    chance = rng.exponential(1.0, (count, rows))
    found = steady_twist(0.3 * off**2 + 0.3 * chance, step_mm)
    away = (found.phases - phase + count / 2) % count - count / 2
    assert np.abs(away).max() <= 1.5
    assert found.per_mm == pytest.approx(1.3, abs=0.11)
    assert is_a_twist(found)
    assert not is_a_twist(steady_twist(np.zeros((count, rows)), step_mm))
