"""Shape of one tooth: crown, enamel cap, pulp chamber, roots, canals.

Sizes follow the usual table of mean tooth measurements (Wheeler, via textbook tables; crown and root
lengths), widths and depths are from memory. Tooth frame: origin in the middle of the tooth at the
cemento-enamel junction, x mesio-distal, y in depth towards the source, z apical; all in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.curves import STEP_MM, arc_length, tangents

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ToothKind:
    """Mean measures of a kind of tooth, mm.

    `cusps` counts the cusps seen from the side, `point` runs from a flat edge (0) to a pointed one (1),
    `edge_thinning` is the share of the crown's depth lost towards the edge. Roots are listed with the root
    of interest first; the third one lies behind the others.
    """

    crown_mm: float
    root_mm: float
    crown_half_width_mm: float
    neck_half_width_mm: float
    neck_half_depth_mm: float
    cusps: int
    point: float
    edge_thinning: float
    root_half_width_mm: tuple[float, ...]
    root_half_depth_mm: tuple[float, ...]
    root_x_mm: tuple[float, ...]
    root_y_mm: tuple[float, ...]
    root_lean_deg: tuple[float, ...]
    furcation_mm: float


KINDS: dict[str, ToothKind] = {
    "upper_incisor": ToothKind(
        crown_mm=10.5,
        root_mm=13.0,
        crown_half_width_mm=4.3,
        neck_half_width_mm=3.2,
        neck_half_depth_mm=3.1,
        cusps=1,
        point=0.0,
        edge_thinning=0.75,
        root_half_width_mm=(3.05,),
        root_half_depth_mm=(3.0,),
        root_x_mm=(0.0,),
        root_y_mm=(0.0,),
        root_lean_deg=(0.0,),
        furcation_mm=0.0,
    ),
    "lower_incisor": ToothKind(
        crown_mm=9.2,
        root_mm=13.0,
        crown_half_width_mm=2.8,
        neck_half_width_mm=1.9,
        neck_half_depth_mm=2.8,
        cusps=1,
        point=0.0,
        edge_thinning=0.75,
        root_half_width_mm=(1.82,),
        root_half_depth_mm=(2.75,),
        root_x_mm=(0.0,),
        root_y_mm=(0.0,),
        root_lean_deg=(0.0,),
        furcation_mm=0.0,
    ),
    "canine": ToothKind(
        crown_mm=10.3,
        root_mm=16.0,
        crown_half_width_mm=3.8,
        neck_half_width_mm=2.8,
        neck_half_depth_mm=3.6,
        cusps=1,
        point=1.0,
        edge_thinning=0.7,
        root_half_width_mm=(2.68,),
        root_half_depth_mm=(3.55,),
        root_x_mm=(0.0,),
        root_y_mm=(0.0,),
        root_lean_deg=(0.0,),
        furcation_mm=0.0,
    ),
    "premolar": ToothKind(
        crown_mm=8.4,
        root_mm=14.2,
        crown_half_width_mm=3.6,
        neck_half_width_mm=2.5,
        neck_half_depth_mm=3.6,
        cusps=1,
        point=0.6,
        edge_thinning=0.25,
        root_half_width_mm=(2.4,),
        root_half_depth_mm=(3.5,),
        root_x_mm=(0.0,),
        root_y_mm=(0.0,),
        root_lean_deg=(0.0,),
        furcation_mm=0.0,
    ),
    "lower_molar": ToothKind(
        crown_mm=7.3,
        root_mm=13.8,
        crown_half_width_mm=5.5,
        neck_half_width_mm=4.5,
        neck_half_depth_mm=4.0,
        cusps=2,
        point=0.0,
        edge_thinning=0.25,
        root_half_width_mm=(1.8, 1.7),
        root_half_depth_mm=(3.9, 3.7),
        root_x_mm=(-2.45, 2.45),
        root_y_mm=(0.0, 0.0),
        root_lean_deg=(-4.0, 3.0),
        furcation_mm=3.0,
    ),
    "upper_molar": ToothKind(
        crown_mm=7.3,
        root_mm=12.6,
        crown_half_width_mm=5.0,
        neck_half_width_mm=4.0,
        neck_half_depth_mm=4.6,
        cusps=2,
        point=0.0,
        edge_thinning=0.25,
        root_half_width_mm=(1.6, 1.5, 2.0),
        root_half_depth_mm=(3.6, 2.9, 2.3),
        root_x_mm=(-2.2, 2.2, 0.0),
        root_y_mm=(1.6, 1.6, -2.6),
        root_lean_deg=(-4.0, 5.0, 0.0),
        furcation_mm=3.2,
    ),
}


@dataclass(frozen=True, eq=False)
class Root:
    """One root: axis from the orifice level to the apex and semi-axes of its sections.

    `axis_mm` is continued beyond the apex by `BEYOND_MM` for the ligament around the tip.
    """

    axis_mm: FloatArray
    length_mm: float
    half_width_mm: FloatArray
    half_depth_mm: FloatArray


BEYOND_MM = 1.0


@dataclass(frozen=True, eq=False)
class Canal:
    """One canal: axis from the orifice to where it leaves the root, semi-axes of its sections, in mm."""

    axis_mm: FloatArray
    half_width_mm: FloatArray
    half_depth_mm: FloatArray

    @property
    def length_mm(self) -> float:
        """Arc length from orifice to canal end."""
        return float(arc_length(self.axis_mm)[-1])


@dataclass(frozen=True, eq=False)
class Tooth:
    """A whole tooth in its own frame."""

    kind: ToothKind
    scale: float
    crown_mm: float
    roots: tuple[Root, ...]
    canals: tuple[tuple[Canal, ...], ...]
    orifice_z_mm: float
    chamber: float
    cusp_mm: float

    @property
    def cusp_x_mm(self) -> tuple[float, ...]:
        """Where the cusp tips lie, x in mm."""
        wide = self.kind.crown_half_width_mm * self.scale
        return (0.0,) if self.kind.cusps == 1 else (-0.5 * wide, 0.5 * wide)


def taper_to_apex(from_apex_mm: FloatArray, length_mm: float, base_mm: float, apical_mm: float) -> FloatArray:
    """Semi-axis of a root's section at distances from its apex; a rounded end, 0 beyond it."""
    share = np.clip(from_apex_mm / length_mm, 0.0, None)
    straight = apical_mm + (base_mm - apical_mm) * share**0.75
    cap_length = 1.3 * apical_mm
    into = np.clip(1 - from_apex_mm / cap_length, 0.0, 1.0)
    return np.asarray(straight * np.sqrt(1 - into**2) * (from_apex_mm > 0))


