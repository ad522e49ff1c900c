"""Synthetic radiographs: their truth against closed forms, standards and renders without blur or noise."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from radio.image.synthetic import draw_parameters, make_case
from radio.image.synthetic.attenuation import ENERGIES_KEV, linear_attenuation_per_mm, spectrum_weights
from radio.image.synthetic.bone import trabecular_texture
from radio.image.synthetic.build import build_scene
from radio.image.synthetic.case import case_of
from radio.image.synthetic.curves import arc_length, at_length, bent_axis, foot, resample
from radio.image.synthetic.detector import expose
from radio.image.synthetic.draw import TOOTH_NUMBERS
from radio.image.synthetic.instrument import file_chord, file_diameter_mm, file_strip, tip_length_mm
from radio.image.synthetic.metal import add_metalwork
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.paths import PathLengths, intensity
from radio.image.synthetic.projection import Grid, View, make_view
from radio.image.synthetic.tooth_shade import canal_shadow
from radio.image.synthetic.truth import truth_of_canal
from radio.image.synthetic.tubes import Tube, chord, project_tube, strip

QUIET = {
    "restoration": False,
    "clamp": False,
    "second_file_size": None,
    "ball_diameter_mm": None,
    "pitch_mm": 0.03,
}


def small_case(seed, **fixed):
    return make_case(seed, pitch_mm=0.06, **fixed)


def profiles(image, line_px, indices, reach_px, step_px=0.05):
    """Values across a line at some of its points, shape (points, samples), and the offsets in pixels."""
    slope = np.gradient(line_px, axis=0)
    slope /= np.linalg.norm(slope, axis=1, keepdims=True)
    normal = np.stack([-slope[:, 1], slope[:, 0]], axis=1)
    offset = np.arange(-reach_px, reach_px, step_px)
    points = line_px[indices][:, None] + offset[None, :, None] * normal[indices][:, None]
    return map_coordinates(image, points.transpose(2, 0, 1), order=1), offset


def metal_image(scene, file):
    shadow, where = file_strip(file, scene.view, scene.grid)
    image = np.zeros(scene.grid.rows * scene.grid.cols)
    image[where.index] = file_chord(file, shadow, where).mean(axis=1)
    return image.reshape(scene.grid.rows, scene.grid.cols)


# ---- projection -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tilt_deg", "length_mm"), [(0, 20.7673), (10, 20.4522), (20, 19.5163), (30, 17.9879)]
)
def test_projected_length_of_a_tilted_rod(tilt_deg, length_mm):
    # central projection of a 20 mm rod, middle 15 mm from the receptor, source 406 mm away:
    # u_i = x_i * SDD / (SDD - z_i), worked by hand
    view = make_view(
        in_plane_deg=0,
        vertical_tilt_deg=tilt_deg,
        horizontal_tilt_deg=0,
        mirror=False,
        object_distance_mm=15,
        source_distance_mm=406,
        beam_u_deg=0,
        beam_v_deg=0,
    )
    ends = view.project(np.array([[0, 0, -10.0], [0, 0, 10.0]]))
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(length_mm, abs=6e-5)


@pytest.mark.parametrize(
    ("source_mm", "object_mm", "factor"),
    [(203, 10, 1.0518), (203, 20, 1.1093), (305, 15, 1.0517), (406, 20, 1.0518)],
)
def test_magnification_is_source_to_detector_over_source_to_object(source_mm, object_mm, factor):
    # DICOM PS3.3, Estimated Radiographic Magnification Factor (0018,1114): SID over SOD
    view = View(np.eye(3), np.zeros(3), np.array([3.0, -2.0, source_mm]))
    assert float(view.magnification(object_mm)) == pytest.approx(factor, abs=5e-5)


def test_a_rod_parallel_to_the_detector_keeps_its_magnification_under_any_beam_tilt():
    # common geometry of the diverging beam: a plane parallel to the detector is only scaled
    lengths = []
    for beam in (-20.0, 0.0, 15.0):
        view = make_view(
            in_plane_deg=30,
            vertical_tilt_deg=0,
            horizontal_tilt_deg=0,
            mirror=True,
            object_distance_mm=12,
            source_distance_mm=300 / np.cos(np.deg2rad(beam)),
            beam_u_deg=beam,
            beam_v_deg=0,
        )
        ends = view.project(np.array([[1.0, 0, -9.0], [1.0, 0, 9.0]]))
        lengths.append(np.linalg.norm(ends[1] - ends[0]))
    assert lengths == pytest.approx([18 * 300 / 288] * 3, rel=1e-12)


def test_pixels_are_rows_then_columns_with_integers_at_centres():
    grid = Grid(5, 9, 0.1)
    assert grid.to_px(np.array([[0.0, 0.0], [0.4, -0.2]])).tolist() == [[2.0, 4.0], [0.0, 8.0]]


# ---- curves -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["apical", "continuous"])
def test_axis_turns_by_what_was_asked(form):
    axis = bent_axis(14.0, form, 30.0, 0.0, 5.0, 0.0, 0.0)
    first, last = axis[1] - axis[0], axis[-1] - axis[-2]
    angle = np.degrees(np.arccos(first @ last / np.linalg.norm(first) / np.linalg.norm(last)))
    assert angle == pytest.approx(30.0, abs=0.2)
    assert arc_length(axis)[-1] == pytest.approx(14.0, rel=1e-5)


def test_s_shape_turns_both_ways():
    axis = bent_axis(14.0, "s", 25.0, 35.0, 5.0, 0.0, 0.0)
    steps = np.diff(axis, axis=0)
    heading = np.degrees(np.arctan2(steps[:, 0], steps[:, 2]))
    assert heading.max() == pytest.approx(25.0, abs=1.5)
    assert heading[-1] == pytest.approx(-10.0, abs=0.5)


def test_length_and_foot_on_a_circle():
    angle = np.linspace(0, np.pi / 2, 800)
    quarter = 8.0 * np.column_stack([np.sin(angle), np.cos(angle)])
    assert arc_length(quarter)[-1] == pytest.approx(8 * np.pi / 2, rel=1e-6)
    assert at_length(quarter, [8 * np.pi / 6])[0] == pytest.approx([4.0, 4 * np.sqrt(3)], abs=1e-4)
    assert foot(quarter, np.array([3.0, 3.0])) == pytest.approx(2 * np.pi, abs=1e-3)
    assert foot(quarter, np.array([8.0, -1.5])) == pytest.approx(4 * np.pi + 1.5, abs=2e-2)
    assert len(resample(quarter, 0.5)) == 27


# ---- attenuation ------------------------------------------------------------------------------------------


def test_water_like_and_metal_coefficients():
    # NISTIR 5632 (Hubbell and Seltzer): soft tissue (ICRU-44) 0.379 and cortical bone (ICRU-44) 1.331 cm2/g,
    # iron 8.176 cm2/g at 30 keV; from memory
    at_30 = int(np.flatnonzero(ENERGIES_KEV == 30)[0])
    assert linear_attenuation_per_mm("soft tissue")[at_30] == pytest.approx(0.379 * 1.06 / 10)
    assert linear_attenuation_per_mm("cortical bone")[at_30] == pytest.approx(1.331 * 1.92 / 10)
    assert linear_attenuation_per_mm("steel")[at_30] == pytest.approx(8.176 * 7.93 / 10, rel=0.05)
    enamel, dentine = (linear_attenuation_per_mm(name)[at_30] for name in ("enamel", "dentine"))
    assert enamel > 1.5 * dentine > 1.5 * linear_attenuation_per_mm("cortical bone")[at_30]


@pytest.mark.parametrize(
    ("element", "published"),
    [
        ("Fe", (25.68, 8.177, 3.629, 1.957)),
        ("Ca", (13.06, 4.080, 1.830, 1.019)),
        ("O", (0.8653, 0.3779, 0.2585, 0.2133)),
        ("P", (5.354, 1.700, 0.8095, 0.4918)),
    ],
)
def test_elements_agree_with_an_independent_table(element, published):
    # Elam, Ravel, Sieber, Radiat Phys Chem 63 (2002) 121, total cross-sections at 20, 30, 40, 50 keV
    from radio.image.synthetic.attenuation import ELEMENTS

    assert ELEMENTS[element] == pytest.approx(published, rel=0.007)


def test_every_material_absorbs_less_at_higher_energy():
    from radio.image.synthetic.attenuation import MATERIALS

    for material in MATERIALS:
        assert np.all(np.diff(linear_attenuation_per_mm(material)) < 0), material


def test_spectrum_is_a_share_and_hardens_with_voltage():
    means = [float(spectrum_weights(kv) @ ENERGIES_KEV) for kv in (60, 65, 70)]
    assert [float(spectrum_weights(kv).sum()) for kv in (60, 70)] == pytest.approx([1, 1])
    assert means == sorted(means)
    assert 30 <= means[0] < means[-1] <= 37


def test_beer_lambert_of_two_layers():
    paths = PathLengths(Grid(2, 2, 0.1))
    paths["dentine"][:] = 3.0
    paths["soft tissue"][:] = 10.0
    mu = 3.0 * linear_attenuation_per_mm("dentine") + 10.0 * linear_attenuation_per_mm("soft tissue")
    assert intensity(paths, 65) == pytest.approx(float(spectrum_weights(65) @ np.exp(-mu)), rel=1e-5)


# ---- tubes ------------------------------------------------------------------------------------------------


def test_cylinder_shadow_and_path_length():
    # a cylinder of radius r seen square on: path 2 * sqrt(r**2 - d**2), width magnified
    view = make_view(
        in_plane_deg=25,
        vertical_tilt_deg=0,
        horizontal_tilt_deg=0,
        mirror=False,
        object_distance_mm=20,
        source_distance_mm=250,
        beam_u_deg=0,
        beam_v_deg=0,
    )
    z = np.arange(-5, 5, 0.02)
    axis = np.column_stack([0 * z, 0 * z, z])
    shadow = project_tube(Tube(axis, np.full(len(z), 0.8), np.full(len(z), 0.8)), view)
    grid = Grid(200, 200, 0.02)
    where = strip(shadow, grid, 1.0)
    factor = 250 / 230
    expected = 2 * np.sqrt(np.maximum(0.64 - (where.d_mm / factor) ** 2, 0))
    assert chord(shadow, where) == pytest.approx(expected, abs=0.02)
    assert shadow.half_width_mm.mean() == pytest.approx(0.8 * factor, rel=2e-3)


def test_elliptical_tube_turned_about_its_axis():
    # width of an ellipse seen at an angle: sqrt((a cos)**2 + (b sin)**2), area kept
    view = make_view(
        in_plane_deg=0,
        vertical_tilt_deg=0,
        horizontal_tilt_deg=40,
        mirror=False,
        object_distance_mm=10,
        source_distance_mm=1e6,
        beam_u_deg=0,
        beam_v_deg=0,
    )
    z = np.arange(-3, 3, 0.02)
    axis = np.column_stack([0 * z, 0 * z, z])
    shadow = project_tube(Tube(axis, np.full(len(z), 1.0), np.full(len(z), 2.0)), view)
    width = np.hypot(np.cos(np.deg2rad(40)), 2 * np.sin(np.deg2rad(40)))
    assert shadow.half_width_mm[100] == pytest.approx(width, rel=1e-4)
    assert shadow.central_mm[100] * shadow.half_width_mm[100] / 2 == pytest.approx(2.0, rel=1e-4)


# ---- the file ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "at_1", "at_3", "at_16"),
    [(10, 0.12, 0.16, 0.42), (15, 0.17, 0.21, 0.47), (25, 0.27, 0.31, 0.57)],
)
def test_iso_3630_1_diameters(size, at_1, at_3, at_16):
    # ISO 3630-1: size in hundredths of a millimetre, taper 0.02, D16 = D0 + 0.32 mm
    assert file_diameter_mm(size, [1, 3, 16, 20]) == pytest.approx([at_1, at_3, at_16, at_16])


@pytest.mark.parametrize("size", [6, 15, 40])
@pytest.mark.parametrize("section", ["round", "square"])
def test_rendered_file_has_the_iso_section_and_lies_on_its_axis(size, section):
    square_on = {"vertical_tilt_deg": 0.0, "beam_u_deg": 0.0, "beam_v_deg": 0.0}
    p = draw_parameters(size, file_size=size, file_section=section, **QUIET, **square_on)
    scene = build_scene(p)
    file = scene.files[0][2]
    truth = truth_of_canal(scene, p, 0, 0, file)
    image = metal_image(scene, file)
    line = truth.file_axis_px
    mm = truth.file_mm_per_px
    from_tip = (arc_length(line)[-1] - arc_length(line)) * mm
    indices = np.flatnonzero((from_tip > 1.0) & (from_tip < 15.5))[::9]
    values, offset = profiles(image, line, indices, 0.6 / mm)
    centre = (values * offset).sum(axis=1) / values.sum(axis=1) * mm
    assert np.abs(centre).max() < 0.005
    # metal area of a section from its absorption: circle of D or the square inside it, ISO 3630-1 diameters
    area = values.sum(axis=1) * 0.05 * mm
    shape = np.pi / 4 if section == "round" else 0.5
    diameter = np.sqrt(area / shape)
    assert np.median(diameter / file_diameter_mm(size, from_tip[indices])) == pytest.approx(1.0, abs=0.02)


def test_rendered_file_ends_at_the_true_tip():
    p = draw_parameters(3, file_size=25, file_section="round", **QUIET)
    scene = build_scene(p)
    file = scene.files[0][2]
    truth = truth_of_canal(scene, p, 0, 0, file)
    image = metal_image(scene, file)
    end = truth.file_axis_px[-1] - truth.file_axis_px[-60]
    end /= np.linalg.norm(end)
    along = np.arange(-1.2, 0.4, 0.002) / truth.file_mm_per_px
    depth = map_coordinates(image, (truth.file_tip_px + along[:, None] * end).T, order=1)
    last = along[depth > 0.004][-1] * truth.file_mm_per_px
    assert last == pytest.approx(0.0, abs=1.5 * p.pitch_mm)
    # halfway along the tip cone the file is half as thick as where the cone begins
    cone = tip_length_mm(25)
    half, full = (np.interp(-share * cone / truth.file_mm_per_px, along, depth) for share in (0.5, 1.15))
    assert half / full == pytest.approx(0.5, abs=0.12)


@pytest.mark.parametrize("seed", range(8))
def test_known_length_is_the_length_of_the_file_in_space(seed):
    p = draw_parameters(seed, file_size=15, file_start_at="stop" if seed % 2 else "handle")
    scene = build_scene(p)
    file = scene.files[0][2]
    truth = truth_of_canal(scene, p, 0, 0, file)
    assert arc_length(file.axis_mm())[-1] == pytest.approx(file.length_mm, abs=1e-4)
    assert (2 * file.length_mm) == pytest.approx(round(2 * file.length_mm), abs=1e-3)
    if seed % 2 == 0:
        # standard lengths 21, 25 and 31 mm (Kim 2010, J Korean Acad Conserv Dent 35(6))
        assert round(file.length_mm, 3) in (21, 25, 31)
    assert abs(truth.gap_mm - p.gap_mm) < 0.6
    assert truth.working_length_mm == pytest.approx(file.length_mm + truth.gap_mm)


@pytest.mark.parametrize("seed", range(12))
def test_file_stays_inside_its_canal(seed):
    from scipy.spatial import cKDTree

    p = draw_parameters(seed, file_size=(8, 15, 30)[seed % 3], gap_mm=1.0)
    scene = build_scene(p)
    root, number, file = scene.files[0]
    canal = scene.tooth.canals[root][number]
    line = file.axis_mm()
    away, nearest = cKDTree(canal.axis_mm).query(line)
    from_tip = arc_length(line)[-1] - arc_length(line)
    inside = (nearest > 5) & (nearest < len(canal.axis_mm) - 5)
    room = np.maximum(canal.half_width_mm, canal.half_depth_mm)[nearest]
    poke = away + file_diameter_mm(p.file_size, from_tip) / 2 - room
    assert poke[inside].max() < 0.04


def test_stop_face_stands_at_the_file_start():
    p = draw_parameters(21, kind="premolar", file_size=20, file_start_at="stop", stop_tilt_deg=0.0, **QUIET)
    scene = build_scene(p)
    truth = truth_of_canal(scene, p, 0, 0, scene.files[0][2])
    paths = PathLengths(scene.grid)
    add_metalwork(paths, scene, replace(p, restoration=False, clamp=False), np.random.default_rng(0))
    line = truth.file_axis_px
    ahead = (line[30] - line[0]) / np.linalg.norm(line[30] - line[0])
    side = np.array([-ahead[1], ahead[0]]) * 0.9 / truth.mm_per_px
    along = np.arange(-0.8, 0.8, 0.01) / truth.mm_per_px
    rubber = np.mean(
        [
            map_coordinates(paths["silicone"], (line[0] + s * side + along[:, None] * ahead).T, order=1)
            for s in (-1, 1)
        ],
        axis=0,
    )
    half = along[np.argmin(np.abs(rubber - rubber.max() / 2) + 10 * (along < -0.4 / truth.mm_per_px))]
    assert half * truth.mm_per_px == pytest.approx(0.0, abs=0.03)


# ---- ball, canal, landmarks -------------------------------------------------------------------------------


def test_ball_shadow_is_a_circle_of_the_magnified_diameter():
    p = draw_parameters(5, file_size=None, **(QUIET | {"ball_diameter_mm": 5.0}))
    scene = build_scene(p)
    truth = truth_of_canal(scene, p, 0, 0, None)
    paths = PathLengths(scene.grid)
    add_metalwork(paths, scene, p, np.random.default_rng(0))
    index, shares = paths.metal[0]
    covered = index[shares[1] < 0.5]
    rows, cols = np.divmod(covered, scene.grid.cols)
    centre = np.array([rows.mean(), cols.mean()])
    assert centre == pytest.approx(truth.ball_centre_px, abs=0.005 / truth.ball_mm_per_px)
    # area of a sphere's shadow: pi r**2, stretched a little where the beam is oblique to the detector
    depth = scene.view.source_mm[2] - scene.ball_mm[2]
    cosine = depth / np.linalg.norm(scene.view.source_mm - scene.ball_mm)
    diameter = 2 * np.sqrt(len(covered) * cosine / np.pi) * truth.ball_mm_per_px
    assert diameter == pytest.approx(5.0, rel=2e-3)


@pytest.mark.parametrize("seed", range(4))
def test_rendered_canal_lies_on_its_axis(seed):
    p = draw_parameters(seed, file_size=None, canals_in_root=1, **QUIET)
    scene = build_scene(p)
    truth = truth_of_canal(scene, p, 0, 0, None)
    shadow = canal_shadow(scene.tooth.canals[0][0], scene.view)
    where = strip(shadow, scene.grid, float(shadow.half_width_mm.max()) + scene.grid.pitch_mm, 2)
    image = np.zeros(scene.grid.rows * scene.grid.cols)
    image[where.index] = chord(shadow, where).mean(axis=1)
    image = image.reshape(scene.grid.rows, scene.grid.cols)
    indices = np.arange(40, len(truth.canal_axis_px) - 40, 17)
    values, offset = profiles(image, truth.canal_axis_px, indices, 1.2 / truth.mm_per_px)
    centre = (values * offset).sum(axis=1) / values.sum(axis=1) * truth.mm_per_px
    assert np.abs(centre).max() < 0.005


@pytest.mark.parametrize("seed", range(6))
def test_apex_is_the_end_of_the_rendered_root(seed):
    from radio.image.synthetic.tooth_shade import tooth_maps

    p = draw_parameters(seed, kind="premolar", file_size=None, **QUIET)
    scene = build_scene(p)
    truth = truth_of_canal(scene, p, 0, 0, None)
    solid = tooth_maps(scene.tooth, scene.view, scene.grid, opened=False).solid
    solid = solid.reshape(scene.grid.rows, scene.grid.cols)
    root = scene.tooth.roots[0]
    end = scene.grid.to_px(
        scene.view.project(at_length(root.axis_mm, [root.length_mm - 0.3, root.length_mm]))
    )
    ahead = (end[1] - end[0]) / np.linalg.norm(end[1] - end[0])
    along = np.arange(-0.4, 0.4, 0.005) / truth.mm_per_px
    depth = map_coordinates(solid, (truth.apex_px + along[:, None] * ahead).T, order=1)
    assert along[depth > 0.02][-1] * truth.mm_per_px == pytest.approx(0.0, abs=1.1 * p.pitch_mm)
    # published distances of foramen and apex are a few tenths of a millimetre (Kuttler 1955: 0.5 to 0.6)
    assert np.linalg.norm(truth.apex_px - truth.canal_end_px) * truth.mm_per_px < 0.8


def test_clicks_scatter_as_asked():
    case = small_case(8, file_size=15, second_file_size=None)
    exact = {"file_tip": case.truth.file_tip_px, "orifice": case.truth.orifice_px, "apex": case.truth.apex_px}
    from radio.image.synthetic.case import rough_clicks

    rng = np.random.default_rng(0)
    error = []
    for _ in range(300):
        clicks = rough_clicks(case.truth, case.parameters, rng)
        error += [(clicks[name][0] - point) * case.truth.mm_per_px for name, point in exact.items()]
    assert np.std(error) == pytest.approx(0.2, rel=0.05)
    assert np.mean(error) == pytest.approx(0.0, abs=0.02)


# ---- image ------------------------------------------------------------------------------------------------


def test_noise_matches_the_photon_count():
    # Poisson statistics: relative standard deviation 1 / sqrt(photons)
    p = draw_parameters(
        1, photons_per_px=400.0, noise_blur_px=0.0, electronic_noise=0.0, fixed_pattern=0.0, veil=0.0
    )
    flat = np.full((300, 300), 0.25, dtype=np.float32)
    signal = expose(flat, p, np.random.default_rng(1))
    assert signal.std() / 0.25 == pytest.approx(1 / np.sqrt(400 * 0.25), rel=0.03)


def test_bone_texture_is_positive_about_one_and_of_the_asked_size():
    rng = np.random.default_rng(3)
    fine = trabecular_texture(rng, (300, 300), 0.05, 0.5)
    coarse = trabecular_texture(rng, (300, 300), 0.05, 1.2)
    assert fine.min() >= 0
    assert fine.mean() == pytest.approx(1.0, abs=0.1)
    roughness = [np.abs(np.diff(image, axis=0)).mean() / image.std() for image in (fine, coarse)]
    assert roughness[0] > 1.3 * roughness[1]


def test_same_seed_same_case_and_other_seed_other_case():
    first, again, other = small_case(17), small_case(17), small_case(18)
    assert np.array_equal(first.image, again.image)
    assert all(np.array_equal(first.clicks[name], again.clicks[name]) for name in first.clicks)
    assert first.image.shape != other.image.shape or not np.array_equal(first.image, other.image)


def test_overrides_leave_the_rest_as_drawn():
    drawn, fixed = draw_parameters(4), draw_parameters(4, blur_mm=0.05)
    assert replace(drawn, blur_mm=0.05) == fixed


def test_unknown_parameter_is_refused():
    with pytest.raises(TypeError, match=r"'blur' is no parameter; the parameters are: .*blur_mm"):
        draw_parameters(1, blur=3)


@pytest.mark.parametrize(
    ("fixed", "text"),
    [
        ({"kind": "tusk"}, "kind is 'tusk'; allowed are upper_incisor"),
        ({"file_size": 12}, "file_size is 12; allowed are None, 6, 8, 10, 15"),
        ({"bits": 7}, "bits is 7; allowed are 8, 9"),
        ({"pitch_mm": 0.0}, "pitch_mm is 0.0; it must lie between 0.01 and 0.2"),
        ({"gap_mm": float("nan")}, "gap_mm is nan; it must lie between -3 and 8"),
    ],
)
def test_impossible_values_are_refused(fixed, text):
    with pytest.raises(ValueError, match=text):
        make_case(1, **fixed)


def test_draws_are_wide():
    drawn = [draw_parameters(seed) for seed in range(300)]
    assert {p.kind for p in drawn} == set(TOOTH_NUMBERS)
    assert {p.canal_form for p in drawn} == {"straight", "apical", "continuous", "s"}
    assert {p.bits for p in drawn} == {8, 10, 12, 14, 16}
    sizes = {p.file_size for p in drawn}
    assert {6, 10, 25, 40, None} <= sizes
    assert min(p.gap_mm for p in drawn) < -1
    assert max(p.gap_mm for p in drawn) > 3
    assert np.ptp([p.pitch_mm for p in drawn]) > 0.035
    assert 0.5 < np.mean([p.file_size is not None for p in drawn]) < 0.8


@pytest.mark.parametrize("seed", range(6))
def test_everything_that_must_be_seen_is_on_the_image(seed):
    case = small_case(seed + 50)
    truth, (rows, cols) = case.truth, case.image.shape
    for name in (
        "file_start_px",
        "file_tip_px",
        "orifice_px",
        "canal_end_px",
        "apex_px",
        "reference_px",
        "ball_centre_px",
    ):
        point = getattr(truth, name)
        if point is not None:
            assert np.all((point >= 0) & (point < (rows, cols))), name
            if name != "ball_centre_px":
                assert case.film[round(point[0]), round(point[1])], name


def test_polarity_and_grey_agree():
    case = small_case(9, monochrome1=True, bits=12, ball_diameter_mm=5.0, file_size=None, padding="none")
    row, col = np.rint(case.truth.ball_centre_px).astype(int)
    assert case.photometric == "MONOCHROME1"
    assert case.image[row, col] < 0.05 * 4095
    radiograph = case.grey
    assert radiograph.grey[row, col] > 0.95
    assert radiograph.grey.dtype == np.float32
    assert radiograph.film.all()
    assert radiograph.bits_stored == 12


def test_grey_order_of_tissues():
    # common practice, no source: metal over enamel over dentine over bone over air
    case = small_case(
        33,
        kind="premolar",
        file_size=30,
        canal_form="straight",
        gamma=1.0,
        local_contrast=0.0,
        unsharp=0.0,
        padding="none",
        rotation_deg=0.0,
        neighbour_gap_mm=0.5,
        restoration=False,
        clamp=False,
        dust=0,
    )
    grey, truth = case.grey.grey, case.truth
    file = grey[tuple(np.rint(truth.file_axis_px[len(truth.file_axis_px) // 2]).astype(int))]
    middle = truth.canal_axis_px[len(truth.canal_axis_px) // 3]
    side = np.array([0.0, 1.3 / truth.mm_per_px])
    dentine = grey[tuple(np.rint(middle + side).astype(int))]
    air = np.percentile(grey, 2)
    assert file > dentine > air + 0.15


def test_two_files_give_two_canals():
    case = small_case(12, kind="lower_molar", canals_in_root=2, file_size=15, second_file_size=10)
    assert [other.facts.canal for other in case.others] == ["2"]
    assert case.others[0].facts.file_size == 10
    tips = [case.truth.file_tip_px, case.others[0].truth.file_tip_px]
    assert np.linalg.norm(tips[0] - tips[1]) > 2


def test_parameters_are_frozen():
    p = draw_parameters(1)
    with pytest.raises(AttributeError):
        p.pitch_mm = 1.0
    assert isinstance(p, Parameters)


# ---- several views of one tooth ---------------------------------------------------------------------------


def two_views(seed, turn_deg, **fixed):
    common = dict(QUIET) | {"pitch_mm": 0.06} | fixed
    return (
        draw_parameters(seed, horizontal_tilt_deg=-turn_deg / 2, exposure_seed=1, **common),
        draw_parameters(seed, horizontal_tilt_deg=turn_deg / 2, exposure_seed=2, **common),
    )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "fixed",
    [
        {"file_size": 15},
        {"file_size": None, "ball_diameter_mm": 5.0},
        {"kind": "lower_molar", "canals_in_root": 2, "file_size": 15, "second_file_size": 10},
    ],
)
def test_a_turned_tooth_is_the_same_tooth(seed, fixed):
    one, two = (build_scene(p) for p in two_views(seed, 50.0, **fixed))
    for first, second in zip(one.tooth.canals[0], two.tooth.canals[0], strict=True):
        assert np.array_equal(first.axis_mm, second.axis_mm)
        assert np.array_equal(first.half_width_mm, second.half_width_mm)
    assert np.array_equal(one.tooth.roots[0].axis_mm, two.tooth.roots[0].axis_mm)
    assert one.tooth.crown_mm == two.tooth.crown_mm
    for (_, _, first), (_, _, second) in zip(one.files, two.files, strict=True):
        assert np.array_equal(first.path_mm, second.path_mm)
    assert len(one.neighbours) == 4
    for (first, _, place), (second, _, other) in zip(one.neighbours, two.neighbours, strict=True):
        assert np.array_equal(place, other)
        assert np.array_equal(first.canals[0][0].axis_mm, second.canals[0][0].axis_mm)
    assert not np.allclose(one.view.rotation, two.view.rotation)


def test_two_exposures_scatter_on_their_own():
    p = draw_parameters(5, file_size=15, exposure_seed=1, **(QUIET | {"pitch_mm": 0.06, "dust": 0}))
    one, again, two = (case_of(replace(p, exposure_seed=seed)) for seed in (1, 1, 2))
    assert np.array_equal(one.image, again.image)
    assert one.clicks["orifice"].tolist() == again.clicks["orifice"].tolist()

    def misses(case):
        exact = {"orifice": case.truth.orifice_px, "apex": case.truth.apex_px}
        return np.concatenate([case.clicks[name][0] - point for name, point in exact.items()])

    assert np.abs(misses(one) - misses(two)).min() > 1e-3
    assert np.array_equal(one.truth.canal_axis_mm, two.truth.canal_axis_mm)


@pytest.mark.parametrize("seed", [3, 8])
def test_the_axis_in_space_casts_the_shadow_on_the_image(seed):
    # a source so far away that the beam is parallel: x shows times the cosine of the turn, y times its sine
    for p in two_views(
        seed,
        90.0,
        extracted=True,
        source_distance_mm=1000.0,
        object_distance_mm=2.0,
        vertical_tilt_deg=0.0,
        rotation_deg=0.0,
        mirror=False,
        beam_u_deg=0.0,
        beam_v_deg=0.0,
    ):
        scene = build_scene(p)
        truth = truth_of_canal(scene, p, 0, 0, None)
        shadow = (truth.canal_axis_px - truth.canal_axis_px[0]) * truth.mm_per_px
        x, y, z = (truth.canal_axis_mm - truth.canal_axis_mm[0]).T
        turn = np.deg2rad(p.horizontal_tilt_deg)
        parallel = np.column_stack([z, x * np.cos(turn) - y * np.sin(turn)])
        # what is left is the perspective: at most some mm of depth in a metre, over the length of a canal
        assert shadow == pytest.approx(parallel, abs=0.1)
        assert truth.canal_length_3d_mm == pytest.approx(arc_length(truth.canal_axis_mm)[-1])


def test_an_extracted_tooth_stands_alone():
    fixed = QUIET | {"pitch_mm": 0.06, "dust": 0, "padding": "none", "local_contrast": 0.0, "unsharp": 0.0}
    case = make_case(4, kind="canine", file_size=None, extracted=True, horizontal_tilt_deg=90.0, **fixed)
    grey, apex = case.grey.grey, np.rint(case.truth.apex_px).astype(int)
    # beside and beyond the root there is nothing but resin: as grey as the corners
    corner = np.median(grey[:20, :20])
    reach = round(6.0 / case.truth.mm_per_px)
    for side in (-reach, reach):
        assert grey[apex[0], np.clip(apex[1] + side, 0, grey.shape[1] - 1)] == pytest.approx(corner, abs=0.1)
    on_root = np.rint(case.truth.canal_axis_px[len(case.truth.canal_axis_px) // 2]).astype(int)
    assert grey[tuple(on_root)] > corner + 0.15
    assert build_scene(case.parameters).neighbours == ()


def test_a_tooth_in_the_jaw_is_not_turned_into_its_neighbours():
    with pytest.raises(ValueError, match=r"between -60 and 60\. Set extracted, or turn less"):
        draw_parameters(1, horizontal_tilt_deg=75.0)
    assert draw_parameters(1, horizontal_tilt_deg=75.0, extracted=True).horizontal_tilt_deg == 75.0


# ---- writing ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("monochrome1", [False, True])
@pytest.mark.parametrize(
    "compression", ["explicit little endian", "RLE", "JPEG-LS lossless", "JPEG 2000 lossless"]
)
def test_dicom_keeps_stored_values(tmp_path, compression, monochrome1):
    import pydicom

    from radio.image.synthetic.writing import write_dicom

    case = small_case(2, bits=12, monochrome1=monochrome1)
    path = tmp_path / "one.dcm"
    write_dicom(case, path, subject="S99", compression=compression)
    ds = pydicom.dcmread(path)
    assert np.array_equal(ds.pixel_array, case.image)
    assert case.photometric == ds.PhotometricInterpretation
    first = path.read_bytes()
    write_dicom(case, path, subject="S99", compression=compression)
    assert path.read_bytes() == first


def test_unknown_compression_is_refused(tmp_path):
    from radio.image.synthetic.writing import write_dicom

    with pytest.raises(ValueError, match="compression is 'zip'; allowed are explicit little endian"):
        write_dicom(small_case(2), tmp_path / "one.dcm", subject="S99", compression="zip")


def test_png_and_tiff_are_radiopaque_bright(tmp_path):
    from PIL import Image

    from radio.image.synthetic.writing import write_jpeg, write_png, write_tiff

    case = small_case(2, bits=12, monochrome1=True)
    bright = 1 - case.image / 4095
    write_png(case, tmp_path / "a.png", 8)
    write_png(case, tmp_path / "b.png", 16)
    write_tiff(case, tmp_path / "c.tif")
    write_jpeg(case, tmp_path / "d.jpg", 95)
    for name, top, tolerance in (
        ("a.png", 255, 0.003),
        ("b.png", 65535, 1e-5),
        ("c.tif", 65535, 1e-5),
        ("d.jpg", 255, 0.2),
    ):
        with Image.open(tmp_path / name) as image:
            assert np.abs(np.asarray(image) / top - bright).max() < tolerance, name
