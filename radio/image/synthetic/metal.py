"""Metal in the beam: files with stop and handle, ball, restoration, clamp, root fillings."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.build import Scene
from radio.image.synthetic.curves import STEP_MM, arc_length, resample
from radio.image.synthetic.instrument import Collar, HandFile, collar_chord, file_chord, file_strip
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.paths import PathLengths
from radio.image.synthetic.projection import View
from radio.image.synthetic.tooth import Canal, Tooth
from radio.image.synthetic.tooth_shade import canal_shadow, straight_tube
from radio.image.synthetic.tubes import Tube, chord, lookup, project_tube, strip

FloatArray = npt.NDArray[np.float64]

HANDLE_RADIUS_MM = 1.9
HANDLE_LENGTH_MM = 12.0
# handles are moulded of filled and coloured plastic: common practice, no source
HANDLE_FILLER = 2.5


def _add_file(paths: PathLengths, file: HandFile, view: View, p: Parameters, *, with_handle: bool) -> None:
    grid = paths.grid
    shadow, where = file_strip(file, view, grid)
    paths.add_metal(where.index, file_chord(file, shadow, where), file.metal, "soft tissue")
    stop = Collar(file.stop_mm - p.stop_thickness_mm, file.stop_mm, p.stop_radius_mm)
    area, depth = collar_chord(stop, shadow, grid, p.stop_tilt_deg)
    paths.flat("silicone")[area.index] += np.float32(p.stop_opacity) * depth[:, 0]
    if with_handle:
        handle = Collar(max(file.start_mm - HANDLE_LENGTH_MM, 0.0), file.start_mm, HANDLE_RADIUS_MM)
        area, depth = collar_chord(handle, shadow, grid, 0.0)
        paths.flat("polymer")[area.index] += np.float32(HANDLE_FILLER * p.stop_opacity) * depth[:, 0]


def _add_ball(paths: PathLengths, centre_mm: FloatArray, diameter_mm: float, view: View) -> None:
    """Steel ball: exact chord of each ray through a sphere."""
    grid = paths.grid
    centre = grid.to_px(view.cast(centre_mm[None]))[0]
    reach = int(np.ceil(0.75 * diameter_mm * float(view.magnification(centre_mm[2])) / grid.pitch_mm)) + 3
    rows = np.arange(max(int(centre[0]) - reach, 0), min(int(centre[0]) + reach + 1, grid.rows))
    cols = np.arange(max(int(centre[1]) - reach, 0), min(int(centre[1]) + reach + 1, grid.cols))
    samples = 4
    part = (np.arange(samples) + 0.5) / samples - 0.5
    v = (rows[:, None] + part - (grid.rows - 1) / 2).ravel() * grid.pitch_mm
    u = (cols[:, None] + part - (grid.cols - 1) / 2).ravel() * grid.pitch_mm
    spot = np.stack(np.broadcast_arrays(u[None, :], v[:, None], np.zeros((1, 1))), axis=-1)
    ray = view.source_mm - spot
    ray /= np.linalg.norm(ray, axis=-1, keepdims=True)
    to_centre = centre_mm - spot
    ahead = (to_centre * ray).sum(axis=-1)
    beside = (to_centre**2).sum(axis=-1) - ahead**2
    depth = 2 * np.sqrt(np.maximum(diameter_mm**2 / 4 - beside, 0))
    blocks = depth.reshape(len(rows), samples, len(cols), samples).transpose(0, 2, 1, 3)
    index = (rows[:, None] * grid.cols + cols).ravel()
    paths.add_metal(index, blocks.reshape(len(index), -1).astype(np.float32), "steel", "soft tissue")


def _add_restoration(paths: PathLengths, tooth: Tooth, view: View, rng: np.random.Generator) -> None:
    """Add a metal or resin filling in one side of the crown."""
    wide = tooth.kind.crown_half_width_mm * tooth.scale
    side = rng.choice([-1.0, 1.0])
    half = wide * rng.uniform(0.18, 0.30)
    middle = side * (wide * rng.uniform(0.86, 0.93) - half)
    top = -tooth.crown_mm + tooth.cusp_mm * rng.uniform(0.4, 0.9)
    z = np.arange(top, -rng.uniform(0.3, 0.55) * tooth.crown_mm, STEP_MM)
    shadow = project_tube(straight_tube(middle, z, np.full_like(z, half), np.full_like(z, 1.0)), view)
    where = strip(shadow, paths.grid, float(shadow.half_width_mm.max()) + paths.grid.pitch_mm, 2)
    ends = np.minimum(where.t_mm, np.float32(shadow.total_mm) - where.t_mm)
    sides = lookup(shadow.half_width_mm, where.t_mm, shadow.step_mm) * (1 + 0.12 * np.sin(where.t_mm * 2.2))
    corner = np.float32(0.45)
    into_corner = np.hypot(np.maximum(corner - ends, 0), np.maximum(np.abs(where.d_mm) - sides + corner, 0))
    inside = np.clip((corner - into_corner) / 0.2, 0, 1)
    if rng.random() < 0.6:
        paths.add_metal(where.index, inside * np.float32(rng.uniform(1.0, 3.0)), "steel", "dentine")
    else:
        paths.flat("resin composite")[where.index] += inside.mean(axis=1) * np.float32(rng.uniform(2.0, 4.0))


def _add_clamp(paths: PathLengths, scene: Scene, rng: np.random.Generator) -> None:
    """Rubber dam clamp: a jaw on either side of the neck and a bow over the crown on one side."""
    tooth = scene.tooth
    wide = tooth.kind.crown_half_width_mm * tooth.scale
    level, side = -rng.uniform(0.8, 2.2), rng.choice([-1.0, 1.0])
    rise = rng.uniform(2.0, 6.0)
    for depth in (-1.15, 1.15):
        y = depth * tooth.kind.neck_half_depth_mm * tooth.scale
        jaw = np.array([[-0.75 * wide, y, level + 0.5], [0.0, y, level], [0.75 * wide, y, level + 0.5]])
        bow_angle = np.linspace(0, np.pi / 2, 40)
        bow = np.column_stack(
            [
                side * wide * (0.75 + 0.75 * np.sin(bow_angle)),
                y * np.cos(bow_angle),
                level + 0.5 - (tooth.crown_mm + rise) * (1 - np.cos(bow_angle)),
            ]
        )
        for line, half in ((jaw, rng.uniform(0.45, 0.8)), (bow, rng.uniform(0.3, 0.5))):
            axis = resample(line)
            tube = Tube(axis, np.full(len(axis), half), np.full(len(axis), rng.uniform(0.25, 0.45)))
            shadow = project_tube(tube, scene.view)
            where = strip(shadow, paths.grid, float(shadow.half_width_mm.max()) + paths.grid.pitch_mm, 2)
            paths.add_metal(where.index, chord(shadow, where), "steel", "soft tissue")


def add_root_filling(paths: PathLengths, canal: Canal, view: View) -> None:
    """Fill a canal to a little short of its end."""
    kept = arc_length(canal.axis_mm) < canal.length_mm - 0.8
    filled = Canal(canal.axis_mm[kept], canal.half_width_mm[kept], canal.half_depth_mm[kept])
    shadow = canal_shadow(filled, view, 0.2)
    where = strip(shadow, paths.grid, float(shadow.half_width_mm.max()) + paths.grid.pitch_mm, 2)
    paths.flat("gutta-percha")[where.index] += chord(shadow, where).mean(axis=1)


def add_metalwork(paths: PathLengths, scene: Scene, p: Parameters, rng: np.random.Generator) -> None:
    """Put files, ball, restoration and clamp into the beam.

    Parameters
    ----------
    paths : PathLengths
        Changed in place.
    scene : Scene
        What stands in the beam.
    p : Parameters
        Which of them there are.
    rng : numpy.random.Generator
        Source of chance.
    """
    for number, (_, _, file) in enumerate(scene.files):
        _add_file(paths, file, scene.view, p, with_handle=number == 0 and p.file_start_at == "handle")
    if scene.ball_mm is not None and p.ball_diameter_mm is not None:
        _add_ball(paths, scene.ball_mm, p.ball_diameter_mm, scene.view)
    if p.restoration:
        _add_restoration(paths, scene.tooth, scene.view, rng)
    if p.clamp:
        _add_clamp(paths, scene, rng)