def make_root(axis_mm: FloatArray, base_width_mm: float, base_depth_mm: float, apical_mm: float) -> Root:
    """Build a root about an axis from orifice level to apex."""
    length = float(arc_length(axis_mm)[-1])
    end = axis_mm[-1] + tangents(axis_mm)[-1] * np.arange(STEP_MM, BEYOND_MM, STEP_MM)[:, None]
    longer = np.vstack([axis_mm, end])
    from_apex = length - arc_length(longer)
    width = taper_to_apex(from_apex, length, base_width_mm, apical_mm)
    depth = taper_to_apex(from_apex, length, base_depth_mm, 1.15 * apical_mm)
    return Root(longer, length, width, depth)


def make_canal(
    root: Root,
    *,
    offset_coronal_mm: FloatArray,
    offset_apical_mm: FloatArray,
    foramen_offset_mm: float,
    foramen_direction_deg: float,
    apical_diameter_mm: float,
    taper: float,
    flare_mm: float,
    depth_ratio: float,
) -> Canal:
    """Build a canal that follows a root and leaves it at or beside the apex.

    Parameters
    ----------
    root : Root
        The root it lies in.
    offset_coronal_mm, offset_apical_mm : ndarray, shape (2,)
        Distance (x, y) of the canal from the root's axis at its orifice and near its end.
    foramen_offset_mm : float
        How far beside the root's axis the canal leaves the root.
    foramen_direction_deg : float
        In which direction, from x towards y.
    apical_diameter_mm, taper : float
        Diameter at the end and its growth per mm in coronal direction.
    flare_mm : float
        Additional diameter at the orifice.
    depth_ratio : float
        Semi-axis in depth over the one across, coronal half.
    """
    along = arc_length(root.axis_mm)
    from_apex = root.length_mm - along
    # where the root is just as wide as the foramen lies to the side, the canal meets its surface
    inside = from_apex > 0
    reach = np.interp(foramen_offset_mm, root.half_width_mm[inside][::-1], from_apex[inside][::-1])
    keep = from_apex >= reach
    axis, s = root.axis_mm[keep], along[keep]
    share = s / s[-1]
    blend = (3 * share**2 - 2 * share**3)[:, None]
    offset = np.asarray(offset_coronal_mm) * (1 - blend) + np.asarray(offset_apical_mm) * blend
    exit_run = 3.0
    leave = (np.clip(1 - (s[-1] - s) / exit_run, 0.0, 1.0) ** 2)[:, None]
    angle = np.deg2rad(foramen_direction_deg)
    exit_point = foramen_offset_mm * np.array([np.cos(angle), np.sin(angle)])
    offset = offset * (1 - leave) + leave * exit_point
    slope = tangents(axis)
    x_axis = np.array([1.0, 0.0, 0.0]) - slope * slope[:, :1]
    x_axis /= np.linalg.norm(x_axis, axis=1, keepdims=True)
    y_axis = np.cross(slope, x_axis)
    line = axis + offset[:, :1] * x_axis + offset[:, 1:] * y_axis
    to_end = arc_length(line)[-1] - arc_length(line)
    flare = flare_mm * np.exp(-arc_length(line) / 2.0)
    half = (apical_diameter_mm + taper * to_end + flare) / 2
    ratio = 1 + (depth_ratio - 1) * np.clip(to_end / 6.0, 0.0, 1.0)
    return Canal(line, half, half * ratio)


