"""The exact geometry behind a synthetic radiograph."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from radio.image.synthetic.build import Scene
from radio.image.synthetic.curves import arc_length, at_length, foot
from radio.image.synthetic.instrument import HandFile
from radio.image.synthetic.parameters import Parameters

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Truth:
    """Exact geometry of one canal on one image; points are (row, col), integer = pixel centre.

    Parameters
    ----------
    canal_axis_px : ndarray, shape (N, 2)
        Projected canal axis, orifice to canal end, dense.
    file_axis_px : ndarray, shape (M, 2), or None
        Projected centre line of the file, start to tip, dense.
    file_start_px, file_tip_px : ndarray, shape (2,), or None
        Ends of that line.
    orifice_px, canal_end_px, apex_px, reference_px : ndarray, shape (2,)
        Landmarks. The apex is the end of the root's outline on its own axis; the reference is the cusp tip
        the stop rests on.
    ball_centre_px : ndarray, shape (2,), or None
        Shadow of the ball's centre.
    mm_per_px : float
        Size of a pixel in a plane parallel to the detector at the mean depth of the canal.
    file_mm_per_px : float or None
        Known file length over the projected length of the file: what an exact trace of the file gives. It
        differs from `mm_per_px` by the foreshortening of the file.
    ball_mm_per_px : float or None
        Size of a pixel at the depth of the ball.
    pitch_mm, magnification : float
        Detector pitch; `pitch_mm` over `mm_per_px`.
    file_length_mm : float or None
        Arc length of the file in space from start to tip: the known length.
    gap_mm : float or None
        Signed distance along the projected canal axis, continued along its end tangents, from the foot of
        the file tip to the foot of the radiographic apex, times `mm_per_px`; positive = tip short.
    canal_length_mm : float
        Length of the projected canal axis times `mm_per_px`: what a single radiograph shows.
    canal_length_3d_mm : float
        Length of the canal axis in space.
    working_length_mm : float or None
        File length plus gap.
    s_shaped : bool
        Drawn with two opposite bends.
    canal_axis_mm : ndarray, shape (N, 3)
        Canal axis in space, orifice to canal end, in the frame of the tooth: x mesio-distal, y towards the
        side the source stands on in a straight view, z along the long axis towards the root. The same
        however the tooth is projected; its points are those of `canal_axis_px`.
    """

    canal_axis_px: FloatArray
    file_axis_px: FloatArray | None
    file_start_px: FloatArray | None
    file_tip_px: FloatArray | None
    orifice_px: FloatArray
    canal_end_px: FloatArray
    apex_px: FloatArray
    reference_px: FloatArray
    ball_centre_px: FloatArray | None
    mm_per_px: float
    file_mm_per_px: float | None
    ball_mm_per_px: float | None
    pitch_mm: float
    magnification: float
    file_length_mm: float | None
    gap_mm: float | None
    canal_length_mm: float
    canal_length_3d_mm: float
    working_length_mm: float | None
    s_shaped: bool
    canal_axis_mm: FloatArray


def _line_px(scene: Scene, points_mm: FloatArray) -> FloatArray:
    return scene.grid.to_px(scene.view.project(points_mm))


def truth_of_canal(
    scene: Scene, p: Parameters, root_number: int, canal_number: int, file: HandFile | None
) -> Truth:
    """Exact geometry of one canal, and of the file in it, as projected."""
    canal = scene.tooth.canals[root_number][canal_number]
    root = scene.tooth.roots[root_number]
    view = scene.view
    axis_px = _line_px(scene, canal.axis_mm)
    depth = float(view.place(canal.axis_mm)[:, 2].mean())
    magnification = float(view.magnification(depth))
    mm_per_px = p.pitch_mm / magnification
    apex_px = _line_px(scene, at_length(root.axis_mm, [root.length_mm]))[0]
    file_px = gap = file_scale = None
    if file is not None:
        file_px = _line_px(scene, file.axis_mm())
        gap = (foot(axis_px, apex_px) - foot(axis_px, file_px[-1])) * mm_per_px
        file_scale = file.length_mm / float(arc_length(file_px)[-1])
    ball_px = ball_scale = None
    if scene.ball_mm is not None:
        ball_px = scene.grid.to_px(view.cast(scene.ball_mm[None]))[0]
        ball_scale = p.pitch_mm / float(view.magnification(scene.ball_mm[2]))
    return Truth(
        canal_axis_px=axis_px,
        file_axis_px=file_px,
        file_start_px=None if file_px is None else file_px[0],
        file_tip_px=None if file_px is None else file_px[-1],
        orifice_px=axis_px[0],
        canal_end_px=axis_px[-1],
        apex_px=apex_px,
        reference_px=_line_px(scene, scene.cusp_mm[None])[0],
        ball_centre_px=ball_px,
        mm_per_px=mm_per_px,
        file_mm_per_px=file_scale,
        ball_mm_per_px=ball_scale,
        pitch_mm=p.pitch_mm,
        magnification=magnification,
        file_length_mm=None if file is None else file.length_mm,
        gap_mm=gap,
        canal_length_mm=float(arc_length(axis_px)[-1]) * mm_per_px,
        canal_length_3d_mm=canal.length_mm,
        working_length_mm=None if file is None or gap is None else file.length_mm + gap,
        s_shaped=p.canal_form == "s" and root_number == 0,
        canal_axis_mm=canal.axis_mm,
    )
