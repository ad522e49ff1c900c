"""Path lengths through one tooth: enamel, dentine, cavities, and the room it takes in the bone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.curves import STEP_MM, arc_length
from radio.image.synthetic.paths import open_field
from radio.image.synthetic.projection import Grid, View
from radio.image.synthetic.tooth import Canal, Root, Tooth, crown_profile, occlusal_z_mm
from radio.image.synthetic.tubes import (
    Float32Array,
    Shadow,
    Strip,
    Tube,
    chord,
    lookup,
    project_tube,
    strip,
)

FloatArray = npt.NDArray[np.float64]

LIGAMENT_MM = 0.22
LAMINA_MM = 0.28
ENAMEL_ON_CUSP_MM = 1.9


@dataclass(frozen=True, eq=False)
class ToothMaps:
    """One tooth's flat maps in mm: hard tissue, enamel, cavity, access, socket and lamina dura depth."""

    solid: Float32Array
    enamel: Float32Array
    cavity: Float32Array
    access: Float32Array
    socket: Float32Array
    lamina: Float32Array


def _raise_to(target: Float32Array, where: Strip, values: Float32Array) -> None:
    target[where.index] = np.maximum(target[where.index], values)


def straight_tube(
    x_mm: float, z_mm: FloatArray, half_width_mm: FloatArray, half_depth_mm: FloatArray
) -> Tube:
    """Tube along the long axis of the tooth, `x_mm` beside it."""
    axis = np.column_stack([np.full_like(z_mm, x_mm), np.zeros_like(z_mm), z_mm])
    return Tube(axis, np.maximum(half_width_mm, 0.05), np.maximum(half_depth_mm, 0.005))


def _x_side(shadow: Shadow, view: View) -> float:
    """+1 where x grows with the signed distance from a projected upright axis, else -1."""
    ends = view.project(np.array([[0.0, 0, 0], [0.3, 0, 0]]))
    right = ends[1] - ends[0]
    along = shadow.axis_uv_mm[-1] - shadow.axis_uv_mm[0]
    return float(np.sign(along[0] * right[1] - along[1] * right[0]))


def _crown(maps: ToothMaps, tooth: Tooth, view: View, grid: Grid) -> None:
    """Crown with enamel cap, and the trunk down to where the roots take over."""
    top = -tooth.crown_mm - 1.0
    single = len(tooth.roots) == 1
    bottom = 4.5 if single else tooth.kind.furcation_mm * tooth.scale + 2.5
    z = np.arange(top, bottom, STEP_MM)
    outer_w, outer_d = crown_profile(tooth, z, enamel_off=False)
    inner_w, inner_d = crown_profile(tooth, z, enamel_off=True)
    outer = project_tube(straight_tube(0.0, z, outer_w, outer_d), view)
    inner = project_tube(straight_tube(0.0, z, inner_w, inner_d), view)
    where = strip(outer, grid, float(outer.half_width_mm.max()) + grid.pitch_mm)
    t, d = where.t_mm[:, 0], where.d_mm[:, 0]
    height = lookup(outer.length_mm, t, outer.step_mm) + np.float32(top)
    tooth_w = np.interp(height, z, outer_w).astype(np.float32)
    x = np.float32(_x_side(outer, view)) * d / lookup(outer.half_width_mm, t, outer.step_mm) * tooth_w
    within = (t >= 0) & (t <= outer.total_mm)
    # the roof of the furcation arches up between the roots
    floor = bottom - (1.6 if single else 2.8) - (0.0 if single else 1.0) * (1 - (np.abs(x) / tooth_w) ** 2)
    fade = np.clip((bottom - height) / np.maximum(bottom - floor, 0.3), 0, 1) ** 0.7 * within
    biting = height - occlusal_z_mm(tooth, x)

    def body(shadow: Shadow, cap_mm: float) -> Float32Array:
        width = lookup(shadow.half_width_mm, t, shadow.step_mm)
        side_on = np.sqrt(np.maximum(1 - np.abs(d / width) ** np.float32(2.5), 0))
        rise = np.clip((biting - cap_mm) / 1.8, 0, 1)
        rounded = np.sqrt(1 - (1 - rise) ** 2)
        return np.asarray(lookup(shadow.central_mm, t, shadow.step_mm) * side_on * rounded * fade, np.float32)

    whole = body(outer, 0.0)
    core = np.where(height > 0, whole, np.minimum(body(inner, ENAMEL_ON_CUSP_MM), whole))
    _raise_to(maps.solid, where, whole)
    _raise_to(maps.socket, where, whole * (height > 0))
    _raise_to(maps.enamel, where, whole - core)


