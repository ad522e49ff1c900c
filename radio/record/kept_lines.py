"""The lines of a kept tracing, as reports and overlays lay them on the image."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from radio.record.tracing import Tracing

FloatArray = npt.NDArray[np.float64]


def kept_lines(tracing: Tracing) -> dict[str, FloatArray]:
    """Lines of a tracing by what they are, each shape (N, 2) as (row, col); what there is not is left out.

    Parameters
    ----------
    tracing : Tracing

    Returns
    -------
    dict of str to ndarray
        ``"CANAL"``, ``"FILE"``; ``"AXIS"`` and ``"CHORD"`` of the Schneider angle; ``"GAP"`` from file tip to
        radiographic apex.
    """
    made = tracing.as_result()
    lines = {}
    if made.canal_line is not None:
        lines["CANAL"] = made.canal_line.points_px
    if made.file_line is not None:
        lines["FILE"] = made.file_line.points_px
    if made.construction is not None:
        lines["AXIS"] = np.array([made.construction.axis_start_px, made.construction.axis_end_px])
        lines["CHORD"] = np.array([made.construction.departure_px, made.construction.canal_end_px])
    if {"file_tip", "apex"} <= set(made.landmarks):
        lines["GAP"] = np.array([made.landmarks[name].point_px for name in ("file_tip", "apex")])
    return lines