def crown_profile(tooth: Tooth, z_mm: FloatArray, *, enamel_off: bool) -> tuple[FloatArray, FloatArray]:
    """Half width and half depth of the crown and trunk at heights z, with or without its enamel, mm."""
    kind, scale = tooth.kind, tooth.scale
    up = np.clip(-z_mm / tooth.crown_mm, 0.0, 1.2)
    bulge = np.sin(np.clip(up / 0.72, 0.0, 1.0) * np.pi / 2) ** 0.9
    neck, wide = kind.neck_half_width_mm * scale, kind.crown_half_width_mm * scale
    closing = 1 - 0.10 * np.clip((up - 0.72) / 0.28, 0.0, 1.5) ** 2
    width = (neck + (wide - neck) * bulge) * closing
    depth = kind.neck_half_depth_mm * scale * (1 + 0.12 * bulge) * (1 - kind.edge_thinning * up**1.5)
    enamel = (1.45 if enamel_off else 0.0) * np.clip(up / 0.55, 0.0, 1.0) ** 0.7
    below = np.clip(z_mm, 0.0, None)
    narrowing = 1 - (0.02 if len(tooth.roots) > 1 else 0.05) * below
    return width * narrowing - enamel, np.maximum(depth * narrowing - enamel, 0.3)


def occlusal_z_mm(tooth: Tooth, x_mm: FloatArray) -> FloatArray:
    """Height of the biting surface at positions across the crown (negative, cusp tips at -crown height)."""
    wide = tooth.kind.crown_half_width_mm * tooth.scale
    share = np.clip(np.asarray(x_mm) / wide, -1.2, 1.2)
    if tooth.kind.cusps == 2:
        lower = 0.5 - 0.5 * np.cos(2 * np.pi * (np.abs(share) - 0.5))
    else:
        lower = tooth.kind.point * np.abs(share) + (1 - tooth.kind.point) * share**2
    return np.asarray(-tooth.crown_mm + tooth.cusp_mm * lower, dtype=np.float64)