def _grown(root: Root, by_mm: float) -> Tube:
    """Put a layer of `by_mm` round a root, closing as a rounded cap beyond the apex."""
    if by_mm == 0:
        return Tube(root.axis_mm, np.maximum(root.half_width_mm, 1e-4), np.maximum(root.half_depth_mm, 1e-4))
    from_apex = root.length_mm - arc_length(root.axis_mm)
    cap = np.sqrt(np.maximum(1 - np.maximum(-from_apex / by_mm, 0) ** 2, 0))
    blunt = 0.54 * np.sqrt(by_mm) * np.exp(-np.maximum(from_apex, 0) / 0.5)
    extra = (by_mm + blunt) * cap
    return Tube(
        root.axis_mm,
        np.maximum(root.half_width_mm + extra, 1e-4),
        np.maximum(root.half_depth_mm + extra, 1e-4),
    )


def _root(maps: ToothMaps, root: Root, view: View, grid: Grid, *, behind: bool) -> None:
    """Dentine of a root, the ligament space about it and the lamina dura about that."""
    shadows = [project_tube(_grown(root, by), view) for by in (0.0, LIGAMENT_MM, LIGAMENT_MM + LAMINA_MM)]
    where = strip(shadows[2], grid, float(shadows[2].half_width_mm.max()) + grid.pitch_mm)
    start = np.sqrt(np.clip(where.t_mm[:, 0] / 1.5, 0, 1))
    solid, socket, lamina = (chord(shadow, where)[:, 0] * start for shadow in shadows)
    if behind:
        # a root behind the others adds to them, but the tooth is no deeper than its trunk
        before = maps.solid[where.index]
        added = np.minimum(before + solid, 2 * tooth_depth_limit_mm(before))
        maps.solid[where.index] = np.where(solid > 0, np.maximum(before, added), before)
    else:
        _raise_to(maps.solid, where, solid)
    _raise_to(maps.socket, where, socket)
    _raise_to(maps.lamina, where, lamina - socket)


def tooth_depth_limit_mm(before_mm: Float32Array) -> Float32Array:
    """Half of the most hard tissue two roots one behind the other can put in a ray, mm."""
    return np.maximum(before_mm / 2, np.float32(3.6))


