"""Perspective projection from a point source onto a flat detector.

Detector frame: u along the columns, v down the rows, w from the detector towards the source, all in mm,
origin in the centre of the detector. Everything is written in this frame, so a detector that is tilted
against the central ray is one whose source stands beside its normal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Grid:
    """Pixels of the detector: shape (rows, cols) and pitch in mm."""

    rows: int
    cols: int
    pitch_mm: float

    def to_px(self, uv_mm: FloatArray) -> FloatArray:
        """Detector-plane points (u, v) in mm to (row, col), integer = pixel centre; shape (N, 2)."""
        centre = np.array([(self.rows - 1) / 2, (self.cols - 1) / 2])
        return np.asarray(uv_mm[..., ::-1] / self.pitch_mm + centre)


@dataclass(frozen=True, eq=False)
class View:
    """Where tooth, source and detector stand.

    Parameters
    ----------
    rotation : ndarray, shape (3, 3)
        Tooth frame (x mesio-distal, y in depth towards the source, z apical) to detector axes (u, v, w).
    shift_mm : ndarray, shape (3,)
        Origin of the tooth frame in the detector frame.
    source_mm : ndarray, shape (3,)
        Source in the detector frame; its third value is the distance from the detector plane.
    """

    rotation: FloatArray
    shift_mm: FloatArray
    source_mm: FloatArray

    def place(self, points_mm: FloatArray) -> FloatArray:
        """Tooth frame to detector frame, shape (N, 3)."""
        return np.asarray(points_mm @ self.rotation.T + self.shift_mm)

    def magnification(self, depth_mm: npt.ArrayLike) -> FloatArray:
        """Magnification of a plane parallel to the detector, `depth_mm` in front of it."""
        height = self.source_mm[2]
        return np.asarray(height / (height - np.asarray(depth_mm, dtype=np.float64)))

    def cast(self, placed_mm: FloatArray) -> FloatArray:
        """Shadow on the detector of points in the detector frame, shape (N, 3) to (N, 2) as (u, v) in mm."""
        foot = self.source_mm[:2]
        return np.asarray(
            foot + (placed_mm[..., :2] - foot) * self.magnification(placed_mm[..., 2])[..., None]
        )

    def project(self, points_mm: FloatArray) -> FloatArray:
        """Shadow of points given in the tooth frame, shape (N, 2) as (u, v) in mm."""
        return self.cast(self.place(points_mm))


def make_view(
    *,
    in_plane_deg: float,
    vertical_tilt_deg: float,
    horizontal_tilt_deg: float,
    mirror: bool,
    object_distance_mm: float,
    source_distance_mm: float,
    beam_u_deg: float,
    beam_v_deg: float,
) -> View:
    """Set up a view with the tooth frame's origin over the centre of the detector.

    Parameters
    ----------
    in_plane_deg : float
        Turn of the tooth about the detector normal; 0 has the roots pointing down the rows.
    vertical_tilt_deg, horizontal_tilt_deg : float
        Lean of the long axis out of the detector plane; turn about the long axis.
    mirror : bool
        Exchange left and right of the anatomy.
    object_distance_mm : float
        Origin of the tooth frame to detector.
    source_distance_mm : float
        Source to the point of the detector under the tooth.
    beam_u_deg, beam_v_deg : float
        Direction of the source from the detector normal, along u and v.
    """
    turn, lean, spin = np.deg2rad([in_plane_deg, vertical_tilt_deg, horizontal_tilt_deg])
    flip = np.diag([-1.0 if mirror else 1.0, 1.0, 1.0])
    swap = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, 1.0, 0]])
    about_long_axis = np.array([[np.cos(spin), -np.sin(spin), 0], [np.sin(spin), np.cos(spin), 0], [0, 0, 1]])
    out_of_plane = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
    in_plane = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    direction = np.array([np.tan(np.deg2rad(beam_u_deg)), np.tan(np.deg2rad(beam_v_deg)), 1.0])
    source = direction / np.linalg.norm(direction) * source_distance_mm
    return View(
        rotation=in_plane @ out_of_plane @ swap @ about_long_axis @ flip,
        shift_mm=np.array([0.0, 0.0, object_distance_mm]),
        source_mm=source,
    )


def moved(view: View, by_uv_mm: FloatArray) -> View:
    """Put the same tooth and source over another part of the detector."""
    step = np.array([by_uv_mm[0], by_uv_mm[1], 0.0])
    return View(view.rotation, view.shift_mm + step, view.source_mm + step)
