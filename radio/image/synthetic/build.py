"""Set up the scene: the tooth of interest with its files, its neighbours, and where the beam comes from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.curves import arc_length, at_length, bent_axis, resample, tangents
from radio.image.synthetic.instrument import HandFile
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.projection import Grid, View, make_view, moved
from radio.image.synthetic.seating import seat_file
from radio.image.synthetic.tooth import (
    KINDS,
    Canal,
    Root,
    Tooth,
    ToothKind,
    make_canal,
    make_root,
)

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scene:
    """What stands in the beam.

    Parameters
    ----------
    tooth : Tooth
        Tooth of interest.
    files : tuple of (int, int, HandFile)
        Root number, canal number within it and the file there; the file of interest first.
    neighbours : tuple of (Tooth, ndarray of shape (3, 3), ndarray of shape (3,))
        Other teeth with their turn and place in the tooth frame.
    cusp_mm : ndarray, shape (3,)
        Reference cusp in the tooth frame.
    view : View
        Projection of the tooth frame.
    grid : Grid
        Detector pixels.
    ball_mm : ndarray, shape (3,), or None
        Ball centre in the detector frame.
    """

    tooth: Tooth
    files: tuple[tuple[int, int, HandFile], ...]
    neighbours: tuple[tuple[Tooth, FloatArray, FloatArray], ...]
    cusp_mm: FloatArray
    view: View
    grid: Grid
    ball_mm: FloatArray | None


def _root_of_interest(p: Parameters, length_mm: float, start_z: float) -> FloatArray:
    kind = KINDS[p.kind]
    axis = bent_axis(
        length_mm,
        p.canal_form,
        p.turn_deg,
        p.second_turn_deg,
        p.curve_length_mm,
        p.curve_plane_deg,
        kind.root_lean_deg[0],
    )
    return np.asarray(axis + np.array([kind.root_x_mm[0], kind.root_y_mm[0], start_z]))


def _ordinary_root_axis(
    kind: ToothKind, number: int, length_mm: float, turn_deg: float, start_z: float
) -> FloatArray:
    """Axis of an ordinary root: a little lean and one gentle bend."""
    axis = bent_axis(length_mm, "continuous", turn_deg, 0.0, 4.0, 0.0, kind.root_lean_deg[number])
    return np.asarray(axis + np.array([kind.root_x_mm[number], kind.root_y_mm[number], start_z]))


def _canals_in(
    root: Root, p: Parameters, rng: np.random.Generator, *, of_interest: bool, pair: bool
) -> tuple[Canal, ...]:
    split_x = rng.uniform(0.35, 0.75) if pair else 0.0
    split_y = rng.uniform(0.9, 1.5) if pair else 0.0
    canals = []
    for side in (-1.0, 1.0) if pair else (0.0,):
        exact = of_interest and side <= 0
        canals.append(
            make_canal(
                root,
                offset_coronal_mm=np.array([side * split_x, side * split_y]),
                offset_apical_mm=np.array([side * split_x * rng.uniform(0.3, 0.8), side * split_y * 0.5]),
                foramen_offset_mm=p.foramen_offset_mm if exact else float(rng.uniform(0.05, 0.4)),
                foramen_direction_deg=p.foramen_direction_deg if exact else float(rng.uniform(0, 360)),
                apical_diameter_mm=p.canal_apical_diameter_mm if exact else float(rng.uniform(0.14, 0.3)),
                taper=p.canal_taper if exact else float(rng.uniform(0.015, 0.04)),
                flare_mm=p.canal_flare_mm if exact else float(rng.uniform(0.1, 0.6)),
                depth_ratio=1.0 if pair else p.canal_depth_ratio,
            )
        )
    return tuple(canals)


def _tooth(
    p: Parameters, kind_name: str, scale: float, rng: np.random.Generator, *, of_interest: bool
) -> Tooth:
    kind = KINDS[kind_name]
    orifice_z = 0.6 * kind.furcation_mm if kind.furcation_mm else 1.0
    roots, canals = [], []
    for number in range(len(kind.root_x_mm)):
        length = (kind.root_mm - orifice_z) * scale * rng.uniform(0.95, 1.04)
        mine = of_interest and number == 0
        if mine:
            axis = _root_of_interest(p, length, orifice_z)
        else:
            axis = _ordinary_root_axis(kind, number, length, float(rng.normal(0, 14)), orifice_z)
        axis = resample(axis * np.array([scale, scale, 1.0]))
        root = make_root(
            axis,
            kind.root_half_width_mm[number] * scale,
            kind.root_half_depth_mm[number] * scale,
            float(rng.uniform(0.65, 0.95)),
        )
        pair = (
            (p.canals_in_root == 2)
            if mine
            else (len(kind.root_x_mm) > 1 and number == 0 and rng.random() < 0.5)
        )
        roots.append(root)
        canals.append(_canals_in(root, p, rng, of_interest=mine, pair=pair))
    return Tooth(
        kind=kind,
        scale=scale,
        crown_mm=kind.crown_mm * scale * float(rng.uniform(0.95, 1.05)),
        roots=tuple(roots),
        canals=tuple(canals),
        orifice_z_mm=orifice_z,
        chamber=float(rng.uniform(0.6, 1.3)),
        cusp_mm=float(rng.uniform(1.2, 2.4))
        if kind.cusps == 2 or kind.point > 0
        else float(rng.uniform(0.3, 1.2)),
    )


def _nearest_cusp(tooth: Tooth, canal: Canal) -> FloatArray:
    up = -canal.axis_mm[0, 2] - tooth.crown_mm
    x = canal.axis_mm[0, 0] + tangents(canal.axis_mm)[0, 0] * up
    cusp = min(tooth.cusp_x_mm, key=lambda cusp_x: abs(cusp_x - x))
    return np.array([cusp, 0.0, -tooth.crown_mm])


def _neighbours(
    p: Parameters, tooth: Tooth, rng: np.random.Generator
) -> tuple[tuple[Tooth, FloatArray, FloatArray], ...]:
    upper = p.tooth[0] in "12"
    near = {
        "upper_incisor": ("upper_incisor", "canine"),
        "lower_incisor": ("lower_incisor", "lower_incisor"),
        "canine": ("upper_incisor" if upper else "lower_incisor", "premolar"),
        "premolar": ("premolar", "upper_molar" if upper else "lower_molar"),
        "lower_molar": ("premolar", "lower_molar"),
        "upper_molar": ("premolar", "upper_molar"),
    }[p.kind]
    placed = []
    for side, kind in zip((-1.0, 1.0), near, strict=True):
        edge, chain = tooth.kind.crown_half_width_mm * tooth.scale, kind
        for _ in range(2):
            other = _tooth(p, chain, float(rng.uniform(0.92, 1.08)), rng, of_interest=False)
            half = other.kind.crown_half_width_mm * other.scale
            lean = np.deg2rad(rng.normal(0, 5))
            turn = np.array([[np.cos(lean), 0, np.sin(lean)], [0, 1, 0], [-np.sin(lean), 0, np.cos(lean)]])
            x = side * (edge + half + p.neighbour_gap_mm + rng.uniform(0, 0.3))
            placed.append((other, turn, np.array([x, rng.normal(0, 0.8), rng.normal(0, 0.5)])))
            edge += 2 * half + p.neighbour_gap_mm
            chain = "premolar" if chain == "canine" else chain
    return tuple(placed)


def _frame(
    p: Parameters, view: View, must_show_mm: FloatArray, rng: np.random.Generator
) -> tuple[View, Grid]:
    """Move the detector so that everything that must be seen is on it, with room to spare."""
    long_px, short_px = (round(mm / p.pitch_mm) for mm in (p.detector_long_mm, p.detector_short_mm))
    rows, cols = (long_px, short_px) if p.portrait else (short_px, long_px)
    seen = view.project(must_show_mm)
    low, high = seen.min(axis=0) - 1.6, seen.max(axis=0) + 1.6
    need_cols, need_rows = np.ceil((high - low) / p.pitch_mm).astype(int)
    grid = Grid(max(rows, int(need_rows)), max(cols, int(need_cols)), p.pitch_mm)
    room = np.array([grid.cols, grid.rows]) * p.pitch_mm - (high - low)
    place = np.clip(rng.normal(0, 0.18, 2), -0.45, 0.45) * room
    return moved(view, place - (low + high) / 2), grid


def build_scene(p: Parameters) -> Scene:
    """Build everything in the beam from the parameters of one radiograph."""
    rng = np.random.default_rng([p.nuisance_seed, 1])
    tooth = _tooth(p, p.kind, p.size_scale, rng, of_interest=True)
    roots, canals = tooth.roots, [list(row) for row in tooth.canals]
    apex = at_length(roots[0].axis_mm, [roots[0].length_mm])[0]
    cusp = _nearest_cusp(tooth, canals[0][0])
    files: list[tuple[int, int, HandFile]] = []
    if p.file_size is not None:
        file, canals[0][0] = seat_file(canals[0][0], apex, cusp, p.file_size, p.file_start_at, p.gap_mm, p)
        files.append((0, 0, file))
        second = (0, 1) if len(canals[0]) > 1 else (1, 0) if len(roots) > 1 else None
        if p.second_file_size is not None and second is not None:
            root, number = second
            other_apex = at_length(roots[root].axis_mm, [roots[root].length_mm])[0]
            other_cusp = cusp if root == 0 else _nearest_cusp(tooth, canals[root][number])
            gap = float(rng.uniform(0.3, 2.5))
            other, canals[root][number] = seat_file(
                canals[root][number], other_apex, other_cusp, p.second_file_size, "stop", gap, p
            )
            files.append((root, number, other))
    tooth = replace(tooth, canals=tuple(tuple(row) for row in canals))
    view = make_view(
        in_plane_deg=p.rotation_deg,
        vertical_tilt_deg=p.vertical_tilt_deg,
        horizontal_tilt_deg=p.horizontal_tilt_deg,
        mirror=p.mirror,
        object_distance_mm=p.object_distance_mm,
        source_distance_mm=p.source_distance_mm,
        beam_u_deg=p.beam_u_deg,
        beam_v_deg=p.beam_v_deg,
    )
    must = [apex, cusp, canals[0][0].axis_mm[0], canals[0][0].axis_mm[-1]]
    for _, _, file in files:
        along = arc_length(file.path_mm)
        margin = p.stop_thickness_mm if p.file_start_at == "stop" else 1.0
        start = max(file.start_mm - margin - 0.5, 0.0)
        must += [file.tip_mm, file.path_mm[int(np.searchsorted(along, start))]]
    if p.ball_diameter_mm is not None and not files:
        must.append(cusp - np.array([0.0, 0.0, p.ball_diameter_mm]))
    placing = p.exposure_rng(1, rng)
    view, grid = _frame(p, view, np.array(must), placing)
    ball = None
    if p.ball_diameter_mm is not None:
        ball = _place_ball(p, tooth, view, grid, placing)
    neighbours = () if p.extracted else _neighbours(p, tooth, rng)
    return Scene(tooth, tuple(files), neighbours, cusp, view, grid, ball)


def _place_ball(p: Parameters, tooth: Tooth, view: View, grid: Grid, rng: np.random.Generator) -> FloatArray:
    """Ball beside the crown, in or near the plane of the canal, wholly on the image."""
    assert p.ball_diameter_mm is not None
    reach = p.ball_diameter_mm / 2 * 1.2 + 1.0
    best, best_room = None, -np.inf
    middle = view.place(tooth.canals[0][0].axis_mm)[:, 2].mean()
    for _ in range(40):
        side = rng.choice([-1.0, 1.0])
        x = side * (tooth.kind.crown_half_width_mm * tooth.scale * rng.uniform(0.3, 1.6))
        z = -tooth.crown_mm - rng.uniform(-2.0, 4.0) - p.ball_diameter_mm / 2
        place = view.place(np.array([x, 0.0, z]))
        place[2] = middle + rng.uniform(-1.0, 1.0)
        u, v = view.cast(place[None])[0]
        room = min(grid.cols * grid.pitch_mm / 2 - abs(u), grid.rows * grid.pitch_mm / 2 - abs(v)) - reach
        if room > best_room:
            best, best_room = place, room
        if room > 0:
            break
    assert best is not None
    return np.asarray(best)