def _chamber(canals: Float32Array, tooth: Tooth, view: View, grid: Grid) -> tuple[float, float, float]:
    """Raise the cavity map to the pulp chamber; returns its middle, half spread of orifices and roof."""
    starts = [canal for row in tooth.canals for canal in row]
    xs = [canal.axis_mm[0, 0] for canal in starts]
    middle, spread = (min(xs) + max(xs)) / 2, (max(xs) - min(xs)) / 2
    wide = spread > 1
    roof = -(0.18 if wide else 0.36) * tooth.crown_mm * tooth.chamber
    z = np.arange(roof - 1.5, tooth.orifice_z_mm + (1.0 if wide else 0.5), STEP_MM)
    up = np.clip((tooth.orifice_z_mm - z) / (tooth.orifice_z_mm - roof), 0, 1)
    opening = np.sin(up * np.pi / 2)
    canal_width = max(canal.half_width_mm[0] for canal in starts)
    canal_depth = max(canal.half_depth_mm[0] for canal in starts)
    width = 0.95 * spread + canal_width + (0.35 if wide else 0.7) * tooth.chamber * opening
    deep = canal_depth + (0.55 if wide else 0.5) * tooth.chamber * (0.4 + 0.6 * up if wide else opening)
    floor = np.clip((z[-1] - z) / 1.6, 0, 1) if wide else np.sqrt(np.clip((z[-1] - z) / 0.5, 0, 1))
    deep = deep * floor * np.sqrt(np.clip((z - z[0]) / 1.2, 0, 1))
    shadow = project_tube(straight_tube(middle, z, width, deep), view)
    where = strip(shadow, grid, float(shadow.half_width_mm.max()) + grid.pitch_mm)
    t, d = where.t_mm[:, 0], where.d_mm[:, 0]
    height = lookup(shadow.length_mm, t, shadow.step_mm)
    share = np.abs(d) / lookup(shadow.half_width_mm, t, shadow.step_mm)
    horns = 1.3 * (1 - np.clip((share - 0.2) / 0.6, 0, 1) ** 2) if tooth.kind.cusps == 2 else 1.2 * share
    # a wide chamber has upright walls, a narrow one the round section of a canal
    wall = np.sqrt(np.maximum(1 - share ** (5 if wide else 2), 0))
    depth = lookup(shadow.central_mm, t, shadow.step_mm) * wall * ((t >= 0) & (t <= shadow.total_mm))
    _raise_to(canals, where, (depth * np.clip((height - horns) / 0.5, 0, 1)).astype(np.float32))
    return middle, spread, roof


def canal_shadow(canal: Canal, view: View, wider_mm: float = 0.0) -> Shadow:
    """Shadow of a canal, or of a filling that makes it wider by `wider_mm` all round."""
    return project_tube(
        Tube(canal.axis_mm, canal.half_width_mm + wider_mm, canal.half_depth_mm + wider_mm), view
    )


def _cavities(maps: ToothMaps, tooth: Tooth, view: View, grid: Grid, *, opened: bool) -> None:
    """Canals, pulp chamber with horns, and an access opening where a file is in place."""
    canals = open_field(grid)
    for canal in (canal for row in tooth.canals for canal in row):
        shadow = canal_shadow(canal, view)
        where = strip(shadow, grid, float(shadow.half_width_mm.max()) + grid.pitch_mm, 2)
        canals[where.index] += chord(shadow, where).mean(axis=1)
    middle, spread, roof = _chamber(canals, tooth, view, grid)
    maps.cavity[:] = np.minimum(canals, maps.solid)
    if not opened:
        return
    z = np.arange(-tooth.crown_mm - 1.0, roof + 1.2, STEP_MM)
    width = np.full_like(z, 0.75 + 0.55 * spread) + 0.04 * (z[-1] - z)
    shadow = project_tube(straight_tube(middle, z, width, np.full_like(z, 1.5)), view)
    where = strip(shadow, grid, float(shadow.half_width_mm.max()) + grid.pitch_mm)
    t, d = where.t_mm[:, 0], where.d_mm[:, 0]
    wall = np.clip((lookup(shadow.half_width_mm, t, shadow.step_mm) - np.abs(d)) / 0.35, 0, 1)
    depth = 3.0 * wall * np.clip((np.float32(shadow.total_mm) - t) / 0.6, 0, 1) * (t >= 0)
    _raise_to(maps.access, where, depth.astype(np.float32))


def tooth_maps(tooth: Tooth, view: View, grid: Grid, *, opened: bool) -> ToothMaps:
    """Path lengths through one tooth, as flat maps.

    Parameters
    ----------
    tooth : Tooth
        The tooth.
    view : View
        Projection of its frame.
    grid : Grid
        Detector pixels.
    opened : bool
        With an access opening through the crown.
    """
    maps = ToothMaps(*(open_field(grid) for _ in range(6)))
    _crown(maps, tooth, view, grid)
    for number, root in enumerate(tooth.roots):
        _root(maps, root, view, grid, behind=number == 2)
    _cavities(maps, tooth, view, grid, opened=opened)
    return maps
