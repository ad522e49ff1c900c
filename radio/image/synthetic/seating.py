"""Put a file into a canal: how far in, and on what way."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.curves import STEP_MM, arc_length, at_length, foot, resample, tangents
from radio.image.synthetic.instrument import HandFile, file_diameter_mm, lie_in_canal
from radio.image.synthetic.parameters import Parameters
from radio.image.synthetic.tooth import Canal

FloatArray = npt.NDArray[np.float64]

HANDLE_LENGTHS_MM = (21.0, 25.0, 31.0)
CORONAL_SHAFT_MM = 26.0


def _widened(canal: Canal, size: int, tip_s_mm: float) -> Canal:
    """Let a file pass: nowhere narrower than the file lying in it."""
    along = arc_length(canal.axis_mm)
    need = file_diameter_mm(size, np.maximum(tip_s_mm - along, 0.0)) / 2 + 0.01
    need = np.where(along <= tip_s_mm + 0.3, need, 0.0)
    return Canal(canal.axis_mm, np.maximum(canal.half_width_mm, need), np.maximum(canal.half_depth_mm, need))


def _guide(canal: Canal, size: int, beyond_mm: float) -> tuple[FloatArray, FloatArray]:
    """Axis and clearance from above the crown through access and canal, `beyond_mm` past its end."""
    axis = at_length(canal.axis_mm, np.arange(-CORONAL_SHAFT_MM, canal.length_mm + beyond_mm, STEP_MM))
    s = np.arange(len(axis)) * STEP_MM - CORONAL_SHAFT_MM
    # above the orifice the access opening leads the shaft towards the middle of the crown
    above = np.maximum(-s, 0.0)
    axis[:, :2] -= canal.axis_mm[0, :2] * np.clip(above**2 / (above + 4.0) / 20.0, 0.0, 1.0)[:, None]
    along = arc_length(canal.axis_mm)
    wall = np.interp(s, along, np.minimum(canal.half_width_mm, canal.half_depth_mm))
    file_radius = np.interp(s, along, file_diameter_mm(size, canal.length_mm - along) / 2)
    room = np.maximum(wall - file_radius, 0.005)
    open_access = np.clip(above / 3.0, 0.0, 1.0) * 1.6
    past = np.clip(s - canal.length_mm, 0.0, None) * 0.1
    return axis, room + open_access + past


def seat_file(
    canal: Canal,
    apex_mm: FloatArray,
    cusp_mm: FloatArray,
    size: int,
    start_at: str,
    gap_mm: float,
    p: Parameters,
) -> tuple[HandFile, Canal]:
    """Put a file into a canal with its tip about `gap_mm` from the apex and a whole known length.

    Parameters
    ----------
    canal : Canal
        Where it goes.
    apex_mm, cusp_mm : ndarray, shape (3,)
        Radiographic apex of the root and the cusp the stop rests on, tooth frame.
    size : int
        ISO 3630-1 size.
    start_at : {"stop", "handle"}
        Where the known length begins.
    gap_mm : float
        Wanted distance from tip to apex.
    p : Parameters
        Section, twist and metal of the file.

    Returns
    -------
    file : HandFile
    canal : Canal
        The canal, widened where the file would not have passed.
    """
    apex_s = foot(canal.axis_mm, apex_mm)
    wanted_tip = apex_s - gap_mm
    canal = _widened(canal, size, min(wanted_tip, canal.length_mm))
    axis, room = _guide(canal, size, max(wanted_tip - canal.length_mm, 0.0) + 1.5)
    path = resample(lie_in_canal(axis, room))
    along = arc_length(path)
    # the stop rests on the cusp: its face lies in the plane through the cusp square to the shaft
    upper = along < CORONAL_SHAFT_MM
    ahead = ((cusp_mm - path) * tangents(path)).sum(axis=1)
    stop_s = float(along[upper][int(np.argmin(np.abs(ahead[upper])))])
    tip_point = at_length(axis, [wanted_tip + CORONAL_SHAFT_MM])[0]
    tip_s = foot(path, tip_point)
    if start_at == "stop":
        length = max(round((tip_s - stop_s) * 2) / 2, 2.0)
        start_s, tip_s = stop_s, stop_s + length
    else:
        fitting = [length for length in HANDLE_LENGTHS_MM if tip_s - length < stop_s - 1.7]
        start_s = tip_s - (fitting[0] if fitting else HANDLE_LENGTHS_MM[-1])
    first = start_s - 14.0
    file_path = at_length(path, np.arange(0.0, tip_s - first + 0.5 * STEP_MM, STEP_MM) + first)
    file_path = np.vstack([file_path[:-1], at_length(path, [tip_s])])
    return (
        HandFile(
            file_path, start_s - first, stop_s - first, size, p.file_section, p.twist_per_mm, p.file_metal
        ),
        canal,
    )
